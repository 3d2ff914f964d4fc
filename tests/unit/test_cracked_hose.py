"""Cracked hoses on a workshop line: a manifold that empties while the core holds the tyre must not be taken for the tyre.

Sessions of a campaign of a million (seed 1, all faults) that ended above their ceiling before the fill knew this.
"""

import pytest
from rimward.campaign.draw import choices, draw
from rimward.campaign.play import play
from rimward.simulation.engines import compiled


@pytest.mark.parametrize("number", [530356, 548449])
def test_a_tyre_behind_a_closed_core_stays_under_its_ceiling(number: int) -> None:
    drawn = draw(1, number, choices(("all",)))
    assert drawn.fault == "hose_cracked" and drawn.job.kind == 1 and not drawn.job.pin_open
    row, _words, _plant = play(drawn, compiled()["session"])
    assert row["peak_pa"] < drawn.true_ceiling_pa
