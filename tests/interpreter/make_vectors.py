"""Writes protocol/vectors/*.json: `python -m tests.interpreter.make_vectors`.

The bytes come from construct, numpy, zlib, hmac and the `cobs` package, never from rimward_protocol's own packing, so
that the vectors are an outside check of it. Bytes are hex strings.
"""

import hashlib
import hmac
import json
import struct
import zlib
from pathlib import Path
from typing import Any

from cobs import cobs
from rimward.formats import records
from rimward_protocol import canonical, codes, layout, messages, replies

from tests.interpreter.record_vectors import KEY, ROAD, TRACK, WHEEL, crc, hexed, profile
from tests.interpreter.session_vectors import sessions

FOLDER = Path(__file__).parents[2] / "protocol" / "vectors"


def profiles() -> dict[str, Any]:
    good = []
    for name, fields, key in (
        ("road", ROAD, KEY),
        ("road-untagged", ROAD, None),
        ("track", TRACK, KEY),
    ):
        full, data = profile(fields, key)
        good.append(
            {
                "name": name,
                "fields": hexed(full),
                "hex": data.hex(),
                "code": 0,
                "tagged": key is not None,
            }
        )
    return {"key": KEY.hex(), "good": good, "bad": bad_profiles(), "presets": presets()}


PRESET: dict[str, Any] = {
    "magic": b"RWR", "version": 1, "issue": 3512346, "preset_id": bytes(range(1, 9)), "rider": "Inés".encode(), "flags": 1, "temp_max_ck": 31815,
    "ambient_min_pa": 75622, "front_wheel": WHEEL, "front_issue": 3512345, "front_target_pa": 395000, "rear_wheel": b"rearwhl0",
    "rear_issue": 3512340, "rear_target_pa": 410000, "made_days": 2519, "crc": 0, "tag": b"",
}  # fmt: skip


def preset(fields: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    """(the fields in full, the bytes) of a preset with its check code and its tag."""
    record = records.padded(layout.PRESET, fields)
    body = records.structure(layout.PRESET).build(record)[:-20]
    body += crc(body)
    tag = hmac.new(KEY, body, hashlib.sha256).digest()[:16]
    return {**record, "crc": zlib.crc32(body[:-4]), "tag": tag}, body + tag


def presets() -> dict[str, Any]:
    """A sound preset and one for each reason of refusal."""
    full, data = preset(PRESET)
    changes: list[tuple[str, dict[str, Any], int]] = [
        ("no id", {"preset_id": bytes(8)}, replies.PRESET_WHEELS),
        ("no front wheel", {"front_wheel": bytes(8)}, replies.PRESET_WHEELS),
        ("one wheel twice", {"rear_wheel": WHEEL}, replies.PRESET_WHEELS),
        ("issue 0", {"issue": 0}, replies.PRESET_VALUE),
        ("no target", {"front_target_pa": 19999}, replies.PRESET_VALUE),
        ("unknown flag", {"flags": 2}, replies.PRESET_VALUE),
        ("too hot", {"temp_max_ck": 39316}, replies.PRESET_VALUE),
        ("thin air", {"ambient_min_pa": 29999}, replies.PRESET_VALUE),
        ("no rider", {"rider": b""}, replies.PRESET_VALUE),
        ("a profile's magic", {"magic": b"RWP"}, replies.PRESET_RECORD),
        ("version 2", {"version": 2}, replies.PRESET_RECORD),
    ]
    bad = [
        {"name": name, "hex": preset({**PRESET, **change})[1].hex(), "code": code}
        for name, change, code in changes
    ]
    bad.append({"name": "cut", "hex": data[:-1].hex(), "code": replies.PRESET_RECORD})
    bad.append(
        {
            "name": "bit flipped",
            "hex": (data[:50] + bytes([data[50] ^ 1]) + data[51:]).hex(),
            "code": replies.PRESET_RECORD,
        }
    )
    return {"good": {"fields": hexed(full), "hex": data.hex()}, "bad": bad}


def bad_profiles() -> list[dict[str, Any]]:
    """One profile for each reason of refusal, and damaged ones."""
    changes: list[tuple[str, dict[str, Any], int]] = [
        ("unknown flag", {"flags": 35}, replies.PROFILE_FLAGS),
        ("issue 0", {"issue": 0}, replies.PROFILE_ISSUE),
        ("17 letters", {"label": b"Plover front 1234"}, replies.PROFILE_LABEL),
        ("no wheel", {"wheel_id": bytes(8)}, replies.PROFILE_WHEEL_ID),
        ("revision 0", {"revision": 0}, replies.PROFILE_REVISION),
        ("revision of 31 bits", {"revision": 0x40000000}, replies.PROFILE_REVISION),
        ("no label", {"label": b""}, replies.PROFILE_LABEL),
        ("half a character", {"label": b"Wren \xc3"}, replies.PROFILE_LABEL),
        ("overlong form", {"label": b"\xc0\xafWren"}, replies.PROFILE_LABEL),
        ("surrogate", {"label": b"\xed\xa0\x80"}, replies.PROFILE_LABEL),
        ("zero inside", {"label": b"Wren\0hinten"}, replies.PROFILE_LABEL),
        ("rim class 6", {"rim_class": 6}, replies.PROFILE_RIM_CLASS),
        ("position 3", {"position": 3}, replies.PROFILE_POSITION),
        ("chuck 0", {"chuck": 0}, replies.PROFILE_CHUCK),
        ("source 0", {"limit_source": 0}, replies.PROFILE_LIMIT_SOURCE),
        ("tyre 9.9 mm", {"tyre_width_dmm": 99}, replies.PROFILE_SIZE_RANGE),
        ("low above nominal", {"volume_low_ml": 1258}, replies.PROFILE_VOLUME),
        ("low under half", {"volume_low_ml": 600}, replies.PROFILE_VOLUME),
        ("limit over 2 MPa", {"limit_pa": 2000001, "rim_class": 4}, replies.PROFILE_LIMIT),
        ("ceiling above limit", {"ceiling_pa": 500001}, replies.PROFILE_CEILING_ABOVE_LIMIT),
        (
            "ceiling above rig",
            {"rim_class": 4, "limit_pa": 1000000, "ceiling_pa": 900001},
            replies.PROFILE_CEILING_ABOVE_RIG,
        ),
        (
            "straight side at 501 kPa",
            {"limit_pa": 501000, "ceiling_pa": 501000},
            replies.PROFILE_STRAIGHT_SIDE,
        ),
        (
            "unknown rim at 501 kPa",
            {"rim_class": 0, "limit_pa": 501000},
            replies.PROFILE_STRAIGHT_SIDE,
        ),
        ("ceiling 29999", {"ceiling_pa": 29999}, replies.PROFILE_CEILING_LOW),
        ("target above ceiling", {"target_pa": 427001}, replies.PROFILE_TARGET),
        ("target 0", {"target_pa": 0}, replies.PROFILE_TARGET),
        ("pause 275001", {"seat_pause_pa": 275001}, replies.PROFILE_SEAT_PAUSE),
        (
            "pause above ceiling",
            {"ceiling_pa": 150000, "target_pa": 140000},
            replies.PROFILE_SEAT_PAUSE,
        ),
        ("ambient 29999", {"ambient_min_pa": 29999}, replies.PROFILE_AMBIENT),
        ("too hot", {"temp_max_ck": 39316}, replies.PROFILE_TEMPERATURE),
        ("budget 9 s", {"time_budget_s": 9}, replies.PROFILE_TIME_BUDGET),
        ("bench", {"flags": 7}, replies.PROFILE_BENCH),
    ]
    rows = [
        {"name": name, "hex": profile({**ROAD, **change}, KEY)[1].hex(), "code": code}
        for name, change, code in changes
    ]
    good = profile(ROAD, KEY)[1]
    damaged = [
        ("empty", b"", replies.PROFILE_SIZE),
        ("cut", good[:-1], replies.PROFILE_SIZE),
        ("one more", good + b"\0", replies.PROFILE_SIZE),
        ("another magic", b"RWX" + good[3:], replies.PROFILE_MAGIC),
        ("version 1", good[:3] + b"\1" + good[4:], replies.PROFILE_VERSION_DIFFERS),
        ("bit flipped", good[:60] + bytes([good[60] ^ 1]) + good[61:], replies.PROFILE_CHECK),
    ]
    return rows + [{"name": name, "hex": data.hex(), "code": code} for name, data, code in damaged]


def sample(index: int, code: str) -> Any:
    """An unremarkable value for a field, at or near the end of its range, different for each place."""
    if code == "*":
        return bytes((index * 37 + k * 11) & 255 for k in range(9))
    if code.endswith("s"):
        return bytes((index * 53 + k * 29) & 255 for k in range(int(code[:-1])))
    top = {"B": 255, "H": 65535, "I": 2**32 - 1, "b": 127, "h": 32767, "i": 2**31 - 1}[code]
    return top - index * 3 if index % 2 or code.isupper() else -top + index


def payloads() -> list[dict[str, Any]]:
    rows = []
    for number, word, table, _replies in messages.PAYLOADS:
        fields = {row[0]: sample(i, row[1]) for i, row in enumerate(table)}
        data = records.MESSAGES[number].build(fields)
        rows.append({"number": number, "word": word, "fields": hexed(fields), "hex": data.hex()})
    return rows


def wire(kind: int, sequence: int, payload: bytes, version: int = codes.PROTOCOL_VERSION) -> bytes:
    raw = struct.pack("<BBH", version, kind, sequence) + payload
    return cobs.encode(raw + crc(raw)) + b"\0"


def frames() -> dict[str, Any]:
    long = bytes(range(1, 255)) * 2
    chosen = [
        (0x02, 0, b""),
        (0x42, 1, bytes(58)),
        (0x43, 65535, long),
        (0x4A, 0x0100, bytes(512)),
        (0x7F, 3, b"\0\x12\1\0\0\0"),
    ]
    rows = [
        {"kind": k, "sequence": s, "payload": p.hex(), "wire": wire(k, s, p).hex()}
        for k, s, p in chosen
    ]
    one, two = wire(2, 1, b""), wire(0x4D, 2, b"abc")
    noise = b"\x05\x11\x22\x00"
    flipped = bytes([one[0], one[1] ^ 4]) + one[2:]
    streams = [
        ("two in one go", one + two, [[2, 1, ""], [0x4D, 2, "616263"]], 0),
        ("noise before", noise + one, [[2, 1, ""]], 1),
        ("zeros between", b"\0\0" + one + b"\0\0" + two, [[2, 1, ""], [0x4D, 2, "616263"]], 0),
        ("bit flipped", flipped + two, [[0x4D, 2, "616263"]], 1),
        ("cut short", two[:-3] + b"\0" + one, [[2, 1, ""]], 1),
        ("joined without a zero", two[:-1] + one + one, [[2, 1, ""]], 1),
        ("longer than may be", b"\xff" * 700 + b"\0" + one, [[2, 1, ""]], 1),
        ("another version", wire(2, 9, b"", 1) + one, [[2, 9, ""], [2, 1, ""]], 0),
    ]
    return {
        "frames": rows,
        "streams": [
            {"name": n, "hex": h.hex(), "frames": f, "dropped": d} for n, h, f, d in streams
        ],
    }


def digests() -> dict[str, Any]:
    rows = []
    for key, data in (
        (b"", b""),
        (KEY, b"Fernhollow Wheels"),
        (bytes(64), bytes(65)),
        (bytes(range(65)), bytes(range(256))),
    ):
        tag = hmac.new(key, data, hashlib.sha256).digest()
        digest, check = hashlib.sha256(data).hexdigest(), zlib.crc32(data)
        rows.append(
            {
                "key": key.hex(),
                "data": data.hex(),
                "hmac": tag.hex(),
                "tag": tag[:16].hex(),
                "sha256": digest,
                "crc32": check,
            }
        )
    return {
        "rows": rows,
        "layout_hash": layout.layout_hash()[:2].hex()
        + hashlib.sha256(canonical.canonical_text().encode()).hexdigest()[:12],
    }


def everything() -> dict[str, Any]:
    """File name -> what it holds."""
    assert codes.PROFILE_VERSION == 2 and codes.SESSION_VERSION == 1
    return {
        "profile": profiles(),
        "messages": payloads(),
        "frames": frames(),
        "session": sessions(),
        "digests": digests(),
    }


def text_of(value: Any) -> str:
    return json.dumps(value, indent=1, ensure_ascii=True) + "\n"


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for name, value in everything().items():
        (FOLDER / f"{name}.json").write_text(text_of(value))
        print(f"wrote protocol/vectors/{name}.json")


if __name__ == "__main__":
    main()
