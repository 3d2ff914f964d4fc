"""A short soak in CI; `python -m tests.trust` runs the day."""

from tests.trust.soak import soak


def test_fills_leave_the_heap_as_it_was_through_the_wrap_of_the_tick_counter():
    figures = soak(16, 240)
    assert figures["ok"], figures
    assert figures["done"] == 16
