"""Fit of gain, offset and guard band of both transducers from calibration points. Pressures in Pa gauge.

Sequence after EURAMET cg-17's basic procedure: zero, preloads, at least six pressures up and down, zero. The criteria of a poor fit are our
choice, stated in LIMITS. The largest accepted error of a transducer is its class: beyond that the transducer or the reference is wrong.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.limits.uncertainty.gum import Line, fit_line
from rimward.limits.uncertainty.inflator import Calibration, Converter, Inflator, guard_band

POINTS_MIN = 6
READINGS = 50  # of the 100 of a point, counted as independent: the safe side
ZERO_PA = 10_000  # a point closer to ambient pressure than this is a zero point
# B: sums of 12-bit codes behind a divider of 0.6. RP2040-E11: flat for 5 to 15 codes at four codes, so wrong by up to half of that, in the
# signal and in the supply by which it is divided (at most 0.9 of it).
EDGE_CODES = 15 / 2
CODE = 3.3 / (0.6 * 5.0)  # a code of a converter whose full scale is the sensor supply
CONVERTERS = {
    "a": Converter(bits=16, integral_lsb=4.0),
    "b": Converter(bits=12, integral_lsb=2.0, edge_step_lsb=EDGE_CODES * CODE * (1 + 0.9)),
}

# refused beyond these: values that a sound transducer of its class cannot have
LIMITS = {"residual": 3_000.0, "hysteresis": 5_000.0, "gain": 0.02, "spread": 2_000.0}


@dataclass(frozen=True)
class Scale:
    """Transducers of one kind of inflator. Pa gauge; `end_pa`: its highest ceiling; `reach_pa`: least pressure of the highest point."""

    full_scale_pa: int
    class_band: float  # share of full scale: possible error of an uncalibrated transducer
    end_pa: int
    reach_pa: int

    @property
    def class_pa(self) -> float:
        """Class bound, Pa."""
        return self.full_scale_pa * self.class_band


FULL_SCALE_PA, CLASS_BAND = 1_000_000, 0.01
ORDINARY = Scale(
    FULL_SCALE_PA, CLASS_BAND, codes.RIG_HIGH_CEILING_PA, 450_000
)  # near the straight-side limit; for pressures beyond see `_beyond`
BENCH = Scale(1_600_000, CLASS_BAND, 1_000_000, 900_000)


@dataclass(frozen=True)
class Point:
    """One point: reading of the reference, mean readings of both transducers, and their spread."""

    rising: bool
    reference_pa: float
    a_pa: float
    b_pa: float
    spread_pa: float
    ambient_pa: int
    air_ck: int

    @property
    def zero(self) -> bool:
        """True if the manifold was open to the air."""
        return abs(self.reference_pa) < ZERO_PA


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
    """Both transducers and the guard band of this inflator: the wider of the two, never below the reference's U plus resolution."""

    channels: tuple[Channel, Channel]
    guard_pa: int
    points: tuple[Point, ...]

    @property
    def highest_pa(self) -> float:
        """Highest pressure of the reference."""
        return max(p.reference_pa for p in self.points)

    @property
    def expanded_pa(self) -> float:
        """U (95 %) of a corrected reading: the larger of the two transducers'."""
        return max(c.expanded_pa for c in self.channels)


Factors = dict[
    str, tuple[float, float]
]  # transducer -> gain and offset in force, beyond those of its type
FACTORY: Factors = {"a": (1.0, 0.0), "b": (1.0, 0.0)}


def fit_points(
    points: Sequence[Point],
    gauge_expanded_pa: float,
    gauge_k: float,
    resolution_pa: float,
    scale: Scale = ORDINARY,
    in_force: Factors = FACTORY,
) -> Calibrated:
    """Fit both transducers. Refusal for too few points, a short span, no zero, or a fit that a sound transducer cannot give."""
    _check_points(points, gauge_expanded_pa + resolution_pa, scale)
    lines = {
        name: fit_line([getattr(p, f"{name}_pa") for p in points], [p.reference_pa for p in points])
        for name in ("a", "b")
    }
    found = {name: (_value(line.slope), _value(line.intercept)) for name, line in lines.items()}
    _check_shift(points, found, scale, in_force)
    channels = tuple(
        _channel(name, lines[name], points, (gauge_expanded_pa, gauge_k, resolution_pa), scale)
        for name in ("a", "b")
    )
    least = math.ceil(gauge_expanded_pa + resolution_pa)
    return Calibrated(
        (channels[0], channels[1]), max(least, *(c.guard_pa for c in channels)), tuple(points)
    )


def _check_points(points: Sequence[Point], zero_allowed_pa: float, scale: Scale) -> None:
    """Refuse points that cannot support a calibration."""
    up = [p for p in points if p.rising and not p.zero]
    down = [p for p in points if not p.rising and not p.zero]
    if len(up) < POINTS_MIN or len(down) < POINTS_MIN:
        raise Refusal(
            f"{len(up)} points up and {len(down)} down; at least {POINTS_MIN} each way are needed.",
            "Take more points.",
        )
    zeros = [p for p in points if p.zero]
    if len(zeros) < 2:
        raise Refusal(
            "There is no zero point before and after the pressures.",
            "Open the manifold to the air and read the reference there, first and last.",
        )
    off = max((abs(p.reference_pa) for p in zeros), default=0.0)
    if off > zero_allowed_pa:
        raise Refusal(
            f"The reference shows {off:.0f} Pa at open air, more than its U and resolution ({zero_allowed_pa:.0f} Pa).",
            "Set its zero, or have it calibrated, and start again.",
        )
    highest = max(p.reference_pa for p in points)
    if highest < scale.reach_pa:
        raise Refusal(
            f"The highest point is {highest / 1e5:.2f} bar.",
            f"Go up to at least {scale.reach_pa / 1e5:.1f} bar.",
        )
    spread = max(p.spread_pa for p in points)
    if spread > LIMITS["spread"]:
        raise Refusal(
            f"Readings at a point spread by {spread:.0f} Pa.",
            "Let the pressure settle before each reading; look for a leak.",
        )


def compose(
    name: str, found: tuple[float, float], in_force: tuple[float, float], ambient_pa: float
) -> tuple[float, float]:
    """Gain and offset that the inflator is to apply in place of those in force, so that its readings take the correction found.

    A is sealed: the inflator takes the barometer off after the gain.
    """
    gain, offset = found
    whole = gain * in_force[1] + offset
    return gain * in_force[0], whole - (gain - 1.0) * ambient_pa if name == "a" else whole


def _check_shift(points: Sequence[Point], found: Factors, scale: Scale, in_force: Factors) -> None:
    """Refuse a transducer with an error above its class, as found or in sum since new; if both agree, name the reference."""
    ambient = points[0].ambient_pa
    shifts: dict[str, list[float]] = {}
    for name, (gain, offset) in found.items():
        whole_gain, whole_offset = compose(name, found[name], in_force[name], ambient)
        under = ambient if name == "a" else 0.0
        shifts[name] = []
        for pa in (0.0, max(p.reference_pa for p in points)):
            shifts[name] += [
                (gain - 1.0) * pa + offset,
                (whole_gain - 1.0) * (pa + under) + whole_offset,
            ]
    together = [min(abs(a), abs(b)) for a, b in zip(shifts["a"], shifts["b"]) if a * b > 0]
    if max(together, default=0.0) > scale.class_pa:
        raise Refusal(
            f"Both transducers differ from the reference the same way by {max(together):.0f} Pa; the class of either allows {scale.class_pa:.0f} Pa.",
            "Two different transducers rarely drift together: check the reference and its zero, then the barometer.",
        )
    for name, sizes in shifts.items():
        worst = max(abs(size) for size in sizes)
        if worst > scale.class_pa:
            raise Refusal(
                f"Transducer {name.upper()} does not calibrate: offset {worst:.0f} Pa, its class allows {scale.class_pa:.0f} Pa.",
                "Check for sealant in its tap, a leak or a wrong reference; if the error remains, replace the transducer.",
            )


def _beyond(line: Line, points: Sequence[Point], scale: Scale) -> float:
    """Half width, Pa, of the uncertainty above the highest point: the fit's slope (k = 2), and the class's share of the unvisited range."""
    missing = max(0.0, scale.end_pa - max(p.reference_pa for p in points))
    slope_u = float(getattr(line.slope, "std_dev", 0.0))
    return missing * (2 * slope_u + scale.class_pa / scale.end_pa)


def _channel(
    name: str, line: Line, points: Sequence[Point], gauge: tuple[float, float, float], scale: Scale
) -> Channel:
    gauge_expanded_pa, gauge_k, resolution_pa = gauge
    gain, offset = _value(line.slope), _value(line.intercept)
    residuals = [p.reference_pa - (gain * getattr(p, f"{name}_pa") + offset) for p in points]
    hysteresis = _hysteresis(points, residuals)
    worst = max(abs(r) for r in residuals)
    for what, size in (("residual", worst), ("hysteresis", hysteresis), ("gain", abs(gain - 1.0))):
        if size > LIMITS[what]:
            unit = "" if what == "gain" else " Pa"
            raise Refusal(
                f"Transducer {name.upper()} does not calibrate: {what} {size:.4g}{unit}, at most {LIMITS[what]:g}{unit}.",
                "Check for sealant in its tap, a leak or a wrong reference; if the error remains, replace the transducer.",
            )
    repeatability = max(p.spread_pa for p in points) / math.sqrt(READINGS)
    found = Calibration(
        gauge_expanded_pa=math.hypot(gauge_expanded_pa, resolution_pa / math.sqrt(3) * gauge_k),
        gauge_k=gauge_k,
        fit_residual_pa=line.residual,
        fit_points=len(points),
        hysteresis_pa=hysteresis / 2,
        repeatability_pa=repeatability,
        repeats=READINGS,
        drift_pa_per_month=100.0,
        months=12.0,
        thermal_pa_per_k=50.0,
        kelvin_outside=15.0,
        beyond_pa=_beyond(line, points, scale),
    )
    chain = Inflator(
        scale.full_scale_pa,
        scale.class_band,
        converter=CONVERTERS[name],
        barometer_pa=100.0,
        calibration=found,
    )
    band = guard_band(chain)
    return Channel(
        name,
        gain,
        offset,
        worst,
        hysteresis,
        repeatability,
        band.guard_pa,
        band.combined.expanded,
        band.terms,
    )


def _value(number: object) -> float:
    return float(getattr(number, "nominal_value", number))  # type: ignore[arg-type]


def _hysteresis(points: Sequence[Point], residuals: Sequence[float]) -> float:
    """Largest gap between rising and falling residual at neighbouring pressures."""
    up = sorted((p.reference_pa, r) for p, r in zip(points, residuals) if p.rising)
    gaps = [
        abs(r - min(up, key=lambda u: abs(u[0] - p.reference_pa))[1])
        for p, r in zip(points, residuals)
        if not p.rising
    ]
    return max(gaps)


@dataclass(frozen=True)
class Left:
    """As-left result: points, largest deviation of either transducer, and largest conforming deviation (Pa)."""

    points: tuple[Point, ...]
    worst_pa: float
    allowed_pa: float

    @property
    def conforms(self) -> bool:
        """Guarded acceptance (ILAC-G8, JCGM 106): |deviation| plus the comparison's own U within the guard band, and at most U."""
        return self.worst_pa <= self.allowed_pa


def assess_as_left(
    points: Sequence[Point], result: Calibrated, gauge_expanded_pa: float, resolution_pa: float
) -> Left:
    """Apply the decision rule to the as-left run. Uncertainty of the comparison: the reference's U and resolution."""
    worst = max(
        abs(getattr(p, f"{name}_pa") - p.reference_pa) for p in points for name in ("a", "b")
    )
    return Left(
        tuple(points),
        worst,
        min(result.expanded_pa, max(0.0, result.guard_pa - gauge_expanded_pa - resolution_pa)),
    )
