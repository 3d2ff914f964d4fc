"""Cracked hoses on a workshop line: a manifold that empties while the core holds the tyre must not be taken for the tyre.

`cracked_hose.json` holds sessions of earlier campaigns that ended above their ceiling before the fill controller knew this.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.campaign.play import play
from rimward.simulation.engines import compiled
from rimward.simulation.loop import Job

DRAWN = json.loads(Path(__file__).with_suffix("").with_name("cracked_hose.json").read_text())


@pytest.mark.parametrize("kept", DRAWN, ids=lambda kept: str(kept["number"]))
def test_a_tyre_behind_a_closed_core_stays_under_its_ceiling(kept: dict[str, Any]) -> None:
    drawn = Draw(**(kept | {"job": Job(**kept["job"])}))
    assert drawn.fault == "hose_cracked" and drawn.job.kind == 1 and not drawn.job.pin_open
    row, _words, _plant = play(drawn, compiled()["session"])
    assert row["peak_pa"] < drawn.true_ceiling_pa
