"""Sizes of rims and tyres and rows of a maker's table at their ends: widths, what is left out, and how a wrong entry is named."""

import json
from pathlib import Path
from typing import Any

import pytest
from rimward.base.units import Refused
from rimward.limits.ceiling import Rim
from rimward.limits.ceiling.maker import MakerRow, MakerTable, load_maker_table
from rimward.limits.ceiling.sizes import Size, read_rim_size, read_tyre_size
from rimward.limits.ceiling.standards import rim_type_codes


@pytest.mark.parametrize(
    ("width", "rim", "tyre"),
    [
        ("7.99", False, False), ("8", True, False), ("9.99", True, False), ("10", True, True), ("10.5", True, True), ("11", True, True),
        ("149.99", True, True), ("150", True, True), ("150.01", False, False), ("151", False, False),
    ],
)  # fmt: skip
def test_widths_at_their_ends(width: str, rim: bool, tyre: bool) -> None:
    """Rims from 8, tyres from 10, both to 150 mm."""
    for text in (f"622x{width}TSS", f"{width}TSS-622", f"{width}TSS"):
        if rim:
            assert read_rim_size(text).width_mm == float(width)
        else:
            with pytest.raises(Refused, match="is not understood"):
                read_rim_size(text)
    if tyre:
        assert read_tyre_size(f"{width}-622") == Size(float(width), 622)
    else:
        with pytest.raises(Refused, match="does not state the bead seat"):
            read_tyre_size(f"{width}-622")


@pytest.mark.parametrize(
    ("text", "seat", "kind"),
    [
        ("622x23", 622, "unknown"), ("622x23?", 622, "unknown"), ("622x23unknown", 622, "unknown"), ("?x23tss", None, "TSS"), ("23TSS", None, "TSS"),
        ("TSS 622x23", 622, "TSS"), ("23-622TC", 622, "TC"), ("23C-?", None, "C"),
    ],
)  # fmt: skip
def test_what_a_rim_size_leaves_out(text: str, seat: int | None, kind: str) -> None:
    assert read_rim_size(text) == Size(23.0, seat, kind)


@pytest.mark.parametrize("text", ["TSS 622x23TSS", "650x23", "700x23C", "622x23\n622x23", "", "x"])
def test_a_rim_size_that_can_be_read_two_ways_is_refused(text: str) -> None:
    with pytest.raises(Refused) as refused:
        read_rim_size(text)
    assert refused.value.id == "size-not-understood" and refused.value.fix


@pytest.mark.parametrize("broken", ["28-622\n", "\n28-622", " 28-622 \n "])
def test_space_around_a_size_is_no_second_line(broken: str) -> None:
    assert read_tyre_size(broken) == Size(28.0, 622)
    assert read_tyre_size("28-622 max 5 bar") == Size(28.0, 622, pressure_text="max 5 bar")


ROW = {"rim_inner_mm": 23, "tyre_min_mm": 28}


def table(*rows: dict[str, Any]) -> str:
    return json.dumps({"document": "Guide", "page": 4, "date": "2026-01-01", "rows": list(rows)})


def read(folder: Path, text: str) -> MakerTable:
    path = folder / "table.json"
    path.write_text(text)
    return load_maker_table(path)


def test_what_a_row_leaves_out(tmp_path: Path) -> None:
    found = read(tmp_path, table(ROW, ROW | {"rim_types": list(rim_type_codes())}))
    assert found.rows == (
        MakerRow(23, (), 28, 150, None),
        MakerRow(23, tuple(rim_type_codes()), 28, 150, None),
    )
    assert found.citation == "maker's table: Guide, page 4, 2026-01-01"
    assert read(tmp_path, table(ROW | {"tyre_max_mm": 28})).rows[0].tyre_max_mm == 28


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"rim_types": ["TSS", "X"]}, "rim_types must be a list of "), ({"rim_types": "TSS"}, "rim_types must be a list of "),
        ({"tyre_max_mm": 27.9}, "tyre_min_mm is above tyre_max_mm"), ({"max_pressure": 5}, "max_pressure needs a unit"),
        ({"rim_inner_mm": True}, "rim_inner_mm must be a number above 0 and at most 150"), ({"max_presure": "5 bar"}, "unknown keys: max_presure"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("before", [0, 1, 2])
def test_a_wrong_row_is_named_by_its_place(
    tmp_path: Path, wrong: dict[str, Any], named: str, before: int
) -> None:
    with pytest.raises(Refused) as refused:
        read(tmp_path, table(*[ROW] * before, ROW | wrong))
    assert f"row {before + 1}" in refused.value.text and named in refused.value.text


def test_a_table_may_be_a_megabyte(tmp_path: Path) -> None:
    assert len(read(tmp_path, table(ROW).ljust(1_000_000)).rows) == 1
    with pytest.raises(Refused, match="larger than 1000 kB"):
        read(tmp_path, table(ROW).ljust(1_000_001))
    with pytest.raises(Refused, match="it has no rows"):
        read(tmp_path, table())


def test_the_lowest_of_the_rows_that_allow_a_tyre_counts() -> None:
    """Both ends of a row's widths are allowed; a row without a maximum counts only where no other does, however high that is."""
    rows = tuple(
        MakerRow(23, types, low, high, max_pa)
        for types, low, high, max_pa in (
            ((), 25, 30, None), ((), 28, 32, 2**40), (("TSS",), 30, 40, 400_000), (("TC",), 30, 40, 300_000)
        )
    )  # fmt: skip
    found = MakerTable("Guide", "4", "2026", rows)
    for rim, wanted in (("622x23TSS", 400_000), ("622x23TC", 300_000), ("622x23C", 2**40)):
        row = found.row_for(Rim.parse(rim), 30)
        assert row is not None and row.max_pa == wanted
    rim = Rim.parse("622x23TSS")
    for width, place in (
        (24.9, None),
        (25, 0),
        (27.9, 0),
        (28, 1),
        (32, 2),
        (32.1, 2),
        (40, 2),
        (40.1, None),
    ):
        assert found.row_for(rim, width) == (None if place is None else rows[place])
    assert found.rows_for(Rim.parse("622x22TSS")) == ()
