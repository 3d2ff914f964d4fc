"""Heat, starting and stall current: the rules hold, and the earlier parts violate them. Limits are literals here."""

from dataclasses import replace

import pytest

from hardware import params, thermal
from hardware.circuit import load

PARTS = load()


def rated(ref, rating):
    return {**PARTS, ref: replace(PARTS[ref], rating=rating)}


@pytest.mark.parametrize("rule", thermal.RULES, ids=lambda r: r.__name__)
def test_rule_holds(rule):
    assert rule(PARTS).ok, rule(PARTS).found


def test_m1_stays_under_its_limit_for_ever_at_50_degc():
    heat = thermal.heats(PARTS)[0]
    assert heat.ref == "M1" and heat.hot_c < 175 - 20


def test_a_usual_17_milliohm_transistor_without_a_heat_sink_breaks_the_rule():
    old = rated("M1", "60 V 49 A 17.5 mohm 175 degC")
    assert thermal.heats(old, thermal.NO_SINK_K_W)[0].hot_c > 220
    assert not thermal.junctions(rated("M1", "60 V 49 A 40 mohm 175 degC")).ok


def test_the_same_heat_in_ngspice_after_the_stated_duty():
    """A thermal network that lets the resistance follow the heat: under the endless duty's figure, and near it."""
    endless = thermal.heats(PARTS)[0].hot_c
    assert endless - 10 < thermal.spice_m1_c(params.PARAMS["duty"].high) <= endless
    assert thermal.spice_m1_c(3000.0) == pytest.approx(endless, abs=0.5)


DEFECTS = [
    (thermal.overcurrent, rated("F1", "32 V 20 A I2t:600 A2s")),
    (thermal.overcurrent, rated("F1", "32 V 25 A I2t:200 A2s")),
    (thermal.overcurrent, rated("J1", "10 A")),
    (thermal.overcurrent, rated("F1", "32 V 30 A I2t:1500 A2s")),
    (thermal.junctions, {**PARTS, "R49": replace(PARTS["R49"], value="22")}),
]


@pytest.mark.parametrize("rule,broken", DEFECTS, ids=lambda x: getattr(x, "__name__", ""))
def test_rule_finds_a_planted_defect(rule, broken):
    assert not rule(broken).ok


def test_stall_current_grows_with_a_stiffer_motor(monkeypatch):
    monkeypatch.setitem(
        params.PARAMS, "motor_ohm", params.Param(0.10, 0.15, 0.20, "ohm", "a larger motor")
    )
    assert thermal.stall_a() > 100
    assert not thermal.overcurrent(PARTS).ok
