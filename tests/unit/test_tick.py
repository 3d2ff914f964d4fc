"""The plumbing of a tick on CPython over plain arrays, against what it must do; and that each check can fail."""

from types import SimpleNamespace

import pytest
from rimward_fw.kernels import order, tick
from rimward_fw.storage import ticks

from tests.trust import tick_checks

PARTS = {**vars(order), **vars(tick), **vars(ticks)}


@pytest.mark.parametrize("check", tick_checks.CHECKS, ids=lambda check: check.__name__)
def test_the_plumbing_of_a_tick(check):
    check(SimpleNamespace(**PARTS))


@pytest.mark.parametrize("check", tick_checks.CHECKS, ids=lambda check: check.__name__)
def test_each_check_can_fail(check):
    """Functions that do nothing pass none of them."""
    nothing = {name: lambda *_: 0 for name in PARTS if name.islower()}
    with pytest.raises((AssertionError, AttributeError, IndexError)):
        check(
            SimpleNamespace(
                **nothing,
                TickReader=lambda engine: SimpleNamespace(
                    begin=lambda: None, waiting=lambda: 0, overrun=lambda: False
                ),
            )
        )
