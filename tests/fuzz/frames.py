"""Seeded damaged frames, the same on CPython and MicroPython: valid ones, damaged on the line, or with a correct check code around wrong contents."""

from rimward_protocol import codes, frame, layout, messages, profile
from rimward_protocol.compat import crc32

REQUESTS = (
    codes.HELLO, codes.STATUS, codes.PROFILE_PUT, codes.PROFILE_LIST, codes.PROFILE_GET, codes.PROFILE_DELETE, codes.SELECT, codes.WATCH,
    codes.SESSION_LIST, codes.SESSION_READ, codes.SETTING_GET, codes.SETTING_PUT, codes.FAULTS, codes.TIME, codes.KEY_ENROL, codes.WAITING,
    codes.BYE, codes.BENCH_BEAT,
)  # fmt: skip
KEY = bytes(range(1, 33))  # the key that the device under test has
WAYS = (
    "sound", "bit", "byte", "cut", "grown", "shrunk", "twice", "no-end", "contents", "version", "length", "noise", "long", "profile-field",
    "profile-byte", "zeros",
)  # fmt: skip


class Draw:
    """Numbers from a seed: xorshift, 32 bits, the same everywhere."""

    def __init__(self, seed):
        self.now = (seed * 2654435761 + 88172645) & 0xFFFFFFFF or 1

    def below(self, limit):
        """A number from 0 to limit - 1."""
        x = self.now
        x ^= (x << 13) & 0xFFFFFFFF
        x ^= x >> 17
        x ^= (x << 5) & 0xFFFFFFFF
        self.now = x
        return (x >> 3) % limit

    def bytes(self, count):
        """That many bytes."""
        out = bytearray(count)
        for i in range(count):
            out[i] = self.below(256)
        return out


def base_profile(layout_values=None):
    """A sound profile of an invented wheel, tagged with KEY; `layout_values` replace fields."""
    values = {
        "revision": 1, "issue": 1, "wheel_id": b"fernholl", "label": b"Larkspur front", "rim_class": codes.RIM_TSS, "position": codes.POSITION_FRONT,
        "chuck": codes.CHUCK_PRESSURE_OPEN, "limit_source": codes.LIMIT_RIM_MARKED, "tyre_width_dmm": 280, "bead_seat_mm": 622,
        "rim_width_dmm": 230, "volume_ml": 1600, "volume_low_ml": 1400, "limit_pa": 500000, "ceiling_pa": 440000, "target_pa": 390000,
        "seat_pause_pa": 275000, "ambient_min_pa": 87000, "temp_max_ck": 31315, "ref_temp_ck": 29115, "time_budget_s": 300,
        "flags": codes.FLAG_TUBELESS, "made_days": 2000,
    }  # fmt: skip
    values.update(layout_values or {})
    return profile.tag_profile(KEY, layout.seal_profile(values))


class Maker:
    """Makes one piece of line after another. `way` says how the latest was made."""

    def __init__(self, seed):
        self.draw = Draw(seed)
        self.way = ""
        self.sound = []
        for number, kind in enumerate(REQUESTS):
            self.sound.append((kind, self._payload(kind), number + 1))
        self.profile = base_profile()
        self.fields = [
            row
            for row in layout.fields(layout.PROFILE)
            if row[0] not in ("magic", "crc", "tag", "reserved")
        ]

    def _payload(self, kind):
        if kind == codes.PROFILE_PUT:
            return base_profile()
        table = messages.payload_of(kind)
        values = {}
        for row in layout.fields(table):
            values[row[0]] = (
                b"" if row[1] == "*" else bytes(int(row[1][:-1])) if row[1].endswith("s") else 1
            )
        if kind == codes.HELLO:
            values.update(
                {
                    "protocol": codes.PROTOCOL_VERSION,
                    "layout_hash": layout.layout_hash(),
                    "what": 1,
                    "host_id": 7,
                }
            )
        if kind == codes.SETTING_PUT:
            values.update({"number": 3, "value": bytes(8)})
        if kind == codes.SESSION_READ:
            values["bytes"] = 600
        return layout.pack(table, values)

    def next(self):
        """The next piece: bytes as they come off the line."""
        draw = self.draw
        self.way = WAYS[draw.below(len(WAYS))]
        kind, payload, sequence = self.sound[draw.below(len(self.sound))]
        sequence = draw.below(65536) if draw.below(4) == 0 else sequence
        if self.way in ("profile-field", "profile-byte"):
            return frame.encode(codes.PROFILE_PUT, sequence, self._profile())
        if self.way == "noise":
            return bytes(draw.bytes(draw.below(300)))
        if self.way == "zeros":
            return bytes(draw.below(40))
        if self.way == "long":
            return frame.encode(kind, sequence, bytes(draw.bytes(505 + draw.below(60))))
        if self.way == "length":
            return frame.encode(draw.below(256), sequence, bytes(draw.bytes(draw.below(60))))
        if self.way == "version":
            return frame.encode(kind, sequence, payload, draw.below(256))
        if self.way == "contents":
            return frame.encode(kind, sequence, self._damaged(payload))
        return self._on_the_line(bytearray(frame.encode(kind, sequence, payload)))

    def _on_the_line(self, line):
        draw = self.draw
        way = self.way
        at = draw.below(len(line))
        if way == "bit":
            line[at] ^= 1 << draw.below(8)
        elif way == "byte":
            line[at] = draw.below(256)
        elif way == "cut":
            line = line[:at]
        elif way == "grown":
            line = line[:at] + draw.bytes(1 + draw.below(5)) + line[at:]
        elif way == "shrunk":
            line = line[:at] + line[at + 1 + draw.below(5) :]
        elif way == "twice":
            line = line + line
        elif way == "no-end":
            line = line[:-1]
        return bytes(line)

    def _damaged(self, payload):
        body = bytearray(payload)
        for _ in range(1 + self.draw.below(3)):
            if body:
                body[self.draw.below(len(body))] = self.draw.below(256)
        return bytes(body)

    def _profile(self):
        """A profile with one field wrong or odd and its check code right, or with one byte changed and the check code wrong."""
        draw = self.draw
        data = bytearray(self.profile)
        if self.way == "profile-byte":
            data[draw.below(len(data))] ^= 1 << draw.below(8)
            return bytes(data)
        for _ in range(1 + draw.below(2)):
            name, code = self.fields[draw.below(len(self.fields))][:2]
            start = layout.offset(layout.PROFILE, name)
            size = layout.field_bytes(code)
            if draw.below(2):
                data[start : start + size] = draw.bytes(size)
            else:
                data[start] = (data[start] + draw.below(5) - 2) & 255
        end = layout.offset(layout.PROFILE, "crc")
        data[end : end + 4] = crc32(bytes(data[:end])).to_bytes(4, "little")
        if draw.below(8) == 0:
            data[end + 4 :] = draw.bytes(16)
            return bytes(data)
        return profile.tag_profile(KEY, data)


def judge(decoder, line, digest):
    """Feed a piece; return (running check code over everything that came of it, frames accepted)."""
    at = 0
    accepted = 0
    while at < len(line):
        result, at = decoder.feed(line, at, len(line))
        if result == frame.NOTHING:
            continue
        payload = bytes(decoder.payload)
        table = messages.payload_of(decoder.kind)
        values = layout.unpack(table, payload) if table is not None else None
        code = profile.check_profile(payload) if decoder.kind == codes.PROFILE_PUT else 255
        row = bytes(
            (
                result,
                decoder.version,
                decoder.kind,
                decoder.sequence & 255,
                decoder.sequence >> 8,
                values is not None,
                code,
            )
        )
        digest = crc32(row + payload, digest)
        if values is not None:
            digest = crc32(
                repr(sorted([(name, numbers(values[name])) for name in values])).encode(), digest
            )
        accepted += 1
    return crc32(bytes((decoder.last_bad, decoder.dropped & 255)), digest), accepted


def numbers(value):
    """A field's value as something both interpreters print alike."""
    return value if isinstance(value, int) else list(value)


def run(seed, count):
    """Check `count` pieces: (check code over all of it, frames accepted)."""
    maker, decoder = Maker(seed), frame.Decoder()
    digest = 0
    accepted = 0
    for _ in range(count):
        digest, more = judge(decoder, maker.next(), digest)
        accepted += more
    return digest, accepted
