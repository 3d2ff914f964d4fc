"""A maker's own table: lowers limits, replaces widths, and is refused where it could be misread."""

import json
from pathlib import Path

import pytest
from rimward.limits.ceiling import Refused, load_maker_table

from tests.unit.test_ceiling import ask, refusals, warnings


def maker(tmp_path: Path, **change) -> Path:
    table = {
        "document": "Invented rim sheet",
        "page": "3",
        "date": "2026-02-01",
        "rows": [
            {
                "rim_inner_mm": 25,
                "rim_types": ["TSS"],
                "tyre_min_mm": 28,
                "tyre_max_mm": 40,
                "max_pressure": "4.5 bar",
            }
        ],
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
        {"rows": [{"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": "min 4 bar"}]},
    ],
)
def test_a_makers_table_without_its_origin_is_refused(tmp_path: Path, change: dict) -> None:
    with pytest.raises(Refused) as refusal:
        load_maker_table(maker(tmp_path, **change))
    assert refusal.value.id == "maker-table-not-understood"


def test_a_row_may_be_for_one_width_alone(tmp_path: Path) -> None:
    row = {"rim_inner_mm": 25, "tyre_min_mm": 28, "tyre_max_mm": 28, "max_pressure": "4.5 bar"}
    table = load_maker_table(maker(tmp_path, rows=[row]))
    assert ask("622x25TSS", maker_table=table).ceiling_pa == 450_000
    assert refusals(ask("622x25TSS", "29-622", maker_table=table)) == ["tyre-outside-maker-table"]


def test_a_makers_row_without_a_maximum_is_reported(tmp_path: Path) -> None:
    row = {"rim_inner_mm": 25, "tyre_min_mm": 28, "tyre_max_mm": 40}
    found = ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path, rows=[row])))
    assert found.ceiling_pa == 500_000 and "maker-row-without-maximum" in warnings(found)
    with_maximum = ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path)))
    assert "maker-row-without-maximum" not in warnings(with_maximum)
    both = [row, {"rim_inner_mm": 25, "tyre_min_mm": 28, "max_pressure": "4.5 bar"}]
    assert (
        ask("622x25TSS", maker_table=load_maker_table(maker(tmp_path, rows=both))).ceiling_pa
        == 450_000
    )
