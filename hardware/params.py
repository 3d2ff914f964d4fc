"""Parameters of the hardware calculations that are not in the circuit: worst low, nominal, worst high, unit, source.

"our assumption" marks figures for which no sheet was seen; "from memory" figures seen once but not at hand. Both are checked on the
check-out sheet of each inflator before use.
"""

from dataclasses import dataclass

OURS = "our assumption"
MEM = "from memory; look at the maker's sheet before ordering"


@dataclass(frozen=True)
class Param:
    """One parameter with its worst-case ends."""

    low: float
    nom: float
    high: float
    unit: str
    source: str


PARAMS = {
    # supplies and surroundings
    "v12": Param(10.5, 12.0, 14.5, "V", OURS + ": lead-acid or lithium battery, or adapter"),
    "v3v3": Param(3.2, 3.3, 3.4, "V", MEM + " (regulator on the Pico, 3 %)"),
    "v5_sens": Param(4.90, 5.0, 5.10, "V", "regulator of 2 % over temperature, " + MEM),
    "temperature": Param(0.0, 20.0, 50.0, "degC", OURS + ": working range of the inflator"),
    "altitude": Param(0.0, 0.0, 3000.0, "m", OURS),
    # passive parts
    "res_1pct": Param(-0.012, 0.0, 0.012, "-", "1 % and 100 ppm/K over 25 K (rounded up)"),
    "res_01pct": Param(-0.00175, 0.0, 0.00175, "-", "0.1 % and 25 ppm/K over 30 K"),
    "cap_film": Param(-0.06, 0.0, 0.06, "-", "5 % and 1 % for temperature, " + MEM),
    "cap_pump": Param(
        -0.30, 0.0, 0.25, "-", "X7R 10 %, 15 % over temperature, 50 V part at 3 V bias, " + MEM
    ),
    "npn_saturation": Param(0.01, 0.05, 0.15, "V", MEM + " (small-signal type, 0.3 mA)"),
    # gate stage
    "npn_vbe": Param(
        0.50, 0.58, 0.68, "V", MEM + " (small-signal type at 40 uA, 50 to 0 degC; -2 mV/K)"
    ),
    "npn_gain": Param(
        100.0,
        290.0,
        475.0,
        "-",
        MEM + " (groups B: 200 to 450 and 475 at 2 mA; half of it at 40 uA and 0 degC)",
    ),
    "mos_threshold": Param(1.0, 2.0, 4.0, "V", MEM + " (covers logic-level and standard types)"),
    "mos_charge": Param(20e-9, 50e-9, 120e-9, "C", MEM),
    # relay
    "relay_release": Param(
        1.0,
        3.0,
        10.0,
        "ms",
        "two makers' 12 V 30 A automotive sheets, seen: 2 ms typical; 10 ms maximum, without diode",
    ),
    "relay_coil": Param(180.0, 240.0, 300.0, "ohm", "the same two sheets: 180 to 300 ohm"),
    "relay_drop": Param(
        0.5, 2.0, 6.0, "V", "the same sheets: releases at 0.5 V at the latest; upper end " + OURS
    ),
    "relay_inductance": Param(0.2, 0.4, 0.8, "H", OURS),
    "compressor_coast": Param(30.0, 45.0, 60.0, "ms", OURS),
    "line_valve_shut": Param(10.0, 15.0, 20.0, "ms", "small direct solenoid valves, " + MEM),
    "c_output": Param(0.0, 50.0, 100.0, "ohm", "output of a ratiometric transducer, " + MEM),
    "copper_ohm": Param(
        0.0005,
        0.001,
        0.002,
        "ohm",
        OURS + ": a length of board copper or wire that two currents might share",
    ),
    "line_coil": Param(24.0, 27.0, 32.0, "ohm", OURS + ": 12 V line valve of 5 to 6 W"),
    "line_henry": Param(0.02, 0.05, 0.10, "H", OURS),
    "line_release": Param(
        1.5, 3.0, 6.0, "V", OURS + ": coil voltage at which a line valve shuts, of 12 V"
    ),
    "line_valve_open": Param(
        10.0, 12.0, 20.0, "ms", "travel; small direct solenoid valves, " + MEM
    ),
    "line_valve_dead_open": Param(
        5.0,
        15.0,
        25.0,
        "ms",
        "time before the armature moves: class of such valves' sheets, " + MEM,
    ),
    "line_valve_dead_shut": Param(
        5.0, 15.0, 25.0, "ms", "the same, from a coil without current; " + MEM
    ),
    # motor, wiring, heat
    "motor_run": Param(5.0, 10.0, 15.0, "A", OURS + ": 12 V compressor of 150 to 180 W"),
    "motor_ohm": Param(
        0.25,
        0.30,
        0.40,
        "ohm",
        OURS + ": winding and brushes of that class; decides the stall current",
    ),
    "motor_henry": Param(1e-4, 2e-4, 5e-4, "H", OURS),
    "motor_spin_up": Param(0.05, 0.08, 0.10, "s", OURS + ": time constant of the starting current"),
    "wiring_ohm": Param(0.03, 0.05, 0.10, "ohm", OURS + ": battery, leads and terminals"),
    "wire_area": Param(
        2.5, 2.5, 4.0, "mm2", OURS + ": leads of J1 and J2; 115 A s^0.5/mm2 for copper, from memory"
    ),
    "fuse_opens": Param(
        0.15, 1.0, 5.0, "s", "blade fuses at twice their rating, ISO 8820-3, from memory"
    ),
    "duty": Param(60.0, 300.0, 300.0, "s", "longest time on that firmware allows the compressor"),
    "heat_sink": Param(10.0, 12.0, 15.0, "K/W", OURS + ": HS1, clip-on or extruded"),
    "vent_coil": Param(24.0, 27.0, 32.0, "ohm", OURS + ": 12 V valve of 5 to 6 W, 100 % duty"),
    "vent_henry": Param(0.02, 0.05, 0.10, "H", OURS),
    "sensor_current": Param(
        0.008,
        0.016,
        0.024,
        "A",
        OURS + ": two transducers of 10 mA at most, reference and dividers",
    ),
    "cutoff_current": Param(
        0.006, 0.012, 0.016, "A", OURS + ": one transducer, comparator, dividers, bases"
    ),
    # independent cutoff
    "c_error_fs": Param(
        -0.010,
        0.0,
        0.010,
        "-",
        "usual class figure: total error band 1 % of 10 bar over 0 to 50 degC, " + MEM,
    ),
    "c_drift_fs": Param(
        -0.0025, 0.0, 0.0025, "-", OURS + ": 0.25 % of full scale between two yearly check-outs"
    ),
    "comparator_offset": Param(-0.010, 0.0, 0.010, "V", MEM + " (worst of the sources listed)"),
    "comparator_output_drop": Param(0.0, 0.02, 0.10, "V", MEM + " (push-pull, 0.3 mA)"),
    "cutoff_filter": Param(0.8, 1.0, 1.2, "ms", "R34 and C20"),
    "cutoff_mos_delay": Param(
        0.0, 0.02, 0.1, "ms", "R12 and R28 with the gate of Q5, 1 nF at most, calculated"
    ),
    "c_response": Param(0.5, 1.0, 2.0, "ms", "usual class figure of such a transducer, " + MEM),
    # air
    "supply_line": Param(
        0.0,
        900e3,
        1000e3,
        "Pa gauge",
        OURS + ": highest pressure of a workshop main whose pressure switch is late",
    ),
    "supply_compressor": Param(
        0.0, 900e3, 1050e3, "Pa gauge", OURS + ": stall pressure of the reference compressor"
    ),
    "inlet_c": Param(
        0.16,
        0.20,
        0.22,
        "dm3/(s bar)",
        OURS + ": restrictor 0.20, +10 % -20 %, with valves and filter behind it",
    ),
    "vent_c": Param(
        0.68,
        0.80,
        0.92,
        "dm3/(s bar)",
        OURS + ": bore about 2.5 mm (C about 0.128 d2, " + MEM + ") with its silencer, 15 %",
    ),
    "relief_c": Param(
        1.2,
        1.5,
        2.0,
        "dm3/(s bar)",
        OURS + ": flow diameter 4 mm, coefficient 0.6 to 0.7, certified 0.9",
    ),
    "b_ratio": Param(
        0.2, 0.3, 0.5, "-", "measured b of valves 0.2 to 0.5; 0.528 is the ideal nozzle only"
    ),
    "relief_low": Param(
        572.3e3,
        590e3,
        607.7e3,
        "Pa gauge",
        "set 5.9 bar; ISO 4126-1, seen: 3 % of set or 0.1 bar, the greater",
    ),
    "relief_high": Param(
        1018.5e3,
        1050e3,
        1081.5e3,
        "Pa gauge",
        "set 10.5 bar; ISO 4126-1, seen: 3 % of set or 0.1 bar, the greater",
    ),
    "relief_over": Param(
        0.0, 0.05, 0.10, "-", "ISO 4126-1, seen: full lift at no more than 10 % over"
    ),
    "relief_blowdown": Param(
        0.02, 0.10, 0.15, "-", "ISO 4126-1, seen: closes again no lower than 15 % under"
    ),
    "fad_l_min": Param(
        10.0,
        30.0,
        30.0,
        "L/min",
        "reference compressor, free air at 0 bar; taken as not falling with pressure here (unsafe side)",
    ),
    "tyre_ml": Param(
        600.0, 1150.0, 6000.0, "mL", "20-622 full torus 634 mL (by definition), rounded down"
    ),
    "hose_c": Param(1.2, 1.5, 1.8, "dm3/(s bar)", OURS + ": 1.2 m of 6 mm hose, 20 %"),
    "chuck_c": Param(0.64, 0.80, 0.96, "dm3/(s bar)", OURS + ", 20 %"),
    "core_c": Param(
        0.10, 0.25, 0.50, "dm3/(s bar)", "estimate from geometry; nothing published found"
    ),
    "manifold_ml": Param(40.0, 60.0, 90.0, "mL", OURS + ": block, plenum and 1.2 m of 6 mm hose"),
}

FULL_SCALE_PA = 1_000_000
LOW_CEILING_PA = 500_000
LOW_BAND_TOP_PA = 550_000
HIGH_CEILING_PA = 900_000
HIGH_BAND_TOP_PA = 990_000
TICK_MS = 2
GATE_LIMIT_MS = 20.0


def fraction(pa: float) -> float:
    """Transducer output as a fraction of its supply at a gauge pressure in Pa: 0.1 at 0, 0.9 at 10 bar."""
    return 0.1 + 0.8 * pa / FULL_SCALE_PA


def pressure(frac: float) -> float:
    """Gauge pressure in Pa at a fraction of supply."""
    return (frac - 0.1) / 0.8 * FULL_SCALE_PA
