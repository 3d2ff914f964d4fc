"""Edges of the ceiling: pressures and widths exactly at a bound, and every refusal and warning in its own words."""

from collections.abc import Iterable

import pytest
from rimward.limits.ceiling import Instrument, Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.assess import _pressure_refusals
from rimward.limits.ceiling.cautions import (
    EXAMPLE_FILL_CK,
    HOT_CK,
    cold_warnings,
    pair_warnings,
    pressure_warnings,
    ride_warnings,
)
from rimward.limits.ceiling.envelope import envelope
from rimward.limits.ceiling.model import (
    FILL_MAX_CK,
    FILL_MIN_CK,
    UNSTATED_FILL_CK,
    Envelope,
    Limit,
    Note,
)

RIM = Rim.parse("622x23TSS", "5 bar")
TYRE = Tyre.parse("30-622", "2-6 bar", approved="yes")


def ids(notes: Iterable[Note]) -> list[str]:
    return [note.id for note in notes]


def test_what_is_not_stated_is_sea_level_and_the_coldest_plausible_fill() -> None:
    """-20 to 45 °C are plausible at a fill, our choice; the coldest is the safe side where none is stated."""
    assert (FILL_MIN_CK, FILL_MAX_CK, UNSTATED_FILL_CK) == (25_315, 31_815, 25_315)
    for place in (Place(), Place.of(), Place.of(18), Place.of(18, 0)):
        assert place.altitude_m == 0 and place.ambient_pa == 101_325
    assert Place.of(20, None, 15).temp_ck == Place.of(15, None, 20).temp_ck == 28_815
    assert Place.of(None, None, 15).temp_ck == 28_815 and Place.of().temp_ck is None


@pytest.mark.parametrize(
    ("celsius", "refused"), [(-20.01, True), (-20, False), (45, False), (45.01, True)]
)
def test_plausible_temperatures_of_a_fill(celsius: float, refused: bool) -> None:
    found = assess(RIM, TYRE, Place.of(celsius, 200))
    assert ids(found.refusals) == ["fill-temperature-implausible"] * refused


@pytest.mark.parametrize(
    ("guard_pa", "refused"), [(499_999, False), (500_000, True), (500_001, True)]
)
def test_a_guard_band_as_wide_as_the_ceiling_is_refused(guard_pa: int, refused: bool) -> None:
    found = assess(RIM, TYRE, Place.of(18, 200), None, Instrument(guard_pa))
    assert ("guard-band-above-ceiling" in ids(found.refusals)) is refused
    assert found.stop_reading_pa == (None if refused else 1)


@pytest.mark.parametrize(("minimum", "refused"), [("5 bar", False), ("500.001 kPa", True)])
def test_a_tyre_whose_minimum_is_the_ceiling_may_be_filled(minimum: str, refused: bool) -> None:
    tyre = Tyre.parse("30-622", min_text=minimum, max_text="6 bar", approved="yes")
    found = assess(RIM, tyre, Place.of(18, 200))
    assert ids(found.refusals) == ["tyre-minimum-above-ceiling"] * refused


def test_a_ride_that_leaves_nothing_is_refused_once() -> None:
    """0.2 bar at 45 °C and 5,000 m: filled at -20 °C and sea level nothing is left; the guard band is no second reason."""
    rim = Rim.parse("622x23TSS", "0.2 bar")
    tyre = Tyre.parse("30-622", approved="yes")
    for instrument in (None, Instrument(10_000)):
        found = assess(rim, tyre, Place.of(-20, 0), Ride.of(5_000, 45), instrument)
        assert ids(found.refusals) == ["ride-leaves-no-pressure"]
        assert (found.bound_pa, found.ceiling_pa, found.window.max_pa) == (0, None, None)


def test_a_limit_held_at_the_fill_may_rise_by_five_percent() -> None:
    """Ideal gas: 5 bar at 20 °C and sea level reads 601.325 x T / 293.15 - 101.325 kPa; 5 % more at 305.33 K."""
    for celsius, refused in ((32.1, False), (32.3, True)):
        found = assess(RIM, TYRE, Place.of(20, 0), Ride.of(None, celsius), held_on="fill")
        assert ids(found.refusals) == ["limit-exceeded-on-ride"] * refused
        held = assess(RIM, TYRE, Place.of(20, 0), Ride.of(None, celsius))
        assert ids(held.refusals) == [] and held.held_on == "ride"
    limit = Limit("rim-maximum", 500_000, "", "")
    for highest, ids_wanted in ((525_000.0, []), (525_000.1, ["limit-exceeded-on-ride"])):
        found_notes = _pressure_refusals(TYRE, limit, 500_000, None, highest)
        assert ids(found_notes) == ids_wanted
    with pytest.raises(ValueError, match="held_on must be one of ride, fill"):
        assess(RIM, TYRE, held_on="both")


def test_without_a_limit_there_is_no_answer() -> None:
    found = assess(Rim.parse("622x19C"), Tyre.parse("30-622", air="tube"))
    assert ids(found.refusals) == ["no-limit-known"] and found.envelope is None
    assert (found.limits, found.governing, found.limit_pa, found.bound_pa) == ((), None, None, None)
    unknown = assess(Rim.parse("622x23?"), Tyre.parse("30-622", approved="yes"))
    assert "no-limit-known" in ids(unknown.refusals) and unknown.governing is not None


def test_the_lowest_of_several_limits_is_the_one_that_counts() -> None:
    """4 bar on the rim, 5 bar of the class, 6 bar on the tyre."""
    found = assess(Rim.parse("622x23TSS", "4 bar"), TYRE, Place.of(20, 0), Ride.of(None, 30))
    assert [limit.pa for limit in found.limits] == [400_000, 500_000, 600_000]
    assert (found.governing, found.limit_pa) == ("rim-maximum", 400_000)
    assert found.bound_pa == found.ceiling_pa == 383_000  # 501.325 x 293.15 / 303.15 - 101.325 kPa
    held = assess(
        Rim.parse("622x23TSS", "4 bar"), TYRE, Place.of(20, 0), Ride.of(None, 33), held_on="fill"
    )
    assert ids(held.refusals) == ["limit-exceeded-on-ride"] and held.bound_pa == 400_000
    (text,) = (note.text for note in held.refusals)
    assert "above 105 % of the limit 4.00 bar" in text
    low = assess(
        Rim.parse("622x23TSS", "4 bar"),
        TYRE,
        Place.of(20, 0),
        Ride.of(None, 30),
        Instrument(400_000),
    )
    assert ids(low.refusals) == ["guard-band-above-ceiling"]
    (note,) = assess(Rim.parse("622x23TSS", "4 bar"), TYRE, Place.of(20, 0)).warnings
    assert (
        "reads 4.34 bar (63.0 psi) at 40 °C, and reaches 110 % of the limit at 43.4 °C" in note.text
    )


def test_an_answer_names_what_it_is_about() -> None:
    found = assess(RIM, TYRE, Place.of(18, 200), Ride.of(None, None), Instrument(12_000))
    assert (found.stop_reading_pa, found.guard_pa, found.ride_stated) == (488_000, 12_000, False)
    assert (found.window.min_pa, found.window.max_pa, found.limit_pa) == (200_000, 500_000, 500_000)
    stated = assess(RIM, TYRE, Place.of(18, 200), Ride.of(2_400, 45))
    assert stated.ride_stated and stated.envelope == envelope(
        500_000, stated.ceiling_pa, Place.of(18, 200), Ride.of(2_400, 45)
    )
    assert stated.stop_reading_pa is None and stated.guard_pa is None


@pytest.mark.parametrize("approved", ["yes", "no"])
def test_pressures_are_warned_of_where_the_pair_is_allowed(approved: str) -> None:
    tyre = Tyre.parse("30-622", min_text="4.9 bar", max_text="6 bar", approved=approved)
    ride = Ride.of(None, None, temp_min_c=0)
    found = assess(RIM, tyre, Place.of(18, 200), ride, Instrument(20_000))
    warned = ["tyre-minimum-above-stop-reading", "ride-not-stated", "below-tyre-minimum-on-ride"]
    assert ids(found.warnings) == (warned if approved == "yes" else [])


@pytest.mark.parametrize(("min_pa", "warned"), [(400_000, False), (400_001, True)])
def test_a_cold_fill_at_the_printed_minimum_is_not_below_it(min_pa: int, warned: bool) -> None:
    tyre = Tyre(30, 622, min_pa=min_pa)
    found = Envelope(400_000, 400_000, 400_000, 29_315, 29_315, 1e5, 1e5, 29_315, 400_000)
    assert ids(cold_warnings(tyre, 400_000, found)) == ["below-tyre-minimum-on-ride"] * warned


def test_without_cold_or_minimum_there_is_no_warning_of_it() -> None:
    warm = Envelope(400_000, 400_000, 400_000, 29_315, 29_315, 1e5, 1e5, None, None)
    assert warm.lowest_gauge(400_000) is None
    assert ids(cold_warnings(Tyre(30, 622, min_pa=500_000), 400_000, warm)) == []
    cold = Envelope(400_000, 400_000, 400_000, 29_315, 29_315, 1e5, 1e5, 27_315, 0)
    assert ids(cold_warnings(Tyre(30, 622), 400_000, cold)) == []
    assert cold.lowest_gauge(400_000) == pytest.approx(5e5 * 273.15 / 293.15 - 1e5)
    (note,) = cold_warnings(Tyre(30, 622, min_pa=400_000), 400_000, cold)
    assert "falls to 3.65 bar (53.0 psi) at 0.0 °C" in note.text


@pytest.mark.parametrize(
    ("width", "ceiling", "minimum", "named"),
    [
        (25, 300_000, None, ""),
        (25, 299_999, None, "The ceiling is below 3.00 bar"),
        (25.1, 299_999, None, ""),
        (25.1, 200_000, 200_000, ""),
        (30, 199_999, None, "The ceiling is below 2.00 bar"),
        (30, 300_000, 199_999, "The tyre's printed minimum is below 2.00 bar"),
        (30, 150_000, 140_000, "The ceiling and the tyre's printed minimum is below 2.00 bar"),
    ],
)
def test_the_least_pressures_of_a_width(
    width: float, ceiling: int, minimum: int | None, named: str
) -> None:
    """3.00 bar to 25 mm, 2.00 bar above: ISO 5775-1 as an encyclopedia's reproduction has it."""
    found = list(pressure_warnings(Tyre(width, 622, min_pa=minimum), ceiling, None))
    assert ids(found) == ["iso-minimum-pressure"] * bool(named)
    assert not named or found[0].text.startswith(named)


@pytest.mark.parametrize(
    ("minimum", "stop", "warned"),
    [(400_000, 400_000, False), (400_001, 400_000, True), (None, 1, False), (400_000, None, False)],
)
def test_a_minimum_above_the_stop_reading(
    minimum: int | None, stop: int | None, warned: bool
) -> None:
    found = ids(pressure_warnings(Tyre(30, 622, min_pa=minimum), 450_000, stop))
    assert found == ["tyre-minimum-above-stop-reading"] * warned


@pytest.mark.parametrize(
    ("rim", "width", "warned"),
    [
        ("622x18TSS", 20, None), ("622x19TSS", 25, None), ("622x19TSS", 24.9, "at least 25 mm"),
        ("622x19.5TSS", 24.9, "at least 25 mm"), ("622x20TSS", 25, "at least 26 mm"), ("622x20TSS", 26, None),
        ("622x21TSS", 26, "at least 27 mm"), ("622x22TSS", 27, "at least 28 mm"), ("622x23TSS", 27, "at least 28 mm"),
        ("622x24TSS", 27, "at least 28 mm"), ("622x23TSS", 28, None), ("622x25TSS", 27, None),
        ("622x17C", 25, None), ("622x17C", 50, None), ("622x17C", 24, "listed 25 to 50 mm tyres on 17C"),
        ("622x17C", 51, "listed 25 to 50 mm tyres on 17C"), ("622x18C", 90, None), ("622x29C", 53, "listed 54 to 62 mm"),
    ],
)  # fmt: skip
def test_widths_that_are_listed(rim: str, width: float, warned: str | None) -> None:
    """The rows of the standards file at both ends; from 25 mm inside a straight-side pair is refused, not warned of."""
    notes = [
        note
        for note in pair_warnings(Rim.parse(rim, "5 bar"), Tyre(width, 622, max_pa=600_000), None)
        if note.id == "width-unverified"
    ]
    assert len(notes) == (warned is not None) and (warned is None or warned in notes[0].text)


@pytest.mark.parametrize(
    ("rim", "width", "named"),
    [
        ("622x19C", 30, "only the tyre's maximum governs"),
        ("622x23TSS", 28, "the class limit of 5 bar is applied"),
        ("622x23TSS", 28.5, "500 kPa x 28 / 28.5 is applied"),
        ("622x23?", 40, "500 kPa x 28 / 40 is applied"),
    ],
)
def test_a_rim_without_a_maximum(rim: str, width: float, named: str) -> None:
    found = {
        note.id: note.text
        for note in pair_warnings(Rim.parse(rim), Tyre(width, 622, max_pa=600_000), None)
    }
    assert named in found["rim-maximum-unknown"] and "tyre-maximum-unknown" not in found
    assert ("rim-type-unknown" in found) == rim.endswith("?")


def test_what_is_stated_of_a_pair_is_not_warned_of() -> None:
    assert ids(pair_warnings(RIM, TYRE, None)) == []
    assert ids(pair_warnings(RIM, Tyre(30, 622), None)) == ["tyre-maximum-unknown"]
    mixed = Rim.parse("622x23TSS", "5 bar / 80 psi")
    assert ids(pair_warnings(mixed, TYRE, None)) == ["printed-units-disagree"]


def test_what_a_ride_leaves_unstated() -> None:
    """40 °C and 20 °C in the text are the numbers of the calculation; 5 bar filled at 20 °C at sea level reads 541.0 kPa at 40 °C, and 550 kPa at 44.4 °C."""
    assert (HOT_CK, EXAMPLE_FILL_CK) == (31_315, 29_315)

    def warned(ride: Ride | None, held_on: str = "ride", place: Place | None = None) -> list[Note]:
        return list(ride_warnings(500_000, 500_000, place or Place(), ride, held_on, 520_000.0))

    for ride in (None, Ride(), Ride(temp_min_ck=27_315)):
        (note,) = warned(ride)
        assert note.id == "ride-not-stated"
        assert "at 20 °C this reads 5.41 bar (78.5 psi) at 40 °C" in note.text
        assert "110 % of the limit at 44.4 °C" in note.text
    (note,) = warned(None, place=Place.of(0))
    assert "at 0 °C this reads 5.88 bar" in note.text
    assert ids(warned(Ride(500.0, 30_000))) == []
    (note,) = warned(Ride(500.0, None))
    assert note.id == "ride-partly-stated" and "highest temperature is not stated" in note.text
    (note,) = warned(Ride(None, 30_000))
    assert "highest altitude is not stated" in note.text
    (note,) = warned(Ride(500.0, 30_000), "fill")
    assert note.id == "limit-held-at-fill-only" and "up to 5.20 bar" in note.text


def test_a_reading_at_its_limit_in_the_sun_is_shown_as_the_limit() -> None:
    """Filled at 40 °C the reading at 40 °C is the fill itself."""
    (note,) = ride_warnings(500_000, 500_000, Place(31_315), None, "ride", 0.0)
    assert "reads 5.00 bar (72.5 psi) at 40 °C" in note.text


@pytest.mark.parametrize("field", ["approved", "bead", "air"])
def test_a_tyre_has_one_of_the_answers(field: str) -> None:
    with pytest.raises(ValueError, match=f"{field} must be one of "):
        Tyre(30, 622, **{field: "perhaps"})  # type: ignore[arg-type]


def test_what_is_printed_apart_is_joined_to_the_narrowest() -> None:
    tyre = Tyre.parse("30-622", "3-6 bar", min_text="3.5 bar", max_text="5.5 bar")
    assert (tyre.min_pa, tyre.max_pa) == (350_000, 550_000)
    plain = Tyre.parse("30-622")
    assert (plain.min_pa, plain.max_pa, plain.text) == (None, None, "30-622")
    assert Tyre.parse("30-622", max_text="5.5 bar").min_pa is None
    assert Tyre.parse("30-622", min_text="3 bar").max_pa is None


@pytest.mark.parametrize(
    ("ride", "stated", "empty"),
    [
        (Ride(), False, True),
        (Ride.of(500), True, False),
        (Ride.of(None, 30), True, False),
        (Ride.of(temp_min_c=5), False, False),
    ],
)
def test_what_is_stated_of_a_ride(ride: Ride, stated: bool, empty: bool) -> None:
    assert (ride.stated, ride.empty) == (stated, empty)


def test_a_refused_answer_has_no_envelope_in_json() -> None:
    good = assess(RIM, TYRE, Place.of(18, 200)).to_json()
    bad = assess(RIM, TYRE, Place.of(60, 200)).to_json()
    assert good["envelope"]["fill_ceiling_pa"] == 500_000 and good["refusals"] == []
    assert set(bad["envelope"].values()) == {None} and bad["status"] == "refused"
