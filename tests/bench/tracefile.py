"""A session file with a long trace, made with the protocol's own encoders."""

import struct

from rimward_protocol import codes, layout, session
from rimward_protocol.layouthash import LAYOUT_HASH


def long_trace(blocks: int) -> tuple[bytes, int]:
    """(bytes, trace records): so many full TRACE blocks of a slow rise, and an end."""
    names = {"words_g": 40, "words_x": 24, "words_f": 47, "words_y": 29}
    values = {
        "tick_us": codes.TICK_US,
        "layout_hash": LAYOUT_HASH,
        "kernel_hash": bytes(8),
        "device_id": b"bench---",
        "session": 1,
        "boot": 1,
        "unix_s": 0,
    }
    out = bytearray(session.seal_header(values | names))
    buf = bytearray(session.MAX_PAYLOAD + 32)
    record = struct.Struct(layout.struct_format(layout.TRACE_RECORD))
    head = struct.Struct(layout.struct_format(layout.TRACE))
    for block in range(blocks):
        first = block * session.TRACE_RECORDS
        head.pack_into(buf, 8, 10 * first, 10, session.TRACE_RECORDS, 4500, 4400, 4000)
        for i in range(session.TRACE_RECORDS):
            pressure = (first + i) % 4000
            record.pack_into(
                buf, 8 + head.size + i * record.size, pressure, pressure - 3, pressure, 19, 6
            )
        end = session.seal_block(
            buf, 0, layout.BLOCK_TRACE, block, head.size + session.TRACE_RECORDS * record.size
        )
        out += buf[:end]
    row = {
        "tick": 10 * blocks * session.TRACE_RECORDS,
        "cause": 3,
        "state": 13,
        "flags": 0,
        "peak_pa": 400_000,
        "tyre_pa": 400_000,
        "pump_ticks": 4000,
    }
    body = layout.pack(layout.END, row)
    buf[8 : 8 + len(body)] = body
    out += buf[: session.seal_block(buf, 0, layout.BLOCK_END, blocks, len(body))]
    return bytes(out), blocks * session.TRACE_RECORDS
