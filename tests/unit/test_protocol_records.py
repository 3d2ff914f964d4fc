"""The host's side of the tables: what does not fit is refused in one line that names the fix."""

import pytest
from rimward.base.errors import Refusal
from rimward.formats import records
from rimward_protocol import codes, messages, replies, tables


def test_a_payload_of_the_wrong_length_is_refused() -> None:
    good = records.pack_message(codes.DONE, asked=3, code=0)
    assert records.unpack_message(codes.DONE, good) == {"asked": 3, "code": 0}
    for bad in (good[:-1], good + b"\0"):
        with pytest.raises(Refusal, match="does not fit its layout. Update"):
            records.unpack_message(codes.DONE, bad)


def test_a_message_this_host_does_not_know() -> None:
    with pytest.raises(Refusal, match="message 99, which this host does not know. Update the host"):
        records.unpack_message(99, b"")


def test_text_fields_are_padded_and_read_back() -> None:
    fields = {
        row[0]: bytes(int(row[1][:-1])) if row[1].endswith("s") else 0
        for row in messages.payload_of(codes.HELLO_IS)
    }
    data = records.pack_message(codes.HELLO_IS, **{**fields, "board": "simuliert ü"})
    assert records.text_of(records.unpack_message(codes.HELLO_IS, data)["board"]) == "simuliert ü"


def test_every_reply_becomes_a_refusal_of_one_line() -> None:
    for number, word, _text, fix in replies.REPLIES:
        refusal = records.refusal_of(number)
        assert f"({word})." in str(refusal) and "\n" not in str(refusal)
        assert refusal.fix.rstrip(".").lower() == fix.lower()
    assert "reply-250" in str(records.refusal_of(250))
    assert "differ: here 1, there 2 (" not in str(records.refusal_of(replies.VERSION_DIFFERS))
    assert "versions: here 1, there 2 (version-differs)." in str(
        records.refusal_of(replies.VERSION_DIFFERS, ": here 1, there 2")
    )


def test_numpy_reads_records_where_construct_does() -> None:
    import numpy as np
    from rimward_protocol import layout

    for table in (
        layout.PROFILE,
        layout.SESSION_HEADER,
        layout.TRACE_RECORD,
        layout.EVENT,
        layout.END,
        tables.CHANGE,
    ):
        assert (
            records.dtype(table).itemsize == records.structure(table).sizeof() == layout.size(table)
        )
    event = {
        "tick": 2**32 - 1,
        "event": 3,
        "cause": 0,
        "state": 1,
        "out": 255,
        "value": -(2**31),
        "value2": 2**31 - 1,
    }
    row = np.frombuffer(
        records.BLOCKS[layout.BLOCK_EVENT].build(event), records.dtype(layout.EVENT)
    )[0]
    assert {name: int(row[name]) for name in event} == event
