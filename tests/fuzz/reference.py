"""An independent reading of the line: a COBS library, zlib and construct, against the parsers that firmware and host run."""

import struct
import zlib

from cobs import cobs
from rimward.base.errors import Refusal
from rimward.formats import records
from rimward_protocol import codes, frame, layout, messages, profile

from tests.fuzz.frames import Maker

Frame = tuple[int, int, int, bytes]  # version, kind, sequence, payload


class Reference:
    """Frames out of a line by library parts."""

    def __init__(self) -> None:
        self._open = b""

    def feed(self, line: bytes) -> list[Frame]:
        """Sound frames that ended in this piece."""
        *whole, self._open = (self._open + line).split(b"\0")
        return [found for found in map(self._judge, whole) if found]

    @staticmethod
    def _judge(stuffed: bytes) -> Frame | None:
        try:
            raw = cobs.decode(stuffed) if stuffed else b""
        except cobs.DecodeError:
            return None
        if not 8 <= len(raw) <= 520 or zlib.crc32(raw[:-4]) != struct.unpack("<I", raw[-4:])[0]:
            return None
        version, kind, sequence = struct.unpack("<BBH", raw[:4])
        return version, kind, sequence, raw[4:-4]


def fed(decoder: frame.Decoder, line: bytes) -> list[Frame]:
    """Sound frames that the common decoder finds in this piece."""
    found, at = [], 0
    while at < len(line):
        result, at = decoder.feed(line, at, len(line))
        if result != frame.NOTHING:
            assert (result == frame.FRAME) == (decoder.version == codes.PROTOCOL_VERSION)
            found.append((decoder.version, decoder.kind, decoder.sequence, bytes(decoder.payload)))
    return found


def both_read(kind: int, payload: bytes) -> bool:
    """True if firmware and host both take the payload, with equal values; False if both refuse it. AssertionError if they differ."""
    table = messages.payload_of(kind)
    ours = layout.unpack(table, payload) if table is not None else None
    try:
        theirs = records.unpack_message(kind, payload)
    except Refusal:
        theirs = None
    assert ours == theirs, (kind, payload.hex(), ours, theirs)
    return ours is not None


# What a profile must satisfy, restated as literals: field -> (lowest, highest)
LITERALS = {
    "revision": (1, 2**30 - 1), "issue": (1, 2**30 - 1), "rim_class": (0, 5), "position": (0, 2), "chuck": (1, 2), "limit_source": (1, 6), "limit_pa": (30_000, 2_000_000),
    "ceiling_pa": (30_000, 900_000), "target_pa": (20_000, 900_000), "seat_pause_pa": (20_000, 275_000), "ambient_min_pa": (30_000, 110_000),
    "time_budget_s": (10, 1800),
}  # fmt: skip


def profile_is_right(data: bytes) -> bool:
    """Verdict of both sides on a profile; AssertionError where they differ or accept one that must be refused."""
    code = profile.check_profile(data)
    try:
        fields = records.unpack_profile(data)
    except Refusal:
        fields = None
    assert (code == 0) == (fields is not None), (code, data.hex())
    if fields is None:
        return False
    assert len(data) <= 112 and data[:4] == b"RWP\x02"
    end = len(data) - 20
    assert zlib.crc32(data[:end]) == struct.unpack("<I", data[end : end + 4])[0]
    for name, (low, high) in LITERALS.items():
        assert low <= fields[name] <= high, (name, fields[name])
    assert fields["target_pa"] <= fields["ceiling_pa"] <= fields["limit_pa"]
    assert fields["rim_class"] not in (0, 1, 2) or fields["ceiling_pa"] <= 500_000
    assert any(fields["wheel_id"]) and not fields["flags"] & ~31
    return True


def compare(seed: int, count: int) -> dict[str, int]:
    """Run `count` pieces past both readings; return what was counted. AssertionError at the first difference."""
    maker, decoder, reference = Maker(seed), frame.Decoder(), Reference()
    counts = {"pieces": 0, "frames": 0, "payloads": 0, "profiles_right": 0, "profiles_wrong": 0}
    for _ in range(count):
        line = maker.next()
        found = fed(decoder, line)
        assert found == reference.feed(line), (maker.way, line.hex())
        counts["pieces"] += 1
        counts["frames"] += len(found)
        for version, kind, _sequence, payload in found:
            if version == codes.PROTOCOL_VERSION:
                counts["payloads"] += both_read(kind, payload)
                if kind == codes.PROFILE_PUT:
                    counts["profiles_right" if profile_is_right(payload) else "profiles_wrong"] += 1
    return counts
