"""Parameters of the simulated world, each with unit and source."""

from dataclasses import dataclass, field, replace
from typing import Any

from rimward.limits.volume import chord_l
from rimward.simulation.plant.board import nominal
from rimward.simulation.plant.gas import C_UNIT, SEAL_PA

OURS = "our assumption"
ESTIMATE = "estimate from geometry; nothing published found"
ASSUMED = "engineering judgement, no measurement; campaigns draw it over a range"
BOARD = "hardware, nominal"
CLASS = "usual class figure of such a transducer, from memory"


def par(default: Any, unit: str, source: str) -> Any:
    """Declare a parameter with unit and source, both readable by programs (`dataclasses.fields(...).metadata`)."""
    return field(default=default, metadata={"unit": unit, "source": source})


@dataclass(frozen=True)
class PlantParams:
    """One inflator, its hose, one wheel and the room. Pressures in Pa, gauge unless named `_abs_`; conductance C in dm3/(s bar)."""

    # time and room
    tick_s: float = par(0.002, "s", "design: one tick")
    jitter_s: float = par(10e-6, "s", OURS + " (standard deviation of a timer interrupt's entry)")
    ambient_abs_pa: float = par(101325.0, "Pa", "ISO 2533 sea level")
    room_k: float = par(293.15, "K", "ISO 8778 reference temperature")
    # source
    is_line: bool = par(False, "-", "compressor or workshop line")
    fad_l_min: float = par(nominal("fad_l_min"), "L/min", BOARD)
    clearance: float = par(0.188, "-", OURS + ": with `polytropic`, stalls at 11 times the ambient")
    polytropic: float = par(1.3, "-", "between isothermal 1 and adiabatic 1.4; common practice")
    delivery_cooling: float = par(
        0.7, "-", OURS + " (share of the compression heat left in head and tube)"
    )
    spin_up_s: float = par(nominal("spin_up_s"), "s", BOARD + " (time constant)")
    coast_s: float = par(nominal("coast_s"), "s", BOARD)
    battery_sag: float = par(
        0.0, "-", ASSUMED + " (share of its speed that the pump loses on a tired battery)"
    )
    battery_s: float = par(30.0, "s", ASSUMED + " (time constant of that)")
    head_back: float = par(
        0.0,
        "-",
        ASSUMED
        + " (share of the head's temperature rise that the air takes on; 0: head always cold)",
    )
    head_jk: float = par(270.0, "J/K", OURS + " (0.3 kg of aluminium)")
    head_s: float = par(120.0, "s", ASSUMED + " (time constant of the head to the room)")
    head_start_k: float = par(
        0.0, "K", "temperature of the head over the room at the start: fills before this one"
    )
    turns_hz: float = par(45.0, "1/s", OURS)
    ripple: float = par(0.9, "-", OURS + " (share of the mean delivery by which one piston pulses)")
    line_pa: float = par(nominal("line_pa"), "Pa", BOARD)
    line_c: float = par(nominal("line_c"), "dm3/(s bar)", BOARD)
    line_b: float = par(nominal("line_b"), "-", BOARD)
    valve_open_s: float = par(nominal("valve_open_s"), "s", BOARD)
    valve_shut_s: float = par(nominal("valve_shut_s"), "s", BOARD)
    valve_dead_open_s: float = par(
        0.0, "s", "time before a line valve begins to open; its data sheets' class is 5-25 ms"
    )
    valve_dead_shut_s: float = par(
        0.0, "s", "time before it begins to shut once its coil has decayed; 5-25 ms"
    )
    coil_decay_s: float = par(0.0, "s", "decay of its coil; with a plain free-wheel diode 11-39 ms")
    line_droop_pa: float = par(0.0, "Pa", ASSUMED + " (fall of the line's pressure at full flow)")
    line_main_s: float = par(0.0, "s", ASSUMED + " (time constant of its regulator)")
    # switching without the processor
    gate_drop_s: float = par(nominal("gate_drop_s"), "s", BOARD)
    relay_on_s: float = par(0.008, "s", "small power relays 5-15 ms, from memory")
    relay_off_s: float = par(nominal("relay_off_s"), "s", BOARD)
    supply_drop: float = par(
        0.6, "-", OURS + " (share of nominal supply below which coils drop out)"
    )
    # manifold, hose, valve, chuck
    manifold_ml: float = par(nominal("manifold_ml"), "mL", BOARD)
    manifold_ua: float = par(0.8, "W/K", OURS)
    hose_c: float = par(nominal("hose_c"), "dm3/(s bar)", BOARD)
    hose_b: float = par(0.3, "-", OURS)
    chuck_c: float = par(nominal("chuck_c"), "dm3/(s bar)", BOARD)
    chuck_b: float = par(0.3, "-", OURS)
    core_c: float = par(nominal("core_c"), "dm3/(s bar)", BOARD)
    core_b: float = par(0.3, "-", ESTIMATE)
    crack_pa: float = par(20e3, "Pa", ESTIMATE)
    core_hysteresis_pa: float = par(
        0.0, "Pa", ASSUMED + " (a core shuts at so much less than it opens at)"
    )
    core_span_pa: float = par(
        0.0,
        "Pa",
        ASSUMED + " (pressure over the shutting one at which the core is wide open; 0: at once)",
    )
    core_s: float = par(0.0, "s", ASSUMED + " (time constant of its lift)")
    pin_open: bool = par(False, "-", "chuck type")
    outlet_b: float = par(nominal("outlet_b"), "-", BOARD)
    # vent and relief valves
    vent_c: float = par(nominal("vent_c"), "dm3/(s bar)", BOARD)
    vent_s: float = par(0.012, "s", "small solenoid valves 10-20 ms, from memory")
    relief_low_pa: float = par(nominal("relief_low_pa"), "Pa", BOARD)
    relief_high_pa: float = par(nominal("relief_high_pa"), "Pa", BOARD)
    relief_lift: float = par(
        0.1, "-", "relief valves reach full lift at 10 % overpressure; common practice"
    )
    relief_c: float = par(nominal("relief_c"), "dm3/(s bar)", BOARD)
    # wheel
    tyre_ml: float = par(1148.7, "mL", "28 mm on a 19 mm rim, 622: circle cut by the bead chord")
    tyre_growth_per_pa: float = par(5e-8, "1/Pa", OURS + " (2.5 % at 5 bar)")
    tyre_limp: float = par(
        0.0, "-", ASSUMED + " (share of the volume missing at 0: folded tube, slack casing)"
    )
    tyre_limp_pa: float = par(
        5e3,
        "Pa",
        ASSUMED + " (scale with which that opens; nothing is missing from three times this on)",
    )
    tyre_creep: float = par(
        0.0, "-", ASSUMED + " (share of the volume by which the casing creeps at 4 bar, in the end)"
    )
    tyre_creep_s: float = par(120.0, "s", ASSUMED + " (time constant of that)")
    sealant_ml: float = par(0.0, "mL", "sealant in the tyre, takes its air volume")
    heat_fixed: float = par(1.0, "-", "share of `tyre_ua` that depends on nothing")
    heat_free: float = par(
        0.0, "-", "natural convection over `tyre_ua` at 6 kg/m3 and 20 K; Nu goes with Gr^(1/4)"
    )
    heat_jet: float = par(
        0.0, "-", "the jet's share over `tyre_ua` at 1 g/s; Nu goes with Re^(1/2)"
    )
    tyre_ua: float = par(1.5, "W/K", OURS + " (gas to casing)")
    room_ua: float = par(2.5, "W/K", OURS + " (casing to room)")
    casing_jk: float = par(500.0, "J/K", OURS + " (0.3 kg of rubber and fabric)")
    leak_c: float = par(0.0, "dm3/(s bar)", "sound tyre")
    blow_off_pa: float = par(1e9, "Pa", "never, unless a failing rim is simulated")
    blow_c: float = par(50.0, "dm3/(s bar)", OURS + " (a bead off the rim)")
    tyre_pa: float = par(0.0, "Pa", "pressure in the tyre at the start")
    # independent cutoff
    cutoff_low_pa: float = par(nominal("cutoff_low_pa"), "Pa", BOARD)
    cutoff_high_pa: float = par(nominal("cutoff_high_pa"), "Pa", BOARD)
    cutoff_low_top_pa: float = par(nominal("cutoff_low_top_pa"), "Pa", BOARD)
    cutoff_high_top_pa: float = par(nominal("cutoff_high_top_pa"), "Pa", BOARD)
    cutoff_error_pa: float = par(0.0, "Pa", "this unit's error within the band")
    cutoff_tau_s: float = par(nominal("cutoff_tau_s"), "s", BOARD)
    # transducers
    span_pa: float = par(
        1000e3, "Pa", "reference transducer: 0.1 to 0.9 of supply over 0 to 10 bar"
    )
    seal_abs_pa: float = par(
        SEAL_PA, "Pa", "sealed reference of transducer A, one standard atmosphere"
    )
    neck_s: float = par(0.0, "s", ASSUMED + " (time constant of the plenum that A and B share)")
    a_tap_s: float = par(0.0, "s", ASSUMED + " (time constant of the tap: 1-20 ms)")
    b_tap_s: float = par(0.0, "s", ASSUMED + " (time constant of the tap: 1-20 ms)")
    a_play: float = par(0.0, "-", "play, share of span; class 0.05-0.25 %")
    b_play: float = par(0.0, "-", "play, share of span; class 0.05-0.25 %")
    a_sag: float = par(
        1.0,
        "-",
        "error on a sagging supply: 1 reads high by 1 % of full scale for each 100 mV under 4.5 V, -1 low",
    )
    b_sag: float = par(1.0, "-", "likewise")
    a_offset_pa: float = par(0.0, "Pa", CLASS)
    a_span_error: float = par(0.0, "-", CLASS)
    a_thermal_pa_k: float = par(0.0, "Pa/K", CLASS)
    a_drift_pa_s: float = par(0.0, "Pa/s", "fault only")
    a_noise_pa: float = par(150.0, "Pa", OURS)
    a_tau_s: float = par(0.005, "s", OURS + " (filter and sensor)")
    a_inl_words: float = par(
        4.0, "words", "16-bit successive-approximation converters: a few counts, from memory"
    )
    b_offset_pa: float = par(0.0, "Pa", CLASS)
    b_span_error: float = par(0.0, "-", CLASS)
    b_thermal_pa_k: float = par(0.0, "Pa/K", CLASS)
    b_drift_pa_s: float = par(0.0, "Pa/s", "fault only")
    b_tau_s: float = par(0.007, "s", OURS + " (filter and sensor)")
    b_enob: float = par(8.7, "bits", "RP2040 datasheet 4.9, seen through two technical pages")
    b_samples: int = par(4, "-", "design: oversampled 4 times")
    b_e11_lsb: float = par(
        9.0, "codes", "RP2040-E11: positions published, size read as 5 to 15 codes"
    )
    b_divider: float = par(nominal("b_divider"), "-", BOARD)
    calibrated_at_k: float = par(293.15, "K", "zero of the thermal error")
    supply_v: float = par(nominal("supply_v"), "V", BOARD)
    baro_error_pa: float = par(0.0, "Pa", "this unit's error; class +-100 Pa, from memory")
    baro_noise_pa: float = par(3.0, "Pa", OURS)
    air_error_k: float = par(0.0, "K", "this unit's error")


def tyre_ml(width_mm: float, bead_mm: float, rim_inner_mm: float) -> float:
    """Air volume in mL, chord model; ValueError unless the tyre is wider than the rim."""

    return chord_l(width_mm, bead_mm, rim_inner_mm) * 1000.0


def compressor(**over: Any) -> PlantParams:
    """Return the reference compressor: 30 L/min free air, falling with pressure, stall at 10 bar gauge."""
    return replace(PlantParams(), **over)


def line(**over: Any) -> PlantParams:
    """Return the reference workshop line: 9 bar gauge through restrictor and two valves."""
    return replace(PlantParams(is_line=True), **over)


def si(c_dm3: float) -> float:
    """dm3/(s bar) to m3/(s Pa)."""
    return c_dm3 * C_UNIT
