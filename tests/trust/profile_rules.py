"""Requirements on a profile, stated a second time as literals: judge of every mutant of the profile check.

Nothing here comes from `profile`; fields are sliced by the layout, tags computed by the standard library.
"""

import hashlib
import hmac
import random
import zlib
from collections.abc import Iterator
from typing import Any

from rimward_protocol import layout, replies

# field, lowest, highest, code outside; in the order in which they are asked
FIELDS = (
    ("revision", 1, 1_073_741_823, replies.PROFILE_REVISION), ("issue", 1, 1_073_741_823, replies.PROFILE_ISSUE), ("rim_class", 0, 5, replies.PROFILE_RIM_CLASS), ("position", 0, 2, replies.PROFILE_POSITION),
    ("chuck", 1, 2, replies.PROFILE_CHUCK), ("limit_source", 1, 6, replies.PROFILE_LIMIT_SOURCE), ("flags", 0, 31, replies.PROFILE_FLAGS),
    ("tyre_width_dmm", 100, 1_300, replies.PROFILE_SIZE_RANGE), ("bead_seat_mm", 100, 700, replies.PROFILE_SIZE_RANGE),
    ("volume_low_ml", 50, 60_000, replies.PROFILE_VOLUME), ("volume_ml", 50, 60_000, replies.PROFILE_VOLUME),
    ("limit_pa", 30_000, 2_000_000, replies.PROFILE_LIMIT), ("ceiling_pa", 30_000, 1_073_741_823, replies.PROFILE_CEILING_LOW),
    ("seat_pause_pa", 20_000, 275_000, replies.PROFILE_SEAT_PAUSE), ("ambient_min_pa", 30_000, 110_000, replies.PROFILE_AMBIENT),
    ("temp_max_ck", 23_315, 39_315, replies.PROFILE_TEMPERATURE), ("ref_temp_ck", 23_315, 33_315, replies.PROFILE_TEMPERATURE),
    ("time_budget_s", 10, 1_800, replies.PROFILE_TIME_BUDGET),
)  # fmt: skip
BENCH_FLAG = 4
BASES: tuple[dict[str, Any], ...] = (
    {
        "revision": 5, "issue": 6, "wheel_id": b"wheel-01", "label": b"Heron rear", "rim_class": 2, "position": 2, "chuck": 1, "limit_source": 3,
        "tyre_width_dmm": 280, "bead_seat_mm": 622, "rim_width_dmm": 210, "flags": 1, "volume_low_ml": 1100, "volume_ml": 1257,
        "limit_pa": 500_000, "ceiling_pa": 480_000, "target_pa": 450_000, "seat_pause_pa": 200_000, "ambient_min_pa": 80_000,
        "temp_max_ck": 31_315, "ref_temp_ck": 29_315, "time_budget_s": 240, "made_days": 2_500,
    },
)  # fmt: skip
HOOKED = {**BASES[0], "rim_class": 5, "limit_pa": 2_000_000, "ceiling_pa": 900_000}
LOWEST = {
    **HOOKED,
    "limit_pa": 30_000,
    "ceiling_pa": 30_000,
    "target_pa": 20_000,
    "seat_pause_pa": 20_000,
}
BENCH = {
    **HOOKED,
    "flags": BENCH_FLAG,
    "rim_class": 1,
    "limit_pa": 500_000,
    "ceiling_pa": 1_500_000,
}
HUGE = {**HOOKED, "volume_low_ml": 60_000, "volume_ml": 60_000}
TINY = {**HOOKED, "volume_low_ml": 50, "volume_ml": 50}
ALL = (*BASES, HOOKED, LOWEST, BENCH, HUGE, TINY)
MORE = {  # further values worth trying, beside five steps round each bound
    "ceiling_pa": (480_000, 500_000, 500_001, 900_000, 900_001, 1_500_000, 1_500_001), "limit_pa": (480_000, 500_000, 500_001, 900_000, 900_001),
    "target_pa": (19_998, 19_999, 20_000, 20_001, 29_999, 30_000, 30_001, 480_000, 480_001, 900_000, 900_001), "seat_pause_pa": (30_000, 30_001, 200_000),
    "rim_width_dmm": (0, 1, 79, 80, 81, 1_299, 1_300, 1_301), "flags": tuple(1 << bit for bit in range(16)),
    "volume_low_ml": (628, 629, 1_256, 1_257, 1_258), "volume_ml": (1_099, 1_100, 1_101, 2_199, 2_200, 2_201), "rim_class": (0, 1, 2, 3, 4, 5, 255),
}  # fmt: skip
LABELS = (
    "á".encode(), "á".encode() * 8 + b"12345678",
    b"", b"x", b"\0x", b"ok\0ok", b"a\nb", b"\x1fa", b"\x20", b"~", b"a\x7fb", b"\x7f", b"\x80", b"\xff", b"\xc3", b"\xc3\x29", "ü".encode() * 11, "軸".encode() * 6,
    b"1234567890123456", b"12345678901234567", b"123456789012345\n", b"123456789012345\x7f", b"\x1f" * 16, b"123456789012345\xc3", "ü".encode() * 12, "軸".encode() * 8, "ü".encode() * 8 + b"12345678", "ü".encode() * 7 + b"1234567890", b"x\0", b"a" * 15,
    b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\xc0\x80", b"\xf0\x9f\x9a\xb2",
)  # fmt: skip
KEYS = (bytes(range(32)), bytes(32), bytes(range(1, 65)), bytes(range(65)), bytes(range(200)), b"")


def expected(data: bytes, bench: bool) -> int:
    """The code that these bytes must be given."""
    if len(data) < 4:
        return replies.PROFILE_SIZE
    if data[:3] != b"RWP":
        return replies.PROFILE_MAGIC
    if data[3] != 2:
        return replies.PROFILE_VERSION_DIFFERS
    if len(data) != 108:
        return replies.PROFILE_SIZE
    if zlib.crc32(data[:88]) != int.from_bytes(data[88:92], "little"):
        return replies.PROFILE_CHECK
    row = layout.unpack(layout.PROFILE, data, 0, 108)
    for name, low, high, code in FIELDS:
        if not low <= row[name] <= high:
            return code
    return _hangs_together(data, row) or _pressures(row, bench)


def _hangs_together(data: bytes, row: dict[str, Any]) -> int:
    if not any(data[12:20]):
        return replies.PROFILE_WHEEL_ID
    if not label_is_good(data[20:44]):
        return replies.PROFILE_LABEL
    if row["rim_width_dmm"] and not 80 <= row["rim_width_dmm"] <= 1_300:
        return replies.PROFILE_SIZE_RANGE
    return (
        0
        if row["volume_low_ml"] <= row["volume_ml"] <= 2 * row["volume_low_ml"]
        else replies.PROFILE_VOLUME
    )


def label_is_good(label: bytes) -> bool:
    text = label.rstrip(b"\0")
    try:
        text.decode("utf-8", "strict")
    except UnicodeDecodeError:
        return False
    return (
        text != b""
        and len(text.decode()) <= 16
        and not any(byte < 32 or byte == 127 for byte in text)
    )


def _pressures(row: dict[str, Any], bench: bool) -> int:
    ceiling, flagged = row["ceiling_pa"], bool(row["flags"] & BENCH_FLAG)
    if flagged and not bench:
        return replies.PROFILE_BENCH
    if bench and not flagged:
        return replies.PROFILE_NOT_BENCH
    if bench and ceiling > 1_500_000:
        return replies.PROFILE_CEILING_ABOVE_RIG
    if not bench and ceiling > row["limit_pa"]:
        return replies.PROFILE_CEILING_ABOVE_LIMIT
    if not bench and ceiling > 900_000:
        return replies.PROFILE_CEILING_ABOVE_RIG
    if not bench and row["rim_class"] not in (3, 4, 5) and row["limit_pa"] > 500_000:
        return replies.PROFILE_STRAIGHT_SIDE
    if not 20_000 <= row["target_pa"] <= ceiling:
        return replies.PROFILE_TARGET
    return replies.PROFILE_SEAT_PAUSE if row["seat_pause_pa"] > ceiling else replies.OK


def tag_of(key: bytes, data: bytes) -> bytes:
    return hmac.new(key, data[:92], hashlib.sha256).digest()[:16]


def sealed(values: dict[str, Any]) -> bytes:
    """A profile of these fields, with a check code computed here."""
    record = {"magic": b"RWP", "version": 2, "crc": 0, "tag": b"", **values}
    body = layout.pack(layout.PROFILE, record)[:88]
    return body + zlib.crc32(body).to_bytes(4, "little") + bytes(16)


def tops() -> dict[str, int]:
    """The highest value that each number field can hold."""
    return {
        name: 2 ** (8 * {"B": 1, "H": 2, "I": 4}[code]) - 1
        for name, code, *_ in layout.PROFILE
        if code in "BHI"
    }


def damaged() -> Iterator[bytes]:
    """Invalid envelopes, one fault each."""
    good = sealed(BASES[0])
    yield from (good[:n] for n in range(len(good)))
    for version in (0, 1, 3, 255):  # whole but for its version
        body = good[:3] + bytes((version,)) + good[4:88]
        yield body + zlib.crc32(body).to_bytes(4, "little") + bytes(16)
    yield from (b"XYZ\1"[:n] for n in range(5))
    yield good + b"\0"
    for place in range(108):
        for bit in (1, 128):
            yield good[:place] + bytes([good[place] ^ bit]) + good[place + 1 :]


def _values(name: str, top: int) -> list[int]:
    edges = [edge for field, low, high, _ in FIELDS if field == name for edge in (low, high)]
    found = (
        {edge + step for edge in edges for step in range(-5, 6)}
        | set(MORE.get(name, ()))
        | {0, top}
    )
    return sorted(value for value in found if 0 <= value <= top)


def profiles(mixed: int = 2_500, seed: int = 6) -> Iterator[bytes]:
    """Profiles with a fitting check code: each field at its edges in every base, labels, and seeded mixtures of edges."""
    top = tops()
    for base in ALL:
        for name in top:
            if name not in ("version", "crc"):
                yield from (sealed({**base, name: value}) for value in _values(name, top[name]))
    yield from (sealed({**BASES[0], "label": label}) for label in LABELS)
    yield from (
        sealed({**BASES[0], "wheel_id": wheel})
        for wheel in (bytes(8), bytes(7) + b"\1", b"\1" + bytes(7))
    )
    for change in (
        {"wheel_id": bytes(8)},
        {"label": b""},
        {"limit_pa": 0},
    ):  # a volume out of range is reported before later checks
        yield from (sealed({**TINY, "volume_ml": volume, **change}) for volume in (49, 50))
    draw = random.Random(seed)
    names = [name for name in top if name not in ("version", "crc")]
    for _ in range(mixed):
        change = {
            name: draw.choice(_values(name, top[name]))
            for name in draw.sample(names, draw.choice((2, 2, 3, 4)))
        }
        yield sealed({**draw.choice(ALL), **change})


def tag_expected(key: bytes | None, data: bytes) -> int:
    """Only a tag of the enrolled key counts; without a key nothing does."""
    if key is None:
        return replies.NO_KEY
    return replies.OK if data[92:108] == tag_of(key, data) else replies.TAG_WRONG


def tagged() -> Iterator[tuple[bytes | None, bytes]]:
    """Keys, and profiles with the right tag, none, one of another key, or the right one with a bit of it or of the rest changed."""
    for base in (BASES[0], {**HOOKED, "ceiling_pa": 500_000}, {**HOOKED, "ceiling_pa": 500_001}):
        plain = sealed(base)
        for key in KEYS:
            right = plain[:92] + tag_of(key, plain)
            yield from ((k, right) for k in (None, *KEYS))
            yield from ((k, plain) for k in (None, key))
            for place in (*range(0, 92, 7), *range(92, 108)):
                for bit in (1, 64):
                    yield key, right[:place] + bytes([right[place] ^ bit]) + right[place + 1 :]
            yield key, plain[:92] + bytes(16 - 1) + b"\x01"
            yield key, plain[:92] + b"\x80" + bytes(15)
