"""Independent cutoff: band of its trip pressure, by worst case and by Monte Carlo, and its place among the other limits.

The threshold is a fraction of the transducer's own supply, so the supply voltage cancels. Everything in Pa gauge.
"""

from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any

import numpy as np

from hardware.circuit import Part, load, ohms
from hardware.gate import fall_ms, relay_ms
from hardware.params import (
    FULL_SCALE_PA,
    HIGH_BAND_TOP_PA,
    HIGH_CEILING_PA,
    LOW_BAND_TOP_PA,
    LOW_CEILING_PA,
    PARAMS,
    fraction,
    pressure,
)

Number = Any
SUPPLY_V = 5.0


def threshold(
    top: Number, bottom: Number, feedback: Number, key: Number, out: Number, load_s: Number = 0.0
) -> Number:
    """Fraction of supply at REF. `key`: conductance of R38 in siemens (0 with its contact open), `out`: CUT_HI as a fraction of supply,
    `load_s`: other conductance from REF to ground: the processor's divider, R32 while the test button is held.
    """
    up = 1 / top + key
    return (up + out / feedback) / (up + 1 / bottom + 1 / feedback + load_s)


@cache
def monitor_s() -> float:
    """Conductance in siemens of the processor's divider at REF; its 1 % shifts the trip by less than 25 Pa."""
    return 1 / sum(ohms(load()[r].value) for r in ("R85", "R86", "R87"))


@cache
def resistors() -> dict[str, float]:
    """Return the four resistors of the threshold, ohm."""
    parts = load()
    return {name: ohms(parts[name].value) for name in ("R35", "R36", "R37", "R38")}


def trip_pa(errors: dict[str, Number], high: bool, falling: bool = False) -> Number:
    """Trip pressure (or, `falling`, closing pressure) for given errors, Pa; keys as in `TERMS`."""
    r35, r36, r37, r38 = (value * (1 + errors[name]) for name, value in resistors().items())
    out = 0.0 if falling else 1 - errors["comparator_output_drop"] / SUPPLY_V
    ref = threshold(r35, r36, r37, 1 / r38 if high else 0.0, out, monitor_s())
    signal = ref + errors["comparator_offset"] / SUPPLY_V
    return pressure(signal) - (errors["c_error_fs"] + errors["c_drift_fs"]) * FULL_SCALE_PA


TERMS = (
    "c_error_fs",
    "c_drift_fs",
    "comparator_offset",
    "comparator_output_drop",
    "R35",
    "R36",
    "R37",
    "R38",
)


def ends(name: str, error_fs: float | None = None) -> tuple[float, float]:
    """Worst low and high end of one term; `error_fs` replaces the transducer's error band."""
    if name == "c_error_fs" and error_fs is not None:
        return -error_fs, error_fs
    p = PARAMS["res_01pct"] if name.startswith("R") else PARAMS[name]
    return p.low, p.high


def band(high: bool, error_fs: float | None = None) -> tuple[float, float, float]:
    """Return (lowest, nominal, highest) trip pressure by worst case over all corners, Pa."""
    trips = [
        trip_pa(dict(zip(TERMS, c)), high) for c in product(*(ends(t, error_fs) for t in TERMS))
    ]
    zero = dict.fromkeys(TERMS, 0.0)
    return min(trips), trip_pa(zero, high), max(trips)


@cache
def test_band() -> tuple[float, float, float]:
    """Return (lowest, nominal, highest) trip pressure of the low range with the test button held, by worst case, Pa; R32 within its 0.1
    %.
    """
    r32, zero = ohms(load()["R32"].value), dict.fromkeys(TERMS, 0.0)
    bottom = 1 / (1 / resistors()["R36"] + 1 / r32)

    def trip(errors: dict[str, Number]) -> Number:
        r35, r37 = (resistors()[n] * (1 + errors[n]) for n in ("R35", "R37"))
        ref = threshold(
            r35,
            bottom * (1 + errors["R36"]),
            r37,
            0.0,
            1 - errors["comparator_output_drop"] / SUPPLY_V,
            monitor_s(),
        )
        return (
            pressure(ref + errors["comparator_offset"] / SUPPLY_V)
            - (errors["c_error_fs"] + errors["c_drift_fs"]) * FULL_SCALE_PA
        )

    trips = [trip(dict(zip(TERMS, c))) for c in product(*(ends(t) for t in TERMS))]
    return min(trips), trip(zero), max(trips)


def monte_carlo(high: bool, count: int = 200_000, seed: int = 6) -> dict[str, float]:
    """Trip pressures of `count` units with every term drawn uniformly between its worst ends (no credit for a normal distribution)."""
    rng = np.random.default_rng(seed)
    errors = {t: rng.uniform(*ends(t), count) for t in TERMS}
    trips = trip_pa(errors, high)
    low, mid, top = np.quantile(trips, (0.001, 0.5, 0.999))
    return {
        "count": count,
        "min_pa": float(trips.min()),
        "q001_pa": float(low),
        "median_pa": float(mid),
        "q999_pa": float(top),
        "max_pa": float(trips.max()),
    }


def latch(parts: dict[str, Part]) -> dict[str, float]:
    """Return for the latch at its worst: overdrive of Q12, the threshold it leaves, and the margin of an empty manifold's signal above
    it, in V.
    """
    p, v = PARAMS, PARAMS["v5_sens"]
    feed = (ohms(parts["R46"].value) + ohms(parts["R97"].value)) * 1.012
    base_a = (v.low - p["npn_vbe"].high) / feed - p["npn_vbe"].high / ohms(parts["R47"].value)
    sink_a = v.high * (1 / ohms(parts["R35"].value) + 1 / ohms(parts["R38"].value))
    signal_v = (fraction(0.0) - 0.8 * (p["c_error_fs"].high + p["c_drift_fs"].high)) * v.low + p[
        "comparator_offset"
    ].low
    return {
        "drive": base_a * p["npn_gain"].low / sink_a,
        "threshold_v": p["npn_saturation"].high,
        "empty_signal_v": signal_v,
    }


def sealed_shift_pa(altitude_m: float) -> float:
    """Shift of the trip at an altitude if the sensing element were SEALED, Pa: reason for venting C and its housing (ISO 2533
    troposphere).
    """
    return 101_325.0 * (1 - (1 - 2.25577e-5 * altitude_m) ** 5.25588)


def sees_ms() -> tuple[float, float]:
    """Return (least, most) time in ms from the pressure passing the trip until the cutoff has opened Q5: element, filter, gate of Q5."""
    p = PARAMS
    return tuple(
        sum(getattr(p[n], end) for n in ("c_response", "cutoff_filter", "cutoff_mos_delay"))
        for end in ("low", "high")
    )  # type: ignore[return-value]


def response_ms(element_stuck: bool = False) -> tuple[float, float]:
    """Return (least, most) time in ms from the pressure passing the trip until the source is cut. A trip takes the supply of M1's gate and
    of the
    relay's coil: the faster one counts, or the relay with M1 stuck on (a second fault).
    """
    low, high = sees_ms()
    fast, slow = relay_ms(33.7)
    return (low + fast, high + slow) if element_stuck else (low, high + fall_ms(load()))


GAMMA = 1.4
HOT_SUPPLY_K, REFERENCE_K = 323.15, 293.15


def rise_pa_per_s(line: bool, adiabatic: bool = True) -> float:
    """Fastest rise of the smallest tyre, Pa/s: full free-air delivery, or choked flow through the inlet at the highest main; adiabatic with
    air of 50 degC (rise = gamma R T dm/dt / V, choked mass flow proportional to 1/sqrt(T)).
    """
    volume = PARAMS["tyre_ml"].low * 1e-6
    factor = GAMMA if adiabatic else 1.0
    if line:
        flow = PARAMS["inlet_c"].high * 1e-8 * (PARAMS["supply_line"].high + 101_325)
        return (
            factor
            * flow
            * 1e5
            / volume
            * ((HOT_SUPPLY_K / REFERENCE_K) ** 0.5 if adiabatic else 1.0)
        )
    return factor * PARAMS["fad_l_min"].high / 60_000 * 101_325 / volume


def overshoot_pa(line: bool, element_stuck: bool = False) -> float:
    """Largest overshoot of a tyre past the trip until the air stops, without the vent, adiabatic, with every lag, Pa."""
    tail = PARAMS["line_valve_shut"].high if line else PARAMS["compressor_coast"].high
    return rise_pa_per_s(line) * (response_ms(element_stuck)[1] + tail) / 1000


@dataclass(frozen=True)
class Rung:
    """One limit in the order in which they must act; `low_pa` and `high_pa` are its worst ends."""

    name: str
    low_pa: float
    high_pa: float


def ladder(high: bool) -> list[Rung]:
    """Limits of a range from the lowest to the highest."""
    ceiling = HIGH_CEILING_PA if high else LOW_CEILING_PA
    top = HIGH_BAND_TOP_PA if high else LOW_BAND_TOP_PA
    low, _, most = band(high)
    relief = PARAMS["relief_high" if high else "relief_low"]
    return [
        Rung("firmware ceiling (stop reading lies below it by the guard band)", ceiling, ceiling),
        Rung("independent cutoff, whole band", low, most),
        Rung("110 % of the ceiling", top, top),
        Rung("relief valve begins to open", relief.low, relief.high),
        Rung(
            "relief valve fully open",
            relief.low * (1 + PARAMS["relief_over"].low),
            relief.high * (1 + PARAMS["relief_over"].high),
        ),
    ]


def margins(high: bool) -> list[dict[str, Any]]:
    """Margin in Pa between each limit's upper end and the next one's lower end (except relief opening to fully open: same valve)."""
    rungs = ladder(high)[:4]
    return [
        {"below": a.name, "above": b.name, "margin_pa": b.low_pa - a.high_pa}
        for a, b in zip(rungs, rungs[1:])
    ]


def overshoots(high: bool) -> list[dict[str, Any]]:
    """Worst tyre pressure after a cutoff trip, per source, compared with 110 %: both elements working, and (no margin is promised) one
    stuck on.
    """
    top = HIGH_BAND_TOP_PA if high else LOW_BAND_TOP_PA
    peak = band(high)[2]
    return [
        {
            "source": name,
            "tyre_pa": peak + overshoot_pa(line),
            "limit_pa": top,
            "margin_pa": top - peak - overshoot_pa(line),
            "one_element_stuck_pa": peak + overshoot_pa(line, True),
        }
        for name, line in (("compressor", False), ("workshop line", True))
    ]


@dataclass(frozen=True)
class Choice:
    """A kind of sensing element for the low range, with its trip band."""

    name: str
    low_pa: float
    high_pa: float
    source: str

    @property
    def meets(self) -> bool:
        """True if its trip band lies between ceiling and band top of the low range."""
        return self.low_pa > LOW_CEILING_PA and self.high_pa <= LOW_BAND_TOP_PA


def choices() -> list[Choice]:
    """Trip bands of commonly available sensing elements in the low range at the nominal of this circuit."""
    nominal = band(False)[1]
    wide = band(False, 0.02)
    used = band(False)
    own = PARAMS["c_drift_fs"].high * FULL_SCALE_PA + 2 * 2_500.0
    return [
        Choice(
            "vented transducer, 1 % total error band, fixed divider (used here)",
            used[0],
            used[2],
            PARAMS["c_error_fs"].source,
        ),
        Choice(
            "vented transducer, 2 % total error band, fixed divider",
            wide[0],
            wide[2],
            "usual class figure over -20 to 85 degC, from memory",
        ),
        Choice(
            "the same, threshold trimmed at check-out, used at 20 +-15 degC, 0.15 %/10 K",
            nominal - own - 4_500,
            nominal + own + 4_500,
            "0.15 % of full scale per 10 K seen on an industrial transmitter's sheet, zero and span; reference gauge U 2.5 kPa assumed",
        ),
        Choice(
            "mechanical pressure switch, factory set",
            nominal - 55_158,
            nominal + 55_158,
            "+-8 psi named by a supplier of such switches, seen",
        ),
        Choice(
            "mechanical pressure switch, repeats to 2 % of a 10 bar range, set at check-out",
            nominal - own - 20_000,
            nominal + own + 20_000,
            "common practice; drift and reference as above",
        ),
    ]
