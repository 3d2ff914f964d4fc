"""Rim and tyre facts: ETRTO, ISO 5775 and trade statements, and how the tool treats them."""

import pytest
from rimward.limits.ceiling import Rim, Tyre, assess
from rimward.limits.ceiling.limits import careful_cap_pa
from rimward.limits.ceiling.standards import bead_seats, measuring_rim_mm, standards


def ask(rim: str, tyre: str, rim_max: str | None = "5 bar", printed: str | None = "3-6 bar"):
    return assess(
        Rim.parse(rim, rim_max), Tyre.parse(tyre, printed, approved="yes", bead="rigid", air="tube")
    )


@pytest.mark.parametrize("rim", ["622x23TSS", "622x23SS", "622x23?", "23-622"])
def test_straight_side_class_limit(rim: str) -> None:
    """ETRTO since the 2020/21 manual, as a tyre maker's technical page states it: hookless road rims have a maximum
    of 5 bar, whatever the tyre's print."""
    assert ask(rim, "28-622", "8 bar", "3-8 bar").ceiling_pa == 500_000


def test_crochet_has_no_class_limit() -> None:
    assert ask("622x19TC", "28-622", "8 bar", "3-8 bar").ceiling_pa == 800_000


@pytest.mark.parametrize(
    ("rim_max", "printed", "lower"),
    [("5 bar", "3-6 bar", 500_000), ("8 bar", "3-6 bar", 600_000), ("6 bar", "3-6 bar", 600_000)],
)
def test_the_lower_of_rim_and_tyre_counts(rim_max: str, printed: str, lower: int) -> None:
    """The same page; ISO 4210-2 tests at 110 % of the lower one (from memory)."""
    assert ask("622x19TC", "28-622", rim_max, printed).ceiling_pa == lower


def test_common_practice_a_tyre_printed_85_to_120_psi_on_a_5_bar_rim() -> None:
    """common practice: supplied together, and a conflict. 80 psi and 75 psi printed do not raise 500 kPa either."""
    found = ask("622x23TSS", "28-622", None, "85-120 psi")
    assert found.ceiling_pa is None and [note.id for note in found.refusals] == [
        "tyre-minimum-above-ceiling"
    ]
    assert ask("622x23TSS", "28-622", None, "60-80 psi").ceiling_pa == 500_000
    assert ask("622x23TSS", "28-622", None, "75-100 psi").ceiling_pa is None


def test_common_practice_100_psi_by_habit() -> None:
    """common practice: 100 psi by habit. A tyre that allows it does not lift a straight-side rim above 5 bar."""
    assert ask("622x23TSS", "28-622", None, "60-100 psi").ceiling_pa == 500_000


def test_73_psi_is_above_5_bar() -> None:
    """A rim maker prints '73 PSI/5 Bar whichever is lower'."""
    found = ask("622x19TC", "28-622", "73 psi / 5 bar", "3-8 bar")
    assert found.ceiling_pa == 500_000 and "printed-units-disagree" in [
        note.id for note in found.warnings
    ]


@pytest.mark.parametrize(
    ("code", "tubeless", "straight"),
    [
        ("SS", False, True),
        ("TSS", True, True),
        ("HB", False, False),
        ("C", False, False),
        ("TC", True, False),
    ],
)
def test_rim_types(code: str, tubeless: bool, straight: bool) -> None:
    """ISO 5775-2:2021's five types."""
    row = next(row for row in standards()["rim_types"] if row["code"] == code)
    assert (row["tubeless"], row["straight_side"]) == (tubeless, straight)


def test_straight_side_without_tubeless_is_for_rigid_beads() -> None:
    """BS ISO 5775-2:2015: straight side rims are to be used only with non-foldable tyres; its designation example is `SS 400x20`."""
    rim = Rim.parse("SS 400x20", "5 bar")
    for bead, refused in (("folding", True), ("rigid", False)):
        found = assess(rim, Tyre.parse("25-400", "3-6 bar", approved="yes", bead=bead))
        assert (
            "folding-tyre-on-straight-side-rim" in [note.id for note in found.refusals]
        ) is refused


@pytest.mark.parametrize(
    ("low", "high", "rim"),
    [
        (18, 21, 15),
        (22, 24, 17),
        (25, 28, 19),
        (29, 34, 21),
        (35, 46, 23),
        (47, 57, 25),
        (58, 65, 30),
        (66, 71, 35),
        (72, 83, 45),
        (84, 113, 76),
        (114, 132, 94),
    ],
)
def test_measuring_rims(low: int, high: int, rim: int) -> None:
    """ETRTO from January 2020, a tyre maker's reproduction."""
    assert {measuring_rim_mm(width) for width in range(low, high + 1)} == {rim}


@pytest.mark.parametrize(
    ("rim", "low", "high"),
    [
        (13, 18, 25),
        (15, 23, 32),
        (17, 25, 50),
        (19, 28, 62),
        (21, 35, 62),
        (23, 37, 62),
        (25, 44, 62),
        (27, 47, 62),
        (29, 54, 62),
    ],
)
def test_superseded_widths_warn_and_never_refuse(rim: int, low: int, high: int) -> None:
    """ETRTO 2006 from a cycling group's wiki: counts seen, starting columns from memory. It contradicts the 2020 table from 19C up."""
    for width in range(max(18, rim + 1), 80):
        found = ask(f"622x{rim}C", f"{width}-622")
        warned = "width-unverified" in [note.id for note in found.warnings]
        assert found.status == "ok" and warned is not (low <= width <= high)


@pytest.mark.parametrize(("width", "refused"), [(28, True), (28.9, True), (29, False)])
def test_25_mm_inside_editions_disagree_and_29_is_applied(width: float, refused: bool) -> None:
    """A rim maker: ETRTO 2022 says 28 mm at 25 mm inner width, 2023 says 29 mm."""
    found = ask("622x25TSS", f"{width}-622")
    assert ("tyre-too-narrow" in [note.id for note in found.refusals]) is refused


@pytest.mark.parametrize(
    ("rim", "tyre", "warned"),
    [
        ("622x23TSS", "27-622", True),
        ("622x23TSS", "28-622", False),
        ("622x19TSS", "24-622", True),
        ("622x19TSS", "25-622", False),
    ],
)
def test_remembered_straight_side_widths_only_warn(rim: str, tyre: str, warned: bool) -> None:
    """ISO 5775-1:2023 by trade press and unverified rows, from memory."""
    found = ask(rim, tyre)
    assert (
        found.status == "ok"
        and ("width-unverified" in [note.id for note in found.warnings]) is warned
    )


@pytest.mark.parametrize(
    ("tyre", "rim_max", "warned"),
    [
        ("25-622", "2.9 bar", True),
        ("25-622", "3 bar", False),
        ("28-622", "1.9 bar", True),
        ("28-622", "2 bar", False),
    ],
)
def test_iso_minimum_pressures_warn(tyre: str, rim_max: str, warned: bool) -> None:
    """ISO 5775-1, an earlier edition as an encyclopedia reproduces it: 300 kPa to 25 mm, else 200 kPa."""
    found = ask("622x19TC", tyre, rim_max, None)
    assert (
        found.status == "ok"
        and ("iso-minimum-pressure" in [note.id for note in found.warnings]) is warned
    )


def test_bead_seats_in_use() -> None:
    """Two-number sizes of ISO 5775; names never convert a size (26x1.75 is 559, 26x1 3/4 is 571)."""
    assert {
        305,
        349,
        355,
        406,
        451,
        507,
        520,
        547,
        559,
        571,
        584,
        590,
        597,
        622,
        630,
        635,
        642,
    } <= bead_seats()


@pytest.mark.parametrize("width", [28.5, 29, 30, 32, 35, 40, 47, 57, 62, 75])
def test_careful_cap_holds_the_casing_tension_of_a_28(width: float) -> None:
    """Casing tension is p r: 500 kPa and 14 mm are 7.0 N/mm (thin-walled tube, textbooks). The cap itself is our choice."""
    tension = [(careful_cap_pa(width) + step) / 1e6 * width / 2 for step in (0, 1000)]
    assert tension[0] <= 7.0 + 1e-9 < tension[1]
    found = ask("622x19TSS", f"{width:g}-622", None, "1-9 bar")
    assert found.ceiling_pa == careful_cap_pa(width) and found.governing == "rim-maximum-unknown"
