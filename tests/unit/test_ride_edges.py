"""Edges of `rimward ride`: ends of the grid, every line of the report, and each note once. Numbers by the gas law and the US Standard Atmosphere 1976."""

from functools import partial

import pytest
from rimward.limits.ceiling import Note, Place, Ride
from rimward.limits.ride import report
from rimward.limits.ride.readings import Readings, reading, readings, steps, worst
from rimward.limits.ride.report import answer, assess_fill, sentences

HERE = Place.of(18, 0)
SEA_PA = 101_325


@pytest.mark.parametrize(
    ("low", "high", "count", "wanted"),
    [
        (0.0, 6.0, 7, (0, 1, 2, 3, 4, 5, 6)),
        (-1.0, 1.0, 2, (-1, 1)),
        (-1.0, 1.0, 3, (-1, 0, 1)),
        (2.0, 2.0, 7, (2.0,)),
        (3.0, 2.0, 7, (3.0,)),
    ],
)
def test_steps_hold_both_ends(low: float, high: float, count: int, wanted: tuple) -> None:
    assert steps(low, high, count) == wanted


@pytest.mark.parametrize(
    ("ride", "temps", "altitudes"),
    [
        (Ride.of(), (18, 18), (0, 0)),
        (Ride.of(2_400), (18, 18), (0, 2_400)),
        (Ride.of(temp_max_c=45), (18, 45), (0, 0)),
        (Ride.of(temp_min_c=-10), (-10, 18), (0, 0)),
        (Ride.of(2_400, 45, temp_min_c=-10), (-10, 45), (0, 2_400)),
        (Ride.of(-100, 10, temp_min_c=0), (0, 18), (0, 0)),  # never less than the fill itself
    ],
)
def test_the_grid_spans_fill_and_ride(ride: Ride, temps: tuple, altitudes: tuple) -> None:
    found = readings(400_000, HERE, ride)
    for values, ends in ((found.temps_c, temps), (found.altitudes_m, altitudes)):
        assert (values[0], values[-1]) == ends and len(values) == (1 if ends[0] == ends[1] else 7)
    assert len(found.gauge_pa) == len(found.altitudes_m)
    assert {len(row) for row in found.gauge_pa} == {len(found.temps_c)}
    assert (found.limit_pa, found.tyre_min_pa, found.over_limit, found.under_minimum) == (None,) * 4


def test_a_ride_of_zero_degrees_is_stated() -> None:
    found = readings(400_000, Place.of(18, 100), Ride.of(0, temp_min_c=0))
    assert found.temps_c[0] == 0 and found.altitudes_m == (100,)


def test_one_reading_by_the_gas_law() -> None:
    """(400,000 + 101,325) · 318.15 / 291.15 - 101,325 at sea level; at 1,000 m the standard atmosphere has 89,875 Pa."""
    hot = (400_000 + SEA_PA) * 318.15 / 291.15
    assert reading(400_000, HERE, 0, 45) == pytest.approx(hot - SEA_PA, abs=1)
    assert reading(400_000, HERE, 1_000, 45) == pytest.approx(hot - 89_875, abs=1.5)
    assert worst(400_000, HERE, Ride.of(1_000, 45)) == pytest.approx(hot - 89_875, abs=1.5)


def test_lowest_and_highest_say_where() -> None:
    found = Readings(3, HERE, (1.0, 2.0), (10.0, 20.0), ((5.0, 7.0), (6.0, 8.0)), 8, 5)
    assert (found.lowest, found.highest) == ((5.0, 10.0, 1.0), (8.0, 20.0, 2.0))
    assert (found.over_limit, found.under_minimum) == (False, False)
    tight = Readings(3, HERE, (1.0, 2.0), (10.0, 20.0), ((5.0, 7.0), (6.0, 8.0)), 7, 6)
    assert (tight.over_limit, tight.under_minimum) == (True, True)


def test_without_a_temperature_there_is_no_reading() -> None:
    for asked in (
        lambda: reading(1, Place.of(None, 0), 0, 1),
        lambda: readings(1, Place.of(None, 0), Ride.of(0)),
    ):
        with pytest.raises(ValueError, match="temperature is needed"):
            asked()


HOT = Ride.of(0, 45, temp_min_c=-15)
WHOLE = """\
gauge bar     -15.0°C    15.0°C    45.0°C
0 m       3.43      3.95      4.46!
gauge psi     -15.0°C    15.0°C    45.0°C
0 m       49.8      57.3      64.8!
highest   4.46 bar (64.8 psi) gauge at 45.0 °C and 0 m
lowest    3.43 bar (49.8 psi) gauge at -15.0 °C and 0 m; the tyre's minimum is 3.50 bar (50.8 psi)
limit     4.40 bar (63.8 psi) gauge; readings above it are marked !
warning   over-limit: This fill reads 4.46 bar (64.8 psi) at 45.0 °C and 0 m, above the limit 4.40 bar (63.8 psi).
warning   below-tyre-minimum-on-ride: This fill falls to 3.43 bar (49.7 psi) at -15.0 °C and 0 m, below the tyre's printed minimum 3.50 bar (50.8 psi)."""


def test_every_line_of_a_report(monkeypatch: pytest.MonkeyPatch) -> None:
    """446,490 and 343,180 Pa by the gas law at 45 and -15 °C; 394,830 Pa in the middle."""
    few = partial(readings, count=3)
    monkeypatch.setattr(report, "readings", few)
    shown = [
        line.strip() for line in sentences(assess_fill(400_000, HERE, HOT, 440_000, [], 350_000))
    ]
    assert [line.split() for line in shown] == [line.split() for line in WHOLE.splitlines()]


def test_lines_are_left_out_with_what_they_are_about() -> None:
    plain = list(sentences(assess_fill(400_000, HERE, Ride.of(1_000, 45), None, [])))
    assert not any("!" in line for line in plain)
    assert [line.split()[0] for line in plain if not line[:9].strip()[:1].isdigit()] == [
        "gauge", "gauge", "highest"
    ]  # fmt: skip
    rows = [line.split()[0] for line in plain if line.split()[1] == "m"]
    assert rows[:7] == ["1000", "833", "667", "500", "333", "167", "0"], "the highest place above"


def test_a_vacuum_on_the_ride_is_shown_as_nothing() -> None:
    (note,) = assess_fill(1_000, HERE, Ride.of(0, temp_min_c=-40), None, [], 200_000).warnings
    assert note.id == "below-tyre-minimum-on-ride"
    assert note.text.startswith("This fill falls to 0.00 bar (0.0 psi) at -40.0 °C and 0 m, ")


def test_no_ride_is_a_warning_and_a_stated_one_none() -> None:
    assert [note.id for note in assess_fill(400_000, HERE, Ride.of(), None, []).warnings] == [
        "ride-not-stated"
    ]
    assert assess_fill(400_000, HERE, Ride.of(0), None, []).warnings == ()


@pytest.mark.parametrize("fill_c", [None, 68])
def test_a_refusal_is_named_once(fill_c: float | None) -> None:
    """Also where the pair's own refusals hold it already."""
    place, ride = Place.of(fill_c, 0), Ride.of(0, 90)
    (note,) = assess_fill(400_000, place, ride, None, []).refusals
    again = assess_fill(400_000, place, ride, None, [note])
    assert again.refusals == (note,) and again.found is None
    other = Note("other", "Another one.")
    both = assess_fill(400_000, place, ride, None, [other])
    assert [one.id for one in both.refusals] == ["other", note.id]
    assert list(sentences(both))[0] == "REFUSED   other: Another one."
    assert answer(both)["status"] == "refused"


def test_a_temperature_that_nothing_else_asks_for_is_asked_for() -> None:
    (note,) = assess_fill(400_000, Place.of(None, 0), Ride.of(0), None, []).refusals
    assert note.id == "fill-temperature-missing" and "--fill-temp" in note.text


def test_what_is_missing_gives_no_readings_and_null_in_every_key() -> None:
    for fill_pa, ride in ((None, HOT), (400_000, None)):
        found = assess_fill(fill_pa, HERE, ride, 440_000, [])
        assert found.found is None and found.refusals == found.warnings == ()
        assert answer(found) == {
            "status": "ok", "fill_pa": None, "limit_pa": None, "over_limit": None, "highest": None, "tyre_min_pa": None, "under_minimum": None,
            "lowest": None, "temps_c": [], "altitudes_m": [], "gauge_pa": [], "refusals": [], "warnings": [],
        }  # fmt: skip


def test_the_answer_s_numbers() -> None:
    found = answer(assess_fill(400_000, HERE, HOT, 440_000, [], 350_000))
    hot, cold = ((400_000 + SEA_PA) * kelvin / 291.15 - SEA_PA for kelvin in (318.15, 258.15))
    assert found["highest"] == {"gauge_pa": round(hot), "altitude_m": 0, "temp_c": 45}
    assert found["lowest"] == {"gauge_pa": round(cold), "altitude_m": 0, "temp_c": -15}
    assert (found["fill_pa"], found["limit_pa"], found["tyre_min_pa"]) == (
        400_000, 440_000, 350_000
    )  # fmt: skip
    assert (found["over_limit"], found["under_minimum"], found["status"]) == (True, True, "ok")
    assert found["gauge_pa"][0][0] == round(cold) and found["gauge_pa"][-1][-1] == round(hot)
    assert [note["id"] for note in found["warnings"]] == [
        "over-limit", "below-tyre-minimum-on-ride"
    ]  # fmt: skip
