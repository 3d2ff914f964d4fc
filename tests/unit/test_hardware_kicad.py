"""The KiCad project: every pin meets a pad, and the netlist traced from the written sheets is the one of the data."""

import json
import re
import shutil

import pytest

from hardware import build
from hardware.circuit import SHEETS, load, nets
from hardware.kicad import library, own, project, strips, trace
from hardware.kicad.pinout import (
    FLAGGED,
    SPARE,
    SYMBOLS,
    footprint_of,
    numbered,
    numbers,
    symbol_of,
)

PARTS = load()
ROOT = build.OUT / "kicad" / "rimward.kicad_sch"


@pytest.mark.parametrize("kind", sorted(SYMBOLS))
def test_every_pin_is_on_the_symbol_and_meets_a_pad(kind):
    found = [p for p in PARTS.values() if p.kind == kind]
    assert found
    for part in found:
        used = [n for pin in part.pins for n in numbers(part, pin)]
        assert len(used) == len(set(used)), part.ref
        rest = set(SPARE.get(kind, {}))
        assert (
            set(used) | rest
            == library.pin_numbers(symbol_of(part))
            == library.pad_numbers(footprint_of(part))
        ), part.ref


@pytest.mark.parametrize("footprint", ["Resistor_SMD:R_0402", "Package_TO_SOT_SMD:SOT-23-5"])
def test_a_wrong_footprint_is_found(monkeypatch, footprint):
    """A name that no library has, and one with pads that the part has no pins for."""
    assert project.unmatched(PARTS) == []
    monkeypatch.setitem(
        project.__dict__,
        "footprint_of",
        lambda part: footprint if part.ref == "R5" else footprint_of(part),
    )
    wrong = project.unmatched(PARTS)
    assert wrong and all(line.startswith("R5:") for line in wrong)


def test_an_exchanged_number_is_found_by_the_tracer(monkeypatch):
    """The sheets keep the numbers of the day they were written."""
    monkeypatch.setitem(
        SYMBOLS, "npn", (SYMBOLS["npn"][0], {"B": ("1",), "E": ("3",), "C": ("2",)})
    )
    assert trace.trace(ROOT)[0] != numbered(PARTS)


def test_every_class_has_a_symbol():
    assert {p.kind for p in PARTS.values()} == set(SYMBOLS)


def test_a_pin_named_on_the_symbol_has_the_role_of_the_data():
    """Where a symbol of the distribution names its pins, the name is the data's: an exchanged number would show here."""
    same = {
        "VIN": {"IN", "VI", "VIN", "~{SHDN}"},
        "VOUT": {"OUT", "VO", "VOUT"},
        "VDD": {"VDD", "VCC"},
        "RESET": {"~{RESET}"},
        "ALERT": {"ALERT/RDY"},
        "14": {"NO"},
        "11": {"COM"},
        "A1": {"COIL+"},
        "A2": {"COIL-"},
        "INA+": {"+"},
        "INB+": {"+"},
        "INA-": {"-"},
        "INB-": {"_", "-"},
    }
    for part in (
        p for p in PARTS.values() if p.kind != "esd-quad"
    ):  # its pins are one like the other
        names = {p.number: p.name for u in library.symbol(symbol_of(part)).units for p in u.pins}
        for pin in part.pins:
            for number in numbers(part, pin):
                name = names[number]
                if (
                    name in ("~", number)
                    or name.startswith(("Pin_", "A1", "A2"))
                    and part.kind != "relay"
                    or pin == number
                ):
                    continue
                assert name == pin or name in same.get(pin, ()), (part.ref, pin, number, name)


def test_netlist_traced_from_the_sheets_is_the_data():
    found, alone, faults = trace.trace(ROOT)
    assert faults == []
    assert found == numbered(PARTS)
    assert alone == {
        (p.ref, n)
        for p in PARTS.values()
        for pin, net in p.pins.items()
        if net == "NC"
        for n in numbers(p, pin)
    } | {(p.ref, n) for p in PARTS.values() for n in SPARE.get(p.kind, {})}


@pytest.mark.parametrize(
    "old,new", [("V12_GATE", "V12_GATX"), ("CUT_MID", "CUT_HI"), ("PGND", "GND")]
)
def test_the_tracer_sees_one_renamed_label(tmp_path, old, new):
    folder = shutil.copytree(ROOT.parent, tmp_path / "kicad")
    changed = 0
    for sheet in ("air", "cutoff"):
        path = folder / f"{sheet}.kicad_sch"
        text, n = re.subn(
            rf'((?:global_)?label) "{old}"',
            rf'\1 "{new}"',
            path.read_text(encoding="utf-8"),
            count=1,
        )
        path.write_text(text, encoding="utf-8")
        changed += n
    assert changed
    found, _, faults = trace.trace(folder / ROOT.name)
    assert faults or found != numbered(PARTS)


def test_the_tracer_sees_a_symbol_turned_round(tmp_path):
    folder = shutil.copytree(ROOT.parent, tmp_path / "kicad")
    path = folder / "power.kicad_sch"
    text = path.read_text(encoding="utf-8")
    at = re.search(r'\(property "Reference" "D1"', text).start()
    head = text.rindex("(symbol (lib_id", 0, at)
    spot = re.search(r"\(at ([\d.]+) ([\d.]+) (\d+)\)", text[head:at])
    turned = (
        text[:head]
        + text[head:at].replace(
            spot[0], f"(at {spot[1]} {spot[2]} {(int(spot[3]) + 180) % 360})", 1
        )
        + text[at:]
    )
    path.write_text(turned, encoding="utf-8")
    found, _, _ = trace.trace(folder / ROOT.name)
    assert found["PGND"] ^ numbered(PARTS)["PGND"] == {("D1", "1"), ("D1", "2")}


def test_the_tracer_reports_a_wire_touched_in_its_middle(tmp_path):
    folder = shutil.copytree(ROOT.parent, tmp_path / "kicad")
    path = folder / "air.kicad_sch"
    a, b = next(w for w in trace.wires(trace.read(path)) if abs(w[0][0] - w[1][0]) > 500)
    middle = f"(xy {(a[0] + b[0]) / 200} {a[1] / 100})"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text[: text.rindex(")")]
        + f"  (wire (pts {middle} (xy {(a[0] + b[0]) / 200} {a[1] / 100 + 1})))\n)\n",
        encoding="utf-8",
    )
    assert trace.trace(folder / ROOT.name)[2]


def test_symbol_instances_are_complete():
    """Reference, unit, value and footprint of each symbol in the first sheet, as version 6 keeps them."""
    wanted = {
        (p.ref, unit): (p.value, footprint_of(p))
        for p in PARTS.values()
        for unit in strips.units_of(p)
    }
    found = trace.instances(ROOT)
    assert {row: what for row, what in found.items() if not row[0].startswith("#")} == wanted
    assert sum(row[0].startswith("#FLG") for row in found) == len(FLAGGED)


def test_each_block_of_a_sheet_is_labelled_and_each_sheet_is_a_block_of_the_first():
    assert set(trace.sheets_of(ROOT)) == set(SHEETS)
    for sheet in SHEETS:
        text = (ROOT.parent / f"{sheet}.kicad_sch").read_text(encoding="utf-8")
        assert all(f'(text "{title}"' in text for title in project.TITLES[sheet])
        assert len(project.TITLES[sheet]) == len(strips.LAYOUT[sheet])


def test_files_are_of_version_6_and_the_same_each_time():
    assert (
        json.loads((ROOT.parent / "rimward.kicad_pro").read_text(encoding="utf-8"))["meta"][
            "version"
        ]
        == 1
    )
    for path in ROOT.parent.glob("*.kicad_sch"):
        assert path.read_text(encoding="utf-8").startswith("(kicad_sch (version 20211123)")
    assert (
        project.sheet_of("cutoff", PARTS).schematicSymbols[0].uuid
        == project.sheet_of("cutoff", PARTS).schematicSymbols[0].uuid
    )


def test_library_tables_name_folders_that_are_there():
    for table in ("sym-lib-table", "fp-lib-table"):
        uris = re.findall(
            r'uri "\$\{KIPRJMOD\}/([^"]+)"', (ROOT.parent / table).read_text(encoding="utf-8")
        )
        assert uris and all((ROOT.parent / uri).exists() for uri in uris)


def test_own_symbols_and_footprints_are_as_drawn_by_the_tables():
    for name in own.BOXES:
        kept, drawn = (
            [
                (p.number, p.name, p.electricalType, p.position.X, p.position.Y, p.position.angle)
                for u in s.units
                for p in u.pins
            ]
            for s in (library.symbol(f"Rimward:{name}"), own.symbol(name))
        )
        assert kept == drawn
    for name, draw in own.FOOTPRINTS.items():
        text = (library.FOOTPRINTS / "Rimward.pretty" / f"{name}.kicad_mod").read_text(
            encoding="utf-8"
        )
        assert [p.number for p in draw().pads] == re.findall(r'\(pad "(\d+)"', text)


def test_a_part_left_out_is_refused(monkeypatch):
    monkeypatch.setitem(strips.LAYOUT, "monitor", ("#U9", *strips.LAYOUT["monitor"][1:]))
    with pytest.raises(ValueError, match="C38"):
        project.sheet_of("monitor", PARTS)


def test_the_netlist_file_has_pad_numbers():
    """What a board layout would read: the numbers on the pads, with the data's names beside them."""
    text = build.netlist()
    nodes = {(r, n) for r, n in re.findall(r'\(node \(ref "([^"]+)"\) \(pin "([^"]+)"\)', text)}
    assert nodes == {node for pins in numbered(PARTS).values() for node in pins}
    assert all(
        (p.ref, n) in nodes
        for p in PARTS.values()
        for pin, net in p.pins.items()
        if net != "NC"
        for n in numbers(p, pin)
    )
    assert text.count("(net (code") == len(nets(PARTS))
