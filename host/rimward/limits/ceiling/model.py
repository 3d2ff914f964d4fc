"""Inputs and results of the ceiling. Pressures are gauge pascals, temperatures centikelvin, altitudes metres."""

from dataclasses import dataclass, field
from typing import Any

from rimward.base.atmosphere import ambient_pa
from rimward.base.units import Refused, centikelvin_down, centikelvin_up
from rimward.limits.ceiling.markings import Marking, no_marking, read_marking
from rimward.limits.ceiling.sizes import read_rim_size, read_tyre_size
from rimward.limits.ceiling.standards import rim_type

APPROVALS = ("yes", "no", "unknown")
BEADS = ("rigid", "folding", "unknown")
AIRS = ("tube", "tubeless", "unknown")
FILL_MIN_CK, FILL_MAX_CK = (
    25315,
    31815,
)  # -20 to 45 °C: plausible temperatures of a tyre at the fill, our choice
UNSTATED_FILL_CK = (
    FILL_MIN_CK  # used where no fill temperature is stated; with a ride temperature one is required
)


@dataclass(frozen=True)
class Rim:
    """A rim: bead-seat diameter (None: unknown), inner width, ISO 5775-2 type code, and the maximum marked on it."""

    bead_seat_mm: int | None
    inner_mm: float
    type: str = "unknown"
    max_pa: int | None = None
    text: str = ""
    units_disagree: bool = False

    @classmethod
    def parse(cls, text: str, max_text: str | None = None) -> "Rim":
        """Parse `622x23TSS`, `622×17C`, `19-622`, `622x23?`, and the marked maximum such as `5 bar / 73 psi`. Raises Refused."""
        size = read_rim_size(text)
        marking = read_marking(max_text, maximum_only=True) if max_text else no_marking()
        return cls(
            size.bead_seat_mm,
            size.width_mm,
            size.type,
            marking.max_pa,
            text.strip(),
            marking.disagree,
        )

    @property
    def straight_side(self) -> bool:
        """True if straight-side or of unknown type."""
        return bool(rim_type(self.type)["straight_side"])


@dataclass(frozen=True)
class Tyre:
    """A tyre: nominal section width, bead-seat diameter, printed range, and what it is approved for."""

    width_mm: float
    bead_seat_mm: int | None
    min_pa: int | None = None
    max_pa: int | None = None
    approved: str = "unknown"
    bead: str = "unknown"
    air: str = "unknown"
    text: str = ""
    units_disagree: bool = False

    def __post_init__(self) -> None:
        for name, allowed in (("approved", APPROVALS), ("bead", BEADS), ("air", AIRS)):
            if getattr(self, name) not in allowed:
                raise ValueError(f"{name} must be one of {', '.join(allowed)}")

    @classmethod
    def parse(
        cls,
        text: str,
        range_text: str | None = None,
        *,
        min_text: str | None = None,
        max_text: str | None = None,
        approved: str = "unknown",
        bead: str = "unknown",
        air: str = "unknown",
    ) -> "Tyre":
        """Parse `28-622` and its printed range `4-6 bar`, or minimum and maximum apart. Raises Refused."""
        size = read_tyre_size(text)
        markings = [read_marking(range_text)] if range_text else []
        if size.pressure_text:
            markings.append(read_marking(size.pressure_text))
        if max_text:
            markings.append(read_marking(max_text, maximum_only=True))
        if min_text:
            markings.append(read_marking(min_text, minimum_only=True))
        marking = _merged(markings)
        return cls(
            size.width_mm,
            size.bead_seat_mm,
            marking.min_pa,
            marking.max_pa,
            approved,
            bead,
            air,
            text.strip(),
            marking.disagree,
        )


@dataclass(frozen=True)
class Place:
    """Place of the fill. The temperature is the tyre's: the lower of measured air and stated tyre temperature."""

    temp_ck: int | None = None
    altitude_m: float = 0.0

    @classmethod
    def of(
        cls,
        temp_c: float | None = None,
        altitude_m: float | None = None,
        tyre_temp_c: float | None = None,
    ) -> "Place":
        """Build from Celsius and metres; an unstated altitude counts as sea level, the safe side."""
        given = [t for t in (temp_c, tyre_temp_c) if t is not None]
        return cls(centikelvin_down(min(given)) if given else None, altitude_m or 0.0)

    @property
    def ambient_pa(self) -> float:
        """Absolute ambient pressure of the standard atmosphere here, pascal."""
        return ambient_pa(self.altitude_m)


@dataclass(frozen=True)
class Ride:
    """Stated facts of the ride; None: not stated. `source` names the source of the altitude.

    The lowest temperature affects no limit: it shows how far a fill falls.
    """

    altitude_max_m: float | None = None
    temp_max_ck: int | None = None
    source: str = "stated"
    temp_min_ck: int | None = None

    @classmethod
    def of(
        cls,
        altitude_max_m: float | None = None,
        temp_max_c: float | None = None,
        source: str = "stated",
        temp_min_c: float | None = None,
    ) -> "Ride":
        """Build from metres and Celsius."""
        hottest = None if temp_max_c is None else centikelvin_up(temp_max_c)
        return cls(
            altitude_max_m,
            hottest,
            source,
            None if temp_min_c is None else centikelvin_down(temp_min_c),
        )

    @property
    def stated(self) -> bool:
        """True if anything stated affects the limit."""
        return self.altitude_max_m is not None or self.temp_max_ck is not None

    @property
    def empty(self) -> bool:
        """True if nothing is stated."""
        return not self.stated and self.temp_min_ck is None


@dataclass(frozen=True)
class Instrument:
    """Calibration of an inflator: the guard band between ceiling and stop reading."""

    guard_pa: int
    name: str = ""
    basis: str = ""


@dataclass(frozen=True)
class Limit:
    """One pressure that must not be exceeded, gauge pascal."""

    id: str
    pa: int
    source: str
    confidence: str


@dataclass(frozen=True)
class Note:
    """A refusal or a warning."""

    id: str
    text: str


@dataclass(frozen=True)
class Envelope:
    """Effect of the ride on a fill. All gauge pascal."""

    fill_ceiling_pa: int
    highest_gauge_if_filled_to_limit_pa: int
    highest_gauge_if_filled_to_ceiling_pa: int | None
    fill_ck: int
    hottest_ck: int
    fill_ambient_pa: float
    lowest_ambient_pa: float
    coldest_ck: int | None
    lowest_gauge_if_filled_to_ceiling_pa: int | None

    def lowest_gauge(self, fill_pa: float) -> float | None:
        """Return the reading of a fill at the coldest of the ride, gauge pascal at the fill's altitude; None where no cold is stated."""
        if self.coldest_ck is None:
            return None
        return (
            fill_pa + self.fill_ambient_pa
        ) * self.coldest_ck / self.fill_ck - self.fill_ambient_pa


@dataclass(frozen=True)
class Window:
    """Range from the tyre's printed minimum (None: not printed) to the ceiling (None: refused)."""

    min_pa: int | None
    max_pa: int | None


ENVELOPE_KEYS = (
    "fill_ceiling_pa",
    "highest_gauge_if_filled_to_limit_pa",
    "highest_gauge_if_filled_to_ceiling_pa",
    "lowest_gauge_if_filled_to_ceiling_pa",
)


@dataclass(frozen=True)
class Assessment:
    """Answer. `bound_pa` is the result of the limits alone, also for a refused pair; it is never a fill target."""

    status: str
    ceiling_pa: int | None
    stop_reading_pa: int | None
    governing: str | None
    limits: tuple[Limit, ...]
    window: Window
    envelope: Envelope | None
    refusals: tuple[Note, ...]
    warnings: tuple[Note, ...]
    limit_pa: int | None = None
    bound_pa: int | None = None
    guard_pa: int | None = None
    held_on: str = "ride"
    instrument: Instrument | None = field(default=None, repr=False)
    rim: Rim | None = field(default=None, repr=False)
    tyre: Tyre | None = field(default=None, repr=False)
    ride_stated: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the documented JSON answer of `rimward ceiling`; all keys are always present.

        A refused one has null for ceiling, stop reading, the window's top and the envelope's values.
        """
        envelope = self.envelope if self.status == "ok" else None
        return {
            "status": self.status,
            "ceiling_pa": self.ceiling_pa,
            "stop_reading_pa": self.stop_reading_pa,
            "governing": self.governing,
            "limits": [
                {
                    "id": limit.id,
                    "pa": limit.pa,
                    "source": limit.source,
                    "confidence": limit.confidence,
                }
                for limit in self.limits
            ],
            "window": {"min_pa": self.window.min_pa, "max_pa": self.window.max_pa},
            "envelope": {
                key: getattr(envelope, key) if envelope else None for key in ENVELOPE_KEYS
            },
            "refusals": _notes(self.refusals),
            "warnings": _notes(self.warnings),
        }


def _merged(markings: list[Marking]) -> Marking:
    """Narrowest reading of several markings."""
    minima = [m.min_pa for m in markings if m.min_pa is not None]
    maxima = [m.max_pa for m in markings if m.max_pa is not None]
    return Marking(
        max(minima, default=None), min(maxima, default=None), any(m.disagree for m in markings)
    )


def _notes(items: tuple[Note, ...]) -> list[dict[str, str]]:
    """Refusals or warnings as JSON."""
    return [{"id": note.id, "text": note.text} for note in items]


__all__ = [
    "Assessment",
    "Envelope",
    "Instrument",
    "Limit",
    "Note",
    "Place",
    "Refused",
    "Ride",
    "Rim",
    "Tyre",
    "Window",
]
