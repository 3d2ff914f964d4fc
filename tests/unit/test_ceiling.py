"""Each rule of the ceiling engine: limits, refusals and warnings by id."""

import json
from pathlib import Path

import pytest
from rimward.ceiling import Assessment, Instrument, Place, Refused, Ride, Rim, Tyre, assess, load_maker_table
from rimward.ceiling.markings import read_marking


def ask(
    rim: str = "622x23TSS",
    tyre: str = "28-622",
    range_text: str | None = "3-6 bar",
    rim_max: str | None = "5 bar",
    *,
    approved: str = "yes",
    bead: str = "unknown",
    air: str = "tube",
    fill: Place | None = None,
    ride: Ride | None = None,
    **more,
) -> Assessment:
    return assess(Rim.parse(rim, rim_max), Tyre.parse(tyre, range_text, approved=approved, bead=bead, air=air), fill, ride, **more)


def refusals(found: Assessment) -> list[str]:
    return [note.id for note in found.refusals]


def warnings(found: Assessment) -> list[str]:
    return [note.id for note in found.warnings]


@pytest.mark.parametrize(
    ("text", "seat", "width", "kind"),
    [
        ("622x23TSS", 622, 23, "TSS"),
        ("622×23TSS", 622, 23, "TSS"),
        ("622×17C", 622, 17, "C"),
        ("19-622", 622, 19, "unknown"),
        ("622x23?", 622, 23, "unknown"),
        ("622x23", 622, 23, "unknown"),
        ("SS 400x20", 400, 20, "SS"),
        ("622 x 22.5 tss", 622, 22.5, "TSS"),
        ("622x22,5TC", 622, 22.5, "TC"),
        ("584x30HB", 584, 30, "HB"),
        ("19C-622", 622, 19, "C"),
        ("?x23TSS", None, 23, "TSS"),
        ("23TSS", None, 23, "TSS"),
        ("622x23unknown", 622, 23, "unknown"),
    ],
)
def test_rim_sizes(text: str, seat: int | None, width: float, kind: str) -> None:
    rim = Rim.parse(text)
    assert (rim.bead_seat_mm, rim.inner_mm, rim.type) == (seat, width, kind)


@pytest.mark.parametrize(
    "text", ["700x19C", "622", "700C", "622x", "622x23TSSX", "622x1C", "SS 622x23TSS", "", "26x1.75", "622-19", "622x19x3", "622x999"]
)
def test_rim_sizes_refused(text: str) -> None:
    with pytest.raises(Refused) as refusal:
        Rim.parse(text)
    assert refusal.value.id == "size-not-understood"


@pytest.mark.parametrize(
    ("text", "width", "seat"),
    [
        ("28-622", 28, 622),
        ("28 - 622", 28, 622),
        ("57-584", 57, 584),
        ("28–622", 28, 622),
        ("28-622 (700x28C)", 28, 622),
        ("700x28C 28-622", 28, 622),
        ("47-622 29x1.75", 47, 622),
        ("28.5-622", 28.5, 622),
        ("28-?", 28, None),
    ],
)
def test_tyre_sizes(text: str, width: float, seat: int | None) -> None:
    tyre = Tyre.parse(text)
    assert (tyre.width_mm, tyre.bead_seat_mm) == (width, seat)


@pytest.mark.parametrize(
    "text",
    [
        "26x1.75",
        "26x1 3/4",
        "26×1.75",
        "700x28C",
        "700-28C",
        "28",
        '29"',
        "28x622",
        "28-622-30",
        "622-28",
        "28-6220",
        "",
        "28-622 and some",
        "1-622",
    ],
)
def test_inch_and_french_sizes_alone_are_refused(text: str) -> None:
    with pytest.raises(Refused) as refusal:
        Tyre.parse(text)
    assert refusal.value.id == "size-not-understood"


def test_the_sidewall_sentence_gives_the_maximum() -> None:
    assert Tyre.parse("32-597 inflate to 400 kPa").max_pa == 400_000
    assert Tyre.parse("32-597 inflate to 400 kPa", max_text="3.5 bar").max_pa == 350_000


@pytest.mark.parametrize(
    ("text", "low", "top", "disagree"),
    [
        ("4-6 bar", 400_000, 600_000, False),
        ("85–120 psi", 586_055, 827_370, False),
        ("4 bar - 87 psi", 400_000, 599_843, False),
        ("4 to 6 bar", 400_000, 600_000, False),
        ("4,0-6,0 bar", 400_000, 600_000, False),
        ("4-6 bar / 58-87 psi", 400_000, 599_843, False),
        ("4-6 bar (60-85 psi)", 413_686, 586_054, True),
        ("5 bar / 73 psi", None, 500_000, True),
        ("5 bar / 72.5 psi", None, 499_869, False),
        ("max. 5 bar", None, 500_000, False),
        ("6 bar; 600 kPa", None, 600_000, False),
    ],
)
def test_printed_ranges(text: str, low: int | None, top: int, disagree: bool) -> None:
    found = read_marking(text)
    assert (found.min_pa, found.max_pa, found.disagree) == (low, top, disagree)


@pytest.mark.parametrize(
    ("text", "id"),
    [
        ("4-6", "unit-missing"),
        ("4 bar-6", "unit-missing"),
        ("5 bar / 73", "unit-missing"),
        ("4- bar", "pressure-not-understood"),
        ("soft", "pressure-not-understood"),
        ("4-6 bar extra", "pressure-not-understood"),
        ("0-6 bar", "pressure-not-understood"),
    ],
)
def test_printed_ranges_refused(text: str, id: str) -> None:
    with pytest.raises(Refused) as refusal:
        read_marking(text)
    assert refusal.value.id == id


@pytest.mark.parametrize(
    ("text", "low", "top"),
    [
        ("min 6 bar", 600_000, None),
        ("5 BAR MAX", None, 500_000),
        ("5 bar maximum", None, 500_000),
        ("MAX PRESSURE 73 PSI / 5.0 BAR", None, 500_000),
        ("MAXIMUM INFLATION PRESSURE: 5 BAR (72.5 PSI)", None, 499_869),
        ("4.1-5.9 bar 60-85 psi", 413_686, 586_054),
        ("min 4 bar / max 6 bar", 400_000, 600_000),
        ("60 PSI MIN 85 PSI MAX", 413_686, 586_054),
        ("MIN 60 PSI 4.1 BAR MAX 85 PSI 5.9 BAR", 413_686, 586_054),
        ("5 bar 73 psi max", None, 500_000),
        ("INFLATE TO 60-85 PSI", 413_686, 586_054),
        ("DO NOT EXCEED 5 BAR", None, 500_000),
        ("73 PSI/5 Bar whichever is lower", None, 500_000),
    ],
)
def test_the_words_beside_a_pressure_decide_what_it_is(text: str, low: int | None, top: int | None) -> None:
    found = read_marking(text)
    assert (found.min_pa, found.max_pa) == (low, top)


@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("min 6 bar", {"maximum_only": True}),
        ("6 bar min", {"maximum_only": True}),
        ("max 5 bar min 3 bar", {"maximum_only": True}),
        ("max 4 bar", {"minimum_only": True}),
        ("4 BAR MAX", {"minimum_only": True}),
        ("inflate to 4 bar", {"minimum_only": True}),
        ("60 PSI MIN 85 PSI", {}),
        ("MIN 60 PSI 85 PSI", {}),
        ("MIN 60 PSI 85 PSI MAX", {}),
        ("max 4-6 bar", {}),
        ("max 5 bar max", {}),
        ("max", {}),
        ("5bar73psi", {}),
    ],
)
def test_a_word_that_says_the_other_end_or_could_belong_to_either_is_refused(text: str, how: dict[str, bool]) -> None:
    with pytest.raises(Refused) as refusal:
        read_marking(text, **how)
    assert refusal.value.id == "pressure-not-understood"


def test_a_minimum_never_becomes_a_maximum_on_the_way_to_a_ceiling(tmp_path: Path) -> None:
    tyre = Tyre.parse("28-622", "min 6 bar")
    assert (tyre.min_pa, tyre.max_pa) == (600_000, None)
    with pytest.raises(Refused):
        Rim.parse("622x23TSS", "min 6 bar")
    with pytest.raises(Refused):
        Tyre.parse("28-622", min_text="max 4 bar")
    row = {"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": "min 4 bar"}
    with pytest.raises(Refused) as refusal:
        load_maker_table(maker(tmp_path, rows=[row]))
    assert refusal.value.id == "maker-table-not-understood"


@pytest.mark.parametrize(
    ("text", "width", "seat"),
    [
        ("700x28C (28-622)", 28, 622),
        ("26 x 1.75 (47-559)", 47, 559),
        ("28 x 1 5/8 x 1 3/8 (37-622)", 37, 622),
        ('57-622 (29" x 2.25)', 57, 622),
        ("(28-622) 700x28C", 28, 622),
    ],
)
def test_sizes_as_they_are_printed(text: str, width: float, seat: int) -> None:
    found = Tyre.parse(text)
    assert (found.width_mm, found.bead_seat_mm) == (width, seat)


@pytest.mark.parametrize("text", ["28-622\n32-622", "28-622\nmax 3 bar", "28-622\r32-622", "28-622\u202832-622"])
def test_a_second_line_of_a_size_is_refused(text: str) -> None:
    for read in (Tyre.parse, Rim.parse):
        with pytest.raises(Refused) as refusal:
            read(text if read is Tyre.parse else text.replace("28-622", "622x23TSS"))
        assert refusal.value.id == "size-not-understood" and "line" in str(refusal.value)


def test_a_long_size_is_refused_without_a_long_search() -> None:
    for evil in ("1x" * 5000 + "28-622", "28-622 " + "1 1/1 " * 2000, "28-622 " + "(" * 5000 + "x"):
        with pytest.raises(Refused):
            Tyre.parse(evil)


def test_a_maximum_in_the_size_counts() -> None:
    assert Tyre.parse("28-622 MAX PRESSURE 73 PSI / 5.0 BAR").max_pa == 500_000


def test_a_range_is_no_maximum() -> None:
    with pytest.raises(Refused):
        Rim.parse("622x23TSS", "4-5 bar")


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
def test_the_smallest_limit_governs(rim: str, rim_max: str | None, tyre: str, printed: str | None, governing: str, ceiling: int) -> None:
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
        ("pressure-implausible", {"rim": "622x19C", "rim_max": "500 bar"}),
    ],
)
def test_refusals(id: str, how: dict) -> None:
    found = ask(**how)
    assert found.status == "refused" and id in refusals(found)
    answer = found.to_json()
    assert answer["ceiling_pa"] is None and answer["stop_reading_pa"] is None and answer["window"]["max_pa"] is None
    assert set(answer["envelope"].values()) == {None}


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"rim": "622x23?", "approved": "unknown"},
        {"rim": "622x19TC", "approved": "no"},
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
    assert [limit.pa for limit in ask(air="tube").limits] == [limit.pa for limit in ask(air="tubeless").limits]


@pytest.mark.parametrize(
    ("id", "how"),
    [
        ("rim-type-unknown", {"rim": "622x23?"}),
        ("approval-unknown", {"rim": "19-622", "approved": "unknown"}),
        ("bead-unknown", {"rim": "622x23SS"}),
        ("width-unverified", {"tyre": "25-622"}),
        ("width-unverified", {"rim": "622x21C", "range_text": "3-6 bar"}),
        ("ride-not-stated", {}),
        ("printed-units-disagree", {"rim_max": "5 bar / 73 psi"}),
        ("iso-minimum-pressure", {"range_text": "1-6 bar"}),
        ("iso-minimum-pressure", {"rim_max": "1.9 bar", "range_text": None}),
        ("tyre-maximum-unknown", {"range_text": None}),
        ("rim-maximum-unknown", {"rim_max": None}),
        ("fill-temperature-assumed", {"ride": Ride.of(None, 30)}),
        ("ride-partly-stated", {"ride": Ride.of(None, 30)}),
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
    assert "tyre-minimum-above-stop-reading" in warnings(ask(range_text="4.95-6 bar", instrument=Instrument(10_000)))


def test_limit_at_fill_only_is_recorded_and_bounded() -> None:
    warm, hot = Ride.of(None, 31), Ride.of(None, 45)
    fill = Place.of(20, 0)
    held = ask(fill=fill, ride=warm, held_on="fill")
    assert held.ceiling_pa == 500_000 and "limit-held-at-fill-only" in warnings(held)
    assert held.envelope is not None and held.envelope.highest_gauge_if_filled_to_ceiling_pa == pytest.approx(522_564, abs=2)
    assert "limit-exceeded-on-ride" in refusals(ask(fill=fill, ride=hot, held_on="fill"))
    assert ask(fill=fill, ride=hot).status == "ok"


def test_no_fill_survives_an_extreme_ride() -> None:
    found = ask(rim_max="0.3 bar", range_text=None, fill=Place.of(-30, 0), ride=Ride.of(5000, 100))
    assert refusals(found) == ["ride-leaves-no-pressure"]


def test_the_lower_of_air_and_tyre_temperature_counts() -> None:
    assert Place.of(18, 0, 12).temp_ck == Place.of(12, 0, 18).temp_ck == 28515


def maker(tmp_path: Path, **change) -> Path:
    table = {
        "document": "Invented rim sheet",
        "page": "3",
        "date": "2026-02-01",
        "rows": [{"rim_inner_mm": 25, "rim_types": ["TSS"], "tyre_min_mm": 28, "tyre_max_mm": 40, "max_pressure": "4.5 bar"}],
    } | change
    path = tmp_path / "table.json"
    path.write_text(json.dumps(table), encoding="utf-8")
    return path


def test_a_makers_table_replaces_widths_and_lowers_limits(tmp_path: Path) -> None:
    table = load_maker_table(maker(tmp_path))
    found = ask("622x25TSS", maker_table=table)
    assert (found.status, found.governing, found.ceiling_pa) == ("ok", "maker-table", 450_000)
    assert "Invented rim sheet" in found.limits[0].source and "page 3" in found.limits[0].source
    assert refusals(ask("622x25TSS", "27-622", maker_table=table)) == ["tyre-too-narrow"]
    assert refusals(ask("622x25TSS", "45-622", maker_table=table)) == ["tyre-outside-maker-table"]
    assert "maker-table-silent" in warnings(ask("622x23TSS", maker_table=table))


def test_a_makers_table_never_raises_a_limit(tmp_path: Path) -> None:
    row = {"rim_inner_mm": 25, "tyre_min_mm": 20, "tyre_max_mm": 60, "max_pressure": "9 bar"}
    table = load_maker_table(maker(tmp_path, rows=[row]))
    assert ask("622x25TSS", "32-622", rim_max=None, maker_table=table).ceiling_pa == 437_000


@pytest.mark.parametrize(
    "change",
    [
        {"document": ""},
        {"page": None},
        {"date": " "},
        {"rows": []},
        {"rows": [{"rim_inner_mm": 25}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 40, "tyre_max_mm": 28}]},
        {"rows": [{"rim_inner_mm": 1, "tyre_min_mm": 2, "rim_types": ["XX"]}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "max_presure": "4 bar"}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "rim_types": "TSS"}]},
        {"rows": [{"rim_inner_mm": True, "tyre_min_mm": 28}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "tyre_max_mm": float("inf")}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": 4}]},
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": ""}]},
        {"rows": [7]},
        {"limit": "4 bar"},
    ],
)
def test_a_makers_table_without_its_origin_is_refused(tmp_path: Path, change: dict) -> None:
    with pytest.raises(Refused) as refusal:
        load_maker_table(maker(tmp_path, **change))
    assert refusal.value.id == "maker-table-not-understood"


def test_a_makers_row_without_a_maximum_is_reported(tmp_path: Path) -> None:
    row = {"rim_inner_mm": 25, "tyre_min_mm": 28, "tyre_max_mm": 40}
    found = ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path, rows=[row])))
    assert found.ceiling_pa == 500_000 and "maker-row-without-maximum" in warnings(found)
    with_maximum = ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path)))
    assert "maker-row-without-maximum" not in warnings(with_maximum)
    both = [row, {"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": "4.5 bar"}]
    assert ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path, rows=both))).ceiling_pa == 450_000


@pytest.mark.parametrize(("tyre", "capped"), [("27-622", False), ("28-622", False), ("28.5-622", True), ("29-622", True)])
def test_the_careful_cap_starts_above_28(tyre: str, capped: bool) -> None:
    assert ("rim-maximum-unknown" in [limit.id for limit in ask(tyre=tyre, rim_max=None).limits]) is capped
