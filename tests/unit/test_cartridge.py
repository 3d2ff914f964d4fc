"""`rimward cartridge` and the functions behind it."""

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import example, given
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.limits.cartridge import Charge, charge_tyre
from rimward.limits.cartridge.charge import largest_grams
from rimward.limits.cartridge.verdict import assess_cartridge
from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess
from rimward.limits.volume import least_inside, stated, volumes
from rimward.web import ask

from tests.unit.schema import validate


def answer(*args: str, code: int = 0) -> dict:
    result = CliRunner().invoke(cli, ["cartridge", *args, "--json"])
    assert result.exit_code == code, result.output
    found = json.loads(result.stdout)
    validate(found, "cartridge")
    return found


def test_sixteen_grams_on_a_straight_side_28_is_over() -> None:
    found = answer("--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS")
    assert found["over_ceiling"] is True and found["ceiling_pa"] == 500_000
    assert found["largest_grams_within_ceiling"] < 11
    assert "over-ceiling" in [note["id"] for note in found["warnings"]]
    text = (
        CliRunner()
        .invoke(cli, ["cartridge", "--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS"])
        .stdout
    )
    assert "OVER THE CEILING" in text and "bar" in text and "psi" in text
    heads = [line.split()[0] for line in text.splitlines()]
    assert [h for h in heads if h.islower() and h.isalpha()][:7] == [
        "volume",
        "at",
        "settled",
        "hottest",
        "ceiling",
        "overnight",
        "warning",
    ]
    assert f"at most {found['largest_grams_within_ceiling']} g keep within both" in text


def test_the_pair_need_not_be_allowed_to_show_the_danger() -> None:
    found = answer("--grams", "16", "--tyre", "28-622", "--rim", "622x23TSS", "--approved", "no")
    assert found["over_ceiling"] is True and "tyre-not-approved-for-straight-side" in [
        note["id"] for note in found["warnings"]
    ]


def test_without_a_rim_there_is_no_ceiling() -> None:
    found = answer("--grams", "16", "--tyre", "28-622")
    assert (found["ceiling_pa"], found["over_ceiling"], found["largest_grams_within_ceiling"]) == (
        None,
        None,
        None,
    )
    assert (
        found["gauge_pa"] > 737_430 * 1.16
    )  # 16 g in the 1.1487 L inside the outline (CoolProp 8.0.0); casing and tube take more of it


def test_crochet_without_any_mark_has_no_ceiling_either() -> None:
    assert answer("--grams", "16", "--tyre", "28-622", "--rim", "622x19C")["over_ceiling"] is None


def test_states_and_start() -> None:
    found = answer(
        "--grams", "16", "--volume-l", "1.257388", "--tyre", "28-622", "--ride-temp-max", "45"
    )
    states = found["states"]
    assert (
        states["just_after"]["band_pa"][0]
        < states["just_after"]["gauge_pa"]
        < states["just_after"]["band_pa"][1]
        < states["settled"]["gauge_pa"]
    )
    assert (
        states["settled"]["gauge_pa"] == found["gauge_pa"] < states["hottest"]["gauge_pa"]
        and states["hottest"]["temp_c"] == 45
    )
    assert found["ideal_gauge_pa"] > found["gauge_pa"]
    flat = answer("--grams", "16", "--volume-l", "1.257388", "--start", "flat-tube")
    assert flat["gauge_pa"] < found["gauge_pa"] - 90_000
    assert (
        answer("--grams", "8", "--count", "2", "--volume-l", "1.257388")["gauge_pa"]
        == found["gauge_pa"]
    )
    assert (
        answer("--grams", "16", "--volume-l", "1.257388", "--start-pressure", "0.5 bar")["gauge_pa"]
        > found["gauge_pa"] + 45_000
    )


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
        (("--tyre", "28-622", "--temp", "68"), "fill-temperature-implausible"),
        (("--tyre", "28-622", "--temp", "40", "--ride-temp-max", "30"), "fill-hotter-than-ride"),
        (
            ("--tyre", "28-622", "--rim", "622x23TSS", "--temp", "40", "--ride-temp-max", "30"),
            "fill-hotter-than-ride",
        ),
    ],
)
def test_refused(args: tuple[str, ...], id: str) -> None:
    found = answer("--grams", "16", *args, code=1)
    assert (
        found["refusals"][0]["id"] == id
        and found["gauge_pa"] is None
        and found["over_ceiling"] is None
    )


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


@given(
    st.floats(0.5, 6),
    st.integers(100_000, 1_000_000),
    st.floats(-5, 45),
    st.sampled_from(("seated", "flat-tube")),
)
def test_the_largest_charge_just_fits(litres: float, ceiling: int, temp: float, start: str) -> None:
    charge = Charge(16, stated(litres), start, temp_c=temp, ride_temp_max_c=45)
    grams = largest_grams(charge, ceiling)
    assert grams > 0
    assert (
        charge_tyre(
            Charge(grams, stated(litres), start, temp_c=temp, ride_temp_max_c=45), ceiling
        ).over_ceiling
        is False
    )
    assert (
        charge_tyre(
            Charge(grams + 0.011, stated(litres), start, temp_c=temp, ride_temp_max_c=45), ceiling
        ).over_ceiling
        is True
    )


def test_a_tyre_already_over_takes_nothing() -> None:
    assert largest_grams(Charge(16, stated(1.0), start_pa=600_000), 500_000) == 0


def test_the_low_volume_and_the_hottest_decide() -> None:
    tyre = volumes(28, 622, 23)
    assert charge_tyre(Charge(10, tyre), 500_000).settled.nominal_volume_pa < 500_000
    assert charge_tyre(Charge(10, tyre), 500_000).over_ceiling is True
    cool, warm = Charge(9.5, tyre), Charge(9.5, tyre, ride_temp_max_c=45)
    assert (charge_tyre(cool, 500_000).over_ceiling, charge_tyre(warm, 500_000).over_ceiling) == (
        False,
        True,
    )


PAIR = (
    "--tyre",
    "32-622",
    "--air",
    "tubeless",
    "--rim",
    "622x23TSS",
    "--rim-max",
    "5 bar",
    "--tyre-range",
    "3-6 bar",
    "--approved",
    "yes",
)
RIDE = ("--temp", "18", "--altitude", "200", "--ride-altitude-max", "2400", "--ride-temp-max", "45")


def test_the_ride_decides_height_and_heat() -> None:
    at_rest, ride = answer("--grams", "11", *PAIR, *RIDE[:4]), answer("--grams", "11", *PAIR, *RIDE)
    assert (at_rest["over_ceiling"], ride["over_ceiling"]) == (False, True)
    assert (at_rest["ceiling_pa"], ride["ceiling_pa"], ride["limit_pa"]) == (
        500_000,
        427_000,
        500_000,
    )  # as `rimward ceiling` says
    assert ride["largest_grams_within_ceiling"] < at_rest["largest_grams_within_ceiling"]
    only_height = answer("--grams", "11", *PAIR, *RIDE[:6])
    gain = (
        only_height["states"]["hottest"]["gauge_pa"] - only_height["states"]["settled"]["gauge_pa"]
    )
    assert gain == pytest.approx(
        98_945.4 - 75_634.3, abs=2
    )  # US Standard Atmosphere 1976 at 200 m and 2,400 m


@given(
    st.floats(0.5, 40), st.floats(0, 3000), st.floats(0, 3000), st.floats(-10, 40), st.floats(0, 40)
)
def test_what_is_within_the_ceiling_settles_at_or_below_the_wheels_ceiling_for_that_ride(
    grams, height, climb, temp, warmer
) -> None:
    rim, tyre = (
        Rim.parse("622x23TSS", "5 bar"),
        Tyre.parse("32-622", "1-6 bar", approved="yes", air="tubeless"),
    )
    ride = Ride.of(height + climb, temp + warmer)
    found = assess_cartridge(grams, rim, tyre, temp_c=temp, altitude_m=height, ride=ride)
    bound = assess(rim, tyre, Place.of(temp, height), ride).bound_pa
    assert found.ceiling_pa == bound and found.outcome is not None and bound is not None
    if not found.outcome.over_ceiling:
        assert (
            found.outcome.settled.low_volume_pa <= bound + 1e-6
            and found.outcome.hottest.low_volume_pa <= 500_000 + 1e-6
        )


def test_the_low_volume_takes_off_casing_and_tube() -> None:
    for width, rim in ((25, 17), (28, 19), (28, 23), (30, 23)):
        outline = volumes(width, 622, rim).low_l
        casing, tube = (
            least_inside(width, 622, rim, tube=False).low_l,
            least_inside(width, 622, rim).low_l,
        )
        assert 0.16 <= 1 - casing / outline <= 0.20  # 1 mm of casing
        assert 0.05 <= (casing - tube) / outline <= 0.14  # a tube of 70 to 150 g of rubber
    assert answer("--grams", "16", "--tyre", "28-622")["volume_l"]["low"] == pytest.approx(
        least_inside(28, 622).low_l
    )
    tubeless = answer("--grams", "16", "--tyre", "28-622", "--air", "tubeless")
    assert tubeless["volume_l"]["low"] == pytest.approx(least_inside(28, 622, tube=False).low_l)


def test_liquid_is_recognised_at_any_filling() -> None:
    """1 L at -20 °C holds 51.7 g as vapour (CoolProp 8.0.0 saturated vapour density 51.7 kg/m3)."""
    for grams, liquid in (
        (40, False),
        (55, True),
        (100, True),
        (300, True),
        (600, True),
        (1000, True),
    ):
        ids = [note["id"] for note in answer("--grams", str(grams), "--volume-l", "1")["warnings"]]
        assert ("may-be-liquid" in ids) is liquid, grams


@given(
    st.floats(0.01, 1000),
    st.floats(0.05, 50),
    st.floats(-20, 45),
    st.sampled_from(("seated", "flat-tube")),
)
@example(
    858.0, 2.25, 30.75, "seated"
)  # near the critical point a saturated vapour read 0.3 % less than a thinner one
def test_no_input_gives_a_negative_pressure_or_less_for_more_gas(
    grams, litres, temp, start
) -> None:
    found = charge_tyre(Charge(grams, stated(litres), start, temp_c=temp), 500_000)
    more = charge_tyre(Charge(grams * 1.1, stated(litres), start, temp_c=temp), 500_000)
    for state in (found.just_after, found.settled, found.hottest):
        assert min(state.low_volume_pa, state.nominal_volume_pa, state.high_volume_pa) >= 0
    assert found.just_after_band_pa[0] >= 0 and found.ideal_pa >= 0
    assert more.settled.low_volume_pa >= found.settled.low_volume_pa * (1 - 1e-9)


@pytest.mark.parametrize("written", ["2.5", "0", "51", "two"])
def test_counts_are_whole(written: str) -> None:
    assert (
        CliRunner()
        .invoke(cli, ["cartridge", "--grams", "8", "--count", written, "--tyre", "28-622"])
        .exit_code
        == 2
    )
    with pytest.raises(Refusal):
        ask.whole({"count": written}, "count", 1, 50, "Cartridges")


def test_readme_s_cartridge_is_within_its_ceiling() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (line,) = [line for line in text.splitlines() if line.strip().startswith("rimward cartridge")]
    assert answer(*shlex.split(line)[2:])["over_ceiling"] is False


def test_a_charge_is_checked_and_its_defaults_are_a_seated_tyre_at_20_degrees() -> None:
    with pytest.raises(ValueError, match="start"):
        Charge(16, stated(1.0), "empty")
    with pytest.raises(ValueError, match="start pressure"):
        Charge(16, stated(1.0), "flat-tube", 1000)
    plain, told = Charge(16, stated(1.0)), Charge(16, stated(1.0), "seated", 0, 20.0, 0.0)
    assert plain == told and plain.hottest_c == 20.0 and plain.top_m == 0.0
    assert charge_tyre(plain).settled.temp_c == 20.0


def test_what_is_not_stated_of_a_cartridge_is_sea_level_and_20_degrees() -> None:
    asked = ("--grams", "8", "--tyre", "28-622", "--air", "tubeless")
    assert answer(*asked) == answer(*asked, "--temp", "20", "--altitude", "0", "--start", "seated")
    rim, tyre = (
        Rim.parse("622x23TSS", "5 bar"),
        Tyre.parse("28-622", approved="yes", bead="folding", air="tubeless"),
    )
    charge = assess_cartridge(8.0, rim, tyre).charge
    assert charge is not None and (charge.temp_c, charge.altitude_m, charge.start_pa) == (
        20.0,
        0.0,
        0,
    )
