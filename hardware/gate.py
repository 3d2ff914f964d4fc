"""Pulse-train gate: hold time after the last pulse, and time until the air has stopped.

The pin toggles once a tick. Each falling edge turns Q3 on through C10, C11 for about half a millisecond, which fills C12; then C12
discharges through R3, R4 in parallel and through R5 into the base of Q1. The gate drops out when that base current no longer carries
what Q2 needs. A steady pin, high or low, tops nothing up. (A plain diode pump was tried first: with the pin stuck high its coupling
capacitor kept feeding the store and the drop-out came out six times too long, which the ngspice run showed and a formula had not.)
"""

from dataclasses import dataclass, replace
from itertools import product
from math import log

from hardware.circuit import Part, load, ohms
from hardware.params import PARAMS

NAMES = ("v3v3", "npn_saturation", "cap_film", "res_1pct", "cap_pump", "npn_vbe", "npn_gain")


@dataclass(frozen=True)
class Corner:
    """One combination of tolerances: supply V, saturation V, relative errors of parts, base voltage V, gain."""

    v3v3: float
    saturation: float
    film: float
    res: float
    pump: float
    vbe: float
    gain: float


def nominal() -> Corner:
    """Nominal values of all parameters."""
    return Corner(*(PARAMS[n].nom for n in NAMES))


def corners() -> list[Corner]:
    """Return all combinations of the worst ends."""
    return [Corner(*ends) for ends in product(*((PARAMS[n].low, PARAMS[n].high) for n in NAMES))]


def bleed_ohm(parts: dict[str, Part]) -> float:
    """Resistance of R3 and R4 in parallel, ohm."""
    return 1 / (1 / ohms(parts["R3"].value) + 1 / ohms(parts["R4"].value))


def off_current(parts: dict[str, Part], gain: float) -> float:
    """Collector current of Q1 in A at which M1 loses its gate voltage: R8's share plus Q2's base current for 4 V on R10, R11."""
    r8, r10, r11 = (ohms(parts[r].value) for r in ("R8", "R10", "R11"))
    return 0.65 / r8 + PARAMS["mos_threshold"].high * (1 / r10 + 1 / r11) / gain


def topping_ms(parts: dict[str, Part], c: Corner) -> float:
    """Time in ms for which Q3 stays on after a falling edge: until its base current is down to what R26 takes and the load needs."""
    coupling = ohms(parts["C10"].value) / 2 * (1 + c.pump)
    r1, r26 = ohms(parts["R1"].value), ohms(parts["R26"].value)
    load_a = c.v3v3 / bleed_ohm(parts)
    start = (c.v3v3 - c.vbe) / r1
    return r1 * (1 + c.res) * coupling * log(start / (c.vbe / r26 + load_a / c.gain)) * 1000


def fill_ms(parts: dict[str, Part], c: Corner) -> float:
    """Time in ms to fill C12 to 99 % through R27."""
    return (
        4.6
        * ohms(parts["R27"].value)
        * (1 + c.res)
        * ohms(parts["C12"].value)
        * (1 + c.film)
        * 1000
    )


def drop_out_ms(parts: dict[str, Part], c: Corner) -> float:
    """Time in ms from the last falling edge until M1 loses its gate."""
    bleed = bleed_ohm(parts) * (1 + c.res)
    base = ohms(parts["R5"].value) * (1 + c.res)
    tau_ms = ohms(parts["C12"].value) * (1 + c.film) * bleed * base / (bleed + base) * 1000
    rest = c.vbe * bleed / (bleed + base)
    end = c.vbe + base * (c.vbe / ohms(parts["R6"].value) + off_current(parts, c.gain) / c.gain)
    return topping_ms(parts, c) + tau_ms * log((c.v3v3 - c.saturation - rest) / (end - rest))


def fall_ms(parts: dict[str, Part]) -> float:
    """Longest time in ms to discharge M1's gate through R10 and R11 after Q2 is off (12 V down to 1 V, all charge at the lowest
    current).
    """
    r = 1 / (1 / ohms(parts["R10"].value) + 1 / ohms(parts["R11"].value))
    return PARAMS["mos_charge"].high / (PARAMS["mos_threshold"].low / r) * 1000


def clamp_decay_ms(
    volts: float, release_volts: float, ohm: float, henry: float, clamp: float
) -> float:
    """Time in ms for the coil current to fall to the release current against a clamp voltage (a plain diode: 0.7 V)."""
    return henry / ohm * log((volts + clamp) / (release_volts + clamp)) * 1000


def relay_ms(clamp: float) -> tuple[float, float]:
    """(least, most) time in ms from coil off to contact open: current decay against the clamp plus the release time."""
    p = PARAMS
    slow = clamp_decay_ms(
        p["v12"].high, p["relay_drop"].low, p["relay_coil"].low, p["relay_inductance"].high, clamp
    )
    fast = clamp_decay_ms(
        p["v12"].low, p["relay_drop"].high, p["relay_coil"].high, p["relay_inductance"].low, clamp
    )
    return fast + p["relay_release"].low, slow + p["relay_release"].high


def report() -> dict[str, float]:
    """All figures of the gate and relay channel, in ms."""
    parts = load()
    times = [drop_out_ms(parts, c) for c in corners()]
    fast, slow = relay_ms(33.7)
    most = max(times) + fall_ms(parts)
    return {
        "gate_min_ms": min(times),
        "gate_nominal_ms": drop_out_ms(parts, nominal()),
        "gate_max_ms": most,
        "relay_min_ms": fast,
        "relay_max_ms": slow,
        "relay_with_plain_diode_max_ms": relay_ms(0.7)[1],
        "sum_max_ms": most + slow,
        "with_coast_max_ms": most + slow + PARAMS["compressor_coast"].high,
        "one_bleed_open_ms": drop_out_ms(without(parts, "R4"), nominal()),
    }


def without(parts: dict[str, Part], ref: str) -> dict[str, Part]:
    """Return the circuit with one resistor open (ten gigaohm)."""
    return {**parts, ref: replace(parts[ref], value="10000M")}
