"""A cartridge held against a rim's ceiling: the verdict of `rimward cartridge`, as JSON and in words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from rimward.cartridge.charge import OVERNIGHT_LOSS_PERCENT, Charge, Outcome, State, charge_tyre
from rimward.ceiling import Assessment, Note, Place, Rim, Tyre, assess
from rimward.units import show_limit, show_reading
from rimward.volume import Volumes, stated, volumes

# A pair refused for one of these cannot hold a cartridge at all; any other refusal of the pair is passed on as a warning, so that the
# danger of the gas is still computed and shown.
FATAL = {"bead-seat-mismatch", "bead-seat-unknown", "tyre-not-wider-than-rim", "pressure-implausible", "minimum-above-maximum"}
LOSS_ADVICE = "Carbon dioxide leaks through rubber much faster than air: refill with air."


@dataclass(frozen=True)
class Verdict:
    """What went in and what came out; `outcome` is None when refused."""

    charge: Charge | None
    outcome: Outcome | None
    ceiling_pa: int | None
    refusals: tuple[Note, ...]
    warnings: tuple[Note, ...]


def judge(
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
    ride_temp_max_c: float | None = None,
) -> Verdict:
    """The verdict on `grams` of CO2 in all. `refusals` are what could already not be read; with any there is no outcome."""
    found = assess(rim, tyre, Place.of(temp_c, altitude_m)) if rim and tyre else None
    fatal = [*refusals, *_fatal(found, tyre, volume_l)]
    if fatal:
        return Verdict(None, None, None, tuple(fatal), ())
    charge = Charge(grams, _volumes(tyre, rim, volume_l), start, start_pa, temp_c, altitude_m, ride_temp_max_c)
    ceiling = found.bound_pa if found else None
    outcome = charge_tyre(charge, ceiling)
    return Verdict(charge, outcome, ceiling, (), tuple(_warnings(outcome, charge, ceiling, found)))


def answer(verdict: Verdict) -> dict[str, Any]:
    """The documented JSON answer; all keys are always there, null where there is no value."""
    out, charge = verdict.outcome, verdict.charge
    low, high = OVERNIGHT_LOSS_PERCENT
    return {
        "status": "refused" if verdict.refusals else "ok",
        "gauge_pa": round(out.settled.low_volume_pa) if out else None,
        "ideal_gauge_pa": round(out.ideal_pa) if out else None,
        "states": _states(out) if out else None,
        "ceiling_pa": verdict.ceiling_pa,
        "over_ceiling": out.over_ceiling if out else None,
        "largest_grams_within_ceiling": out.largest_grams if out else None,
        "grams": charge.grams if charge else None,
        "start": charge.start if charge else None,
        "volume_l": {"low": charge.volumes.low_l, "nominal": charge.volumes.nominal_l, "high": charge.volumes.high_l} if charge else None,
        "overnight_loss": {"low_percent": low, "high_percent": high, "basis": "estimate", "advice": LOSS_ADVICE},
        "refusals": [{"id": note.id, "text": note.text} for note in verdict.refusals],
        "warnings": [{"id": note.id, "text": note.text} for note in verdict.warnings],
    }


def sentences(verdict: Verdict) -> Iterator[str]:
    """The verdict for people."""
    for note in verdict.refusals:
        yield f"REFUSED   {note.id}: {note.text}"
    if verdict.outcome and verdict.charge:
        yield from _outcome_lines(verdict.outcome, verdict.charge, verdict.ceiling_pa)
    for note in verdict.warnings:
        yield f"warning   {note.id}: {note.text}"


def _outcome_lines(out: Outcome, charge: Charge, ceiling: int | None) -> Iterator[str]:
    v = charge.volumes
    yield f"volume    {v.low_l:.2f} L used (lowest); nominal {v.nominal_l:.2f} L, highest {v.high_l:.2f} L"
    cold, warm = out.just_after_band_pa
    first = out.just_after
    yield f"at first  {show_reading(first.low_volume_pa, ceiling)} gauge with the gas at {first.temp_c:.0f} °C, cold from the cartridge"
    yield f"          (from {show_reading(cold)} to {show_reading(warm)} for a gas of -20 to 0 °C)"
    yield f"settled   {show_reading(out.settled.low_volume_pa, ceiling)} gauge at {out.settled.temp_c:.0f} °C"
    yield f"hottest   {show_reading(out.hottest.low_volume_pa, ceiling)} gauge at {out.hottest.temp_c:.0f} °C"
    ideal, roomy = show_reading(out.ideal_pa), show_reading(out.settled.high_volume_pa)
    yield f"          (an ideal gas would settle at {ideal}; the largest volume at {roomy})"
    if ceiling is None:
        yield "ceiling   not known: give --rim and the pressures marked on rim and tyre"
    else:
        yield f"ceiling   {show_limit(ceiling)} gauge; at most {out.largest_grams} g keep within it"
        yield "OVER THE CEILING: do not use this cartridge on this wheel." if out.over_ceiling else "within the ceiling"
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


def _warnings(out: Outcome, charge: Charge, ceiling: int | None, found: Assessment | None) -> Iterator[Note]:
    if out.over_ceiling and ceiling is not None:
        yield Note(
            "over-ceiling",
            f"This reads {show_reading(out.hottest.low_volume_pa, ceiling)} at {out.hottest.temp_c:.0f} °C, "
            f"above the ceiling {show_limit(ceiling)}. Do not use it on this wheel.",
        )
    if out.may_be_liquid:
        yield Note(
            "may-be-liquid", "So much carbon dioxide in so little volume may be liquid when cold; the computed pressures do not hold."
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
            "The tyre's bead-seat diameter is not known, so its volume is not either. Give --volume-l, or the size as 28-622.",
        )
    ]


def _volumes(tyre: Tyre | None, rim: Rim | None, volume_l: float | None) -> Volumes:
    if volume_l:
        return stated(volume_l)
    assert tyre is not None and tyre.bead_seat_mm is not None
    return volumes(tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm if rim else None)
