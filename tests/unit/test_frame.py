"""Frames: what goes in comes out, whatever else is on the line, in bounded memory and time."""

import random
import struct
import sys
import tracemalloc
import zlib
from types import FrameType
from typing import Any

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st
from rimward_protocol import frame

FRAMES = st.lists(
    st.tuples(st.integers(0, 255), st.integers(0, 65535), st.binary(max_size=512)),
    min_size=1,
    max_size=6,
)


def read(
    data: bytes, decoder: frame.Decoder | None = None, step: int | None = None
) -> list[tuple[int, int, bytes]]:
    """Every frame in the bytes, fed in pieces of `step`."""
    decoder = decoder or frame.Decoder()
    found = []
    for start in range(0, len(data), step or len(data) or 1):
        at, stop = start, min(len(data), start + (step or len(data)))
        while at < stop:
            result, at = decoder.feed(data, at, stop)
            if result == frame.FRAME:
                found.append((decoder.kind, decoder.sequence, bytes(decoder.payload)))
    return found


@given(FRAMES, st.integers(1, 600))
@settings(max_examples=60, deadline=None)
def test_what_goes_in_comes_out(sent: list[tuple[int, int, bytes]], step: int) -> None:
    line = b"".join(frame.encode(*one) for one in sent)
    assert read(line, step=step) == sent
    assert line.count(0) == len(sent)


@given(st.integers(0, 255), st.integers(0, 65535), st.binary(max_size=512))
@settings(max_examples=60, deadline=None)
def test_encoder_against_library_parts(kind: int, sequence: int, payload: bytes) -> None:
    raw = struct.pack("<BBH", 2, kind, sequence) + payload
    raw += struct.pack("<I", zlib.crc32(raw))
    assert frame.encode(kind, sequence, payload) == cobs.encode(raw) + b"\0"
    assert len(frame.encode(kind, sequence, payload)) <= frame.wire_bytes(len(payload))


@given(st.binary(max_size=1500), FRAMES)
@settings(max_examples=60, deadline=None)
def test_goes_on_after_noise(noise: bytes, sent: list[tuple[int, int, bytes]]) -> None:
    line = noise + b"\0" + b"".join(frame.encode(*one) for one in sent)
    assert read(line)[-len(sent) :] == sent


def test_every_single_bit_error_is_dropped() -> None:
    sound, after = frame.encode(0x43, 7, b"\0Fernhollow"), frame.encode(0x02, 8)
    for bit in range(8 * len(sound)):
        broken = bytearray(sound)
        broken[bit // 8] ^= 1 << bit % 8
        got = read(bytes(broken) + b"\0" + after)
        assert got == [(0x02, 8, b"")], bit


def test_every_cut_is_dropped_and_the_next_frame_read() -> None:
    sound, after = frame.encode(0x43, 7, b"\0Fernhollow"), frame.encode(0x02, 8)
    for cut in range(1, len(sound) - 1):
        decoder = frame.Decoder()
        assert read(sound[:cut] + b"\0" + after, decoder) == [(0x02, 8, b"")]
        assert decoder.dropped == 1


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"\x05\x01\x02\x00", frame.BAD_STUFFING),
        (b"\xff" + b"\x01" * 253 + b"\x00", frame.BAD_STUFFING),
        (cobs.encode(b"1234567") + b"\0", frame.TOO_SHORT),
        (cobs.encode(b"12345678") + b"\0", frame.BAD_CRC),
        (cobs.encode(bytes(520)) + b"\0", frame.BAD_CRC),
        (cobs.encode(bytes(521)) + b"\0", frame.TOO_LONG),
        (b"\x01" * 5000 + b"\0", frame.TOO_LONG),
    ],
)
def test_why_it_was_dropped(line: bytes, why: int) -> None:
    decoder = frame.Decoder()
    assert read(line, decoder) == []
    assert (decoder.dropped, decoder.last_bad) == (1, why)


def test_longest_payload_fits_and_one_more_does_not() -> None:
    decoder = frame.Decoder(100)
    assert read(frame.encode(1, 2, bytes(100)), decoder) == [(1, 2, bytes(100))]
    assert read(frame.encode(1, 2, bytes(101)), decoder) == []
    assert decoder.last_bad == frame.TOO_LONG
    with pytest.raises(ValueError):
        frame.Encoder(100).payload[:101] = bytes(101)


def test_another_version_is_announced_as_such() -> None:
    decoder = frame.Decoder()
    line = frame.encode(1, 513, b"ab", version=1)
    assert decoder.feed(line, 0, len(line)) == (frame.OTHER_VERSION, len(line))
    assert (decoder.version, decoder.kind, decoder.sequence, bytes(decoder.payload)) == (
        1,
        1,
        513,
        b"ab",
    )


def test_zeros_between_frames_cost_nothing() -> None:
    decoder = frame.Decoder()
    assert read(bytes(1000) + frame.encode(2, 1) + bytes(3), decoder) == [(2, 1, b"")]
    assert decoder.dropped == 0


def test_dropped_counter_wraps_as_a_small_integer() -> None:
    decoder = frame.Decoder()
    decoder.dropped = 0x3FFFFFFF
    read(b"\1\0", decoder)
    assert decoder.dropped == 0


def test_memory_is_bounded() -> None:
    decoder, draw = frame.Decoder(), random.Random(7)
    noise = draw.randbytes(20000)
    read(noise, decoder)
    tracemalloc.start()
    for _ in range(5):
        for byte in noise:
            decoder.put(byte)
    held = tracemalloc.take_snapshot().filter_traces([tracemalloc.Filter(True, frame.__file__)])
    tracemalloc.stop()
    assert (
        sum(trace.size for trace in held.traces) < 1000
    )  # of the decoder alone: another thread allocates too
    assert len(decoder._raw) == 520


def test_work_for_a_byte_does_not_grow_with_what_came_before() -> None:
    """Lines that are run for one more byte, not seconds: what it keeps is bounded by the test before this one."""
    decoder = frame.Decoder()

    def lines() -> int:
        count = 0

        def step(running: FrameType, event: str, _value: object) -> Any:
            nonlocal count
            count += event == "line" and running.f_code.co_filename == frame.__file__
            return step

        before = sys.gettrace()
        sys.settrace(step)
        try:
            decoder.put(7)
        finally:
            sys.settrace(before)
        return count

    early = max(lines() for _ in range(600))
    for _ in range(40_000):
        decoder.put(7)
    assert 0 < max(lines() for _ in range(600)) <= early
