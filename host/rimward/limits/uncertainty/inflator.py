"""Uncertainty budget of an inflator's reading, and its guard band. Pascal throughout."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from uncertainties.core import Variable

from rimward.limits.uncertainty.decision import FalseAccept, false_accept
from rimward.limits.uncertainty.gum import (
    Combined,
    Number,
    combine,
    components,
    normal,
    one_sided,
    rectangular,
)

GUARD_RATIO = 1.0  # r in w = r U


@dataclass(frozen=True)
class Converter:
    """An analogue-to-digital converter: bits, integral error and the largest step at a code edge, in least significant bits."""

    bits: int = 14
    integral_lsb: float = 2.0
    edge_step_lsb: float = 0.0


@dataclass(frozen=True)
class Calibration:
    """Results of a calibration against a reference gauge, pascal."""

    gauge_expanded_pa: float
    gauge_k: float
    fit_residual_pa: float
    fit_points: int
    hysteresis_pa: float
    repeatability_pa: float
    repeats: int
    drift_pa_per_month: float
    months: float
    thermal_pa_per_k: float
    kelvin_outside: float = 0.0
    beyond_pa: float = 0.0  # above the highest calibration point


@dataclass(frozen=True)
class Inflator:
    """Measuring chain of an inflator. Half widths as in the parts' documents; ratiometric output is low + span x P / full scale."""

    full_scale_pa: float
    total_error_band: (
        float  # fraction of full scale, linearity, hysteresis and thermal error included
    )
    supply_ratio: float = 0.0  # fraction, of the measured supply ratio
    reference: float = 0.0  # fraction, of a converter's reference
    reference_shared: bool = True  # one converter reads signal and supply, so its reference cancels
    converter: Converter = field(default_factory=Converter)
    mounting_pa: float = 0.0
    cracking_pa: float = 0.0
    barometer_pa: float = 0.0
    calibration: Calibration | None = None
    name: str = ""
    low: float = 0.1
    span: float = 0.8

    @property
    def class_bound_pa(self) -> float:
        """Total error band of the class, pascal."""
        return self.total_error_band * self.full_scale_pa


@dataclass(frozen=True)
class GuardBand:
    """Guard band with its contributions, pascal."""

    guard_pa: int
    combined: Combined
    class_bound_pa: float
    terms: dict[str, float]
    false_accept: FalseAccept


def guard_band(inflator: Inflator, at_pa: float | None = None) -> GuardBand:
    """Compute w = max(U + mean of the one-sided terms, class bound), rounded up, so never below the class bound.

    At full scale unless a pressure is given.
    """
    error, dof = reading_error(inflator, inflator.full_scale_pa if at_pa is None else at_pa, {})
    combined = combine(error, dof)
    needed = GUARD_RATIO * combined.expanded + max(0.0, combined.value)
    guard = max(needed, inflator.class_bound_pa)
    return GuardBand(
        math.ceil(guard - 1e-6),
        combined,
        inflator.class_bound_pa,
        components(error),
        false_accept(guard - max(0.0, combined.value), combined.u, combined.dof),
    )


def reading_error(
    inflator: Inflator, at_pa: float, common: dict[str, Number]
) -> tuple[Number, dict[Variable, float]]:
    """Error of a reading as a number with uncertainty, and the degrees of freedom of its inputs.

    Inputs in `common` (filled here on first use) are the same physical quantity for every transducer that shares the dict:
    supply, reference,
    barometer, reference gauge, core. They are fully correlated.
    """
    dof: dict[Variable, float] = {}
    own = (
        _calibrated(inflator.calibration, common, dof)
        if inflator.calibration
        else _by_class(inflator, at_pa, common)
    )
    return own + _converter(inflator) + rectangular("mounting", inflator.mounting_pa) + _shared(
        common, "barometer", rectangular, inflator.barometer_pa
    ) + (_shared(common, "core cracking", one_sided, inflator.cracking_pa)), dof


def pair_difference(one: Inflator, other: Inflator, at_pa: float) -> Combined:
    """Possible difference of two transducers on one manifold: shared contributions cancel. It does not reduce the guard band."""
    common: dict[str, Number] = {}
    first, dof_first = reading_error(one, at_pa, common)
    second, dof_second = reading_error(other, at_pa, common)
    return combine(first - second, {**dof_first, **dof_second})


def _by_class(inflator: Inflator, at_pa: float, common: dict[str, Number]) -> Number:
    """Total error band, supply ratio and reference of an uncalibrated chain."""
    lever = at_pa + inflator.full_scale_pa * inflator.low / inflator.span
    signal = 1 + _shared(common, "reference", rectangular, inflator.reference)
    supply = (
        signal
        if inflator.reference_shared
        else 1 + _shared(common, "supply's reference", rectangular, inflator.reference)
    )
    ratio = (
        signal / supply * (1 + _shared(common, "supply ratio", rectangular, inflator.supply_ratio))
    )
    return lever * (ratio - 1) + rectangular("class band", inflator.class_bound_pa)


def _calibrated(
    found: Calibration, common: dict[str, Number], dof: dict[Variable, float]
) -> Number:
    """Remaining contributions after calibration; the class band is not added again."""
    fit = normal("fit residual", found.fit_residual_pa)
    repeat = normal("repeatability", found.repeatability_pa)
    dof.update(
        {
            variable: n
            for variable, n in ((fit, found.fit_points - 2), (repeat, found.repeats - 1))
            if variable
        }
    )
    return (
        _shared(common, "reference gauge", normal, found.gauge_expanded_pa / found.gauge_k)
        + fit
        + repeat
        + rectangular("hysteresis", found.hysteresis_pa)
        + rectangular("drift", found.drift_pa_per_month * found.months)
        + rectangular("thermal", found.thermal_pa_per_k * found.kelvin_outside)
        + rectangular("above the points", found.beyond_pa)
    )


def _converter(inflator: Inflator) -> Number:
    step_pa = inflator.full_scale_pa / (inflator.span * 2**inflator.converter.bits)
    parts: Mapping[str, float] = {
        "quantisation": 0.5,
        "converter linearity": inflator.converter.integral_lsb,
        "code edges": inflator.converter.edge_step_lsb,
    }
    if inflator.calibration:
        parts = {"quantisation": 0.5, "code edges": inflator.converter.edge_step_lsb}
    return sum(rectangular(name, lsb * step_pa) for name, lsb in parts.items())


def _shared(
    common: dict[str, Number], name: str, make: Callable[[str, float], Number], size: float
) -> Number:
    if name not in common:
        common[name] = make(name, size)
    return common[name]
