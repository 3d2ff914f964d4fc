"""Calibration certificate as PDF: the workshop's own record, not an accredited one."""

import io
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.base.units import show_minimum, show_reading
from rimward.device.calibration.fit import Calibrated, Left, Point
from rimward.device.calibration.run import Reference

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
    """Content of a certificate. `left` None: nothing was written to the inflator."""

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
        """Result in one line."""
        if self.left is None:
            return "TRIAL: nothing was written to the inflator; its previous calibration stays in force."
        both = f"largest deviation as left {self.left.worst_pa:.0f} Pa, at most {self.left.allowed_pa:.0f} Pa allowed"
        return (
            f"Conforms: {both}."
            if self.left.conforms
            else f"DOES NOT CONFORM: {both}. Do not fill with this inflator; run the calibration again."
        )

    @property
    def due(self) -> str:
        """Day after which the inflator widens its guard band."""
        return time.strftime(
            "%Y-%m-%d", time.gmtime(self.when + codes.CALIBRATION_DUE_DAYS * 86_400)
        )

    @property
    def locks(self) -> str:
        """Day after which the inflator locks its pump."""
        return time.strftime(
            "%Y-%m-%d", time.gmtime(self.when + codes.CALIBRATION_LOCK_DAYS * 86_400)
        )


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
            ax.plot(
                true,
                [(r - p.reference_pa) / 1e3 for r, p in zip(read, points)],
                mark,
                color="#9a6b00",
                label=f"as found, {way(rising)}",
            )
            after = [
                (channel.gain * r + channel.offset_pa - p.reference_pa) / 1e3
                for r, p in zip(read, points)
            ]
            ax.plot(
                true,
                after,
                mark,
                color="#1f4e79",
                fillstyle="none",
                label=f"corrected, {way(rising)}",
            )
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
    """Write the PDF, laid out by `document(title, parts)`. Refusal if it cannot be written."""
    data = document(f"Calibration certificate {what.number}", parts(what))
    try:
        to.write_bytes(data)
    except OSError as failed:
        raise Refusal(
            f"{to} cannot be written: {failed.strerror}.",
            "Choose another place with -o; the calibration itself is stored.",
        ) from failed
    return to


def parts(what: Certificate) -> list[tuple[str, Any]]:
    """Return the certificate as parts of a document, in order."""
    result = what.result
    kept: list[tuple[str, Any]] = [
        ("text", what.verdict),
        ("rows", ("Instrument", _instrument_rows(what))),
        ("rows", ("Reference", _reference_rows(what.reference))),
        ("rows", ("Result", _result_rows(what))),
        ("text", RULE),
        (
            "picture",
            (
                picture(result),
                "Deviation of both transducers from the reference, as found and corrected",
            ),
        ),
        (
            "table",
            (
                "As found, before any adjustment",
                POINT_HEADS,
                [_point_row(p) for p in what.as_found],
            ),
        ),
    ]
    if what.left is not None:
        kept.append(
            (
                "table",
                (
                    "As left, after the result was written",
                    POINT_HEADS,
                    [_point_row(p) for p in what.left.points],
                ),
            )
        )
    kept += [
        ("table", ("Fit", FIT_HEADS, [_fit_row(c) for c in result.channels])),
        ("table", ("Uncertainty, standard, Pa", ("term", "A", "B"), _budget(result))),
        ("text", LIMITS),
        ("signature", ("Signature", "Date")),
    ]
    return kept


POINT_HEADS = (
    "way",
    "reference",
    "A, kPa",
    "B, kPa",
    "deviation of A, Pa",
    "deviation of B, Pa",
    "spread, Pa",
)
FIT_HEADS = (
    "",
    "gain",
    "offset, Pa",
    "residual, Pa",
    "hysteresis, Pa",
    "repeatability, Pa",
    "U (95 %), Pa",
    "guard band, Pa",
)


def _result_rows(what: Certificate) -> list[tuple[str, str]]:
    result, found = what.result, what.result.points[0]
    reach = f"0 to {show_reading(result.highest_pa)} gauge"
    return [
        ("Guard band", f"{show_minimum(result.guard_pa)}: it stops that far below a ceiling"),
        ("U (95 %) of a corrected reading", f"{result.expanded_pa:.0f} Pa"),
        ("Points cover", f"{reach}; pressures above are a separate term of the budget"),
        (
            "Conditions",
            f"air {found.air_ck / 100 - 273.15:.1f} °C, ambient {found.ambient_pa / 1000:.2f} kPa absolute",
        ),
        (
            "Calibrate again by",
            f"{what.due}: then the guard band is 50 % wider; after {what.locks} the pump stays locked",
        ),
    ]


def _instrument_rows(what: Certificate) -> list[tuple[str, str]]:
    a, b = (serial or "not stated" for serial in what.serials)
    day = time.strftime("%Y-%m-%d", time.gmtime(what.when))
    return [
        ("Certificate", f"{what.number} of {day}"),
        ("Inflator", what.device),
        ("Transducers", f"A {a}, B {b}"),
        ("Calibrated by", f"{what.person}, {what.place or 'place not stated'}"),
    ]


def _reference_rows(gauge: Reference) -> list[tuple[str, str]]:
    return [
        ("Reference", f"{gauge.name}, serial {gauge.serial or 'not stated'}"),
        ("Its certificate", f"{gauge.certificate or 'not stated'}, due {gauge.due}"),
        (
            "Its uncertainty",
            f"U = {gauge.expanded_pa:.0f} Pa (k = {gauge.k:g}), resolution {gauge.resolution_pa:.0f} Pa",
        ),
    ]


def _point_row(p: Point) -> tuple[str, ...]:
    off = (f"{p.a_pa - p.reference_pa:+.0f}", f"{p.b_pa - p.reference_pa:+.0f}")
    name = "open to the air" if p.zero else way(p.rising)
    return (
        name,
        show_reading(p.reference_pa),
        f"{p.a_pa / 1e3:.2f}",
        f"{p.b_pa / 1e3:.2f}",
        *off,
        f"{p.spread_pa:.0f}",
    )


def _fit_row(c: Any) -> tuple[str, ...]:
    figures = (
        c.offset_pa,
        c.residual_pa,
        c.hysteresis_pa,
        c.repeatability_pa,
        c.expanded_pa,
        c.guard_pa,
    )
    return (c.name.upper(), f"{c.gain:.5f}", *(f"{figure:.0f}" for figure in figures))


def _budget(result: Calibrated) -> list[tuple[str, ...]]:
    names = sorted({name for c in result.channels for name in c.terms})
    return [(name, *(f"{c.terms.get(name, 0.0):.0f}" for c in result.channels)) for name in names]
