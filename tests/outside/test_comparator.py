"""Electronic parts against ngspice (an independent circuit simulator, Debian package `ngspice`), on decks written from the circuit data."""

from dataclasses import replace

import pytest

from hardware import cutoff, gate, spice
from hardware.circuit import load
from hardware.params import PARAMS, pressure

PARTS = load()
ZERO = dict.fromkeys(cutoff.TERMS, 0.0)


@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize("supply_v", [4.9, 5.0, 5.1])
def test_trip_pressure_and_hysteresis(high, supply_v):
    """Calculated trip and ngspice's differ by less than 1 kPa at any supply: the threshold is ratiometric."""
    run = spice.cutoff_run(PARTS, high, supply_v)
    assert pressure(run["trip"]) == pytest.approx(cutoff.trip_pa(ZERO, high), abs=1000)
    assert pressure(run["back"]) == pytest.approx(
        cutoff.trip_pa(ZERO, high, falling=True), abs=1000
    )
    assert run["live_v"] > 11.0 and run["dead_v"] < 0.5


@pytest.mark.parametrize("offset_v", [-0.010, 0.010])
def test_comparator_offset_moves_the_trip_as_calculated(offset_v):
    run = spice.cutoff_run(PARTS, False, 5.0, offset_v)
    assert pressure(run["trip"]) == pytest.approx(
        cutoff.trip_pa({**ZERO, "comparator_offset": offset_v}, False), abs=1000
    )


@pytest.mark.parametrize("temp_c", [0.0, 50.0])
def test_trip_does_not_move_with_the_transistors_temperature(temp_c):
    assert pressure(spice.cutoff_run(PARTS, False, temp_c=temp_c)["trip"]) == pytest.approx(
        cutoff.trip_pa(ZERO, False), abs=1000
    )


def test_any_broken_wire_of_the_cutoff_opens_it():
    """At 5.6 bar, each wire broken in turn: only R36 (the processor sees the threshold move) and Q5's own gate leg (the daily test sees the coil fed) keep the coil fed."""
    assert spice.cutoff_breaks(560_000) == ["R36.1", "R36.2", "Q5.G"]


LATCH = pytest.mark.parametrize("high", [False, True])


@LATCH
@pytest.mark.parametrize(
    "supply_v,rise_ms,temp_c",
    [
        (4.75, 0.05, 0.0),
        (5.25, 0.05, 50.0),
        (5.0, 1.0, 20.0),
        (4.75, 100.0, 50.0),
        (5.25, 100.0, 0.0),
    ],
)
def test_latch_holds_an_empty_manifold_and_lets_go_with_the_supply(high, supply_v, rise_ms, temp_c):
    coil = spice.latch_run(PARTS, high, supply_v, rise_ms, temp_c)
    assert coil["started"] > 11.0 and coil["returned"] > 11.0
    assert coil["tripped"] < 0.5 and coil["empty"] < 0.5


@LATCH
def test_without_its_transistor_the_cutoff_would_close_again(high):
    loose = {**PARTS, "Q12": replace(PARTS["Q12"], pins={**PARTS["Q12"].pins, "C": "LOOSE"})}
    coil = spice.latch_run(loose, high)
    assert coil["tripped"] < 0.5 and coil["empty"] > 11.0


def test_below_the_trip_the_coil_is_fed():
    """The break test could also find everything dead: with C20 loose and 4 bar it must be alive."""
    assert spice.cutoff_broken(PARTS, "C20", "1", 0.42) > 11.0


@pytest.mark.parametrize("high_at_stop", [False, True])
def test_gate_drop_out_nominal(high_at_stop):
    run = spice.gate_run(PARTS, 3.3, 20.0, high_at_stop=high_at_stop)
    assert run["on_v"] > 9.0
    assert run["off_ms"] == pytest.approx(gate.drop_out_ms(PARTS, gate.nominal()), rel=0.05)


def test_gate_drop_out_corners_lie_in_the_calculated_band():
    runs, band = spice.all_runs(), gate.report()
    assert (
        4.0
        < band["gate_min_ms"]
        <= runs["gate_low_ms"]
        < runs["gate_nominal_ms"]
        < runs["gate_high_ms"]
        <= band["gate_max_ms"]
    )
    assert runs["gate_high_ms"] + band["relay_max_ms"] <= 20.0


@pytest.mark.parametrize("level", [0.0, 3.4])
def test_steady_pin_never_opens_the_gate(level):
    assert abs(spice.steady_gate_v(PARTS, level)) < 0.1


def test_relay_current_decay_against_the_clamp():
    p = PARAMS
    run = spice.relay_run(
        PARTS,
        p["v12"].high,
        p["relay_coil"].low,
        p["relay_inductance"].high,
        p["relay_drop"].low,
        33.0,
    )
    assert run == pytest.approx(gate.clamp_decay_ms(14.5, 0.5, 180.0, 0.8, 33.7), rel=0.05)


@pytest.mark.parametrize("volts", [0.5, 2.5, 4.5, 5.25])
def test_divider_of_transducer_b(volts):
    assert spice.divider_run(PARTS, volts) == pytest.approx(0.6 * volts, abs=1e-3)


def test_missing_simulator_is_said_so(monkeypatch):
    monkeypatch.setattr(spice.shutil, "which", lambda _: None)
    with pytest.raises(spice.NoSimulator, match="install the Debian package"):
        spice.divider_run(PARTS, 1.0)


def test_failed_measurement_is_an_error():
    with pytest.raises(RuntimeError, match="gave no never"):
        spice.run(
            "nothing", ["v1 a 0 1", "r1 a 0 1k"], [".tran 1u 10u", ".meas tran never when v(a)=2"]
        )


SLOW_START = pytest.mark.parametrize("rise_ms", [0.05, 20.0, 100.0, 250.0])


@SLOW_START
@LATCH
def test_the_cutoff_closes_however_slowly_the_supply_comes(high, rise_ms):
    """U10 holds the latch until U4 is awake; a soft knee can play no part, for there is no Zener in it."""
    coil = spice.latch_run(PARTS, high, 5.0, rise_ms)
    assert (
        coil["started"] > 11.0
        and coil["returned"] > 11.0
        and coil["tripped"] < 0.5
        and coil["empty"] < 0.5
    )


def test_a_latch_fed_past_the_supervisor_never_lets_the_cutoff_close():
    """What a soft Zener did: base current for Q12 before U4 is awake."""
    fed = {**PARTS, "U10": replace(PARTS["U10"], pins={**PARTS["U10"].pins, "RESET": "NOWHERE"})}
    assert spice.latch_run(fed, False, 5.0, 100.0)["started"] < 0.5
