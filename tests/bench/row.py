"""One row of the bench's table."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Row:
    """`measured` against `must`, value by value; `must` None: only shown. `least`: the values must be reached, not kept under."""

    figure: str
    measured: list[float]
    must: list[float] | None = None
    about: dict[str, Any] = field(default_factory=dict)
    least: bool = False

    @property
    def ok(self) -> bool | None:
        """None where nothing must be reached."""
        if self.must is None:
            return None
        pairs = zip(self.measured, self.must, strict=True)
        return all(value >= bound if self.least else value <= bound for value, bound in pairs)

    def json(self) -> dict[str, Any]:
        """As `--json` shows it."""
        values = [float(value) if np.isfinite(value) else None for value in self.measured]
        about = {
            key: value.item() if isinstance(value, np.generic) else value
            for key, value in self.about.items()
        }
        return {
            "figure": self.figure,
            "measured": values,
            "must": self.must,
            "at_least": self.least,
            "ok": self.ok,
            "about": about,
        }

    def line(self) -> str:
        """As people see it."""
        word = {None: "shown", True: "ok", False: "MISSED"}[self.ok]
        sign = ">=" if self.least else "<="
        must = f"{sign} {', '.join(f'{v:g}' for v in self.must)}" if self.must else ""
        about = ", ".join(
            f"{key} {value:.4g}" if isinstance(value, float) else f"{key} {value}"
            for key, value in self.about.items()
        )
        return (
            f"{word:6s} {self.figure}: {', '.join(f'{v:.4g}' for v in self.measured)}  {must}"
            + (f"  ({about})" if about else "")
        )


def percentiles(values: list[float]) -> list[float]:
    """Median and 99th percentile; not-a-number without values."""
    if not values:
        return [float("nan"), float("nan")]
    return [float(np.percentile(values, 50)), float(np.percentile(values, 99))]
