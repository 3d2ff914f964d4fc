"""Assessment of a rim with a tyre on a ride: limits, envelope, ceiling, window."""

from collections.abc import Sequence
from dataclasses import dataclass

from rimward.base.units import floor_kpa, show_limit, show_minimum, show_reading
from rimward.limits.ceiling.cautions import (
    cold_warnings,
    pair_warnings,
    pressure_warnings,
    ride_warnings,
)
from rimward.limits.ceiling.envelope import envelope, fill_ceiling, highest_gauge
from rimward.limits.ceiling.limits import limits_of
from rimward.limits.ceiling.maker import MakerTable
from rimward.limits.ceiling.model import (
    Assessment,
    Instrument,
    Limit,
    Note,
    Place,
    Ride,
    Rim,
    Tyre,
    Window,
)
from rimward.limits.ceiling.places import place_refusals
from rimward.limits.ceiling.rules import pair_refusals

FILL_ONLY_PERCENT = (
    105  # our choice: largest excess on the stated ride of a limit held at the fill only
)
HELD_ON = ("ride", "fill")
SEA_LEVEL = Place()
CLASS_ONLY = ("straight-side-class", "rim-maximum-unknown")


def assess(
    rim: Rim,
    tyre: Tyre,
    fill: Place | None = None,
    ride: Ride | None = None,
    instrument: Instrument | None = None,
    maker_table: MakerTable | None = None,
    *,
    held_on: str = "ride",
) -> Assessment:
    """Compute limits, envelope, ceiling and window of a rim with a tyre, or the refusals.

    All pressures gauge pascal. `held_on="fill"` holds the limit at the fill only although a ride is stated (recorded, and refused where
    the ride takes it past 105 %). Raises ValueError for an altitude outside the standard atmosphere's table.
    """
    if held_on not in HELD_ON:
        raise ValueError(f"held_on must be one of {', '.join(HELD_ON)}")
    fill = fill or SEA_LEVEL
    limits = limits_of(rim, tyre, maker_table)
    refusals = [*pair_refusals(rim, tyre, maker_table), *place_refusals(fill, ride)]
    warnings = list(pair_warnings(rim, tyre, maker_table))
    if not _limited(rim, limits):
        refusals.append(
            Note(
                "no-limit-known",
                "Neither the rim nor the tyre has a stated maximum, so there is no limit. Read the rim and the sidewall.",
            )
        )
    if not limits:
        return _answer(_Asked(rim, tyre, instrument), limits, refusals, warnings)
    bound = limits[0].pa if held_on == "fill" else fill_ceiling(limits[0].pa, fill, ride)
    bound = max(0, floor_kpa(bound))
    highest = highest_gauge(bound, fill, ride)
    refusals += _pressure_refusals(
        tyre, limits[0], bound, instrument, highest if held_on == "fill" else None
    )
    if not refusals:
        stop = bound - instrument.guard_pa if instrument else None
        warnings += pressure_warnings(tyre, bound, stop)
        warnings += ride_warnings(limits[0].pa, bound, fill, ride, held_on, highest)
        warnings += cold_warnings(tyre, bound, envelope(limits[0].pa, bound, fill, ride))
    asked = _Asked(rim, tyre, instrument, fill, ride, held_on)
    return _answer(asked, limits, refusals, warnings, bound)


def refused(refusals: Sequence[Note]) -> Assessment:
    """Return the answer for a rim or tyre that could not be read."""
    return Assessment(
        "refused", None, None, None, (), Window(None, None), None, tuple(refusals), ()
    )


def _limited(rim: Rim, limits: tuple[Limit, ...]) -> bool:
    """Return True if a limit is known. An unknown rim's class limit does not count: for a crochet rim it would not apply."""
    return (
        any(limit.id not in CLASS_ONLY for limit in limits)
        if rim.type == "unknown"
        else bool(limits)
    )


def _pressure_refusals(
    tyre: Tyre, limit: Limit, bound: int, instrument: Instrument | None, highest: float | None
) -> list[Note]:
    """`highest`: highest reading on the ride where the limit is held at the fill only."""
    notes = []
    if not bound:
        notes.append(
            Note(
                "ride-leaves-no-pressure",
                f"No fill here keeps the limit {show_limit(limit.pa)} on the whole ride. Fill at a place closer to the ride's heat and altitude.",
            )
        )
    if tyre.min_pa is not None and tyre.min_pa > bound:
        notes.append(
            Note(
                "tyre-minimum-above-ceiling",
                f"The tyre needs at least {show_minimum(tyre.min_pa)}, and the ceiling is {show_limit(bound)} ({limit.id}: "
                f"{limit.source}). No pressure is allowed: this tyre does not belong on this rim for this ride. Fit a tyre with a lower minimum.",
            )
        )
    if highest is not None and highest * 100 > limit.pa * FILL_ONLY_PERCENT:
        notes.append(
            Note(
                "limit-exceeded-on-ride",
                f"Held at the fill only, this would read {show_reading(highest, limit.pa)} on the ride, above "
                f"{FILL_ONLY_PERCENT} % of the limit {show_limit(limit.pa)}. Let the limit hold on the whole ride.",
            )
        )
    if instrument and bound and bound <= instrument.guard_pa:
        notes.append(
            Note(
                "guard-band-above-ceiling",
                f"This inflator's guard band {show_limit(instrument.guard_pa)} leaves nothing of the ceiling. Use a finer one.",
            )
        )
    return notes


@dataclass(frozen=True)
class _Asked:
    """What an answer is about."""

    rim: Rim
    tyre: Tyre
    instrument: Instrument | None
    fill: Place = SEA_LEVEL
    ride: Ride | None = None
    held_on: str = "ride"


def _answer(
    asked: _Asked,
    limits: tuple[Limit, ...],
    refusals: list[Note],
    warnings: list[Note],
    bound: int | None = None,
) -> Assessment:
    instrument, ride = asked.instrument, asked.ride
    ceiling = bound if not refusals else None
    limit = limits[0] if limits else None
    return Assessment(
        status="refused" if refusals else "ok",
        ceiling_pa=ceiling,
        stop_reading_pa=ceiling - instrument.guard_pa
        if ceiling is not None and instrument
        else None,
        governing=limit.id if limit else None,
        limits=limits,
        window=Window(asked.tyre.min_pa, ceiling),
        envelope=envelope(limit.pa, ceiling, asked.fill, ride) if limit else None,
        refusals=tuple(refusals),
        warnings=tuple(warnings),
        limit_pa=limit.pa if limit else None,
        bound_pa=bound,
        guard_pa=instrument.guard_pa if instrument else None,
        held_on=asked.held_on,
        instrument=instrument,
        rim=asked.rim,
        tyre=asked.tyre,
        ride_stated=ride is not None and ride.stated,
    )
