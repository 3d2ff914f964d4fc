"""What goes into the ceiling and what comes out. Pressures are gauge pascals, temperatures centikelvin, altitudes metres."""

from dataclasses import dataclass, field
from typing import Any

from rimward.atmosphere import ambient_pa
from rimward.ceiling.markings import Marking, no_marking, read_marking
from rimward.ceiling.sizes import read_rim_size, read_tyre_size
from rimward.ceiling.standards import rim_type
from rimward.units import Refused, centikelvin_down, centikelvin_up

APPROVALS = ("yes", "no", "unknown")
BEADS = ("rigid", "folding", "unknown")
AIRS = ("tube", "tubeless", "unknown")
FILL_MIN_CK, FILL_MAX_CK = 25315, 31815  # -20 to 45 °C: plausible temperatures of a tyre where it is filled, our choice
UNSTATED_FILL_CK = FILL_MIN_CK  # stands in where no fill temperature is stated; with a ride temperature one is asked for


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
        """From `622x23TSS`, `622×17C`, `19-622`, `622x23?`, and the marked maximum such as `5 bar / 73 psi`. Raises Refused."""
        size = read_rim_size(text)
        marking = read_marking(max_text, maximum_only=True) if max_text else no_marking()
        return cls(size.bead_seat_mm, size.width_mm, size.type, marking.max_pa, text.strip(), marking.disagree)

    @property
    def straight_side(self) -> bool:
        """Straight-side, or not known to be anything else."""
        return rim_type(self.type)["straight_side"]


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
        """From `28-622` and its printed range `4-6 bar`, or minimum and maximum apart. Raises Refused."""
        size = read_tyre_size(text)
        markings = [read_marking(range_text)] if range_text else []
        if size.pressure_text:
            markings.append(read_marking(size.pressure_text))
        if max_text:
            markings.append(read_marking(max_text, maximum_only=True))
        if min_text:
            markings.append(read_marking(min_text, minimum_only=True))
        marking = _merged(markings)
        return cls(size.width_mm, size.bead_seat_mm, marking.min_pa, marking.max_pa, approved, bead, air, text.strip(), marking.disagree)


@dataclass(frozen=True)
class Place:
    """Where the tyre is filled. The temperature is the tyre's: the lower of measured air and stated tyre temperature."""

    temp_ck: int | None = None
    altitude_m: float = 0.0

    @classmethod
    def of(cls, temp_c: float | None = None, altitude_m: float | None = None, tyre_temp_c: float | None = None) -> "Place":
        """From Celsius and metres; altitude not given counts as sea level, the safe side."""
        given = [t for t in (temp_c, tyre_temp_c) if t is not None]
        return cls(centikelvin_down(min(given)) if given else None, altitude_m or 0.0)

    @property
    def ambient_pa(self) -> float:
        """Absolute ambient pressure of the standard atmosphere here, pascal."""
        return ambient_pa(self.altitude_m)


@dataclass(frozen=True)
class Ride:
    """What is stated of the ride; None: not stated. `source` names where the altitude came from.

    The lowest temperature bears on no limit: it tells how far a fill falls.
    """

    altitude_max_m: float | None = None
    temp_max_ck: int | None = None
    source: str = "stated"
    temp_min_ck: int | None = None

    @classmethod
    def of(
        cls, altitude_max_m: float | None = None, temp_max_c: float | None = None, source: str = "stated", temp_min_c: float | None = None
    ) -> "Ride":
        """From metres and Celsius."""
        hottest = None if temp_max_c is None else centikelvin_up(temp_max_c)
        return cls(altitude_max_m, hottest, source, None if temp_min_c is None else centikelvin_down(temp_min_c))

    @property
    def stated(self) -> bool:
        """Whether anything is stated that bears on the limit."""
        return self.altitude_max_m is not None or self.temp_max_ck is not None

    @property
    def empty(self) -> bool:
        """Whether nothing is stated at all."""
        return not self.stated and self.temp_min_ck is None


@dataclass(frozen=True)
class Instrument:
    """What an inflator's own calibration says of its readings: the guard band between ceiling and stop reading."""

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
    """What the ride does to a fill. All gauge pascal; see design section 5 for the two formulas."""

    fill_ceiling_pa: int
    highest_gauge_if_filled_to_limit_pa: int
    highest_gauge_if_filled_to_ceiling_pa: int | None = None
    fill_ck: int = 0
    hottest_ck: int = 0
    fill_ambient_pa: float = 0.0
    lowest_ambient_pa: float = 0.0
    coldest_ck: int | None = None
    lowest_gauge_if_filled_to_ceiling_pa: int | None = None

    def lowest_gauge(self, fill_pa: float) -> float | None:
        """What a fill falls to at the coldest of the ride, gauge pascal at the fill's altitude; None where no cold is stated."""
        if self.coldest_ck is None:
            return None
        return (fill_pa + self.fill_ambient_pa) * self.coldest_ck / self.fill_ck - self.fill_ambient_pa


@dataclass(frozen=True)
class Window:
    """From the tyre's printed minimum (None: not printed) to the ceiling (None: refused)."""

    min_pa: int | None
    max_pa: int | None


@dataclass(frozen=True)
class Assessment:
    """The answer. `bound_pa` is what the limits alone allow, also when the pair is refused; it is never a fill target."""

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
        """The documented JSON answer of `rimward ceiling`."""
        from rimward.ceiling.answer import answer

        return answer(self)


def _merged(markings: list[Marking]) -> Marking:
    """The narrowest reading of several markings."""
    minima = [m.min_pa for m in markings if m.min_pa is not None]
    maxima = [m.max_pa for m in markings if m.max_pa is not None]
    return Marking(max(minima, default=None), min(maxima, default=None), any(m.disagree for m in markings))


__all__ = ["Assessment", "Envelope", "Instrument", "Limit", "Note", "Place", "Refused", "Ride", "Rim", "Tyre", "Window"]
