"""Each rule of the ceiling engine: limits, refusals and warnings by id."""

import pytest
from rimward.limits.ceiling import Assessment, Instrument, Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.envelope import fill_ceiling, highest_gauge, whole_above


def ask(
    rim: str = "622x23TSS",
    tyre: str = "28-622",
    range_text: str | None = "3-6 bar",
    rim_max: str | None = "5 bar",
    *,
    approved: str = "yes",
    bead: str = "rigid",
    air: str = "tube",
    fill: Place | None = None,
    ride: Ride | None = None,
    **more,
) -> Assessment:
    return assess(
        Rim.parse(rim, rim_max),
        Tyre.parse(tyre, range_text, approved=approved, bead=bead, air=air),
        fill,
        ride,
        **more,
    )


def refusals(found: Assessment) -> list[str]:
    return [note.id for note in found.refusals]


def warnings(found: Assessment) -> list[str]:
    return [note.id for note in found.warnings]


@pytest.mark.parametrize(
    ("rim", "rim_max", "tyre", "printed", "governing", "ceiling"),
    [
        ("622x23TSS", "5 bar", "28-622", "3-6 bar", "rim-maximum", 500_000),
        ("622x23TSS", "4.5 bar", "28-622", "3-6 bar", "rim-maximum", 450_000),
        ("622x23TSS", "6 bar", "28-622", "3-7 bar", "straight-side-class", 500_000),
        ("622x23TSS", None, "28-622", "3-7 bar", "straight-side-class", 500_000),
        ("622x23TSS", None, "32-622", "3-7 bar", "rim-maximum-unknown", 437_000),
        ("622x23?", None, "57-622", "1-4 bar", "rim-maximum-unknown", 245_000),
        ("622x23TSS", None, "32-622", "2-4 bar", "tyre-maximum", 400_000),
        ("622x23TSS", "5 bar", "32-622", "3-7 bar", "rim-maximum", 500_000),
        ("622x23SS", None, "28-622", None, "straight-side-class", 500_000),
        ("622x19TC", None, "28-622", "6-8 bar", "tyre-maximum", 800_000),
        ("622x19TC", "7 bar", "28-622", "6-8 bar", "rim-maximum", 700_000),
        ("622x19HB", "7 bar", "28-622", None, "rim-maximum", 700_000),
        ("622x23TSS", "73 psi", "28-622", "3-6 bar", "straight-side-class", 500_000),
        ("622x23TSS", "72.5 psi", "28-622", "3-6 bar", "rim-maximum", 499_000),
    ],
)
def test_the_smallest_limit_governs(
    rim: str, rim_max: str | None, tyre: str, printed: str | None, governing: str, ceiling: int
) -> None:
    found = ask(rim, tyre, printed, rim_max)
    assert (found.status, found.governing, found.ceiling_pa) == ("ok", governing, ceiling)
    assert all(limit.source and limit.confidence for limit in found.limits)
    assert ("rim-maximum-unknown" in warnings(found)) == (rim_max is None)


@pytest.mark.parametrize(
    ("id", "how"),
    [
        ("tyre-minimum-above-ceiling", {"range_text": "85–120 psi"}),
        ("bead-seat-mismatch", {"tyre": "28-584"}),
        ("bead-seat-unknown", {"rim": "23TSS"}),
        ("bead-seat-unknown", {"tyre": "28-?"}),
        ("bead-seat-unknown", {"rim": "623x23TSS", "tyre": "28-623"}),
        ("tyre-not-approved-for-straight-side", {"approved": "no"}),
        ("tyre-not-approved-for-straight-side", {"approved": "unknown"}),
        ("tyre-not-approved-for-straight-side", {"rim": "622x23?", "approved": "no"}),
        ("tyre-not-approved-for-straight-side", {"rim": "622x23?", "approved": "unknown"}),
        ("folding-tyre-on-straight-side-rim", {"rim": "622x23?", "bead": "folding"}),
        ("bead-unknown", {"rim": "622x23SS", "bead": "unknown"}),
        ("bead-unknown", {"rim": "622x23?", "bead": "unknown"}),
        ("tubeless-on-plain-rim", {"rim": "622x23?", "air": "tubeless"}),
        ("air-unknown", {"rim": "622x23?", "air": "unknown"}),
        ("air-unknown", {"rim": "622x19C", "air": "unknown"}),
        ("folding-tyre-on-straight-side-rim", {"rim": "622x23SS", "bead": "folding"}),
        ("tubeless-on-plain-rim", {"rim": "622×17C", "air": "tubeless"}),
        ("tubeless-on-plain-rim", {"rim": "622x19HB", "air": "tubeless"}),
        ("tubeless-on-plain-rim", {"rim": "622x23SS", "air": "tubeless", "bead": "rigid"}),
        ("tyre-not-wider-than-rim", {"rim": "622x28TSS"}),
        ("tyre-not-wider-than-rim", {"rim": "622x30TC"}),
        ("tyre-too-narrow", {"rim": "622x25TSS"}),
        ("tyre-too-narrow", {"rim": "622x25?"}),
        ("tyre-too-narrow", {"rim": "622x26TSS"}),
        ("minimum-above-maximum", {"range_text": "6-4 bar"}),
        ("no-limit-known", {"rim": "622x19C", "rim_max": None, "range_text": None}),
        ("no-limit-known", {"rim": "622x23?", "rim_max": None, "range_text": None}),
        ("no-limit-known", {"rim": "622x23?", "rim_max": None, "range_text": "min 3 bar"}),
        ("pressure-implausible", {"rim": "622x19C", "rim_max": "500 bar"}),
    ],
)
def test_refusals(id: str, how: dict) -> None:
    found = ask(**how)
    assert found.status == "refused" and id in refusals(found)
    answer = found.to_json()
    assert (
        answer["ceiling_pa"] is None
        and answer["stop_reading_pa"] is None
        and answer["window"]["max_pa"] is None
    )
    assert set(answer["envelope"].values()) == {None}


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"rim": "622x23?"},
        {"rim": "622x19TC", "approved": "no", "bead": "unknown", "air": "unknown"},
        {"bead": "unknown", "air": "unknown"},
        {"rim": "622x19TC", "air": "tubeless"},
        {"air": "tubeless"},
        {"rim": "622x23SS", "bead": "rigid"},
        {"bead": "folding"},
        {"rim": "622x25TSS", "tyre": "29-622"},
        {"rim": "622x25TC", "tyre": "28-622"},
        {"rim": "622x24.9TSS"},
        {"range_text": "5-6 bar"},
    ],
)
def test_not_refused(how: dict) -> None:
    assert refusals(ask(**how)) == []


def test_both_editions_of_the_narrow_rule_are_shown() -> None:
    text = ask("622x25TSS").refusals[0].text
    assert "28 mm" in text and "29 mm" in text and "2022" in text and "2023" in text


def test_a_tube_never_relaxes_a_limit() -> None:
    assert [limit.pa for limit in ask(air="tube").limits] == [
        limit.pa for limit in ask(air="tubeless").limits
    ]


@pytest.mark.parametrize(
    ("id", "how"),
    [
        ("rim-type-unknown", {"rim": "622x23?"}),
        ("width-unverified", {"tyre": "25-622"}),
        ("width-unverified", {"rim": "622x21C", "range_text": "3-6 bar"}),
        ("ride-not-stated", {}),
        ("printed-units-disagree", {"rim_max": "5 bar / 73 psi"}),
        ("iso-minimum-pressure", {"range_text": "1-6 bar"}),
        ("iso-minimum-pressure", {"rim_max": "1.9 bar", "range_text": None}),
        ("tyre-maximum-unknown", {"range_text": None}),
        ("rim-maximum-unknown", {"rim_max": None}),
        ("ride-partly-stated", {"fill": Place.of(18), "ride": Ride.of(None, 30)}),
        ("ride-partly-stated", {"ride": Ride.of(2000, None)}),
    ],
)
def test_warnings_do_not_refuse(id: str, how: dict) -> None:
    found = ask(**how)
    assert found.status == "ok" and id in warnings(found)


def test_a_clean_answer_has_no_warning() -> None:
    assert warnings(ask(fill=Place.of(18, 200), ride=Ride.of(2400, 45))) == []


def test_superseded_widths_name_their_edition() -> None:
    text = next(note.text for note in ask("622x21C").warnings if note.id == "width-unverified")
    assert "2006" in text and "superseded" in text


def test_window_has_no_zero_for_what_is_not_printed() -> None:
    assert ask(range_text=None).window.min_pa is None
    assert ask(range_text=None).to_json()["window"]["min_pa"] is None


def test_instrument_lowers_only_the_stop_reading() -> None:
    found = ask(instrument=Instrument(10_000))
    assert (found.ceiling_pa, found.stop_reading_pa) == (500_000, 490_000)
    assert ask().stop_reading_pa is None
    assert "guard-band-above-ceiling" in refusals(ask(instrument=Instrument(500_000)))
    assert "tyre-minimum-above-stop-reading" in warnings(
        ask(range_text="4.95-6 bar", instrument=Instrument(10_000))
    )


def test_limit_at_fill_only_is_recorded_and_bounded() -> None:
    warm, hot = Ride.of(None, 31), Ride.of(None, 45)
    fill = Place.of(20, 0)
    held = ask(fill=fill, ride=warm, held_on="fill")
    assert held.ceiling_pa == 500_000 and "limit-held-at-fill-only" in warnings(held)
    assert (
        held.envelope is not None
        and held.envelope.highest_gauge_if_filled_to_ceiling_pa == pytest.approx(522_564, abs=2)
    )
    assert "limit-exceeded-on-ride" in refusals(ask(fill=fill, ride=hot, held_on="fill"))
    assert ask(fill=fill, ride=hot).status == "ok"


def test_105_percent_is_the_most_on_a_ride_that_is_not_held() -> None:
    """5 % of 500 kPa gauge are 12.188 K from 20 °C at sea level (by definition of the ideal gas)."""
    fill = Place.of(20, 0)
    assert ask(fill=fill, ride=Ride.of(None, 32.18), held_on="fill").status == "ok"
    assert refusals(ask(fill=fill, ride=Ride.of(None, 32.20), held_on="fill")) == [
        "limit-exceeded-on-ride"
    ]


def test_no_fill_survives_an_extreme_ride() -> None:
    found = ask(rim_max="0.3 bar", range_text=None, fill=Place.of(-20, 0), ride=Ride.of(5000, 100))
    assert refusals(found) == ["ride-leaves-no-pressure"]


def test_the_lower_of_air_and_tyre_temperature_counts() -> None:
    assert Place.of(18, 0, 12).temp_ck == Place.of(12, 0, 18).temp_ck == 28515


@pytest.mark.parametrize(
    ("tyre", "capped"), [("27-622", False), ("28-622", False), ("28.5-622", True), ("29-622", True)]
)
def test_the_careful_cap_starts_above_28(tyre: str, capped: bool) -> None:
    assert (
        "rim-maximum-unknown" in [limit.id for limit in ask(tyre=tyre, rim_max=None).limits]
    ) is capped


def test_a_reading_above_the_limit_is_never_rounded_to_it() -> None:
    assert [
        whole_above(500_000 + more, 500_000) for more in (-0.6, -0.4, 0.0, 6e-11, 0.3, 0.6, 1.4)
    ] == [499_999, 500_000, 500_000, 500_000, 500_001, 500_001, 500_001]


def test_where_the_ride_changes_nothing_no_pascal_is_lost() -> None:
    """(L + a) - a is not always L in double arithmetic; a pascal lost there would cost a whole kilopascal."""
    for metres in range(-400, 3000, 37):
        for limit in range(100_000, 900_000, 41_000):
            here = Place.of(20, metres)
            assert (
                fill_ceiling(limit, here, Ride.of(metres, 20))
                == fill_ceiling(limit, here, None)
                == limit
            )
            assert highest_gauge(limit, here, Ride.of(metres, 20)) == limit


def test_the_remembered_widths_end_where_the_refusals_begin() -> None:
    assert "width-unverified" in warnings(ask("622x24.9TSS", "27-622"))
    assert "width-unverified" not in warnings(ask("622x25TSS", "29-622"))
    assert refusals(ask("622x25TSS", "27-622")) == [
        "tyre-too-narrow"
    ] and "width-unverified" not in warnings(ask("622x25TSS", "27-622"))
