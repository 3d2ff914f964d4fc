"""A short soak in CI; `python -m tests.trust` runs the day."""

from tests.trust.soak import soak


def test_fills_leave_the_heap_as_it_was_through_the_wrap_of_the_tick_counter():
    figures = soak(16, 240)
    assert figures["ok"], figures
    assert figures["done"] == 16


def test_ten_fills_end_in_the_memory_that_plain_files_leave_at_idle():
    """`tests.rig.heap`: a board with plain files has 76 KB free, 48 of them for a record. All else is about twice as large in this 64-bit interpreter."""
    figures = soak(10, 240, free=104_000)
    assert figures["ok"], figures
    assert figures["done"] == 10 and figures["least"] > 5_000
