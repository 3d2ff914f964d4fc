"""Constants of the simulated inflator from the hardware data: `python -m hardware.plant --write` makes the plant's `board.py`.

The installed package contains no hardware data, so the plant keeps its own table; a test compares it with this module's result.
"""

import sys
from pathlib import Path

from hardware import cutoff, gate, shared
from hardware.circuit import load, ohms
from hardware.params import HIGH_BAND_TOP_PA, LOW_BAND_TOP_PA, PARAMS

PAGE = Path(__file__).parents[1] / "host" / "rimward" / "simulation" / "plant" / "board.py"
CLAMP_V = 24.0  # stand-off of the clamps D8 and D23
Ends = tuple[float, float, float]

# plant parameter -> name in params.py, factor to the plant's unit
DIRECT = {
    "fad_l_min": ("fad_l_min", 1.0),
    "coast_s": ("compressor_coast", 1e-3),
    "line_pa": ("supply_line", 1.0),
    "line_c": ("inlet_c", 1.0),
    "line_b": ("b_ratio", 1.0),
    "outlet_b": ("b_ratio", 1.0),
    "valve_open_s": ("line_valve_open", 1e-3),
    "valve_shut_s": ("line_valve_shut", 1e-3),
    "valve_dead_open_s": ("line_valve_dead_open", 1e-3),
    "valve_dead_shut_s": ("line_valve_dead_shut", 1e-3),
    "vent_c": ("vent_c", 1.0),
    "relief_c": ("relief_c", 1.0),
    "relief_low_pa": ("relief_low", 1.0),
    "relief_high_pa": ("relief_high", 1.0),
    "manifold_ml": ("manifold_ml", 1.0),
    "hose_c": ("hose_c", 1.0),
    "chuck_c": ("chuck_c", 1.0),
    "core_c": ("core_c", 1.0),
    "spin_up_s": ("motor_spin_up", 1.0),
    "cutoff_tau_s": ("cutoff_filter", 1e-3),
    "supply_v": ("v5_sens", 1.0),
}


def coil_decay_ms() -> Ends:
    """Return (least, nominal, most) time in ms for which a line valve's coil holds after its switch opens, against its clamp."""
    p = PARAMS
    volts, release, ohm, henry = p["v12"], p["line_release"], p["line_coil"], p["line_henry"]
    least = gate.clamp_decay_ms(volts.low, release.high, ohm.high, henry.low, CLAMP_V)
    nominal = gate.clamp_decay_ms(volts.nom, release.nom, ohm.nom, henry.nom, CLAMP_V - volts.nom)
    return least, nominal, max(shared.line_valves_ms())


def relay_off_ms() -> Ends:
    """Return (least, nominal, most) time in ms from coil off to contact open."""
    p = PARAMS
    clamp = 33.7
    nominal = (
        gate.clamp_decay_ms(
            p["v12"].nom, p["relay_drop"].nom, p["relay_coil"].nom, p["relay_inductance"].nom, clamp
        )
        + p["relay_release"].nom
    )
    least, most = gate.relay_ms(clamp)
    return least, nominal, most


def divider() -> float:
    """Share of transducer B's signal that reaches the processor's converter."""
    parts = load()
    top, bottom = ohms(parts["R56"].value), ohms(parts["R57"].value)
    return bottom / (top + bottom)


def constants() -> dict[str, Ends]:
    """Plant parameter -> (lowest, nominal, highest) in the plant's unit."""
    found = {
        name: (row.low * f, row.nom * f, row.high * f)
        for name, (row, f) in ((name, (PARAMS[key], f)) for name, (key, f) in DIRECT.items())
    }
    report = gate.report()
    found["gate_drop_s"] = (
        report["gate_min_ms"] / 1e3,
        report["gate_nominal_ms"] / 1e3,
        report["gate_max_ms"] / 1e3,
    )
    for name, ends in (("relay_off_s", relay_off_ms()), ("coil_decay_s", coil_decay_ms())):
        found[name] = (ends[0] / 1e3, ends[1] / 1e3, ends[2] / 1e3)
    found["cutoff_low_pa"], found["cutoff_high_pa"] = cutoff.band(False), cutoff.band(True)
    for name, top in (
        ("cutoff_low_top_pa", LOW_BAND_TOP_PA),
        ("cutoff_high_top_pa", HIGH_BAND_TOP_PA),
    ):
        found[name] = (top, top, top)
    found["b_divider"] = (divider(),) * 3
    return found


def text() -> str:
    """Return the plant's table as Python."""
    rows = "\n".join(
        f'    "{name}": ({", ".join(f"{float(value):.6g}" for value in ends)}),'
        for name, ends in constants().items()
    )
    return (
        '"""Constants of the simulated inflator: parameter -> (lowest, nominal, highest). '
        'Made by `python -m hardware.plant --write` from hardware/."""\n\n'
        f"BOARD: dict[str, tuple[float, float, float]] = {{\n{rows}\n}}\n\n\n"
        'def nominal(name: str) -> float:\n    """Nominal value of a parameter of the table."""\n    return BOARD[name][1]\n'
    )


if __name__ == "__main__":
    if "--write" in sys.argv:
        PAGE.write_text(text())
    else:
        print(text(), end="")
