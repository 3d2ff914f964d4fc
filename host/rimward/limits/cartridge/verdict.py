"""Verdict of `rimward cartridge`: a charge compared with a rim's ceiling, as JSON and as text."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from rimward.base.units import celsius, floor_kpa, show_limit, show_reading
from rimward.limits.cartridge.charge import (
    OVERNIGHT_LOSS_PERCENT,
    Charge,
    Outcome,
    State,
    charge_tyre,
)
from rimward.limits.ceiling import Assessment, Note, Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.places import place_refusals
from rimward.limits.volume import Volumes, least_inside, stated

# A pair refused for one of these cannot hold a cartridge at all; any other refusal of the pair becomes a warning, so that the
# danger of the gas is still computed and shown.
FATAL = {
    "bead-seat-mismatch",
    "bead-seat-unknown",
    "tyre-not-wider-than-rim",
    "pressure-implausible",
    "minimum-above-maximum",
    "fill-temperature-implausible",
    "fill-hotter-than-ride",
}
LOSS_ADVICE = "Carbon dioxide leaks through rubber much faster than air: refill with air."


@dataclass(frozen=True)
class Verdict:
    """Charge and its outcome, None when refused. `ceiling_pa` is the wheel's for a fill where the tyre settles."""

    charge: Charge | None
    outcome: Outcome | None
    ceiling_pa: int | None
    limit_pa: int | None
    refusals: tuple[Note, ...]
    warnings: tuple[Note, ...]


def assess_cartridge(
    grams: float,
    rim: Rim | None,
    tyre: Tyre | None,
    refusals: Sequence[Note] = (),
    *,
    volume_l: float | None = None,
    start: str = "seated",
    start_pa: int = 0,
    temp_c: float = 20.0,
    altitude_m: float = 0.0,
    ride: Ride | None = None,
) -> Verdict:
    """Assess `grams` of CO2 in all. `refusals`: inputs that could not be read; with any there is no outcome."""
    ride, place = ride or Ride(), Place.of(temp_c, altitude_m)
    found = assess(rim, tyre, place, ride) if rim and tyre else None
    fatal = [
        *refusals,
        *_fatal(found, tyre, volume_l),
        *([] if found else [n for n in place_refusals(place, ride) if n.id in FATAL]),
    ]
    if fatal:
        return Verdict(None, None, None, None, tuple(fatal), ())
    hottest_c = None if ride.temp_max_ck is None else celsius(ride.temp_max_ck)
    charge = Charge(
        grams,
        _volumes(tyre, rim, volume_l),
        start,
        start_pa,
        temp_c,
        altitude_m,
        hottest_c,
        ride.altitude_max_m,
    )
    ceiling = found.bound_pa if found else None
    limit = floor_kpa(found.limit_pa) if found and found.limit_pa is not None else None
    outcome = charge_tyre(charge, limit, ceiling_pa=ceiling)
    return Verdict(
        charge,
        outcome,
        ceiling,
        limit,
        (),
        tuple(_warnings(outcome, charge, ceiling, limit, found)),
    )


def answer(verdict: Verdict) -> dict[str, Any]:
    """Return the documented JSON answer; all keys are always present, null without a value."""
    out, charge = verdict.outcome, verdict.charge
    low, high = OVERNIGHT_LOSS_PERCENT
    return {
        "status": "refused" if verdict.refusals else "ok",
        "gauge_pa": round(out.settled.low_volume_pa) if out else None,
        "ideal_gauge_pa": round(out.ideal_pa) if out else None,
        "states": _states(out) if out else None,
        "ceiling_pa": verdict.ceiling_pa,
        "limit_pa": verdict.limit_pa,
        "over_ceiling": out.over_ceiling if out else None,
        "largest_grams_within_ceiling": out.largest_grams if out else None,
        "grams": charge.grams if charge else None,
        "start": charge.start if charge else None,
        "volume_l": {
            "low": charge.volumes.low_l,
            "nominal": charge.volumes.nominal_l,
            "high": charge.volumes.high_l,
        }
        if charge
        else None,
        "overnight_loss": {
            "low_percent": low,
            "high_percent": high,
            "basis": "estimate",
            "advice": LOSS_ADVICE,
        },
        "refusals": [{"id": note.id, "text": note.text} for note in verdict.refusals],
        "warnings": [{"id": note.id, "text": note.text} for note in verdict.warnings],
    }


def sentences(verdict: Verdict) -> Iterator[str]:
    """Return the verdict as lines of text."""
    for note in verdict.refusals:
        yield f"REFUSED   {note.id}: {note.text}"
    if verdict.outcome and verdict.charge:
        yield from _outcome_lines(
            verdict.outcome, verdict.charge, verdict.ceiling_pa, verdict.limit_pa
        )
    for note in verdict.warnings:
        yield f"warning   {note.id}: {note.text}"


def _outcome_lines(
    out: Outcome, charge: Charge, ceiling: int | None, limit: int | None
) -> Iterator[str]:
    v = charge.volumes
    yield f"volume    {v.low_l:.2f} L used (lowest); nominal {v.nominal_l:.2f} L, highest {v.high_l:.2f} L"
    cold, warm = out.just_after_band_pa
    first = out.just_after
    yield f"at first  {show_reading(first.low_volume_pa, ceiling)} gauge with the gas at {first.temp_c:.0f} °C, cold from the cartridge"
    yield f"          (from {show_reading(cold)} to {show_reading(warm)} for a gas of -20 to 0 °C)"
    yield f"settled   {show_reading(out.settled.low_volume_pa, ceiling)} gauge at {out.settled.temp_c:.0f} °C"
    yield f"hottest   {show_reading(out.hottest.low_volume_pa, limit)} gauge at {out.hottest.temp_c:.0f} °C and {charge.top_m:.0f} m"
    ideal, roomy = show_reading(out.ideal_pa), show_reading(out.settled.high_volume_pa)
    yield f"          (an ideal gas would settle at {ideal}; the largest volume at {roomy})"
    if ceiling is None or limit is None:
        yield "ceiling   unknown: give --rim and the pressures marked on rim and tyre"
    else:
        yield f"ceiling   {show_limit(ceiling)} gauge where it settles, limit {show_limit(limit)} on the ride; at most {out.largest_grams} g keep within both"
        yield (
            "OVER THE CEILING: do not use this cartridge on this wheel."
            if out.over_ceiling
            else "within the ceiling"
        )
    low, high = OVERNIGHT_LOSS_PERCENT
    yield f"overnight estimate: {low} to {high} % of the gauge pressure is lost. {LOSS_ADVICE}"


def _states(out: Outcome) -> dict[str, Any]:
    low, high = out.just_after_band_pa
    return {
        "just_after": _state(out.just_after) | {"band_pa": [round(low), round(high)]},
        "settled": _state(out.settled),
        "hottest": _state(out.hottest),
    }


def _state(state: State) -> dict[str, Any]:
    return {
        "gauge_pa": round(state.low_volume_pa),
        "temp_c": state.temp_c,
        "nominal_volume_gauge_pa": round(state.nominal_volume_pa),
        "high_volume_gauge_pa": round(state.high_volume_pa),
    }


def _warnings(
    out: Outcome, charge: Charge, ceiling: int | None, limit: int | None, found: Assessment | None
) -> Iterator[Note]:
    if out.over_ceiling and ceiling is not None and limit is not None:
        yield Note(
            "over-ceiling",
            f"This settles at {show_reading(out.settled.low_volume_pa, ceiling)} with a ceiling of {show_limit(ceiling)}, and reads "
            f"{show_reading(out.hottest.low_volume_pa, limit)} at {out.hottest.temp_c:.0f} °C and {charge.top_m:.0f} m with a limit of "
            f"{show_limit(limit)}. Do not use it on this wheel.",
        )
    if out.may_be_liquid:
        yield Note(
            "may-be-liquid",
            "So much carbon dioxide in so little volume is partly liquid when cold; the pressure rises long after, as it warms.",
        )
    if out.past_validity:
        yield Note("past-validity", "Above 15 bar absolute the gas model is not checked.")
    for note in found.refusals if found else ():
        yield Note(note.id, f"`rimward ceiling` refuses this pair: {note.text}")
    for note in found.warnings if found else ():
        if note.id not in ("ride-not-stated", "iso-minimum-pressure"):
            yield note


def _fatal(found: Assessment | None, tyre: Tyre | None, volume_l: float | None) -> list[Note]:
    if found:
        return [note for note in found.refusals if note.id in FATAL]
    if volume_l or tyre is None or tyre.bead_seat_mm:
        return []
    return [
        Note(
            "bead-seat-unknown",
            "The tyre's bead-seat diameter is unknown, so its volume is unknown. Give --volume-l, or the size as 28-622.",
        )
    ]


def _volumes(tyre: Tyre | None, rim: Rim | None, volume_l: float | None) -> Volumes:
    if volume_l:
        return stated(volume_l)
    assert tyre is not None and tyre.bead_seat_mm is not None
    return least_inside(
        tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm if rim else None, tube=tyre.air != "tubeless"
    )
