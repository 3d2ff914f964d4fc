"""Edges of the modules that decide limits, each against literals: values that a small change of the code would move."""

import importlib
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import keyring
import numpy as np
import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.base.units import Refused, parse_reading
from rimward.cli.main import cli
from rimward.formats.records import unpack_profile
from rimward.limits.cartridge.gas import saturation_pa
from rimward.limits.ceiling import Instrument, Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.cautions import pressure_warnings
from rimward.limits.ceiling.maker import load_maker_table
from rimward.limits.ceiling.markings import read_marking
from rimward.limits.ceiling.places import place_refusals
from rimward.limits.ceiling.standards import standards
from rimward.limits.energy import availability_j
from rimward.limits.ride.report import answer, assess_fill
from rimward.limits.uncertainty.files import inflator, instrument
from rimward.wheels import keys
from rimward.wheels.keys import Key, Ring
from rimward.wheels.profiles import Asked, cautions, check_target, default_budget_s, flags_of, issue
from rimward.wheels.tag import reading
from rimward_protocol import codes
from rimward_protocol.profile import is_tagged

from tests.unit.test_profiles import HILLS, WHEEL, WHEEL_ID, build

KEY = Ring((Key(bytes(range(32)), "2025-01-01"),), "here")


@pytest.mark.parametrize(
    ("text", "pa"),
    [
        ("0.05 bar", 5_000),
        ("-0.05 bar", -5_000),
        ("\N{MINUS SIGN}0.05 bar", -5_000),
        ("- 5 kPa", -5_000),
        ("0", 0),
        ("-0", 0),
    ],
)
def test_a_reading_has_a_sign(text: str, pa: int) -> None:
    assert parse_reading(text) == pa


@pytest.mark.parametrize(
    ("coldest_c", "minimum", "ids"),
    [
        (18, "4.1 bar", []),
        (18, "4.11 bar", ["target-below-tyre-minimum", "below-tyre-minimum-on-ride"]),
        (-15, "4 bar", ["below-tyre-minimum-on-ride"]),
    ],
)
def test_a_target_at_the_printed_minimum_is_not_below_it(
    coldest_c: float, minimum: str, ids: list[str]
) -> None:
    rim = Rim.parse("622x23TSS", "5 bar")
    tyre = Tyre.parse("30-622", min_text=minimum, max_text="6 bar", approved="yes")
    ride = Ride.of(200, 18, temp_min_c=coldest_c)
    found = cautions(410_000, assess(rim, tyre, Place.of(18, 200), ride), "Aspen")
    assert sorted(note.id for note in found if "minimum" in note.id) == sorted(ids)


def test_what_a_profile_takes_where_nothing_is_stated() -> None:
    """20 °C; a ring of 30 mm about 652 mm, at least one of 28 mm about 650 mm; a minute, and 5 L/min of free air for the tyre's content."""
    fields = unpack_profile(build(WHEEL, WHEEL_ID, 1, Asked(300_000, Place.of(None, 0))))
    assert fields["ref_temp_ck"] == 29_315
    low, nominal = fields["volume_low_ml"], fields["volume_ml"]
    assert (low, nominal) == (1_257, 1_448)
    assert (default_budget_s(1_427, 427_000), default_budget_s(5_000, 500_000)) == (132, 356)
    assert (default_budget_s(100, 100_000), default_budget_s(90_000, 900_000)) == (61, 1_800)


def test_the_budget_counts_five_litres_a_minute() -> None:
    """5 L of free air in a minute, and a minute for pauses."""
    assert default_budget_s(5_000, 101_325) == 120 and default_budget_s(10_000, 101_325) == 180


@pytest.mark.parametrize(
    ("instrument", "highest"), [(None, 500_000), (Instrument(12_000), 488_000)]
)
def test_a_target_at_the_ceiling_or_the_stop_reading_is_taken(
    instrument: Instrument | None, highest: int
) -> None:
    rim, tyre = Rim.parse("622x23TSS", "5 bar"), Tyre.parse("30-622", "3-6 bar", approved="yes")
    found = assess(rim, tyre, Place.of(18, 200), None, instrument)
    check_target(highest, found)
    with pytest.raises(Refusal, match="stop reading" if instrument else "above the ceiling"):
        check_target(highest + 1, found)


def test_no_target_is_above_what_the_highest_range_allows() -> None:
    """9 bar: the inflator's highest ceiling, whatever rim and tyre withstand."""
    rim, tyre = Rim.parse("622x15C", "11 bar"), Tyre.parse("23-622", "6-12 bar", air="tube")
    found = assess(rim, tyre, Place.of(18, 200))
    assert found.ceiling_pa == 1_100_000
    check_target(900_000, found)
    with pytest.raises(Refusal, match="above the ceiling of 9.00 bar"):
        check_target(900_001, found)


@pytest.mark.parametrize(
    ("air", "ride", "held_on", "revision", "flags"),
    [
        ("tube", None, "ride", 1, 0),
        ("tubeless", None, "ride", 1, codes.FLAG_TUBELESS),
        ("tube", None, "ride", 2, codes.FLAG_SUPERSEDES),
        ("tube", Ride.of(300), "ride", 1, codes.FLAG_RIDE_STATED),
        ("tube", Ride.of(300), "fill", 1, codes.FLAG_RIDE_STATED | codes.FLAG_LIMIT_AT_FILL),
        ("tube", None, "fill", 1, 0),
        ("tube", Ride.of(temp_min_c=0), "fill", 1, 0),
    ],
)
def test_the_flags_of_a_profile(
    air: str, ride: Ride | None, held_on: str, revision: int, flags: int
) -> None:
    rim, tyre = Rim.parse("622x23TSS", "5 bar"), Tyre.parse("30-622", "3-6 bar", approved="yes")
    place = Place.of(18, 200)
    found = assess(rim, tyre, place, ride, held_on=held_on)
    assert flags_of({"air": air}, Asked(300_000, place, ride), found, revision) == flags


def register(values: dict[str, Any]) -> Any:
    now = SimpleNamespace(values=values, wheel_id=WHEEL_ID.hex())
    return SimpleNamespace(record=lambda _wheel, make, _who: now.values.update(make(now))), now


def test_a_wheel_without_any_marking_gets_no_tagged_profile() -> None:
    asked = Asked(300_000, Place.of(18, 200), HILLS)
    bare = {key: value for key, value in WHEEL.items() if key not in ("rim_max", "tyre_range")}
    desk, wheel = register(bare)
    with pytest.raises(Refusal, match="No pressure is marked on rim or tyre"):
        issue(desk, wheel, asked, KEY)
    assert "profile" not in wheel.values
    assert not is_tagged(issue(desk, wheel, asked, None))
    desk, wheel = register(dict(WHEEL))
    assert is_tagged(issue(desk, wheel, asked, KEY))


def test_a_picture_above_the_size_that_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tag.png"
    path.write_bytes(bytes(101))
    monkeypatch.setattr(reading, "IMAGE_MAX_BYTES", 100)
    with pytest.raises(Refusal, match="larger than 40 MB"):
        reading.code_texts(path)


def test_a_keyring_that_is_asked_for_and_not_there_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(keyring, "get_keyring", lambda: SimpleNamespace(priority=0))
    monkeypatch.setenv(keys.STORE_VARIABLE, "keyring")
    with pytest.raises(Refusal, match="no keyring that can store the key"):
        keys.usable_keyring()
    monkeypatch.delenv(keys.STORE_VARIABLE)
    assert keys.usable_keyring() is None


def test_a_working_keyring_is_left_alone_where_a_file_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    backend = SimpleNamespace(priority=5)
    monkeypatch.setattr(keyring, "get_keyring", lambda: backend)
    for wanted, found in (("file", None), ("keyring", backend)):
        monkeypatch.setenv(keys.STORE_VARIABLE, wanted)
        assert keys.usable_keyring() is found


def test_above_the_critical_point_there_is_one_vapour_pressure() -> None:
    """7.3773 MPa at 304.1282 K: Span and Wagner 1996. 3.4851 MPa at 273.15 K: NIST Chemistry WebBook."""
    assert saturation_pa(304.1282) == saturation_pa(350.0) == pytest.approx(7.3773e6, rel=1e-5)
    assert saturation_pa(273.15) == pytest.approx(3.4851e6, rel=1e-3)


def test_an_availability_needs_an_ambient_pressure() -> None:
    for wrong in ((5e5, 0.001, 0.0), (5e5, -0.001, 1e5), (0.9e5, 0.001, 1e5)):
        with pytest.raises(ValueError):
            availability_j(*wrong)
    assert availability_j(1e5, 0.0, 1e5) == 0


def table(**row: Any) -> dict[str, Any]:
    base = {"rim_inner_mm": 23, "tyre_min_mm": 28, "max_pressure": "5 bar"}
    return {"document": "Guide", "page": "4", "date": "2026-01-01", "rows": [base | row]}


@pytest.mark.parametrize(
    ("row", "named"),
    [
        ({"max_pressure": 5}, "max_pressure needs a unit"),
        ({"tyre_min_mm": 0}, "above 0 and at most 150"),
        ({"tyre_min_mm": 150.5}, "above 0 and at most 150"),
        ({"tyre_min_mm": 0.5, "tyre_max_mm": 0.4}, "tyre_min_mm is above tyre_max_mm"),
    ],
)
def test_a_makers_row_says_what_is_wrong(tmp_path: Path, row: dict[str, Any], named: str) -> None:
    path = tmp_path / "table.json"
    path.write_text(json.dumps(table(**row)))
    with pytest.raises(Refused, match=named):
        load_maker_table(path)


def test_a_makers_row_of_the_least_width(tmp_path: Path) -> None:
    path = tmp_path / "table.json"
    path.write_text(json.dumps(table(tyre_min_mm=0.5, tyre_max_mm=150)))
    (row,) = load_maker_table(path).rows
    assert (row.tyre_min_mm, row.tyre_max_mm) == (0.5, 150)


@pytest.mark.parametrize("text", ["5 bar -", "5 bar - low", "5 bar to"])
def test_a_range_with_one_end_is_not_understood(text: str) -> None:
    with pytest.raises(Refused):
        read_marking(text)


def test_a_soft_tyre_is_held_against_road_and_off_road() -> None:
    """2.00 and 1.50 bar: ISO 5775-1 as an encyclopedia's reproduction has it."""
    (note,) = pressure_warnings(Tyre.parse("30-622"), 180_000, None)
    assert "below 2.00 bar" in note.text and "(off-road: 1.50 bar" in note.text


def test_what_an_instrument_file_leaves_out() -> None:
    chain = inflator({"full_scale": "10 bar", "total_error_band_percent": 1})
    assert (chain.converter.bits, chain.converter.integral_lsb) == (14, 2.0)
    assert instrument({"guard_pa": 0}).guard_pa == 0
    assert (chain.converter.edge_step_lsb, chain.total_error_band) == (0.0, 0.01)


def test_the_answer_of_a_ride_names_place_and_temperature_of_its_ends() -> None:
    """3.9 bar at 18 °C and 200 m, at 2,400 m and 45 °C and at 0 °C: gas law against the US Standard Atmosphere 1976, computed apart."""
    found = answer(
        assess_fill(390_000, Place.of(18, 200), Ride.of(2_400, 45, temp_min_c=0), 500_000, [])
    )
    assert (found["highest"]["altitude_m"], found["highest"]["temp_c"]) == (2_400, 45)
    assert found["highest"]["gauge_pa"] == pytest.approx(458_650, abs=100)
    assert (found["lowest"]["altitude_m"], found["lowest"]["temp_c"]) == (200, 0)
    assert found["lowest"]["gauge_pa"] == pytest.approx(359_780, abs=100)


def test_a_cartridge_names_the_ideal_gas_and_the_largest_volume() -> None:
    words = ["cartridge", "--grams", "16", "--tyre", "42-622", "--rim", "622x23TSS"]
    shown = CliRunner().invoke(cli, [*words, "--rim-max", "4.5 bar", "--temp", "18"]).stdout
    assert "(an ideal gas would settle at " in shown and "; the largest volume at " in shown


def test_a_state_that_differs_names_four_words_at_most() -> None:
    state = {"g": [0] * 47, "x": [0] * 60, "f": [0] * 60, "y": [0] * 60}
    mark = {name: np.array(words) for name, words in state.items()}
    mark["g"] = mark["g"] + np.array([1] * 6 + [0] * 41)
    compare = importlib.import_module("rimward.sessions.replay")._compare_state
    (found,) = compare(7, mark, state)
    assert found.recorded.count("=1") == found.replayed.count("=0") == 4


@pytest.mark.parametrize("left", [None, "{}", "[1", '{"a": "x"}', "[]", "3"])
def test_issue_numbers_start_at_1_where_the_clock_stands_at_2020(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, left: str | None
) -> None:
    """A lost or damaged counter is an empty one; each minute of the clock is a number, rounded down."""
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path))
    now = [codes.EPOCH_DAY_UNIX_S]
    monkeypatch.setattr(keys.time, "time", lambda: now[0])
    path, key = tmp_path / "keys" / "issues.json", KEY.current
    if left is not None:
        path.parent.mkdir(mode=0o700)
        path.write_text(left)
        path.chmod(0o600)
    assert [keys.next_issue(key), keys.next_issue(key)] == [1, 2]
    assert keys.next_issue(key, 7) == 8 and json.loads(path.read_text()) == {key.key_id: 8}
    for seconds, number in ((539, 9), (600, 10), (659, 11), (1_199, 19), (86_459, 1_440)):
        now[0] = codes.EPOCH_DAY_UNIX_S + seconds
        assert keys.next_issue(key) == number


@pytest.mark.parametrize(
    ("low", "high", "refused"), [(500_000, 500_000, False), (500_001, 500_000, True)]
)
def test_a_minimum_that_is_the_maximum_is_no_slip(low: int, high: int, refused: bool) -> None:
    tyre = Tyre(30, 622, min_pa=low, max_pa=high, approved="yes")
    found = assess(Rim.parse("622x23TSS", "6 bar"), tyre, Place.of(18, 200))
    assert ("minimum-above-maximum" in [note.id for note in found.refusals]) is refused


@pytest.mark.parametrize("name", ["rim's maximum", "tyre's minimum", "tyre's maximum"])
def test_a_pressure_above_any_tyre_s_is_a_wrong_unit(name: str) -> None:
    most = standards()["implausible_above_pa"]
    for pa, wrong in ((most, False), (most + 1, True)):
        low, high = (pa, None) if "minimum" in name else (None, pa if "tyre" in name else None)
        rim = replace(Rim.parse("622x15C"), max_pa=pa if "rim" in name else None)
        found = assess(rim, Tyre(23, 622, min_pa=low, max_pa=high, air="tube"), Place.of(18, 200))
        named = [note.text for note in found.refusals if note.id == "pressure-implausible"]
        assert [f"The {name} of " in text for text in named] == [True] * wrong


@pytest.mark.parametrize(
    ("place", "ride", "text"),
    [
        (Place.of(60), Ride.of(0, 70), "60 °C is not a plausible tyre temperature at a fill (-20 to 45 °C)."),
        (Place.of(30), Ride.of(0, 25), "The fill is stated at 30 °C, hotter than the ride's hottest of 25 °C."),
        (Place.of(30), Ride.of(0, 25), "that is the ride's hottest: --ride-temp-max 30."),
        (Place.of(10), Ride.of(0, 20, temp_min_c=21), "The ride's coldest of 21 °C lies above its hottest of 20 °C."),
        (Place.of(None), Ride.of(0, temp_min_c=5), "A temperature is stated for the ride but none for the fill."),
    ],
)  # fmt: skip
def test_temperatures_are_refused_with_their_numbers(place: Place, ride: Ride, text: str) -> None:
    (note,) = place_refusals(place, ride)
    assert text in note.text
