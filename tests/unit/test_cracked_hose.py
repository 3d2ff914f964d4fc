"""Cracked hoses on a workshop line: a manifold that empties while the core holds the tyre must not be taken for the tyre.

Sessions of campaigns (seed 1: a million with all faults; the others: `hose_cracked` alone) that ended above their ceiling before the
fill knew this.
"""

import pytest
from rimward.campaign.draw import choices, draw
from rimward.campaign.play import play
from rimward.simulation.engines import compiled


@pytest.mark.parametrize("seed, number", [(1, 530356), (1, 548449), (77, 15319), (78, 5770), (80, 2275)])
def test_a_tyre_behind_a_closed_core_stays_under_its_ceiling(seed: int, number: int) -> None:
    drawn = draw(seed, number, choices(("all" if seed == 1 else "hose_cracked",)))
    assert drawn.fault == "hose_cracked" and drawn.job.kind == 1 and not drawn.job.pin_open
    row, _words, _plant = play(drawn, compiled()["session"])
    assert row["peak_pa"] < drawn.true_ceiling_pa
