"""Temperatures and altitudes as written, and fill places and rides for which no ceiling is computed."""

import json

import pytest
from click.testing import CliRunner
from rimward.base.conditions import parse_celsius, parse_metres
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.limits.ceiling import Assessment, Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.places import place_refusals

RIM, TYRE = Rim.parse("622x23TSS", "5 bar"), Tyre.parse("28-622", "4-6 bar", approved="yes")
PAIR = (
    "--rim",
    "622x23TSS",
    "--rim-max",
    "5 bar",
    "--tyre",
    "28-622",
    "--tyre-range",
    "4-6 bar",
    "--approved",
    "yes",
)


def ids(found: Assessment) -> list[str]:
    return [note.id for note in found.refusals]


def cli_answer(*args: str, code: int = 0) -> dict:
    result = CliRunner().invoke(cli, ["ceiling", *PAIR, *args, "--json"])
    assert result.exit_code == code, result.output
    return json.loads(result.stdout)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("18", 18),
        ("18C", 18),
        ("18 °C", 18),
        ("-5", -5),
        ("−5,5 C", -5.5),
        ("68F", 20),
        ("68 °F", 20),
        ("32f", 0),
        ("-4F", -20),
        ("18.0", 18),
    ],
)
def test_temperatures_as_written(text: str, celsius: float) -> None:
    assert parse_celsius(text) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("200", 200),
        ("200 m", 200),
        ("650ft", 198.12),
        ("650 feet", 198.12),
        ("-10", -10),
        ("1,5", 1.5),
    ],
)
def test_altitudes_as_written(text: str, metres: float) -> None:
    assert parse_metres(text) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["", "warm", "18K", "18 F F", "18 19", "nan", "1e3", "F", "1.2.3"])
def test_what_is_no_temperature_or_altitude_is_refused(text: str) -> None:
    for read, what in ((parse_celsius, "a temperature"), (parse_metres, "an altitude")):
        with pytest.raises(Refusal, match=f"not understood as {what}"):
            read(text)


@pytest.mark.parametrize("celsius", [150, 68, 45.01, -20.01, -40])
def test_an_implausible_fill_temperature_is_refused(celsius: float) -> None:
    found = assess(RIM, TYRE, Place.of(celsius, 200), Ride.of(2400, 150))
    assert ids(found)[0] == "fill-temperature-implausible" and "68F" in found.refusals[0].text


@pytest.mark.parametrize("celsius", [-20, 45])
def test_the_ends_of_the_plausible_range_are_in_it(celsius: float) -> None:
    assert (
        assess(
            RIM,
            Tyre.parse("28-622", "2-6 bar", approved="yes"),
            Place.of(celsius, 200),
            Ride.of(2400, 45),
        ).status
        == "ok"
    )


def test_68_typed_for_fahrenheit_does_not_raise_the_ceiling() -> None:
    ride = ("--fill-altitude", "200", "--ride-altitude-max", "2400", "--ride-temp-max", "45")
    assert (
        cli_answer(*ride, "--fill-temp", "68", code=1)["refusals"][0]["id"]
        == "fill-temperature-implausible"
    )
    fahrenheit, celsius = (
        cli_answer(*ride, "--fill-temp", "68F"),
        cli_answer(*ride, "--fill-temp", "20"),
    )
    assert fahrenheit["ceiling_pa"] == celsius["ceiling_pa"] == 431_000
    assert (
        cli_answer(
            "--fill-temp",
            "68F",
            "--fill-altitude",
            "656ft",
            "--ride-altitude-max",
            "7874ft",
            "--ride-temp-max",
            "113F",
        )["ceiling_pa"]
        == 431_000
    )


def test_a_fill_hotter_than_the_ride_is_asked_about_and_held_to_it() -> None:
    found = assess(RIM, TYRE, Place.of(40, 0), Ride.of(None, 30))
    assert (
        ids(found) == ["fill-hotter-than-ride"] and "--ride-temp-max 40" in found.refusals[0].text
    )
    assert found.envelope is not None and (found.envelope.fill_ck, found.envelope.hottest_ck) == (
        30315,
        30315,
    )
    assert assess(RIM, TYRE, Place.of(30, 0), Ride.of(None, 30)).status == "ok"
    assert assess(RIM, TYRE, Place.of(40, 0), Ride.of(None, 40)).status == "ok"


@pytest.mark.parametrize(
    "ride", [Ride.of(None, 40), Ride.of(2000, 40), Ride.of(None, None, temp_min_c=-5)]
)
def test_a_ride_temperature_asks_for_the_fills(ride: Ride) -> None:
    found = assess(RIM, TYRE, Place.of(None, 200), ride)
    assert ids(found)[0] == "fill-temperature-missing" and "--fill-temp" in found.refusals[0].text
    assert assess(RIM, TYRE, Place.of(None, 200), Ride.of(1000, None)).status == "ok"


def test_what_stands_in_for_an_unstated_fill_temperature_is_the_coldest_plausible_one() -> None:
    unstated = assess(RIM, TYRE, Place.of(None, 200), Ride.of(2400, 45)).bound_pa
    assert unstated == assess(RIM, TYRE, Place.of(-20, 200), Ride.of(2400, 45)).bound_pa
    assert unstated is not None and unstated < (
        assess(RIM, TYRE, Place.of(-15, 200), Ride.of(2400, 45)).bound_pa or 0
    )


def test_the_coldest_above_the_hottest_is_refused() -> None:
    assert ids(assess(RIM, TYRE, Place.of(18, 0), Ride.of(None, 30, temp_min_c=31))) == [
        "ride-temperatures-crossed"
    ]


def test_a_ceiling_that_falls_under_the_tyres_minimum_in_the_cold_is_reported() -> None:
    """5 bar at 18 °C: (5 + 1.01325) x 253.15 / 291.15 - 1.01325 = 4.2152 bar at -20 °C."""
    cold = ("--fill-temp", "18", "--ride-temp-max", "18", "--ride-temp-min", "-20")
    found = cli_answer(*cold)
    assert found["envelope"]["lowest_gauge_if_filled_to_ceiling_pa"] == 421_516
    assert "below-tyre-minimum-on-ride" not in [note["id"] for note in found["warnings"]]
    result = CliRunner().invoke(
        cli, ["ceiling", *PAIR[:-3], "4.3-6 bar", *PAIR[-2:], *cold, "--json"]
    )
    note = next(
        note
        for note in json.loads(result.stdout)["warnings"]
        if note["id"] == "below-tyre-minimum-on-ride"
    )
    assert "4.21 bar" in note["text"] and "4.30 bar" in note["text"] and "-20.0 °C" in note["text"]


def test_profiles_and_presets_report_a_target_that_falls_under_the_minimum(desk):
    ends = {"front": "3.5-6 bar", "rear": "3.5-6 bar"}
    for end, printed in ends.items():
        desk.json(
            "wheel",
            "add",
            f"Birch {end}",
            "--position",
            end,
            *PAIR[:-4],
            "--tyre-range",
            printed,
            "--approved",
            "yes",
        )
    cold = ("--fill-temp", "18", "--ride-temp-min", "-20")
    made = desk.json(
        "profile", "make", "--wheel", "birch front", "--target", "4 bar", *cold
    )  # 3.35 bar at -20 °C
    assert "below-tyre-minimum-on-ride" in [note["id"] for note in made["warnings"]]
    made = desk.json(
        "profile", "make", "--wheel", "birch front", "--target", "4.5 bar", *cold
    )  # 3.78 bar
    assert "below-tyre-minimum-on-ride" not in [note["id"] for note in made["warnings"]]
    targets = ("--front-target", "4 bar", "--rear-target", "4.5 bar")
    desk.json(
        "preset",
        "make",
        "frost",
        "--rider",
        "Ida Quill",
        "--front",
        "birch front",
        "--rear",
        "birch rear",
        *targets,
        *cold,
        "-o",
        "p.json",
    )
    shown = desk.json("preset", "show", "p.json")
    assert [
        ("below-tyre-minimum-on-ride" in [n["id"] for n in shown["now"][end]["warnings"]])
        for end in ends
    ] == [True, False]
    assert shown["preset"]["ride"]["ride_temp_min_c"] == -20


def test_a_ride_of_one_temperature_has_no_coldest_above_its_hottest() -> None:
    assert [
        note.id for note in place_refusals(Place.of(15, 0), Ride.of(None, 20, temp_min_c=20))
    ] == []
    assert [
        note.id for note in place_refusals(Place.of(15, 0), Ride.of(None, 20, temp_min_c=20.02))
    ] == ["ride-temperatures-crossed"]


@pytest.mark.parametrize("option", ["--fill-temp", "--tyre-temp", "--ride-temp-max"])
@pytest.mark.parametrize("text", ["680", "-41", "600F"])
def test_a_temperature_out_of_reach_names_the_range_that_is_meant(option: str, text: str) -> None:
    """-20 to 45 °C for the tyre at a fill; a ride may be stated from -40 to 150."""
    shown = CliRunner().invoke(cli, ["ceiling", *PAIR, "--fill-temp", "18", option, text])
    assert shown.exit_code == 2
    meant = "-40 to 150 °C" if "ride" in option else "-20 to 45 °C"
    assert f"{text} is not from {meant}." in " ".join(shown.output.split())


def test_a_cartridge_s_temperature_out_of_reach_names_the_same_range() -> None:
    words = ["cartridge", "--grams", "16", "--tyre", "42-622", "--temp", "680"]
    shown = CliRunner().invoke(cli, words)
    assert shown.exit_code == 2 and "680 is not from -20 to 45 °C." in shown.output


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("33F", 0.555556), ("100F", 37.777778), ("-40F", -40), ("31.9F", -0.055556), ("18.25", 18.25)],
)
def test_fahrenheit_is_exact_to_a_millionth_of_a_degree(text: str, celsius: float) -> None:
    assert parse_celsius(text) == celsius


@pytest.mark.parametrize(
    ("text", "metres"),
    [(f"1000{unit}", 1000) for unit in ("", "m", " m", " metres", " Meters")]
    + [(f"1000{unit}", 304.8) for unit in ("ft", " feet", " foot", "'")],
)
def test_each_unit_of_length(text: str, metres: float) -> None:
    """0.3048 m a foot, exactly (international yard and pound agreement, 1959)."""
    assert parse_metres(text) == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["18 degC", "18 Celsius", "64.4 Fahrenheit", "64.4 degf", "64.4°F"]
)
def test_each_name_of_a_degree(text: str) -> None:
    assert parse_celsius(text) == 18
