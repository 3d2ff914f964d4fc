"""Profiles as examples: fields, bytes, check code and tag, written with construct, zlib and hmac."""

import hashlib
import hmac
import struct
import zlib
from typing import Any

from rimward.formats import records
from rimward_protocol import layout

KEY = bytes(range(32))
WHEEL = bytes.fromhex("00112233445566 77".replace(" ", ""))


def crc(data: bytes) -> bytes:
    return struct.pack("<I", zlib.crc32(data))


def hexed(fields: dict[str, Any]) -> dict[str, Any]:
    return {
        name: value.hex() if isinstance(value, bytes) else value for name, value in fields.items()
    }


ROAD: dict[str, Any] = {
    "magic": b"RWP", "version": 2, "revision": 7, "issue": 3512345, "wheel_id": WHEEL, "label": "Wren, hinten ü".encode(), "rim_class": 2, "position": 2,
    "chuck": 1, "limit_source": 3, "tyre_width_dmm": 280, "bead_seat_mm": 622, "rim_width_dmm": 230, "flags": 3, "volume_low_ml": 1105,
    "volume_ml": 1257, "limit_pa": 500000, "ceiling_pa": 427000, "target_pa": 410000, "seat_pause_pa": 200000, "ambient_min_pa": 75622,
    "temp_max_ck": 31815, "ref_temp_ck": 29315, "time_budget_s": 240, "made_days": 2519, "crc": 0, "tag": b"",
}  # fmt: skip
TRACK = {
    **ROAD, "revision": 0x3FFFFFFF, "label": b"Plover front 123", "rim_class": 4, "position": 1, "limit_source": 2,
    "rim_width_dmm": 0, "flags": 0, "limit_pa": 1000000, "ceiling_pa": 900000, "target_pa": 899999, "seat_pause_pa": 275000,
}  # fmt: skip


def profile(fields: dict[str, Any], key: bytes | None = None) -> tuple[dict[str, Any], bytes]:
    """(the fields in full, the bytes) of a profile with its check code and, with a key, its tag."""
    record = records.padded(layout.PROFILE, fields)
    body = records.PROFILE.build(record)[:88]
    assert len(body) == 88
    body += crc(body)
    tag = hmac.new(key, body, hashlib.sha256).digest()[:16] if key else bytes(16)
    return {**record, "crc": zlib.crc32(body[:88]), "tag": tag}, body + tag
