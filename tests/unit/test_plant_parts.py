"""Sources, taps and supply of the plant with each of their real effects, against an independent calculation."""

from math import exp

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.gas import R_AIR, RHO_ANR, mass_flow

from tests.unit.plantruns import AMB, CALM, ON, STILL, run, ticks_until

# Sources


def test_a_line_valve_moves_after_its_dead_times():
    """Dead time and travel of a data sheet, coil decay added before it shuts; a command shorter than the dead time moves nothing."""
    over = {
        "valve_dead_open_s": 0.020,
        "valve_dead_shut_s": 0.012,
        "coil_decay_s": 0.010,
        "valve_open_s": 0.010,
        "valve_shut_s": 0.010,
        "relay_on_s": 0.002,
    }
    plant = Plant(line(gate_drop_s=0.001, relay_off_s=0.002, **over, **CALM), seed=1)
    run(plant, 20, k.RELAY)
    run(plant, 6, ON)
    run(plant, 20, k.RELAY)
    assert plant.S[k.S_VALVE1] == 0.0
    plant = Plant(line(gate_drop_s=0.001, relay_off_s=0.002, **over, **CALM), seed=1)
    run(plant, 40, k.RELAY)
    assert ticks_until(plant, lambda p: p.S[k.S_VALVE1] > 0.0, ON) * 2 == pytest.approx(20, abs=2)
    assert ticks_until(plant, lambda p: p.S[k.S_VALVE1] >= 1.0, ON) * 2 == pytest.approx(8, abs=2)
    assert ticks_until(plant, lambda p: p.S[k.S_VALVE1] < 1.0, k.RELAY) * 2 == pytest.approx(
        22, abs=2
    )
    assert ticks_until(plant, lambda p: p.S[k.S_VALVE1] == 0.0, k.RELAY) * 2 == pytest.approx(
        8, abs=2
    )
    late = Plant(
        line(gate_drop_s=0.001, relay_off_s=0.002, **over, **CALM),
        seed=1,
        faults=((0, k.F_COIL, 0.030),),
    )
    run(late, 100, ON)
    assert ticks_until(late, lambda p: p.S[k.S_VALVE1] < 1.0, k.RELAY) * 2 == pytest.approx(
        52, abs=2
    )


def test_the_line_s_pressure_droops_with_its_flow():
    """Choked inlet: q = C rho p, so that p = p0 / (1 + droop / p0) where droop is given at the undisturbed full flow."""
    plant = Plant(line(line_pa=800e3, line_droop_pa=120e3, line_main_s=0.05, **CALM), seed=1)
    run(plant, 500, ON | k.VENT, k.RUN)
    p0 = 800e3 + AMB
    assert plant.S[k.S_PM] < 0.3 * plant.S[k.S_MAIN]
    assert plant.S[k.S_MAIN] == pytest.approx(p0 / (1.0 + 120e3 / p0), rel=1e-3)
    assert plant.S[k.S_DRAWN] == pytest.approx(0.2e-8 * RHO_ANR * plant.S[k.S_MAIN], rel=1e-3)
    run(plant, 1000, 0, k.RUN)
    assert plant.S[k.S_MAIN] == pytest.approx(p0, rel=1e-4)


def test_a_tired_battery_slows_the_pump_exponentially():
    plant = Plant(
        compressor(battery_sag=0.2, battery_s=4.0, spin_up_s=0.02, **CALM), seed=1, compiled=True
    )
    run(plant, 2000, ON, k.RUN)
    assert plant.S[k.S_SPEED] == pytest.approx(1.0 - 0.2 * (1.0 - exp(-1.0)), abs=0.003)
    run(plant, 10_000, ON, k.RUN)
    assert plant.S[k.S_SPEED] == pytest.approx(0.8, abs=0.002)


@pytest.mark.parametrize("more", [0.0, 0.555])
def test_a_pump_that_runs_on_delivers_the_air_of_half_its_coast_down(more):
    """Speed falls evenly to 0: half the time at the full rate."""
    plant = Plant(
        compressor(coast_s=0.045, ripple=0.0, gate_drop_s=0.001, hose_c=50.0, chuck_c=50.0, **CALM),
        seed=1,
        faults=((0, k.F_RUN_ON, more),),
    )
    run(plant, 1000, ON, k.RUN)
    before = plant.S[k.S_IN_KG]
    run(plant, 100, ON, k.RUN)
    rate = (plant.S[k.S_IN_KG] - before) / 0.2
    before = plant.S[k.S_IN_KG]
    run(plant, 500, k.RELAY, k.RUN)
    part = plant.S[k.S_IN_KG] - before
    assert part == pytest.approx(rate * 0.5 * (0.045 + more), rel=0.06)


# Transducers


QUIET = {
    "a_noise_pa": 0.0,
    "a_inl_words": 0.0,
    "b_enob": 16.0,
    "b_e11_lsb": 0.0,
    "a_tau_s": 0.0,
    "b_tau_s": 0.0,
    "relief_low_pa": 1e9,
    "cutoff_low_pa": 1e9,
}
SHUT = k.ATTACHED | k.LOCKNUT_SHUT


def pa(word):
    return (word / 65536.0 - 0.1) / 0.8 * 1000e3


def held(plant, pressures):
    """Readings (a, b) with the manifold held at each pressure for one tick."""
    found = []
    for gauge in pressures:
        plant.S[k.S_PM] = gauge + AMB
        plant.S[k.S_MM] = plant.S[k.S_PM] * plant.P[k.P_VM] / (R_AIR * plant.S[k.S_TM])
        reading = plant.tick(0, SHUT)
        found.append((pa(reading.a), pa(reading.b)))
    return found


def test_play_shows_its_whole_width_between_rising_and_falling():
    """Definition of hysteresis as a share of span: the gap of the two branches."""
    plant = Plant(line(a_play=0.0025, b_play=0.001, **QUIET, **CALM), seed=1)
    up = held(plant, [0.0, 100e3, 200e3, 300e3])[-1]
    down = held(plant, [400e3, 350e3, 300e3])[-1]
    assert down[0] - up[0] == pytest.approx(2500.0, abs=40.0)
    assert down[1] - up[1] == pytest.approx(1000.0, abs=170.0)
    small = held(plant, [300.5e3])[-1]
    assert small[0] == pytest.approx(down[0], abs=40.0)  # a small return is not seen


def test_a_tap_lags_a_steady_rise_by_its_time_constant():
    """First-order lag on a ramp: behind by rate x time constant."""
    plant = Plant(line(a_tap_s=0.020, b_tap_s=0.005, **QUIET, **CALM), seed=1)
    ramp = [i * 500.0 for i in range(200)]
    a, b = held(plant, ramp)[-1]
    step = 0.002
    for shown, tau in ((a, 0.020), (b, 0.005)):
        share = 1.0 - exp(-step / tau)
        assert ramp[-1] - shown == pytest.approx(500.0 * (1.0 - share) / share, abs=200.0)
        assert ramp[-1] - shown == pytest.approx(tau * 250e3, rel=0.25)


@pytest.mark.parametrize("sign", [-1.0, 0.5, 1.0])
def test_a_sagging_supply_reads_either_way(sign):
    """1 % of full scale for each 100 mV under 4.5 V; full scale is 0.8 of the supply."""
    plant = Plant(
        line(a_sag=sign, b_sag=-sign, **QUIET, **CALM), seed=1, faults=((0, k.F_SUPPLY, 0.8),)
    )
    a, b = held(plant, [300e3] * 5)[-1]
    assert a - 300e3 == pytest.approx(sign * 0.04 / 0.8 * 1000e3, abs=50.0)
    assert b - 300e3 == pytest.approx(-sign * 0.04 / 0.8 * 1000e3, abs=200.0)


def test_a_blocked_neck_freezes_a_and_b_and_not_the_cutoff():
    plant = Plant(
        line(**{**QUIET, "cutoff_low_pa": 520e3}, **CALM), seed=1, faults=((20, k.F_NECK, 0.0),)
    )
    before = held(plant, [200e3] * 20)[-1]
    after = held(plant, [530e3] * 40)[-1]
    assert after == pytest.approx(before, abs=1.0)
    assert plant.S[k.S_CUT] == 1.0


# People


@pytest.mark.parametrize("size, ml_ms", [(0.02e-8, 0.1), (0.2e-8, 1.0)])
def test_a_half_seated_chuck_leaks_a_tenth_to_one_millilitre_a_millisecond(size, ml_ms):
    """ISO 6358, choked at 4 bar gauge; free air at the reference state."""
    flow = mass_flow(size, 0.3, 400e3 + AMB, AMB)
    assert flow / RHO_ANR * 1e3 == pytest.approx(ml_ms, rel=0.01)
    plant = Plant(
        line(tyre_pa=400e3, pin_open=True, **STILL), seed=1, faults=((1500, k.F_SEAT, size),)
    )
    run(plant, 1500, 0)
    before = plant.S[k.S_OUT_KG]
    gauge = plant.manifold_pa
    run(plant, 50, 0)
    mean = mass_flow(size, 0.3, 0.5 * (gauge + plant.manifold_pa) + AMB, AMB)
    assert plant.S[k.S_OUT_KG] - before == pytest.approx(mean * 0.1, rel=0.02)
