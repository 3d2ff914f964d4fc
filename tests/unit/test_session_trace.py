"""The trace of a session: read in one piece by numpy, it is record for record what the plain tables say; a block that contradicts itself is refused."""

import random
import struct

import numpy as np
import pytest
from rimward.base.errors import Refusal
from rimward.sessions import read_session
from rimward_protocol import codes, layout, session, sessionread
from rimward_protocol.layouthash import LAYOUT_HASH

RECORD = layout.size(layout.TRACE_RECORD)
HEAD = layout.size(layout.TRACE)


def a_log(blocks: list[bytes]) -> bytes:
    """A log of TRACE blocks with these payloads."""
    words = {"words_g": 40, "words_x": 24, "words_f": 47, "words_y": 29}
    values = {
        "tick_us": codes.TICK_US,
        "layout_hash": LAYOUT_HASH,
        "kernel_hash": bytes(8),
        "device_id": b"trace---",
        "session": 1,
        "boot": 1,
        "unix_s": 0,
    }
    out = bytearray(session.seal_header(values | words))
    for number, payload in enumerate(blocks):
        buf = bytearray(8) + payload + bytes(8)
        out += buf[: session.seal_block(buf, 0, layout.BLOCK_TRACE, number, len(payload))]
    return bytes(out)


def a_block(dice: random.Random, tick: int, count: int, extra: bytes = b"") -> bytes:
    """A payload of `count` records, drawn."""
    head = struct.pack(
        layout.struct_format(layout.TRACE),
        tick,
        dice.choice((1, 10)),
        count,
        *(dice.randrange(0, 9000) for _ in range(3)),
    )
    form = layout.struct_format(layout.TRACE_RECORD)
    hpa = (*range(-40, 9000, 37), 32767, -32767, layout.UNKNOWN_HPA)
    return (
        head
        + b"".join(
            struct.pack(
                form, *(dice.choice(hpa) for _ in range(3)), dice.randrange(64), dice.randrange(17)
            )
            for _ in range(count)
        )
        + extra
    )


def by_tables(payload: bytes) -> list[tuple[int, ...]]:
    """The records as the protocol's own tables read them."""
    head = layout.unpack(layout.TRACE, payload)
    rows = []
    for i in range(head["n"]):
        row = layout.unpack(layout.TRACE_RECORD, head["records"][i * RECORD : (i + 1) * RECORD])
        tyre = -1 if row["tyre_hpa"] == layout.UNKNOWN_HPA else 100 * row["tyre_hpa"]
        limits = (100 * head[f"{name}_hpa"] for name in ("ceiling", "stop", "target"))
        rows.append(
            (
                head["tick"] + i * head["step"],
                100 * row["a_hpa"],
                100 * row["b_hpa"],
                tyre,
                row["out"],
                row["state"],
                *limits,
            )
        )
    return rows


@pytest.mark.parametrize("order", ["by tick", "mixed"])
def test_the_trace_is_what_the_tables_say(order):
    dice = random.Random(order)
    blocks = [
        a_block(dice, 1000 * number, dice.choice((0, 1, 2, 7, session.TRACE_RECORDS)))
        for number in range(40)
    ]
    if order == "mixed":
        dice.shuffle(blocks)
    wanted = sorted((row for block in blocks for row in by_tables(block)), key=lambda row: row[0])
    log = read_session(a_log(blocks))
    assert log.trace.tolist() == wanted and len(wanted) > 300
    assert log.trace.dtype["tick"] == np.int64


def test_records_of_equal_ticks_stay_in_the_order_of_their_blocks():
    dice = random.Random(4)
    blocks = [a_block(dice, 0, 3), a_block(dice, 500, 2), a_block(dice, 0, 3)]
    wanted = sorted((row for block in blocks for row in by_tables(block)), key=lambda row: row[0])
    assert read_session(a_log(blocks)).trace.tolist() == wanted


def test_a_torn_trace_is_read_to_its_last_good_block():
    dice = random.Random(5)
    blocks = [a_block(dice, 100 * number, 10) for number in range(4)]
    whole = a_log(blocks)
    size = len(whole) - len(a_log(blocks[:3]))
    for cut in (1, size // 2, size - 1):
        log = read_session(whole[:-cut])
        assert (
            len(log.trace) == 30
            and log.damage == "its end is missing"
            and log.good_bytes == len(whole) - size
        )
    broken = bytearray(whole)
    broken[-size - 20] ^= 4
    log = read_session(bytes(broken))
    assert len(log.trace) == 20 and log.damage == "a block fails its check code"
    assert sessionread.read_blocks(broken)[3] == log.good_bytes


def test_no_trace_at_all():
    assert len(read_session(a_log([])).trace) == 0


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        bytes(HEAD - 1),
        a_block(random.Random(6), 0, 9)[:-1],
        struct.pack(layout.struct_format(layout.TRACE), 0, 1, 255, 0, 0, 0),
    ],
)
def test_a_block_that_contradicts_itself_is_refused(payload):
    with pytest.raises(Refusal, match="is inconsistent"):
        read_session(a_log([a_block(random.Random(7), 0, 2), payload]))
