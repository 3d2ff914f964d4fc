"""The certificate of a calibration as PDF. It is the workshop's own record, not an accredited one."""

import io
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimward_protocol import codes

from rimward.calibration.fit import Calibrated, Left, Point
from rimward.calibration.run import Reference
from rimward.errors import Refusal
from rimward.units import show_minimum, show_reading

RULE = (
    "Decision rule: guarded acceptance (JCGM 106:2012, ILAC-G8:09/2019). It conforms if, as left, the largest deviation of either transducer "
    "plus the uncertainty of the comparison (the reference's U and resolution) is within the inflator's guard band, and is itself no more than U."
)
LIMITS = (
    "The workshop's own record, in the manner of EURAMET cg-17's basic procedure; not an accredited certificate. "
    "The guard band is never below the class bound of the transducers, nor below the reference's U plus resolution."
)


@dataclass(frozen=True)
class Certificate:
    """What stands on a certificate. `left` None: nothing was written to the inflator."""

    number: str
    person: str
    place: str
    device: str
    serials: tuple[str, str]
    reference: Reference
    as_found: Sequence[Point]
    result: Calibrated
    left: Left | None
    when: float

    @property
    def verdict(self) -> str:
        """The result in one line."""
        if self.left is None:
            return "A TRIAL: nothing was written to the inflator; it goes on with what it had."
        both = f"largest deviation as left {self.left.worst_pa:.0f} Pa, at most {self.left.allowed_pa:.0f} Pa allowed"
        return f"Conforms: {both}." if self.left.conforms else f"DOES NOT CONFORM: {both}. Do not fill with this inflator; run the calibration again."

    @property
    def due(self) -> str:
        """The day after which the inflator widens its guard band."""
        return time.strftime("%Y-%m-%d", time.gmtime(self.when + codes.CALIBRATION_DUE_DAYS * 86_400))

    @property
    def locks(self) -> str:
        """The day after which it locks its pump."""
        return time.strftime("%Y-%m-%d", time.gmtime(self.when + codes.CALIBRATION_LOCK_DAYS * 86_400))


def picture(result: Calibrated) -> bytes:
    """PNG of both transducers' deviations before and after."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(1, 2, figsize=(10, 3.4), dpi=110, sharey=True)
    for ax, channel in zip(axes, result.channels):
        for rising, mark in ((True, "^"), (False, "v")):
            points = [p for p in result.points if p.rising is rising]
            true = [p.reference_pa / 1e5 for p in points]
            read = [getattr(p, f"{channel.name}_pa") for p in points]
            ax.plot(true, [(r - p.reference_pa) / 1e3 for r, p in zip(read, points)], mark, color="#9a6b00", label=f"as found, {way(rising)}")
            after = [(channel.gain * r + channel.offset_pa - p.reference_pa) / 1e3 for r, p in zip(read, points)]
            ax.plot(true, after, mark, color="#1f4e79", fillstyle="none", label=f"corrected, {way(rising)}")
        ax.axhline(0, color="#555555", linewidth=0.8)
        ax.set_title(f"transducer {channel.name.upper()}", loc="left", fontsize=11)
        ax.set_xlabel("reference, bar gauge")
    axes[0].set_ylabel("deviation, kPa")
    axes[1].legend(fontsize=8, frameon=False)
    figure.tight_layout()
    out = io.BytesIO()
    figure.savefig(out, format="png")
    pyplot.close(figure)
    return out.getvalue()


def way(rising: bool) -> str:
    """Direction in which a point was approached."""
    return "rising" if rising else "falling"


def write_certificate(what: Certificate, to: Path, document: Callable[..., bytes]) -> Path:
    """Writes the PDF, laid out by `document(title, parts)`. Refusal if it cannot be written."""
    data = document(f"Calibration certificate {what.number}", parts(what))
    try:
        to.write_bytes(data)
    except OSError as failed:
        raise Refusal(f"{to} cannot be written: {failed.strerror}.", "Give another place with -o; the calibration itself is kept.") from failed
    return to


def parts(what: Certificate) -> list[tuple[str, Any]]:
    """The certificate as parts of a document: what it says, in order."""
    result, found = what.result, what.result.points[0]
    reach = f"0 to {show_reading(result.highest_pa)} gauge"
    kept: list[tuple[str, Any]] = [
        ("text", what.verdict),
        ("rows", ("Instrument", _instrument_rows(what))),
        ("rows", ("Reference", _reference_rows(what.reference))),
        (
            "rows",
            (
                "Result",
                [
                    ("Guard band", f"{show_minimum(result.guard_pa)}: it stops that far below a ceiling"),
                    ("U (95 %) of a corrected reading", f"{result.expanded_pa:.0f} Pa"),
                    ("Points cover", f"{reach}; what lies above is a term of the budget of its own"),
                    ("Conditions", f"air {found.air_ck / 100 - 273.15:.1f} °C, ambient {found.ambient_pa / 1000:.2f} kPa absolute"),
                    ("Calibrate again by", f"{what.due}: then the guard band is half as wide again; after {what.locks} the pump stays locked"),
                ],
            ),
        ),
        ("text", RULE),
        ("picture", (picture(result), "Deviation of both transducers from the reference, as found and corrected")),
        ("table", ("As found, before any adjustment", POINT_HEADS, [_point_row(p) for p in what.as_found])),
    ]
    if what.left is not None:
        kept.append(("table", ("As left, after the result was written", POINT_HEADS, [_point_row(p) for p in what.left.points])))
    kept += [
        ("table", ("Fit", FIT_HEADS, [_fit_row(c) for c in result.channels])),
        ("table", ("Uncertainty, standard, Pa", ("term", "A", "B"), _budget(result))),
        ("text", LIMITS),
        ("signature", ("Signature", "Date")),
    ]
    return kept


POINT_HEADS = ("way", "reference", "A, kPa", "B, kPa", "A deviates, Pa", "B deviates, Pa", "spread, Pa")
FIT_HEADS = ("", "gain", "offset, Pa", "residual, Pa", "hysteresis, Pa", "repeatability, Pa", "U (95 %), Pa", "guard band, Pa")


def _instrument_rows(what: Certificate) -> list[tuple[str, str]]:
    a, b = (serial or "not stated" for serial in what.serials)
    day = time.strftime("%Y-%m-%d", time.gmtime(what.when))
    return [
        ("Certificate", f"{what.number} of {day}"),
        ("Inflator", what.device),
        ("Transducers", f"A {a}, B {b}"),
        ("Calibrated by", f"{what.person}, {what.place}" if what.place else what.person),
    ]


def _reference_rows(gauge: Reference) -> list[tuple[str, str]]:
    return [
        ("Reference", f"{gauge.name}, serial {gauge.serial or 'not stated'}"),
        ("Its certificate", f"{gauge.certificate or 'not stated'}, due {gauge.due}"),
        ("Its uncertainty", f"U = {gauge.expanded_pa:.0f} Pa (k = {gauge.k:g}), resolution {gauge.resolution_pa:.0f} Pa"),
    ]


def _point_row(p: Point) -> tuple[str, ...]:
    off = (f"{p.a_pa - p.reference_pa:+.0f}", f"{p.b_pa - p.reference_pa:+.0f}")
    name = "open to the air" if p.zero else way(p.rising)
    return (name, show_reading(p.reference_pa), f"{p.a_pa / 1e3:.2f}", f"{p.b_pa / 1e3:.2f}", *off, f"{p.spread_pa:.0f}")


def _fit_row(c: Any) -> tuple[str, ...]:
    figures = (c.offset_pa, c.residual_pa, c.hysteresis_pa, c.repeatability_pa, c.expanded_pa, c.guard_pa)
    return (c.name.upper(), f"{c.gain:.5f}", *(f"{figure:.0f}" for figure in figures))


def _budget(result: Calibrated) -> list[tuple[str, ...]]:
    names = sorted({name for c in result.channels for name in c.terms})
    return [(name, *(f"{c.terms.get(name, 0.0):.0f}" for c in result.channels)) for name in names]
