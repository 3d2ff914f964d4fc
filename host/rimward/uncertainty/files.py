"""An instrument file: JSON that describes an inflator's measuring chain, or only its stored guard band."""

import json
from datetime import date
from pathlib import Path
from typing import Any

from rimward.ceiling.model import Instrument
from rimward.units import Refused, parse_pressure

_LARGEST_BYTES = 100_000
_DAYS_PER_MONTH = 30.4375


def load_instrument(path: str | Path, today: date | None = None) -> Instrument:
    """The guard band of an instrument file. Raises Refused `instrument-not-understood`."""
    try:
        if Path(path).stat().st_size > _LARGEST_BYTES:
            raise ValueError("the file is larger than 100 kB")
        return instrument(json.loads(Path(path).read_text(encoding="utf-8")), today)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ZeroDivisionError) as wrong:
        what = f"{wrong.args[0]!r} is missing" if isinstance(wrong, KeyError) else str(wrong)
        raise Refused(
            "instrument-not-understood",
            f"The instrument file {Path(path).name!r} cannot be used: {what}.",
            "It needs guard, or full_scale and total_error_band_percent.",
        ) from wrong


def instrument(raw: dict[str, Any], today: date | None = None) -> Instrument:
    """From the file's content."""
    name = str(raw.get("name", ""))
    if "guard_pa" in raw or "guard" in raw:
        guard = int(raw["guard_pa"]) if "guard_pa" in raw else parse_pressure(raw["guard"], up=True)
        if guard < 0:
            raise ValueError("the guard band is below zero")
        return Instrument(guard, name, "stored in the inflator")
    from rimward.uncertainty.inflator import guard_band

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
    """The measuring chain a file describes."""
    from rimward.uncertainty.inflator import Converter, Inflator

    part = raw.get("converter", {})
    return Inflator(
        full_scale_pa=parse_pressure(raw["full_scale"]),
        total_error_band=_share(raw, "total_error_band_percent", needed=True),
        supply_ratio=_share(raw, "supply_ratio_percent"),
        reference=_share(raw, "reference_percent"),
        reference_shared=bool(raw.get("reference_shared", True)),
        converter=Converter(int(part.get("bits", 14)), _size(part, "integral_lsb", 2.0), _size(part, "edge_step_lsb")),
        mounting_pa=_size(raw, "mounting_pa"),
        cracking_pa=_size(raw, "cracking_pa"),
        barometer_pa=_size(raw, "barometer_pa"),
        calibration=_calibration(raw["calibration"], today) if raw.get("calibration") else None,
        name=str(raw.get("name", "")),
    )


def _calibration(raw: dict[str, Any], today: date | None) -> Any:
    from rimward.uncertainty.inflator import Calibration

    months = max(0.0, ((today or date.today()) - date.fromisoformat(raw["date"])).days / _DAYS_PER_MONTH)
    points, repeats = int(raw["fit_points"]), int(raw["repeats"])
    if points < 3 or repeats < 2:
        raise ValueError("a calibration needs 3 points and 2 repeats or more")
    sizes = (
        "gauge_expanded_pa",
        "gauge_k",
        "fit_residual_pa",
        "hysteresis_pa",
        "repeatability_pa",
        "drift_pa_per_month",
        "thermal_pa_per_k",
    )
    missing = [name for name in sizes if name not in raw]
    if missing:
        raise KeyError(missing[0])
    return Calibration(
        fit_points=points,
        repeats=repeats,
        months=months,
        kelvin_outside=_size(raw, "kelvin_outside"),
        **{name: _size(raw, name) for name in sizes},
    )


def _share(raw: dict[str, Any], name: str, *, needed: bool = False) -> float:
    if needed and name not in raw:
        raise KeyError(name)
    return _size(raw, name) / 100


def _size(raw: dict[str, Any], name: str, otherwise: float = 0.0) -> float:
    value = float(raw.get(name, otherwise))
    if not 0 <= value < 1e9:
        raise ValueError(f"{name} must be zero or more")
    return value
