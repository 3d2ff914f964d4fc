"""From calibration points to gain, offset and guard band of both transducers. Pressures in Pa gauge.

Sequence after EURAMET cg-17's basic procedure: at least six pressure points, up and down. What counts as a poor fit is
our choice, stated in LIMITS.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rimward.errors import Refusal
from rimward.uncertainty.gum import fit_line
from rimward.uncertainty.inflator import Calibration, Converter, Inflator, guard_band

FULL_SCALE_PA = 1_000_000
CLASS_BAND = 0.01  # +-1 % of full scale: the reference transducers' class
POINTS_MIN = 6
SPAN_MIN_PA = 450_000  # the highest point must come near the straight-side limit, or the fit says nothing about it
# B: sums of 12-bit codes behind a divider of 0.6. RP2040-E11: flat for 5 to 15 codes at four codes, so as much as half of that off, in the
# signal and in the supply that it is divided by (at most 0.9 of it).
EDGE_CODES = 15 / 2
CODE = 3.3 / (0.6 * 5.0)  # a code in terms of a converter that ends at the sensor's supply
CONVERTERS = {
    "a": Converter(bits=16, integral_lsb=4.0),
    "b": Converter(bits=12, integral_lsb=2.0, edge_step_lsb=EDGE_CODES * CODE * (1 + 0.9)),
}

# refused beyond these: what a sound transducer of its class cannot show
LIMITS = {
    "residual": 3_000.0,
    "hysteresis": 5_000.0,
    "offset": 25_000.0,
    "gain": 0.03,
    "spread": 2_000.0,
}


@dataclass(frozen=True)
class Point:
    """One reading: what the reference showed, what both transducers read (mean), and the spread of the readings."""

    rising: bool
    reference_pa: float
    a_pa: float
    b_pa: float
    spread_pa: float
    ambient_pa: int
    air_ck: int


@dataclass(frozen=True)
class Channel:
    """One transducer. true = `gain` x reading + `offset_pa`."""

    name: str
    gain: float
    offset_pa: float
    residual_pa: float
    hysteresis_pa: float
    repeatability_pa: float
    guard_pa: int
    expanded_pa: float
    terms: dict[str, float]


@dataclass(frozen=True)
class Calibrated:
    """Both transducers, and the guard band of this inflator: the wider of the two, never below the reference's U plus resolution."""

    channels: tuple[Channel, Channel]
    guard_pa: int
    points: tuple[Point, ...]


def fit_points(points: Sequence[Point], gauge_expanded_pa: float, gauge_k: float, resolution_pa: float) -> Calibrated:
    """Fits both transducers. Refusal for too few points, a short span, or a fit that a sound transducer cannot give."""
    up = [p for p in points if p.rising]
    down = [p for p in points if not p.rising]
    if len(up) < POINTS_MIN or len(down) < POINTS_MIN:
        raise Refusal(f"{len(up)} points up and {len(down)} down; at least {POINTS_MIN} each way are needed.", "Take more points.")
    highest = max(p.reference_pa for p in points)
    if highest < SPAN_MIN_PA:
        raise Refusal(f"The highest point is {highest / 1e5:.2f} bar.", f"Go up to at least {SPAN_MIN_PA / 1e5:.1f} bar.")
    spread = max(p.spread_pa for p in points)
    if spread > LIMITS["spread"]:
        raise Refusal(f"Readings at a point spread by {spread:.0f} Pa.", "Let the pressure settle before each reading; look for a leak.")
    channels = tuple(_channel(name, points, gauge_expanded_pa, gauge_k, resolution_pa) for name in ("a", "b"))
    least = math.ceil(gauge_expanded_pa + resolution_pa)
    return Calibrated((channels[0], channels[1]), max(least, *(c.guard_pa for c in channels)), tuple(points))


def _channel(name: str, points: Sequence[Point], gauge_expanded_pa: float, gauge_k: float, resolution_pa: float) -> Channel:
    read = [getattr(p, f"{name}_pa") for p in points]
    true = [p.reference_pa for p in points]
    line = fit_line(read, true)
    gain, offset = float(_value(line.slope)), float(_value(line.intercept))
    residuals = [t - (gain * r + offset) for r, t in zip(read, true)]
    hysteresis = _hysteresis(points, residuals)
    worst = max(abs(r) for r in residuals)
    for what, size in (("residual", worst), ("hysteresis", hysteresis), ("offset", abs(offset)), ("gain", abs(gain - 1.0))):
        if size > LIMITS[what]:
            unit = "" if what == "gain" else " Pa"
            raise Refusal(
                f"Transducer {name.upper()} does not calibrate: {what} {size:.4g}{unit}, at most {LIMITS[what]:g}{unit}.",
                "Look for sealant in its tap, a leak or a wrong reference; replace it if it stays.",
            )
    repeatability = max(p.spread_pa for p in points) / math.sqrt(50)
    found = Calibration(
        gauge_expanded_pa=math.hypot(gauge_expanded_pa, resolution_pa / math.sqrt(3) * gauge_k),
        gauge_k=gauge_k,
        fit_residual_pa=line.residual,
        fit_points=len(points),
        hysteresis_pa=hysteresis / 2,
        repeatability_pa=repeatability,
        repeats=50,
        drift_pa_per_month=100.0,
        months=12.0,
        thermal_pa_per_k=50.0,
        kelvin_outside=15.0,
    )
    band = guard_band(Inflator(FULL_SCALE_PA, CLASS_BAND, converter=CONVERTERS[name], barometer_pa=100.0, calibration=found))
    return Channel(name, gain, offset, worst, hysteresis, repeatability, band.guard_pa, band.combined.expanded, band.terms)


def _value(number: object) -> float:
    return float(getattr(number, "nominal_value", number))  # type: ignore[arg-type]


def _hysteresis(points: Sequence[Point], residuals: Sequence[float]) -> float:
    """Largest gap between rising and falling residual at neighbouring pressures."""
    up = sorted((p.reference_pa, r) for p, r in zip(points, residuals) if p.rising)
    gaps = [abs(r - min(up, key=lambda u: abs(u[0] - p.reference_pa))[1]) for p, r in zip(points, residuals) if not p.rising]
    return max(gaps)
