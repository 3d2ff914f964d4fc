"""Electrical rules hold on the circuit, and each is proved able to fail by a planted defect."""

from dataclasses import replace

import pytest

from hardware import graph, pin_rules, rating_rules, rules
from hardware.circuit import load

PARTS = load()


@pytest.mark.parametrize("rule", rules.RULES, ids=lambda r: r.__name__)
def test_rule(rule):
    check = rule(PARTS)
    assert check.ok, check.found


def moved(ref, **pins):
    """The circuit with some pins of one part on other nets."""
    return {**PARTS, ref: replace(PARTS[ref], pins={**PARTS[ref].pins, **pins})}


def valued(ref, value="", rating=""):
    part = PARTS[ref]
    return {**PARTS, ref: replace(part, value=value or part.value, rating=rating or part.rating)}


def without(*refs):
    return {r: p for r, p in PARTS.items() if r not in refs}


DEFECTS = [
    (pin_rules.pins_match, moved("U1", GP2="RELAY", GP3="GATE")),
    (pin_rules.pins_match, moved("U1", GP15="NC")),
    (rules.nets_complete, moved("R41", **{"1": "NOWHERE"})),
    (rules.no_floating_input, without("R25")),
    (rules.no_floating_input, without("R15", "R16")),
    (rules.no_floating_input, without("R53")),
    (rules.dividers_safe, valued("R57", "20k")),
    (rules.divider_figures, valued("R61", "12k")),
    (rules.shorted_supply_survives, valued("R56", "10")),
    (rules.ratiometric, moved("U6", REF="V5")),
    (rules.ratiometric, moved("J7", **{"1": "V5"})),
    (rules.cutoff_apart, moved("J6", **{"1": "V5_CUT"})),
    (rules.gate_off_without_pulses, moved("R1", **{"1": "GATE"})),
    (rules.off_with_any_wire_broken, moved("Q6", G="V3V3")),
    (rules.off_when_stuck_high, moved("R5", **{"1": "V3V3"})),
    (rules.coil_needs_all, moved("K1", A1="V12_COIL")),
    (rules.coil_needs_all, moved("Q5", S="V12_COIL")),
    (rules.weak_feedback, valued("R41", "100k")),
    (rules.cutoff_latches, moved("Q12", C="REF_LO")),
    (rules.cutoff_latches, moved("R45", **{"1": "CUT_LO"})),
    (rules.cutoff_latches, moved("U10", VDD="V5")),
    (rules.cutoff_latches, valued("R46", "220k")),
    (rules.vent_opens, moved("J4", **{"1": "V12_COIL"})),
    (rules.vent_opens, moved("Q8", S="V12_RUN")),
    (rules.two_elements, moved("J2", **{"2": "GND"})),
    (rating_rules.wires_guarded, moved("S4", **{"2": "UP"})),
    (rating_rules.wires_guarded, without("D27")),
    (rating_rules.wires_guarded, valued("D1", rating="18 V 1500 W clamp:29.2 V")),
    (rating_rules.wires_guarded, moved("J9", SDA="DISPLAY_SDA")),
    (rating_rules.ratings, valued("Q5", rating="30 V 2 A")),
    (rating_rules.ratings, valued("R7", "100")),
]


@pytest.mark.parametrize("rule,broken", DEFECTS, ids=lambda x: getattr(x, "__name__", ""))
def test_rule_finds_a_planted_defect(rule, broken):
    assert not rule(broken).ok


def test_one_coupling_capacitor_shorted_is_still_off():
    shorted = {**PARTS, "C10": replace(PARTS["C10"], kind="res", value="1")}
    assert rules.gate_off_without_pulses(shorted).ok
    both = {**shorted, "C11": replace(PARTS["C11"], kind="res", value="1")}
    assert not rules.gate_off_without_pulses(both).ok


def test_pin_table_with_impossible_pins_is_found(monkeypatch):
    rows = tuple(
        ("ADC_B", 22, "adc", n) if name == "ADC_B" else (name, g, d, n)
        for name, g, d, n in pin_rules.pin_table.PINS
    )
    monkeypatch.setattr(pin_rules.pin_table, "PINS", rows)
    assert not pin_rules.pins_possible(PARTS).ok
    assert not pin_rules.pins_match(PARTS).ok


def test_pin_number_written_out_in_board_code_is_found(tmp_path):
    module = tmp_path / "pico.py"
    module.write_text(
        "from machine import Pin\nled = Pin(25, Pin.OUT)\nrun = Pin(gpio('RUN'))\n",
        encoding="utf-8",
    )
    assert pin_rules.numbers_in(module) == ["pico.py:2"]
    assert pin_rules.names_in(module) == ["RUN"]


def test_air_runs_in_the_model_when_everything_allows_it():
    """The model can also say yes: with pulses taken as present (M1 on), run held and outputs high, the air source runs."""
    state = graph.State(gpio="1")
    on = graph.solve(PARTS, state) | {"M1"}
    assert graph.energised(PARTS, state, ("K1", "A1", "A2"), on)
    assert graph.energised(PARTS, state, ("J2", "1", "2"), on, contact=True)


def test_pins_file_is_in_the_common_subset():
    assert [pin_rules.pin_table.gpio(row[0]) for row in pin_rules.pin_table.PINS] == [
        row[1] for row in pin_rules.pin_table.PINS
    ]
    with pytest.raises(KeyError):
        pin_rules.pin_table.gpio("nothing")
