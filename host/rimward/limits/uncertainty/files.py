"""Instrument file: JSON that describes an inflator's measuring chain, or only its stored guard band."""

import math
from datetime import date
from pathlib import Path
from typing import Any

from rimward.base.jsonfile import Kind, read, refuse_unknown
from rimward.base.units import parse_pressure
from rimward.limits.ceiling.model import Instrument
from rimward.limits.uncertainty.inflator import Calibration, Converter, Inflator, guard_band

_KIND = Kind(
    "The instrument file",
    "instrument-not-understood",
    "Give guard, or full_scale and total_error_band_percent.",
    100_000,
)
_DAYS_PER_MONTH = 30.4375
_MOST = 1e9
_GUARD_KEYS = frozenset(("name", "guard", "guard_pa"))
_CHAIN_KEYS = frozenset((
    "name", "full_scale", "total_error_band_percent", "supply_ratio_percent", "reference_percent", "reference_shared", "converter",
    "mounting_pa", "cracking_pa", "barometer_pa", "calibration",
))  # fmt: skip
_CONVERTER_KEYS = frozenset(("bits", "integral_lsb", "edge_step_lsb"))
_CALIBRATION_SIZES = (
    "gauge_expanded_pa",
    "gauge_k",
    "fit_residual_pa",
    "hysteresis_pa",
    "repeatability_pa",
    "drift_pa_per_month",
    "thermal_pa_per_k",
)
_CALIBRATION_KEYS = frozenset(
    ("date", "fit_points", "repeats", "kelvin_outside", *_CALIBRATION_SIZES)
)


def load_instrument(path: str | Path, today: date | None = None) -> Instrument:
    """Load an instrument file. Raises Refused `instrument-not-understood`."""
    return read(path, _KIND, lambda raw: instrument(raw, today))


def instrument(raw: dict[str, Any], today: date | None = None) -> Instrument:
    """Build an instrument from the file's content."""
    name = str(raw.get("name", ""))
    if "guard_pa" in raw or "guard" in raw:
        refuse_unknown(raw, _GUARD_KEYS, "the file")
        if "guard_pa" in raw and "guard" in raw:
            raise ValueError("it has both guard and guard_pa")
        guard = (
            _whole(raw, "guard_pa", 0)
            if "guard_pa" in raw
            else parse_pressure(raw["guard"], up=True)
        )
        return Instrument(guard, name, "stored in the inflator")

    chain = inflator(raw, today)
    band = guard_band(chain)
    basis = "calibrated" if chain.calibration else "class bound, not calibrated"
    return Instrument(
        band.guard_pa,
        name,
        f"{basis}; U {band.combined.expanded:.0f} Pa, class {band.class_bound_pa:.0f} Pa; false accept "
        f"{band.false_accept.probability:.2%} {band.false_accept.condition}",
    )


def inflator(raw: dict[str, Any], today: date | None = None) -> Any:
    """Build the measuring chain that a file describes."""

    refuse_unknown(raw, _CHAIN_KEYS, "the file")
    part = raw.get("converter", {})
    refuse_unknown(part, _CONVERTER_KEYS, "converter")
    shared = raw.get("reference_shared", True)
    if not isinstance(shared, bool):
        raise ValueError("reference_shared must be true or false")
    return Inflator(
        full_scale_pa=parse_pressure(raw["full_scale"]),
        total_error_band=_share(raw, "total_error_band_percent", needed=True),
        supply_ratio=_share(raw, "supply_ratio_percent"),
        reference=_share(raw, "reference_percent"),
        reference_shared=shared,
        converter=Converter(
            _whole(part, "bits", 1, 32) if "bits" in part else 14,
            _size(part, "integral_lsb", 2.0),
            _size(part, "edge_step_lsb"),
        ),
        mounting_pa=_size(raw, "mounting_pa"),
        cracking_pa=_size(raw, "cracking_pa"),
        barometer_pa=_size(raw, "barometer_pa"),
        calibration=None
        if raw.get("calibration") is None
        else _calibration(raw["calibration"], today),
        name=str(raw.get("name", "")),
    )


def _calibration(raw: dict[str, Any], today: date | None) -> Any:

    refuse_unknown(raw, _CALIBRATION_KEYS, "calibration")
    days = ((today or date.today()) - date.fromisoformat(raw["date"])).days
    if days < 0:
        raise ValueError(f"the calibration's date {raw['date']} lies in the future")
    for name in _CALIBRATION_SIZES:
        if name not in raw:
            raise KeyError(name)
    if _size(raw, "gauge_k") == 0:
        raise ValueError("gauge_k must be above zero")
    return Calibration(
        fit_points=_whole(raw, "fit_points", 3),
        repeats=_whole(raw, "repeats", 2),
        months=days / _DAYS_PER_MONTH,
        kelvin_outside=_size(raw, "kelvin_outside"),
        **{name: _size(raw, name) for name in _CALIBRATION_SIZES},
    )


def _share(raw: dict[str, Any], name: str, *, needed: bool = False) -> float:
    if needed and name not in raw:
        raise KeyError(name)
    return _size(raw, name) / 100


def _number(value: Any, name: str) -> float:
    """Return a JSON number; true, false, text, infinity and not-a-number are refused."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"{name} must be a number")
    return float(value)


def _size(raw: dict[str, Any], name: str, otherwise: float = 0.0) -> float:
    value = _number(raw.get(name, otherwise), name)
    if not 0 <= value < _MOST:
        raise ValueError(f"{name} must be zero or more, and below {_MOST:g}")
    return value


def _whole(raw: dict[str, Any], name: str, least: int, most: int = int(_MOST)) -> int:
    value = _number(raw[name], name)
    if value != int(value) or not least <= value <= most:
        raise ValueError(f"{name} must be a whole number from {least} to {most}")
    return int(value)
