"""What a number of draws shows (check values, section 6.4, Wilks: 59 draws for 95 % of cases at 95 % confidence)."""

import pytest

from hardware import draws


@pytest.mark.parametrize("count,share", [(59, 0.05), (299, 0.01), (2995, 0.001)])
def test_wilks_first_order(count, share):
    assert draws.above_share(count) <= share < draws.above_share(count - 1)


def test_forty_sessions_leave_seven_percent():
    assert draws.above_share(40) == pytest.approx(0.0722, abs=1e-4)
    assert "highest of 40 draws" in draws.text(40) and "7.2 %" in draws.text(40)


def test_no_draw_shows_nothing():
    with pytest.raises(ValueError, match="at least one"):
        draws.above_share(0)
