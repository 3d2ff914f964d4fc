"""The simulated hardware without a processor, and the flow of hose and valve."""

from math import log

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.gas import mass_flow

from hardware import cutoff
from hardware import plant as plant_data
from hardware.params import PARAMS

ON = k.GATE | k.RELAY
HOLD = k.RUN | k.ATTACHED
SOURCES = pytest.mark.parametrize("make", [compressor, line])
CALM = {"jitter_s": 0.0}


def run(plant, ticks, drive=ON, controls=HOLD):
    for _ in range(ticks):
        last = plant.tick(drive, controls)
    return last


def ticks_until(plant, wanted, drive, controls, most=2000):
    for i in range(1, most + 1):
        if wanted(plant, plant.tick(drive, controls)):
            return i
    raise AssertionError("it never happened")


def source_stopped(plant, reading):
    return not (reading.true & k.GATE_SHUT and reading.true & k.CONTACT_SHUT)


@SOURCES
def test_halted_processor_stops_the_source_within_20_ms(make):
    plant = Plant(make(**CALM), seed=1)
    run(plant, 200)
    assert ticks_until(plant, source_stopped, ON, HOLD | k.HALTED) * 2 <= 20


@SOURCES
@pytest.mark.parametrize("controls", [k.ATTACHED, HOLD | k.UNPOWERED], ids=["let go", "no power"])
def test_letting_go_or_losing_power_stops_the_source_within_20_ms(make, controls):
    plant = Plant(make(**CALM), seed=1)
    run(plant, 200)
    assert ticks_until(plant, source_stopped, ON, controls) * 2 <= 20


@SOURCES
@pytest.mark.parametrize("drive", [0, k.GATE, k.RELAY, k.VENT])
def test_no_air_unless_both_elements_are_on(make, drive):
    plant = Plant(make(**CALM), seed=1)
    run(plant, 500, drive)
    assert plant.S[k.S_IN_KG] == 0.0


def test_gate_rides_over_one_missing_pulse():
    plant = Plant(compressor(**CALM), seed=1)
    run(plant, 50)
    for _ in range(20):
        assert plant.tick(ON, HOLD | k.HALTED).true & k.GATE_SHUT
        assert plant.tick(ON, HOLD).true & k.GATE_SHUT


def test_compressor_coasts_for_30_to_60_ms_and_then_delivers_nothing():
    plant = Plant(compressor(**CALM), seed=1)
    run(plant, 500)
    ticks_until(plant, source_stopped, 0, HOLD)
    coast = ticks_until(plant, lambda p, _: p.S[k.S_SPEED] == 0.0, 0, HOLD) * 2
    assert 30 <= coast <= 60
    delivered = plant.S[k.S_IN_KG]
    run(plant, 100, 0)
    assert plant.S[k.S_IN_KG] == delivered


def test_line_valve_closes_in_10_to_20_ms():
    plant = Plant(line(**CALM), seed=1)
    run(plant, 100)
    ticks_until(plant, source_stopped, 0, HOLD)
    assert (
        10
        <= ticks_until(plant, lambda p, _: min(p.S[k.S_VALVE1], p.S[k.S_VALVE2]) == 0.0, 0, HOLD)
        * 2
        <= 20
    )


STUCK = ((0, k.F_GATE_ON, 1), (0, k.F_RELAY_ON, 1))


BANDS = pytest.mark.parametrize(
    "high, top", [(0, 550e3), (k.RANGE_HIGH, 990e3)], ids=["low", "high"]
)


@BANDS
@pytest.mark.parametrize("pin_open", [False, True])
@pytest.mark.parametrize("supply_pa", [900e3, 1200e3])
def test_cutoff_alone_holds_the_tyre_when_both_elements_are_stuck_on(
    high, top, pin_open, supply_pa
):
    """No processor at all: the cutoff opens the vent once and keeps it open."""
    plant = Plant(line(line_pa=supply_pa, pin_open=pin_open, tyre_pa=450e3), faults=STUCK, seed=1)
    reading = run(plant, 8000, 0, high | k.ATTACHED)
    assert 449e3 < plant.peak_pa < top
    reached = supply_pa > (plant.params.cutoff_high_pa if high else plant.params.cutoff_low_pa)
    assert bool(reading.true & k.CUTOFF_OPEN) == bool(reading.true & k.VENT_OPEN) == reached


@BANDS
@pytest.mark.parametrize("pin_open", [False, True])
def test_cutoff_and_a_board_that_keeps_the_vent_open_hold_a_line_of_15_bar(high, top, pin_open):
    plant = Plant(line(line_pa=1500e3, pin_open=pin_open, tyre_pa=400e3), faults=STUCK, seed=1)
    ticks_until(plant, lambda p, r: r.switches & k.SW_CUTOFF, 0, high | k.ATTACHED)
    run(plant, 4000, k.VENT, high | k.ATTACHED)
    assert plant.peak_pa < top
    assert plant.manifold_pa < plant.peak_pa - 50e3


@pytest.mark.parametrize(
    "high, top", [(0, 590e3 * 1.1), (k.RANGE_HIGH, 1050e3 * 1.1)], ids=["low", "high"]
)
def test_relief_valve_alone_holds_the_highest_supply(high, top):
    """Both elements stuck on, cutoff dead, vent blocked: full lift is 10 % above the set pressure."""
    never = {"cutoff_low_pa": 1e9, "cutoff_high_pa": 1e9}
    plant = Plant(
        line(line_pa=1500e3, tyre_pa=400e3, **never),
        faults=(*STUCK, (0, k.F_VENT_BLOCK, 1)),
        seed=1,
    )
    reading = run(plant, 8000, 0, high | k.ATTACHED)
    assert reading.true & k.RELIEF_OPEN
    assert plant.manifold_pa < top
    assert plant.peak_pa < top


WORST = {
    "line_pa": 1000e3,
    "line_c": 0.22,
    "vent_c": 0.68,
    "vent_s": 0.02,
    "tyre_ml": 600.0,
    "manifold_ml": 40.0,
    "relief_low_pa": 607.7e3,
}


RANGES = pytest.mark.parametrize(
    "high, trip, top",
    [(0, "cutoff_low_pa", 550e3), (k.RANGE_HIGH, "cutoff_high_pa", 990e3)],
    ids=["low", "high"],
)


@RANGES
@pytest.mark.parametrize("tyre_pa", [200e3, 450e3, 500e3, 530e3])
@pytest.mark.parametrize("drive", [0, k.VENT], ids=["no board", "board opens the vent"])
@pytest.mark.parametrize("pin_open", [False, True])
def test_both_stuck_on_with_every_part_at_its_worst_end(high, trip, top, tyre_pa, drive, pin_open):
    """Worst ends of `hardware/params.py`, the cutoff at the top of its band: after 40 s, with any board output, the tyre is under 110 %."""
    worst = {**WORST, trip: cutoff.band(bool(high))[2]}
    plant = Plant(
        line(cutoff_tau_s=0.0012, tyre_pa=tyre_pa, pin_open=pin_open, **worst),
        faults=STUCK,
        seed=1,
        compiled=True,
    )
    ticks_until(plant, lambda p, r: r.switches & k.SW_CUTOFF, 0, high | k.ATTACHED, 10_000)
    reading = run(plant, 20_000, drive, high | k.ATTACHED)
    assert plant.peak_pa < top
    assert reading.true & k.CUTOFF_OPEN and reading.true & k.VENT_OPEN
    assert plant.manifold_pa * 1.5 < 500e3


def test_an_open_cutoff_stays_open_until_the_supply_has_been_away():
    plant = Plant(line(**CALM), seed=1)
    ticks_until(plant, lambda p, r: r.switches & k.SW_CUTOFF, ON, HOLD | k.LOCKNUT_SHUT)
    assert run(plant, 2000, 0).switches & k.SW_CUTOFF
    assert plant.manifold_pa < 1e3
    run(plant, 500, 0, HOLD | k.UNPOWERED)
    assert not run(plant, 5, 0).switches & k.SW_CUTOFF


@SOURCES
def test_open_vent_beats_the_source(make):
    plant = Plant(make(**CALM), seed=1)
    run(plant, 1000, ON | k.VENT, k.RUN)
    assert plant.manifold_pa < 200e3


def test_cutoff_lets_the_relay_go_though_the_processor_holds_it():
    plant = Plant(line(**CALM), seed=1)
    ticks_until(plant, lambda p, r: r.switches & k.SW_CUTOFF, ON, HOLD | k.LOCKNUT_SHUT)
    assert plant.manifold_pa > 500e3
    assert ticks_until(plant, source_stopped, ON, HOLD | k.LOCKNUT_SHUT) * 2 <= 20
    assert (
        ticks_until(plant, lambda p, r: p.manifold_pa < 450e3, ON, HOLD | k.LOCKNUT_SHUT) * 2 < 200
    )


def test_range_key_reaches_contacts_cutoff_and_relief():
    plant = Plant(line(**CALM), seed=1)
    assert plant.tick(0, 0).switches & (k.SW_KEY_LOW | k.SW_KEY_HIGH) == k.SW_KEY_LOW
    assert plant.tick(0, k.RANGE_HIGH).switches & (k.SW_KEY_LOW | k.SW_KEY_HIGH) == k.SW_KEY_HIGH
    run(plant, 700, ON, k.RUN | k.RANGE_HIGH | k.ATTACHED | k.LOCKNUT_SHUT)
    assert 750e3 < plant.manifold_pa < 905e3


@SOURCES
def test_core_is_a_check_valve(make):
    plant = Plant(make(tyre_pa=300e3, **CALM), seed=1)
    run(plant, 1000, k.VENT)
    assert plant.manifold_pa == pytest.approx(0.0, abs=50.0)
    assert plant.tyre_pa == pytest.approx(300e3, abs=1e-3)


def test_nothing_flows_until_the_core_cracks_and_the_knee_is_seen_after_flow_stops():
    plant = Plant(compressor(tyre_pa=300e3, crack_pa=20e3, **CALM), seed=1)
    ticks_until(plant, lambda p, r: r.true & k.AIR_IN, ON, HOLD, 5000)
    assert (
        319e3 < plant.manifold_pa < 325e3
    )  # what cracked the core, less the heat lost since in the same tick
    run(plant, 500)
    ticks_until(plant, lambda p, r: not r.true & k.AIR_IN, 0, HOLD)
    assert plant.manifold_pa - plant.tyre_pa == pytest.approx(20e3, abs=400.0)


def test_pin_open_chuck_shows_the_tyre_and_can_bleed_it():
    plant = Plant(compressor(tyre_pa=300e3, pin_open=True, **CALM), seed=1)
    run(plant, 1500, 0)
    assert plant.manifold_pa == pytest.approx(plant.tyre_pa, abs=100.0)
    before = plant.tyre_pa
    run(plant, 500, k.VENT)
    assert plant.tyre_pa < before - 50e3


@pytest.mark.parametrize(
    "controls", [HOLD | k.LOCKNUT_SHUT, k.RUN], ids=["locknut", "not attached"]
)
def test_tyre_gets_nothing_through_a_closed_locknut_or_a_hose_in_the_air(controls):
    plant = Plant(compressor(tyre_pa=100e3, **CALM), seed=1)
    run(plant, 1000, ON, controls)
    assert plant.S[k.S_IN_KG] > 0.0
    assert plant.tyre_pa == pytest.approx(100e3, abs=1e-3)


def test_flow_into_the_tyre_is_that_of_the_restriction():
    plant = Plant(line(tyre_pa=100e3, **CALM), seed=1)
    run(plant, 150, ON, HOLD | k.RANGE_HIGH)
    s, p = plant.S, plant.P
    expected = mass_flow(
        p[k.P_C_PATH], p[k.P_B_PATH], s[k.S_PM], s[k.S_PT] + p[k.P_CRACK], s[k.S_TM]
    )
    assert s[k.S_FLOW] == pytest.approx(expected, rel=0.01)


def test_a_filled_tyre_cools_and_loses_pressure():
    plant = Plant(line(tyre_pa=100e3, **CALM), seed=1)
    run(plant, 1500, ON, HOLD | k.RANGE_HIGH)
    hot, settled = plant.tyre_pa, plant.settled_pa
    assert plant.air_k > 310.0 and hot > settled + 20e3
    run(plant, 20_000, 0, k.ATTACHED)
    assert plant.tyre_pa == pytest.approx(settled, rel=0.02)


def test_bleeding_at_the_valve_lowers_the_tyre():
    plant = Plant(line(tyre_pa=300e3, **CALM), seed=1)
    run(plant, 500, 0, k.BLEED)
    assert plant.tyre_pa < 250e3


def test_a_rim_that_lets_go_empties_the_tyre_at_once():
    plant = Plant(line(tyre_pa=300e3, blow_off_pa=310e3, **CALM), seed=1)
    reading = run(plant, 500, ON, HOLD | k.RANGE_HIGH)
    assert reading.true & k.BLOWN
    assert plant.tyre_pa < 20e3


def test_a_late_tick_is_longer_and_moves_more_air():
    late, even = (
        Plant(compressor(tyre_pa=100e3, **CALM), seed=1, faults=f)
        for f in (((100, k.F_SLIP_S, 0.01),), ())
    )
    a, b = run(late, 200), run(even, 200)
    assert (a.tick_us, b.tick_us) == (12000, 2000)
    assert late.S[k.S_IN_KG] > even.S[k.S_IN_KG]


def test_clock_jitter_has_the_stated_size():
    plant = Plant(compressor(jitter_s=20e-6), seed=1)
    lengths = [plant.tick(0, 0).tick_us - 2000 for _ in range(4000)]
    mean = sum(lengths) / len(lengths)
    spread = (sum((x - mean) ** 2 for x in lengths) / len(lengths)) ** 0.5
    assert abs(mean) < 1.5
    assert spread == pytest.approx(20.0, rel=0.1)


FROM_HARDWARE = {  # plant parameter: name in hardware/params.py, factor
    "line_c": ("inlet_c", 1.0),
    "vent_c": ("vent_c", 1.0),
    "relief_c": ("relief_c", 1.0),
    "relief_low_pa": ("relief_low", 1.0),
    "relief_high_pa": ("relief_high", 1.0),
    "relief_lift": ("relief_over", 1.0),
    "line_pa": ("supply_line", 1.0),
    "line_b": ("b_ratio", 1.0),
    "outlet_b": ("b_ratio", 1.0),
    "fad_l_min": ("fad_l_min", 1.0),
    "tyre_ml": ("tyre_ml", 1.0),
    "manifold_ml": ("manifold_ml", 1.0),
    "coast_s": ("compressor_coast", 1e-3),
    "valve_shut_s": ("line_valve_shut", 1e-3),
}


@pytest.mark.parametrize("name", FROM_HARDWARE)
def test_plant_parameters_lie_within_the_hardware_s_worst_ends(name):
    other, factor = FROM_HARDWARE[name]
    assert PARAMS[other].low * factor <= getattr(line(), name) <= PARAMS[other].high * factor


def test_the_plant_s_table_is_what_the_hardware_data_make():
    assert plant_data.PAGE.read_text() == plant_data.text(), "run python -m hardware.plant --write"


def test_a_clamped_valve_coil_holds_no_longer_than_the_circuit_rule_says():
    """Exponential decay of a coil with L/R against a wall of voltage, restated: L/R ln((V + wall) / (release + wall))."""
    least, nominal, most = plant_data.coil_decay_ms()
    assert 0.0 < least < nominal < most
    assert most == pytest.approx(1e3 * 0.10 / 24.0 * log((14.5 + 9.7) / (1.5 + 9.7)), rel=0.01)


@pytest.mark.parametrize("high, name", [(False, "cutoff_low_pa"), (True, "cutoff_high_pa")])
def test_cutoff_of_the_plant_is_the_hardware_s_nominal_trip(high, name):
    assert getattr(line(), name) == pytest.approx(cutoff.band(high)[1], abs=500.0)
