"""Tests of normality, and of effects of temperature, ramp or width on the margin, with their limits."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy import stats as scipy_stats

from rimward.proof.units import Specimen, censored

SAMPLES_A_TERM = 10
COLUMNS = (
    "temp_c",
    "ramp_kpa_s",
    "hold_s",
    "rim_inner_mm",
    "tyre_nominal_mm",
    "tyre_measured_mm",
    "tyre_mounts",
)
NORMALITY_NOTE = "Few samples cannot prove a normal lot: this test can only fail to disprove it."
SHAPIRO_MAX = 5000


def normality(lot: Sequence[Specimen]) -> dict[str, Any]:
    """Shapiro-Wilk test on complete lots of 3 to 5000, with its text."""
    margins = [specimen.margin for specimen in lot]
    reason = _no_normality(lot, margins)
    if reason:
        return {
            "test": "Shapiro-Wilk",
            "statistic": None,
            "p": None,
            "reason": reason,
            "note": NORMALITY_NOTE,
        }
    found = scipy_stats.shapiro(margins)
    return {
        "test": "Shapiro-Wilk",
        "statistic": float(found.statistic),
        "p": float(found.pvalue),
        "reason": None,
        "note": NORMALITY_NOTE,
    }


def linear(lot: Sequence[Specimen], chosen: Sequence[str] = ()) -> dict[str, Any]:
    """Least squares of the margin on `chosen` columns, or on all that vary; null with a reason under ten samples a term."""
    columns = list(chosen) or [column for column in COLUMNS if _varies(lot, column)]
    needed = SAMPLES_A_TERM * len(columns)
    reason = _no_effects(lot, columns, needed)
    if reason:
        return {"terms": None, "columns": columns, "n_needed": needed, "reason": reason}
    table = np.array([[float(s.deciding.known[column]) for column in columns] for s in lot])
    margins = np.array([specimen.margin for specimen in lot])
    return {
        "terms": _least_squares(table, margins, columns),
        "columns": columns,
        "n_needed": needed,
        "reason": None,
    }


def _no_normality(lot: Sequence[Specimen], margins: list[float]) -> str | None:
    if censored(lot):
        return "censored"
    if len(margins) < 3:
        return "too_few"
    if len(margins) > SHAPIRO_MAX:
        return "too_many"
    return "no_spread" if min(margins) == max(margins) else None


def _varies(lot: Sequence[Specimen], column: str) -> bool:
    values = [specimen.deciding.known.get(column) for specimen in lot]
    return None not in values and len(set(values)) > 1


def _no_effects(lot: Sequence[Specimen], columns: list[str], needed: int) -> str | None:
    if not columns:
        return "nothing_varies"
    if not all(_varies(lot, column) for column in columns):
        return "column_missing_or_constant"
    if censored(lot):
        return "censored"
    if len(lot) < needed:
        return "under_ten_samples_a_term"
    table = np.array([[1.0, *(float(s.deciding.known[column]) for column in columns)] for s in lot])
    return "columns_move_together" if np.linalg.matrix_rank(table) < table.shape[1] else None


def _least_squares(
    table: np.ndarray, margins: np.ndarray, columns: list[str]
) -> list[dict[str, Any]]:
    centred = np.column_stack([np.ones(len(margins)), table - table.mean(axis=0)])
    found, *_ = np.linalg.lstsq(centred, margins, rcond=None)
    freedom = len(margins) - centred.shape[1]
    variance = float(np.sum((margins - centred @ found) ** 2)) / freedom
    errors = np.sqrt(np.diag(np.linalg.inv(centred.T @ centred)) * variance)
    reach = float(scipy_stats.t.ppf(0.975, freedom))
    return [
        {
            "column": name,
            "slope": float(slope),
            "low": float(slope - reach * error),
            "high": float(slope + reach * error),
            "confidence": 0.95,
        }
        for name, slope, error in zip(columns, found[1:], errors[1:], strict=True)
    ]
