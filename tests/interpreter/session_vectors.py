"""Examples of session blocks, whole logs and their digests, written with construct and numpy."""

import hashlib
import hmac
import struct
import zlib
from typing import Any

from rimward.formats import records
from rimward_protocol import layout

from tests.interpreter.record_vectors import KEY, ROAD, WHEEL, crc, hexed, profile


def columns(kind: str) -> list[list[int]]:
    """A, B, LOAD, GAP of n ticks that need the coding `kind` for A."""
    n = {"one": 1, "two": 2}.get(kind, 64)
    step = {"constant": 0, "i4": 7, "i8": 127, "i16": 32767, "values": 32768}.get(kind, -8)
    a = [30000 + (step if i % 2 else 0) for i in range(n)]
    return [
        a,
        [6554 + 4 * (i * i % 29) for i in range(n)],
        [1] * n,
        [15 + (i * 5 % 8 > 2) for i in range(n)],
    ]


def fast(tick: int, cols: list[list[int]], changes: list[list[int]]) -> bytes:
    """A FAST payload, written with construct and numpy."""
    import numpy as np

    coding, body = 0, b""
    for i, column in enumerate(cols):
        deltas: Any = np.diff(np.array(column, np.int64))
        low, high = (int(deltas.min()), int(deltas.max())) if len(deltas) else (0, 0)
        bounds = ((0, 0), (-8, 7), (-128, 127), (-32768, 32767))
        code = next((c for c, (a, b) in enumerate(bounds) if a <= low and high <= b), 4)
        coding |= code << 4 * i
        if code == 1:
            nibbles = np.append(deltas & 15, [0] * (len(deltas) % 2)).astype(np.uint8)
            body += (nibbles[0::2] | nibbles[1::2] << 4).astype(np.uint8).tobytes()
        elif code:
            kind = {2: "<i1", 3: "<i2", 4: "<i4"}[code]
            body += (deltas if code < 4 else np.array(column[1:])).astype(kind).tobytes()
    head = {
        "tick": tick,
        "n": len(cols[0]),
        "changes": len(changes),
        "coding": coding,
        "columns": b"",
    }
    head.update({name: cols[i][0] for i, name in enumerate(("a", "b", "load", "gap"))})
    tail = b"".join(
        records.CHANGE.build(dict(zip(("offset", "field", "value"), row, strict=True)))
        for row in changes
    )
    return records.BLOCKS[layout.BLOCK_FAST].build({**head, "columns": body + tail})


def block(kind: int, sequence: int, payload: bytes, flags: int = 0) -> bytes:
    head = records.BLOCK_HEADER.build(
        {"kind": kind, "flags": flags, "length": len(payload), "sequence": sequence}
    )
    return head + payload + crc(head + payload)


def sessions() -> dict[str, Any]:
    changes = [[0, 2, 17], [0, 128, 3], [0, 129, 1]]
    fasts = []
    for kind in ("constant", "i4", "i8", "i16", "values", "one", "two"):
        cols = columns(kind)
        rows = changes + ([[63, 128, 0], [63, 64 + 20, -2147483648]] if len(cols[0]) == 64 else [])
        tick = 2**30 - 64 if kind == "i8" else 1000
        fasts.append(
            {
                "name": kind,
                "tick": tick,
                "columns": cols,
                "changes": rows,
                "hex": fast(tick, cols, rows).hex(),
            }
        )
    header = {
        "magic": b"RWS", "version": 1, "header_bytes": 60, "tick_us": 2000, "layout_hash": bytes(range(8)), "kernel_hash": bytes(8),
        "device_id": WHEEL, "session": 41, "boot": 3, "unix_s": 4102444800, "words_g": 5, "words_x": 24, "words_f": 3, "words_y": 2,
        "reserved": bytes(8), "crc": 0,
    }  # fmt: skip
    body = records.SESSION_HEADER.build(header)[:-4]
    header["crc"] = zlib.crc32(body)
    return {
        "key": KEY.hex(),
        "fast": fasts,
        "header": hexed(header),
        "header_hex": (body + crc(body)).hex(),
        **whole_log(body + crc(body)),
    }


def log_payloads() -> list[tuple[int, bytes]]:
    """One payload of every block kind, in the order a fill writes them."""
    words = struct.pack("<5i", 0, -1, 2**31 - 1, -(2**31), 65536)
    event = {
        "tick": 1000,
        "event": 3,
        "cause": 0,
        "state": 1,
        "out": 16,
        "value": 427000,
        "value2": 417000,
    }
    trace = {
        "tick": 1000,
        "step": 10,
        "n": 2,
        "ceiling_hpa": 4270,
        "stop_hpa": 4170,
        "target_hpa": 4100,
    }
    rows = struct.pack("<hhhBBhhhBB", 100, 101, -32768, 19, 6, 1200, 1198, 1150, 16, 8)
    end = {
        "tick": 9999,
        "cause": 3,
        "state": 13,
        "flags": 0,
        "peak_pa": 413210,
        "tyre_pa": -1,
        "pump_ticks": 5000,
    }
    snapshot = {"tick": 1000, "array": 0, "first": 0, "count": 5, "total": 5, "words": words}
    return [
        (5, records.BLOCKS[5].build({"key": 1, "data": profile(ROAD, KEY)[1]})),
        (1, records.BLOCKS[1].build(snapshot)),
        (4, records.BLOCKS[4].build(event)),
        (2, fast(1000, columns("i8"), [[0, 128, 3]])),
        (3, records.BLOCKS[3].build({**trace, "records": rows})),
        (6, records.BLOCKS[6].build(end)),
    ]


def whole_log(header: bytes) -> dict[str, Any]:
    """A whole log, plain and chained with a MAC."""
    plain, chained = header, header
    mac = hmac.new(KEY, header, hashlib.sha256).digest()[:16]
    for sequence, (kind, payload) in enumerate(log_payloads()):
        plain += block(kind, sequence, payload)
        sealed = block(kind, sequence, payload, 1)
        mac = hmac.new(KEY, mac + sealed, hashlib.sha256).digest()[:16]
        chained += sealed + mac
    blocks = [[kind, payload.hex()] for kind, payload in log_payloads()]
    return {"blocks": blocks, "log": plain.hex(), "chained": chained.hex()}
