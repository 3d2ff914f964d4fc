"""The circuit data themselves, and that what is generated from them is whole and current."""

from pathlib import Path

import pytest

from hardware import build, draw, pneumatic
from hardware.air_parts import AIR_PARTS
from hardware.circuit import SHEETS, load, nets, ohms
from hardware.kicad.pinout import numbers
from hardware.sources import KINDS, MECHANICAL

PARTS = load()


def test_every_part_has_a_class_and_every_class_is_used():
    assert {p.kind for p in PARTS.values()} == set(KINDS)


def test_critical_classes_have_two_sources():
    poor = [name for name, kind in KINDS.items() if kind.critical and len(kind.series) < 2]
    assert poor == []


@pytest.mark.parametrize("ref", ["SV1", "SV2", "SV3", "V5", "RV1", "RV2", "RO1", "TA", "TB", "TC"])
def test_critical_air_parts_have_two_sources(ref):
    assert len(next(a for a in AIR_PARTS if a.ref == ref).sources) >= 2


def test_values_read_as_numbers():
    assert ohms("4.7k") == 4700 and ohms("330n") == pytest.approx(330e-9) and ohms("1M") == 1e6
    for part in PARTS.values():
        if part.kind.startswith(("res", "cap")):
            assert ohms(part.value) > 0


def test_a_reference_written_twice_is_refused(monkeypatch):
    monkeypatch.setitem(SHEETS, "again", (SHEETS["air"][0],))
    with pytest.raises(ValueError, match="twice"):
        load()


@pytest.mark.parametrize("sheet", list(SHEETS))
def test_sheet_shows_every_part(sheet):
    svg = draw.sheet_svg(sheet)
    assert all(row[0] in svg for row in SHEETS[sheet])


def test_drawing_refuses_a_strip_that_is_not_joined(monkeypatch):
    monkeypatch.setitem(draw.LAYOUT, "air", ("GATE R5",))
    with pytest.raises(draw.NotJoined):
        draw.sheet_svg("air")


def test_drawing_refuses_to_leave_a_part_out(monkeypatch):
    monkeypatch.setitem(draw.LAYOUT, "air", ("GATE /R2",))
    with pytest.raises(ValueError, match="not drawn"):
        draw.sheet_svg("air")


def test_pneumatic_diagram_shows_every_part(monkeypatch):
    svg = pneumatic.diagram()
    assert all(f">{a.ref}<" in svg for a in AIR_PARTS)
    monkeypatch.setattr(
        pneumatic, "AIR_PARTS", (*AIR_PARTS, AIR_PARTS[0].__class__("ZZ9", "", "", "", (), ""))
    )
    with pytest.raises(ValueError, match="ZZ9"):
        pneumatic.diagram()


def test_netlist_has_every_part_and_every_pin_once():
    text = build.netlist()
    assert text.count("(comp (ref") == len(PARTS)
    assert text.count("(node (ref") == sum(
        len(numbers(PARTS[ref], pin)) for pins in nets(PARTS).values() for ref, pin in pins
    )
    assert text.count("(") == text.count(")")


def test_bill_of_materials_counts_every_part():
    rows = build.bom_rows()
    assert sum(int(r[1]) for r in rows) == len(PARTS) + len(AIR_PARTS) + len(MECHANICAL)


def test_generated_files_are_current():
    """Schematic files depend on the drawing library's version, so for them only the parts are compared."""
    texts = [name for name in build.stale() if not name.startswith("schematic_")]
    assert texts == [], "run `python -m hardware.build`"
    for sheet, rows in SHEETS.items():
        on_file = (build.OUT / f"schematic_{sheet}.svg").read_text(encoding="utf-8")
        assert all(row[0] in on_file for row in rows)


def test_no_product_of_this_job_and_no_host_name_in_the_folder():
    words = ("http" + "s://", "/" + "tmp/", "/" + "work/")
    for path in Path(build.__file__).parent.rglob("*"):
        if path.suffix in (".py", ".md", ".csv", ".html", ".net"):
            text = path.read_text(encoding="utf-8")
            assert not [w for w in words if w in text], path
