"""A virtual specimen slips, leaks and leaves its rim where that was typed, filled with water or with air; the test says what happened."""

import pytest
from rimward.base.errors import Refusal
from rimward.proof import bench, run
from rimward.proof.specimen import Act, Specimen

from tests.unit import benchdesk
from tests.unit.benchdesk import RIM, TYRE

MEDIA = {"water": None, "air": 1.25}


def ran(monkeypatch, folder, medium, *acts, top="6.5 bar"):
    """The result of a short test; acts as (kind, pressure, seconds)."""
    monkeypatch.setitem(
        benchdesk.SHORT,
        "RAMP_PA_S = 5_000",
        f"RAMP_PA_S = {50_000 if medium == 'water' else 15_000}",
    )  # what the line delivers
    benchdesk.shortened(monkeypatch)
    specimen = Specimen(1_250)
    for act in acts:
        specimen.add(*act)
    return run.run_virtual(
        bench.test_of("Tern 23", RIM, TYRE, top, MEDIA[medium], medium),
        folder,
        lambda *_: None,
        specimen=specimen,
    )


@pytest.mark.parametrize("medium", MEDIA)
def test_a_sound_specimen_holds_to_the_end(monkeypatch, tmp_path, medium):
    found = ran(monkeypatch, tmp_path, medium, top=None)
    assert (found["ended"], found["released"]) == ("done", "no") and found["row"][
        "medium"
    ] == medium
    assert not [event for event in found["events"] if event["kind"] in ("slip", "release")]


@pytest.mark.parametrize(
    "medium, least_pa, most_pa", [("water", 15_000, 45_000), ("air", 4_000, 12_000)]
)
def test_a_slip_takes_more_of_water_than_of_air(monkeypatch, tmp_path, medium, least_pa, most_pa):
    """12.5 mL of room for 250 mL of air, or for 1,250."""
    found = ran(monkeypatch, tmp_path, medium, ("slip", "5.2 bar"), top=None)
    slips = [event for event in found["events"] if event["kind"] == "slip"]
    assert len(slips) == 1 and least_pa < -slips[0]["change_pa"] < most_pa
    assert (
        slips[0]["highest_before_pa"] == pytest.approx(520_000, abs=6_000)
        and found["released"] == "no"
    )


@pytest.mark.parametrize("medium", MEDIA)
def test_a_blow_off_at_a_typed_pressure(monkeypatch, tmp_path, medium):
    found = ran(monkeypatch, tmp_path, medium, ("blow-off", "6.1 bar"))
    assert (found["ended"], found["released"]) == ("released", "yes") and 6.0 < found[
        "highest_bar"
    ] <= 6.12


@pytest.mark.parametrize(
    "medium, seconds", [("water", 0.5), ("water", 2.0), ("air", 10.0), ("water", 60.0)]
)
def test_a_slow_release_is_no_survivor(monkeypatch, tmp_path, medium, seconds):
    """The controller pumps on and stops, the bench vents: whatever it makes of it, the row is `yes` or `invalid`."""
    found = ran(monkeypatch, tmp_path, medium, ("blow-off", "6.1 bar", seconds), top="9.7 bar")
    assert found["released"] in ("yes", "invalid"), found["reason"]


def test_typed_lines():
    specimen = Specimen()
    assert (
        specimen.order("slip 4.2 bar")
        and specimen.order("leak 3 bar 20 s")
        and specimen.order("blow-off 88 psi 1.5 s")
    )
    assert specimen.acts == [
        Act("slip", 420_000),
        Act("leak", 300_000, 20),
        Act("blow-off", pytest.approx(606_739, abs=1), 1.5),
    ]
    assert specimen.order("slip 5 bar") and [
        act.pa for act in specimen.acts if act.kind == "slip"
    ] == [500_000]
    assert not specimen.order("hold") and not specimen.order("seen")
    for wrong in ("slip", "leak soon", "blow-off 6"):
        with pytest.raises(Refusal):
            specimen.order(wrong)
