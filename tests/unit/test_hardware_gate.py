"""Gate drop-out and relay release by calculation (ngspice: tests/outside/test_comparator.py). Limits are literals here."""

import pytest

from hardware import gate
from hardware.circuit import load
from hardware.params import GATE_LIMIT_MS, TICK_MS

REPORT = gate.report()


def test_band_by_calculation():
    assert REPORT["gate_min_ms"] > 4.0 == 2 * TICK_MS
    assert REPORT["gate_min_ms"] < REPORT["gate_nominal_ms"] < REPORT["gate_max_ms"]


def test_relay_release_within_the_budget():
    assert REPORT["sum_max_ms"] <= 20.0 == GATE_LIMIT_MS


def test_plain_diode_would_break_the_budget():
    assert REPORT["gate_max_ms"] + REPORT["relay_with_plain_diode_max_ms"] > 20.0


def test_one_bleed_open_still_drops_out():
    assert REPORT["gate_nominal_ms"] < REPORT["one_bleed_open_ms"] < 20.0


def test_top_up_is_done_before_q3_turns_off():
    parts = load()
    assert all(gate.topping_ms(parts, c) > gate.fill_ms(parts, c) for c in gate.corners())
    assert all(gate.topping_ms(parts, c) < TICK_MS for c in gate.corners())


def test_corners_are_all_different_and_complete():
    assert len(set(gate.corners())) == 2**7


def test_current_decay_of_a_coil():
    """Closed form against a step-by-step sum."""
    amps, t, dt = 14.5 / 180, 0.0, 1e-7
    while amps > 0.5 / 180:
        amps -= (amps * 180 + 33.7) / 0.8 * dt
        t += dt
    assert gate.clamp_decay_ms(14.5, 0.5, 180, 0.8, 33.7) == pytest.approx(t * 1000, rel=1e-3)
