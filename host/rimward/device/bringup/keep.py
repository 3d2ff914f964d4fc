"""Storage of this unit's baseline, one file for each inflator in the data folder, and the sheet of a bring-up as parts of a document."""

import json
import time
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.device.bringup.run import YEARLY, Found, Result

WORKSHOP = "The workshop's own record, not a certificate or an approval. If one step fails, the inflator gives no air."


def baseline_file(folder: Path, device: str) -> Path:
    """File of one inflator's baseline."""
    return folder / "bringup" / f"{device}.json"


def load_baseline(folder: Path, device: str) -> dict[str, float]:
    """Load this unit's baseline. Refusal without one or where the file cannot be read."""
    path = baseline_file(folder, device)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return {str(key): float(value) for key, value in kept["figures"].items()}
    except FileNotFoundError as absent:
        raise Refusal(
            f"This computer has no baseline of {device}.", "Bring it up first: rimward bringup."
        ) from absent
    except (OSError, ValueError, KeyError, AttributeError) as wrong:
        raise Refusal(f"{path} cannot be read.", "Remove it and repeat the bring-up.") from wrong


def keep_baseline(folder: Path, device: str, result: Result) -> Path:
    """Write the figures of a complete bring-up aside, then rename."""
    path = baseline_file(folder, device)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    aside = path.with_suffix(".part")
    aside.write_text(
        json.dumps(
            {"device": device, "date": time.strftime("%Y-%m-%d"), "figures": result.baseline()},
            indent=1,
        )
        + "\n",
        encoding="utf-8",
    )
    aside.replace(path)
    return path


SMALLEST = 1e-3  # a smaller figure is noise of the instrument


def number(value: float, unit: str) -> str:
    """Format a figure: pressures in bar and psi."""
    if unit == "Pa":
        return f"{value / 1e5:.2f} bar ({value / 6894.757:.1f} psi)"
    shown = f"{value if abs(value) >= SMALLEST else 0.0:.3g}"
    return f"{shown} {unit}" if unit else shown


def row(f: Found) -> tuple[str, str, str, str, str]:
    """Return phase, finding, figure, limits, result; a step that is done or not has yes and no for figures."""
    if f.step.yes_no:
        found = "yes" if f.holds else "no"
        return f.step.phase, f.step.finds, found, "yes", "holds" if f.holds else "DOES NOT HOLD"
    wanted = f"{number(f.step.low, f.step.unit)} to {number(f.step.high, f.step.unit)}"
    if f.against is not None:
        wanted += f"; own {number(f.against, f.step.unit)} within {YEARLY:.0%}"
    return (
        f.step.phase,
        f.step.finds,
        number(f.value, f.step.unit),
        wanted,
        "holds" if f.holds else "DOES NOT HOLD",
    )


def suspects(found: Found) -> str:
    """Name the step that ended the bring-up and the faults that it finds."""
    return f"Not passed at: {found.step.finds}. Likely: {', '.join(found.step.faults)}."


def sheet(result: Result, device: str, yearly: bool) -> tuple[str, list[tuple[str, Any]]]:
    """Return (title, parts) of the record, for `paper.sheet.document`."""
    kind = "Yearly check" if yearly else "Bring-up"
    says = (
        "Every step passed: air is enabled."
        if result.whole
        else "NOT PASSED: this inflator gives no air."
    )
    parts: list[tuple[str, Any]] = [
        ("text", f"{time.strftime('%Y-%m-%d')}. {says}"),
        *([("text", suspects(result.found[-1]))] if not result.whole and result.found else []),
        ("cautions", (WORKSHOP,)),
        (
            "table",
            (
                "Steps",
                ("phase", "what is found", "found", "wanted", "result"),
                [row(f) for f in result.found],
            ),
        ),
        ("signature", ("Checked by", "Date")),
    ]
    return f"{kind} of inflator {device}", parts
