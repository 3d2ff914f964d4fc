"""This unit's own figures, one file an inflator in the data folder, and the sheet of a bring-up as parts of a document."""

import json
import time
from pathlib import Path
from typing import Any

from rimward.bringup.run import YEARLY, Found, Result
from rimward.errors import Refusal

WORKSHOP = ("The workshop's own record. Nothing here is a certificate or an approval. One step that does not hold: the inflator gives no air.")


def baseline_file(folder: Path, device: str) -> Path:
    """Where the figures of one inflator are kept."""
    return folder / "bringup" / f"{device}.json"


def load_baseline(folder: Path, device: str) -> dict[str, float]:
    """This unit's own figures. Refusal where none are kept or the file cannot be read."""
    path = baseline_file(folder, device)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return {str(key): float(value) for key, value in kept["figures"].items()}
    except FileNotFoundError as absent:
        raise Refusal(f"No baseline of {device} is kept on this computer.", "Do its bring-up first: rimward bringup.") from absent
    except (OSError, ValueError, KeyError, AttributeError) as wrong:
        raise Refusal(f"{path} cannot be read.", "Remove it and do the bring-up again.") from wrong


def keep_baseline(folder: Path, device: str, result: Result) -> Path:
    """Write the figures of a whole bring-up aside, then rename."""
    path = baseline_file(folder, device)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    aside = path.with_suffix(".part")
    aside.write_text(json.dumps({"device": device, "date": time.strftime("%Y-%m-%d"), "figures": result.baseline()}, indent=1) + "\n", encoding="utf-8")
    aside.replace(path)
    return path


def number(value: float, unit: str) -> str:
    """A figure for people: pressures in bar and psi, steps that only hold or not as such."""
    if unit == "Pa":
        return f"{value / 1e5:.2f} bar ({value / 6894.757:.1f} psi)"
    return f"{value:.3g} {unit}" if unit else f"{value:.3g}"


def row(f: Found) -> tuple[str, str, str, str, str]:
    """Phase, what is found, figure, limits, result."""
    wanted = f"{number(f.step.low, f.step.unit)} to {number(f.step.high, f.step.unit)}"
    if f.against is not None:
        wanted += f"; own {number(f.against, f.step.unit)} within {YEARLY:.0%}"
    return f.step.phase, f.step.finds, number(f.value, f.step.unit), wanted, "holds" if f.holds else "DOES NOT HOLD"


def sheet(result: Result, device: str, yearly: bool) -> tuple[str, list[tuple[str, Any]]]:
    """(title, parts) of the record, for `report.paper.document`."""
    kind = "Yearly check" if yearly else "Bring-up"
    says = "Every step holds: air is enabled." if result.whole else "NOT PASSED: this inflator gives no air."
    parts: list[tuple[str, Any]] = [("text", f"{time.strftime('%Y-%m-%d')}. {says}"), ("cautions", (WORKSHOP,)),
                                    ("table", ("Steps", ("phase", "what is found", "found", "wanted", "result"), [row(f) for f in result.found])), ("signature", ("Checked by", "Date"))]
    return f"{kind} of inflator {device}", parts
