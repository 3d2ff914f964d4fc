"""A line's gate valve that sticks open while its relay is closed: sessions of earlier campaigns that ended 0.04 and 0.05 % above their ceiling.

The valve stuck within half a second after the vent shut, under a tyre at 0.999 of its ceiling that was just put on; the guard now opens the relay.
"""

import pytest
from rimward.simulation.campaign import people
from rimward.simulation.campaign.draw import choices, draw
from rimward.simulation.campaign.play import play
from rimward.simulation.engines import compiled
from rimward_protocol import causes


@pytest.mark.parametrize(("seed", "number"), [(3009, 310029), (3007, 502706)])
def test_a_line_gives_no_air_to_a_tyre_put_on_while_its_valve_sticks_open(seed, number):
    drawn = draw(seed, number, choices(["all"]), people.NAMES)
    assert (drawn.fault, drawn.person, drawn.job.kind) == ("gate_stuck_on", "moves-to-full", 1)
    row, _words, _plant = play(drawn, compiled()["session"])
    assert (row["exceed"], row["stop"]) == (0, causes.HOSE_OR_TYRE)
