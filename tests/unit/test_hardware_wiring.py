"""Leads, fuses, connectors, the two pictures and the order numbers. Limits are literals here."""

from dataclasses import replace

import pytest

from hardware import build, orders, overview, wiring
from hardware.air_parts import AIR_PARTS
from hardware.circuit import load
from hardware.sources import MECHANICAL

PARTS = load()


@pytest.mark.parametrize("rule", wiring.RULES, ids=lambda r: r.__name__)
def test_rule_holds(rule):
    assert rule(PARTS).ok, rule(PARTS).found


def test_fuses_reach_what_they_feed():
    """Read off the circuit by hand: run switch and coils on F4, transducer C on F3, A and B on F2, display and panel behind the processor's supply on F2."""
    fused = wiring.fuse_of(PARTS)
    assert {fused[n] for n in ("V12_COIL", "V12_RUN", "COIL_P", "VENT_P")} == {"F4"}
    assert fused["V5_CUT"] == "F3" and {fused[n] for n in ("V5_SENS", "V5", "V3V3", "FEED")} == {
        "F2"
    }
    assert "GND" not in fused and "CGND" not in fused


@pytest.mark.parametrize(
    "ref,rating,named",
    [
        ("F4", "32 V 6 A", "J4.1"),
        ("F3", "32 V 5 A", "J5.1"),
        ("F1", "32 V 40 A I2t:900 A2s", "J2.1"),
    ],
)
def test_a_fuse_too_large_for_its_wires_is_found(ref, rating, named):
    check = wiring.fuse_protects_every_wire({**PARTS, ref: replace(PARTS[ref], rating=rating)})
    assert not check.ok and named in check.found


def test_a_wire_too_thick_for_its_contact_or_too_thin_is_found(monkeypatch):
    monkeypatch.setitem(wiring.CONTACTS, "XH", (0.08, 0.30, 3.0, ""))
    assert "J4.1: 0.34 mm2 does not fit XH" in wiring.fuse_protects_every_wire(PARTS).found
    monkeypatch.setitem(wiring.WIRES, 4.0, (11, 20.0))
    assert "J2.1" in wiring.fuse_protects_every_wire(PARTS).found


def test_a_main_switch_of_too_little_current_is_found(monkeypatch):
    monkeypatch.setattr(
        wiring,
        "MECHANICAL",
        tuple(
            row if row[0] != "SW1" else (row[0], row[1], "16 V 6 A AC", row[3])
            for row in MECHANICAL
        ),
    )
    assert not wiring.leads_fit(PARTS).ok


def test_every_pin_with_a_wire_is_on_the_page():
    page = wiring.markdown()
    for c in wiring.contacts(PARTS):
        assert (
            f"| {c.pin} | {c.net} | {c.mm2:g} mm2 |"
            in page.split(f"### {c.ref}:")[1].split("###")[0]
        )
    assert "A board layout is not given" in page
    for ref, *_ in MECHANICAL:
        assert f"| {ref} |" in page
    for at, _ in wiring.SILKSCREEN:
        assert at == "board" or all(ref in PARTS for ref in at.split())


def test_silkscreen_names_the_fuses_that_are_fitted():
    texts = dict(wiring.SILKSCREEN)
    assert texts["F2 F3 F4"] == ", ".join(PARTS[r].value for r in ("F2", "F3", "F4")) + " TIME-LAG"
    assert texts["F1"].startswith(PARTS["F1"].value) and PARTS["F1"].value in texts["J1"]


def test_small_fuses_are_of_the_usual_values():
    """IEC 60127 steps, from memory: 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2 A."""
    usual = (0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0)
    assert all(p.limits["A"] in usual for p in PARTS.values() if p.kind == "fuse-small")


def test_isolation_and_dump_of_the_line_are_parts():
    valve = next(a for a in AIR_PARTS if a.ref == "IV1")
    assert "lockable" in valve.text and "empties" in valve.text


@pytest.mark.parametrize(
    "made,boxes,lines",
    [
        (overview.power_chain, overview.power_boxes, overview.POWER),
        (overview.stop_chain, overview.stop_boxes, overview.STOP),
    ],
)
def test_picture_joins_what_the_circuit_joins(made, boxes, lines, monkeypatch):
    svg = made()
    found = boxes(PARTS)
    assert all(f">{box.name.replace(':', ' ')}<" in svg for box in found)
    named = [line for line in lines if line[2]]
    assert len(named) > 15
    with pytest.raises(overview.Unjoined):
        overview.checked(
            found, [(*named[0][:2], "V3V3" if named[0][2] != "V3V3" else "V12")], PARTS
        )
    places = [(box.column, box.row) for box in found]
    assert len(places) == len(set(places))
    outside = {"battery", "F0", "SW1", "hand", "SV3", "cutoff", "cutoff, high", "V5", "RV1", "RV2"}
    assert {box.ref for box in found} - set(PARTS) <= outside


def test_power_picture_has_every_fuse_regulator_and_switching_element_and_stop_picture_every_way_to_stop():
    power = {box.ref for box in overview.power_boxes(PARTS)}
    assert {
        p.ref for p in PARTS.values() if p.kind.startswith(("fuse", "reg-", "nmos-power", "relay"))
    } <= power
    stop = {box.ref for box in overview.stop_boxes(PARTS)}
    assert {
        "S1",
        "Q4",
        "Q5",
        "Q6",
        "Q8",
        "Q9",
        "Q12",
        "Q13",
        "K1",
        "M1",
        "U1",
        "U4",
        "U9",
        "SV3",
        "RV1",
        "RV2",
    } <= stop


@pytest.mark.parametrize(
    "value,code",
    [
        ("2.2k", "2K2"),
        ("220", "220R"),
        ("10.0k", "10K"),
        ("1M", "1M"),
        ("49.9k", "49K9"),
        ("100k", "100K"),
        ("2.05k", "2K05"),
    ],
)
def test_resistance_code(value, code):
    assert orders.coded(value) == code


def test_every_line_of_the_bill_has_a_quantity_a_rating_a_number_and_says_whether_it_was_checked():
    for row in build.bom_rows():
        line = dict(zip(build.BOM_HEAD, row, strict=True))
        assert (
            int(line["quantity"]) >= 1
            and line["rating and tolerance"]
            and line["order, for example"]
        ), line
        assert line["number checked"] in ("sheet seen", "unchecked: verify before ordering")
    seen = {row[2] for row in build.bom_rows() if "sheet seen" in row}
    assert seen == {"adc16", "relay"}
