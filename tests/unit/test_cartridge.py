"""`rimward cartridge` and what it is made of."""

import json
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from rimward.cartridge import Charge, charge_tyre
from rimward.cartridge.charge import largest_grams
from rimward.cli import cli
from rimward.volume import stated, volumes

SCHEMA = json.loads((Path(sys.modules["rimward"].__path__[0]) / "data" / "answers.schema.json").read_text(encoding="utf-8"))


def answer(*args: str, code: int = 0) -> dict:
    result = CliRunner().invoke(cli, ["cartridge", *args, "--json"])
    assert result.exit_code == code, result.output
    found = json.loads(result.stdout)
    jsonschema.validate(found, SCHEMA | {"$ref": "#/$defs/cartridge"})
    return found


def test_sixteen_grams_on_a_straight_side_28_is_over() -> None:
    found = answer("--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS")
    assert found["over_ceiling"] is True and found["ceiling_pa"] == 500_000
    assert found["largest_grams_within_ceiling"] < 11
    assert "over-ceiling" in [note["id"] for note in found["warnings"]]
    text = CliRunner().invoke(cli, ["cartridge", "--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS"]).stdout
    assert "OVER THE CEILING" in text and "bar" in text and "psi" in text


def test_the_pair_need_not_be_allowed_to_show_the_danger() -> None:
    found = answer("--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS", "--approved", "no")
    assert found["over_ceiling"] is True and "tyre-not-approved-for-straight-side" in [note["id"] for note in found["warnings"]]


def test_without_a_rim_there_is_no_ceiling() -> None:
    found = answer("--grams", "16", "--tyre", "28-622")
    assert (found["ceiling_pa"], found["over_ceiling"], found["largest_grams_within_ceiling"]) == (None, None, None)
    assert found["gauge_pa"] == pytest.approx(737_430, rel=0.001)  # the low volume, on the measuring rim of 19 mm


def test_crochet_without_any_mark_has_no_ceiling_either() -> None:
    assert answer("--grams", "16", "--tyre", "28-622", "--rim", "622x19C")["over_ceiling"] is None


def test_states_and_start() -> None:
    found = answer("--grams", "16", "--volume-l", "1.257388", "--tyre", "28-622", "--ride-temp-max", "45")
    states = found["states"]
    assert (
        states["just_after"]["band_pa"][0]
        < states["just_after"]["gauge_pa"]
        < states["just_after"]["band_pa"][1]
        < states["settled"]["gauge_pa"]
    )
    assert states["settled"]["gauge_pa"] == found["gauge_pa"] < states["hottest"]["gauge_pa"] and states["hottest"]["temp_c"] == 45
    assert found["ideal_gauge_pa"] > found["gauge_pa"]
    flat = answer("--grams", "16", "--volume-l", "1.257388", "--start", "flat-tube")
    assert flat["gauge_pa"] < found["gauge_pa"] - 90_000
    assert answer("--grams", "8", "--count", "2", "--volume-l", "1.257388")["gauge_pa"] == found["gauge_pa"]
    assert answer("--grams", "16", "--volume-l", "1.257388", "--start-pressure", "0.5 bar")["gauge_pa"] > found["gauge_pa"] + 45_000


def test_overnight_loss_is_an_estimate() -> None:
    loss = answer("--grams", "16", "--tyre", "28-622")["overnight_loss"]
    assert loss["basis"] == "estimate" and "refill with air" in loss["advice"]


@pytest.mark.parametrize(
    ("args", "id"),
    [
        (("--tyre", "700x28C"), "size-not-understood"),
        (("--tyre", "28-622", "--start-pressure", "1"), "unit-missing"),
        (("--tyre", "28-622", "--rim", "584x23TSS"), "bead-seat-mismatch"),
        (("--tyre", "28-622", "--rim", "622x30TC"), "tyre-not-wider-than-rim"),
        (("--tyre", "28-?"), "bead-seat-unknown"),
    ],
)
def test_refused(args: tuple[str, ...], id: str) -> None:
    found = answer("--grams", "16", *args, code=1)
    assert found["refusals"][0]["id"] == id and found["gauge_pa"] is None and found["over_ceiling"] is None


@pytest.mark.parametrize(
    "args",
    [
        ("--grams", "16"),
        ("--grams", "0", "--tyre", "28-622"),
        ("--tyre", "28-622"),
        ("--grams", "16", "--rim", "622x23TSS", "--volume-l", "1"),
        ("--grams", "16", "--tyre", "28-622", "--start", "flat-tube", "--start-pressure", "1 bar"),
    ],
)
def test_wrong_usage(args: tuple[str, ...]) -> None:
    assert CliRunner().invoke(cli, ["cartridge", *args]).exit_code == 2


def test_too_much_is_said_to_be_unchecked() -> None:
    ids = [note["id"] for note in answer("--grams", "100", "--volume-l", "0.5")["warnings"]]
    assert "past-validity" in ids and "may-be-liquid" in ids


@given(st.floats(0.5, 6), st.integers(100_000, 1_000_000), st.floats(-5, 45), st.sampled_from(("seated", "flat-tube")))
def test_the_largest_charge_just_fits(litres: float, ceiling: int, temp: float, start: str) -> None:
    charge = Charge(16, stated(litres), start, temp_c=temp, ride_temp_max_c=45)
    grams = largest_grams(charge, ceiling)
    assert grams > 0
    assert charge_tyre(Charge(grams, stated(litres), start, temp_c=temp, ride_temp_max_c=45), ceiling).over_ceiling is False
    assert charge_tyre(Charge(grams + 0.011, stated(litres), start, temp_c=temp, ride_temp_max_c=45), ceiling).over_ceiling is True


def test_a_tyre_already_over_takes_nothing() -> None:
    assert largest_grams(Charge(16, stated(1.0), start_pa=600_000), 500_000) == 0


def test_the_low_volume_and_the_hottest_decide() -> None:
    tyre = volumes(28, 622, 23)
    assert charge_tyre(Charge(10, tyre), 500_000).settled.nominal_volume_pa < 500_000
    assert charge_tyre(Charge(10, tyre), 500_000).over_ceiling is True
    cool, warm = Charge(9.5, tyre), Charge(9.5, tyre, ride_temp_max_c=45)
    assert (charge_tyre(cool, 500_000).over_ceiling, charge_tyre(warm, 500_000).over_ceiling) == (False, True)
