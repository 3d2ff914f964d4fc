"""The typical wheels: each gets a profile, a plant with its sealant, and an inflator that is given its source fills one of them."""

import pytest
from rimward.base.units import parse_pressure
from rimward.formats import records
from rimward.simulation.scenario import TYPICAL, plant_of, profile_of


@pytest.mark.parametrize("scenario", TYPICAL, ids=lambda one: one.label)
def test_every_typical_wheel_has_a_profile_that_holds_its_target(scenario):
    fields = records.unpack_profile(profile_of(scenario))
    assert fields["target_pa"] == parse_pressure(scenario.target) < fields["ceiling_pa"]
    plant = plant_of(scenario, is_line=True, tyre_limp=0.4)
    assert plant.is_line and plant.tyre_limp == 0.4 and plant.sealant_ml == scenario.sealant_ml
    assert plant.pin_open == (scenario.chuck == "pin-open")
    assert 0.75 < plant.tyre_ml / fields["volume_ml"] < 1.3


def test_ten_wheels_of_both_chucks_and_three_kinds_of_limit():
    assert len(TYPICAL) == 10 == len({one.label for one in TYPICAL})
    assert {one.chuck for one in TYPICAL} == {"pin-open", "pressure-open"}
