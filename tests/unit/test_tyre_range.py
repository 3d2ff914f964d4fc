"""The range in which a tyre lies behind a closed core: on the display, in the record, and held by simulated fills."""

from dataclasses import replace

import numpy as np
import pytest
from rimward.base.closed_core import live_between, show_between, tyre_between
from rimward.sessions import read_session
from rimward.sessions.facts import facts, range_rows
from rimward.simulation.campaign import fills
from rimward_fw.ui import display_numbers
from rimward_protocol import enumerations, interval
from rimward_protocol.codes import CHUCK_PIN_OPEN, CHUCK_PRESSURE_OPEN

from tests.web.record import recorded


@pytest.mark.parametrize(
    ("pa", "bar", "psi"),
    [
        (213_000, "1.8-2.3 bar", "27-34 psi"),
        (0, "0.0-0.2 bar", "0-3 psi"),
        (225_000, "2.0-2.5 bar", "29-35 psi"),
        (900_000, "8.7-9.2 bar", "126-133 psi"),
    ],
)
def test_a_range_is_rounded_outwards(pa: int, bar: str, psi: str) -> None:
    assert display_numbers.between(pa, False) == bar
    assert display_numbers.between(pa, True) == psi


def test_only_a_closed_core_leaves_a_range() -> None:
    assert tyre_between(200_000, CHUCK_PIN_OPEN) == (200_000, 200_000)
    assert tyre_between(200_000, CHUCK_PRESSURE_OPEN) == (175_000, 216_000)
    assert tyre_between(10_000, CHUCK_PRESSURE_OPEN) == (0, 26_000)


def test_a_live_figure_is_a_range_only_where_the_display_gives_one() -> None:
    words = [word for _number, word, _meaning in enumerations.FILL_STATES]
    given = [word for word in words if live_between(200_000, word, True)]
    assert given == ["ready", "done", "stopped"]
    assert live_between(200_000, "done", True) == (175_000, 216_000)
    assert live_between(200_000, "done", False) is None  # pin-open, or firmware that names no chuck
    assert live_between(None, "done", True) is None
    assert show_between((175_000, 216_000)) == "between 1.75 bar (25.3 psi) and 2.16 bar (31.4 psi)"


def test_the_record_gives_the_range() -> None:
    data = recorded()
    f, profile = facts(data, data, check=False), read_session(data).profile
    assert profile and f.tyre_pa
    assert (f.tyre_low_pa, f.tyre_high_pa) == tyre_between(f.tyre_pa, profile["chuck"])
    ends = (tyre_between(f.tyre_pa, chuck) for chuck in (CHUCK_PIN_OPEN, CHUCK_PRESSURE_OPEN))
    held, closed = (
        range_rows(replace(f, tyre_low_pa=low, tyre_high_pa=high)) for low, high in ends
    )
    assert held == () and "between" in closed[0][2]


# WORLD.md gives the share over 400 fills; these are 30 of another seed, of which one may lie outside.
@pytest.mark.parametrize("line", [0, 1])
def test_fills_end_within_it(line: int) -> None:
    over = fills.fills(3001, 30, line, 0)["over_pa"]
    over = over[np.isfinite(over)]
    assert len(over) >= 25 and fills.within(over).sum() >= len(over) - 1
    assert not fills.within(np.array([-interval.BELOW_PA - 1.0, interval.ABOVE_PA + 1.0])).any()
