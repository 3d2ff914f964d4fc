"""Polarity rules: they hold on the circuit, each is shown to fail, and at least 95 % of all exchanged pairs of pins are refused."""

from dataclasses import replace

import pytest

from hardware import bench, pintypes, polarity, signal_rules, swaps
from hardware.circuit import load
from hardware.sources import KINDS

PARTS = load()


def moved(ref, **pins):
    return {**PARTS, ref: replace(PARTS[ref], pins={**PARTS[ref].pins, **pins})}


def swapped(ref, a, b):
    return swaps.exchanged(PARTS, PARTS[ref], a, b)


@pytest.mark.parametrize("rule", polarity.RULES, ids=lambda r: r.__name__)
def test_rule_holds_on_the_inflator_and_on_the_bench(rule):
    assert rule(PARTS).ok, rule(PARTS).found
    assert rule(bench.parts()).ok, rule(bench.parts()).found


DEFECTS = [
    (polarity.every_pin_typed, moved("R1", **{"3": "GND"})),
    (polarity.supplies_and_returns, swapped("J5", "1", "3")),
    (polarity.supplies_and_returns, moved("U6", REF="V5_CUT_LOW")),
    (polarity.supplies_and_returns, swapped("U5", "VIN", "VOUT")),
    (polarity.outputs_and_inputs, moved("U10", RESET="LATCH_X")),
    (polarity.outputs_and_inputs, moved("U4", OUTB="CUT_HI")),
    (polarity.outputs_and_inputs, swapped("U7", "CSB", "SDO")),
    (polarity.which_way_round, swapped("D7", "A", "K")),
    (polarity.which_way_round, swapped("D1", "A", "K")),
    (polarity.which_way_round, swapped("C1", "1", "2")),
    (polarity.which_way_round, swapped("D6", "A", "K")),
    (polarity.which_way_round, swapped("D27", "A", "K")),
    (polarity.coils_clamped, swapped("D12", "A", "K")),
    (polarity.coils_clamped, swapped("D9", "A", "K")),
    (polarity.transistors, swapped("Q4", "B", "C")),
    (polarity.transistors, swapped("Q2", "B", "C")),
    (polarity.transistors, swapped("Q5", "D", "S")),
    (signal_rules.comparator_senses, moved("U4", **{"INA+": "SIG_C", "INA-": "REF"})),
    (signal_rules.comparator_senses, moved("U4", **{"INA+": "REF_LO", "INB-": "REF"})),
    (signal_rules.bus_roles, swapped("U9", "SDA", "SCL")),
    (signal_rules.bus_roles, swapped("U6", "SCLK", "DIN")),
    (signal_rules.converters_see, swapped("U9", "AIN0", "AIN1")),
    (signal_rules.converters_see, swapped("U6", "AINN", "GND")),
    (signal_rules.contacts_and_plugs, swapped("J2", "1", "4")),
    (signal_rules.contacts_and_plugs, swapped("S3", "A_COM", "B_COM")),
    (signal_rules.contacts_and_plugs, swapped("J10", "2", "3")),
]


@pytest.mark.parametrize("rule,broken", DEFECTS, ids=lambda x: getattr(x, "__name__", ""))
def test_rule_finds_a_planted_defect(rule, broken):
    assert not rule(broken).ok


def test_every_class_has_its_pin_types_and_every_rule_a_defect():
    assert set(pintypes.TYPES) == set(KINDS)
    assert {rule for rule, _ in DEFECTS} == set(polarity.RULES)


@pytest.mark.parametrize(
    "ref",
    [
        p.ref
        for p in PARTS.values()
        if p.kind.startswith(("diode", "zener", "tvs", "cap-bulk", "cap-tantalum", "led"))
        and p.kind != "tvs-bi"
    ],
)
def test_each_polarised_part_turned_round_is_refused(ref):
    a, b = PARTS[ref].pins
    assert not all(rule(swapped(ref, a, b)).ok for rule in polarity.RULES)


def test_at_least_95_percent_of_exchanged_pins_are_refused_and_the_others_have_a_reason():
    figures = swaps.figures()
    assert figures["without_processor"] > 250 and figures["exchanges"] > 800
    assert figures["share"] >= 0.95
    assert figures["refused"] / figures["exchanges"] >= 0.95
    assert [s for s in swaps.survivors() if not s.reason] == []
    assert swaps.holds()


def test_survey_can_find_an_unseen_exchange(monkeypatch):
    """Without the polarity rules most exchanges are not detected."""
    monkeypatch.setattr(swaps, "RULES", swaps.RULES[len(polarity.RULES) :])
    seen = swaps.survey.__wrapped__()
    assert sum(not s.refused_by for s in seen if s.kind != "mcu-board") > 150


def test_parts_without_polarity_have_two_passive_pins_and_equal_pins_are_of_one_type():
    assert all(pintypes.TYPES[kind] == {"1": "-p-", "2": "-p-"} for kind in pintypes.SYMMETRIC)
    for kind, pins in pintypes.EQUAL.items():
        assert len({pintypes.TYPES[kind][pin] for pin in pins}) == 1
