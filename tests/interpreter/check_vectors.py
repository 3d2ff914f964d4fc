"""Reproduces protocol/vectors with rimward_protocol's own code. Runs on CPython and on MicroPython alike."""

import json
from array import array
from binascii import hexlify, unhexlify

from rimward_protocol import (
    canonical,
    codes,
    enumerations,
    frame,
    layout,
    mac,
    messages,
    preset,
    profile,
    replies,
    session,
    sessionread,
)
from rimward_protocol.compat import crc32, sha256


def hexed(data):
    return hexlify(data).decode()


def record_of(table, fields):
    """The fields of a vector with hex strings turned into bytes."""
    record = {}
    for row in layout.fields(table):
        value = fields[row[0]]
        record[row[0]] = unhexlify(value) if isinstance(value, str) else value
    return record


class Checker:
    def __init__(self):
        self.count = 0
        self.problems = []

    def same(self, name, got, want):
        self.count += 1
        if got != want:
            self.problems.append(name + ": got " + str(got)[:200] + ", want " + str(want)[:200])


def check_digests(check, vectors):
    for row in vectors["rows"]:
        key, data = unhexlify(row["key"]), unhexlify(row["data"])
        check.same("hmac", hexed(mac.hmac_sha256(key, data)), row["hmac"])
        check.same("hmac in parts", hexed(mac.hmac_sha256(key, data[:5], data[5:])), row["hmac"])
        check.same("tag", hexed(mac.tag16(key, data)), row["tag"])
        check.same("sha256", hexed(sha256(data)), row["sha256"])
        check.same("crc32", crc32(data), row["crc32"])
        check.same("crc32 in parts", crc32(data[5:], crc32(data[:5])), row["crc32"])
    check.same("layout hash", hexed(layout.layout_hash()), vectors["layout_hash"])
    check.same(
        "layout hash worked out here", hexed(canonical.computed_hash()), vectors["layout_hash"]
    )


def check_profiles(check, vectors):
    key = unhexlify(vectors["key"])
    for row in vectors["good"]:
        data = unhexlify(row["hex"])
        record = record_of(layout.PROFILE, row["fields"])
        check.same(row["name"] + " packed", hexed(layout.pack(layout.PROFILE, record)), row["hex"])
        check.same(row["name"] + " unpacked", layout.unpack(layout.PROFILE, data), record)
        sealed = dict(record)
        sealed["tag"] = b""
        sealed = layout.seal_profile(sealed)
        check.same(
            row["name"] + " sealed",
            hexed(profile.tag_profile(key, sealed) if row["tagged"] else sealed),
            row["hex"],
        )
        check.same(
            row["name"] + " tag",
            profile.check_tag(key, data),
            0 if row["tagged"] else replies.TAG_WRONG,
        )
        check.same(row["name"] + " without a key", profile.check_tag(None, data), replies.NO_KEY)
        check.same(row["name"] + " untagged", profile.check_tag(key, sealed), replies.TAG_WRONG)
        check.same(row["name"] + " check", profile.check_profile(data), row["code"])
    for row in vectors["bad"]:
        check.same(
            row["name"] + " check", profile.check_profile(unhexlify(row["hex"])), row["code"]
        )
    check_presets(check, key, vectors["presets"])


def check_presets(check, key, vectors):
    data = unhexlify(vectors["good"]["hex"])
    record = record_of(layout.PRESET, vectors["good"]["fields"])
    check.same("preset unpacked", layout.unpack(layout.PRESET, data), record)
    record["tag"] = b""
    sealed = layout.seal_preset(record)
    check.same("preset sealed", hexed(preset.tag_preset(key, sealed)), vectors["good"]["hex"])
    check.same("preset check", preset.check_preset(data), 0)
    check.same(
        "preset tag",
        [preset.tag_fits(key, data), preset.tag_fits(key, sealed), preset.tag_fits(None, data)],
        [True, False, False],
    )
    for row in vectors["bad"]:
        check.same(
            "preset: " + row["name"], preset.check_preset(unhexlify(row["hex"])), row["code"]
        )


def check_messages(check, vectors):
    for row in vectors:
        table = messages.payload_of(row["number"])
        record = record_of(table, row["fields"])
        check.same(row["word"] + " packed", hexed(layout.pack(table, record)), row["hex"])
        check.same(row["word"] + " unpacked", layout.unpack(table, unhexlify(row["hex"])), record)
        check.same(
            row["word"] + " word", codes.word_of(enumerations.MESSAGES, row["number"]), row["word"]
        )


def read_stream(decoder, data):
    found = []
    at = 0
    while at < len(data):
        result, at = decoder.feed(data, at, len(data))
        if result:
            found.append([decoder.kind, decoder.sequence, hexed(decoder.payload)])
    return found


def check_frames(check, vectors):
    encoder = frame.Encoder()
    for row in vectors["frames"]:
        payload = unhexlify(row["payload"])
        encoder.payload[: len(payload)] = payload
        length = encoder.finish(row["kind"], row["sequence"], len(payload))
        check.same("frame", hexed(encoder.out[:length]), row["wire"])
        check.same(
            "frame read",
            read_stream(frame.Decoder(), unhexlify(row["wire"])),
            [[row["kind"], row["sequence"], row["payload"]]],
        )
    for row in vectors["streams"]:
        decoder = frame.Decoder()
        check.same(row["name"], read_stream(decoder, unhexlify(row["hex"])), row["frames"])
        check.same(row["name"] + " dropped", decoder.dropped, row["dropped"])


def fast_payload(row):
    """The FAST payload that the recorder writes for a vector's ticks."""
    x = array("i", [0] * 24)
    y = array("i", [0] * 40)
    recorder = session.FastRecorder(
        x, ((x, 2, 3, session.FIELD_X), (x, 5, 24, session.FIELD_X), (y, 0, 40, session.FIELD_Y))
    )
    recorder.start()
    out = fill = 0
    for i in range(len(row["columns"][0])):
        for j, at in enumerate((0, 1, 3, 4)):
            x[at] = row["columns"][j][i]
        for offset, field, value in row["changes"]:
            if offset == i:
                if field == session.FIELD_OUT:
                    out = value
                elif field == session.FIELD_FILL:
                    fill = value
                elif field >= session.FIELD_Y:
                    y[field - session.FIELD_Y] = value
                else:
                    x[field] = value
        recorder.add(row["tick"] + i, out, fill)
    recorder.turn()
    return write_all(recorder)


def write_all(recorder):
    """Payloads of the bank that is ready."""
    bank = recorder.ready()
    buf = bytearray(session.MAX_PAYLOAD)
    parts = []
    first = 0
    while first < bank.n:
        length, first = recorder.write(bank, first, buf, 0)
        parts.append(bytes(buf[:length]))
    recorder.release(bank)
    return parts


def check_sessions(check, vectors):
    for row in vectors["fast"]:
        data = unhexlify(row["hex"])
        tick, columns, changes = sessionread.read_fast(data, 0, len(data))
        check.same(row["name"] + " read", [tick, columns], [row["tick"], row["columns"]])
        check.same(
            row["name"] + " changes", sorted([list(c) for c in changes]), sorted(row["changes"])
        )
        parts = fast_payload(row)
        check.same(row["name"] + " parts", len(parts), 1)
        check.same(row["name"] + " written", sorted_changes(parts[0]), sorted_changes(data))
    header = record_of(layout.SESSION_HEADER, vectors["header"])
    check.same("session header", hexed(session.seal_header(header)), vectors["header_hex"])
    check.same(
        "session header read", sessionread.read_header(unhexlify(vectors["header_hex"]))[1], header
    )
    check_log(check, vectors)


def sorted_changes(payload):
    """A FAST payload whose change records are in order of tick and field, as hex."""
    changes = payload[2 + 3]
    cut = len(payload) - 6 * changes
    records = sorted([payload[cut + 6 * i : cut + 6 * i + 6] for i in range(changes)])
    return hexed(payload[:cut] + b"".join(records))


def check_log(check, vectors):
    key = unhexlify(vectors["key"])
    head = unhexlify(vectors["header_hex"])
    plain = bytearray(head)
    chained = bytearray(head)
    previous = session.chain_start(key, head)
    buf = bytearray(session.MAX_PAYLOAD + 28)
    for sequence, (kind, payload) in enumerate(vectors["blocks"]):
        payload = unhexlify(payload)
        buf[8 : 8 + len(payload)] = payload
        plain.extend(buf[: session.seal_block(buf, 0, kind, sequence, len(payload))])
        end = session.seal_block(buf, 0, kind, sequence, len(payload), session.FLAG_MAC)
        previous = session.add_mac(buf, 0, end, key, previous)
        chained.extend(buf[: end + 16])
    check.same("plain log", hexed(plain), vectors["log"])
    check.same("chained log", hexed(chained), vectors["chained"])
    why, _header, blocks, good = sessionread.read_blocks(plain)
    check.same("log read", [why, good], ["ok", len(plain)])
    check.same(
        "log blocks", [[kind, hexed(plain[a:b])] for kind, a, b in blocks], vectors["blocks"]
    )
    check.same("log cut", sessionread.read_blocks(plain[:-1])[0], "torn")
    check.same("chain", sessionread.chain_holds(chained, key), True)
    chained[70] ^= 1
    check.same("chain broken", sessionread.chain_holds(chained, key), False)


CHECKS = {
    "digests": check_digests,
    "profile": check_profiles,
    "messages": check_messages,
    "frames": check_frames,
    "session": check_sessions,
}


def run(folder):
    """(checks made, what did not come out right) for all vectors in a folder."""
    check = Checker()
    for name, function in CHECKS.items():
        with open(folder + "/" + name + ".json") as file:
            function(check, json.load(file))
    return check.count, check.problems
