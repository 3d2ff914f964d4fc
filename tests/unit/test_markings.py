"""Sizes and pressures as they are printed on rims and sidewalls: what is read, and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.limits.ceiling import Refused, Rim, Tyre
from rimward.limits.ceiling.markings import read_marking


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
    "text",
    [
        "700x19C",
        "622",
        "700C",
        "622x",
        "622x23TSSX",
        "622x1C",
        "SS 622x23TSS",
        "",
        "26x1.75",
        "622-19",
        "622x19x3",
        "622x999",
    ],
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
        ("5 bar / 500.5 kPa", None, 500_000, False),  # a thousandth more
        ("5 bar / 500.51 kPa", None, 500_000, True),
        ("5-6 bar / 500.5-600.6 kPa", 500_500, 600_000, False),
        ("5-6 bar / 500.51-600 kPa", 500_510, 600_000, True),
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
        ("MIN 50 PSI / 3.5 BAR - MAX 85 PSI / 6 BAR", 350_000, 586_054),
        ("min. 3.5 bar (50 psi) - max. 6 bar (85 psi)", 350_000, 586_054),
        ("min 3.5 max 6 bar", 350_000, 600_000),
        ("MIN.3.5-MAX.6.0 BAR", 350_000, 600_000),
        ("INFLATE TO 50-85 P.S.I.", 344_738, 586_054),
        ("RECOMMENDED PRESSURE 3.5-5.0 BAR", 350_000, 500_000),
        ("MAX INFLATION 80 PSI", None, 551_580),
    ],
)
def test_the_words_beside_a_pressure_decide_its_kind(
    text: str, low: int | None, top: int | None
) -> None:
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
        ("min 4 6 bar", {}),
        ("min 4 max 6", {}),
        ("4 min 6 bar", {}),
        ("min 4 - 6 bar", {}),
        ("recommended 4 bar", {"minimum_only": True}),
    ],
)
def test_a_word_that_says_the_other_end_or_could_belong_to_either_is_refused(
    text: str, how: dict[str, bool]
) -> None:
    with pytest.raises(Refused) as refusal:
        read_marking(text, **how)
    assert refusal.value.id in ("pressure-not-understood", "unit-missing")


def test_a_minimum_never_becomes_a_maximum_on_the_way_to_a_ceiling() -> None:
    tyre = Tyre.parse("28-622", "min 6 bar")
    assert (tyre.min_pa, tyre.max_pa) == (600_000, None)
    with pytest.raises(Refused):
        Rim.parse("622x23TSS", "min 6 bar")
    with pytest.raises(Refused):
        Tyre.parse("28-622", min_text="max 4 bar")


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


@pytest.mark.parametrize(
    "text", ["28-622\n32-622", "28-622\nmax 3 bar", "28-622\r32-622", "28-622\u202832-622"]
)
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


TOKENS = (
    "min",
    "max",
    "MAX PRESSURE",
    "inflate to",
    "4",
    "6",
    "4.5",
    "5,0",
    "/",
    "(",
    ")",
    "-",
    "to",
    "bar",
    "psi",
    "kPa",
    ";",
    ":",
    ",",
)


@given(st.lists(st.sampled_from(TOKENS), min_size=1, max_size=9), st.sampled_from(("", " ")))
def test_any_row_of_words_is_read_or_refused_and_a_lone_minimum_never_becomes_a_maximum(
    tokens: list[str], gap: str
) -> None:
    try:
        found = read_marking(gap.join(tokens))
    except Refused:
        return
    assert found.min_pa or found.max_pa
    words = {token for token in tokens if token in ("min", "max", "MAX PRESSURE", "inflate to")}
    if words == {"min"} and not {"-", "to"} & set(tokens):
        assert found.max_pa is None


@pytest.mark.parametrize(
    "text",
    [
        "5bar73psi",
        "5 bar73 psi",
        "4-6bar58-87psi",
        "5 bar5 bar",
        "5 bar,73 psi",
        "5psi,5 bar",
        "73 psi,73 psi",
        "max5bar4bar",
        "5bar 4bar6bar",
    ],
)
def test_two_pressures_need_something_between_them(text: str) -> None:
    with pytest.raises(Refused, match="not understood"):
        read_marking(text)


@pytest.mark.parametrize("text", ["max 5bar", "5bar max", "5bar/73psi", "5bar 73psi"])
def test_a_word_or_a_separator_is_enough(text: str) -> None:
    assert read_marking(text).max_pa == 500_000


@pytest.mark.parametrize("stray", ["Q", "#", "Q ", "# ", "x", "1 "])
def test_a_stray_letter_at_either_end_of_a_size_is_refused(stray: str) -> None:
    for text in (f"{stray} 28-622", f"28-622 {stray}", f"{stray} 700x28C (28-622)"):
        with pytest.raises(Refused):
            Tyre.parse(text)
    assert Tyre.parse("700x28C (28-622)").width_mm == 28
