"""Answer as text: each step of limit, ride, ceiling, inflator and stop reading, in bar and in psi."""

from collections.abc import Callable, Iterator

from rimward.base.units import bar_down, celsius, psi_down, show_limit, show_minimum, show_reading
from rimward.limits.ceiling.model import Assessment, Envelope

CAUTION = (
    "Wear eye protection and stay out of the plane of the wheel. The makers' own limits come first. "
    "These are limits, not advice on what to ride."
)


def chain(found: Assessment) -> list[str]:
    """Format `limit 5.00 bar → ride −0.73 → ceiling 4.27 → this inflator −0.10 → stops at 4.17`, once in bar and once in psi.

    The ride's step includes the rounding to 1 kPa. Without a ride step the rounding is named separately.
    """
    if found.ceiling_pa is None or found.limit_pa is None:
        return []
    return [_chain(found, "bar", bar_down, 2), _chain(found, "psi", psi_down, 1)]


def _chain(found: Assessment, unit: str, show: Callable[[int], str], digits: int) -> str:
    assert found.ceiling_pa is not None and found.limit_pa is not None

    def less(upper: int, lower: int) -> str:
        return f"−{float(show(upper)) - float(show(lower)):.{digits}f}"

    steps = [f"limit {show(found.limit_pa)} {unit}"]
    e = found.envelope
    if e is not None and found.held_on == "ride" and _changes(e):
        steps.append(f"ride {less(found.limit_pa, found.ceiling_pa)}")
    else:
        if found.ride_stated and found.held_on == "ride":
            steps.append(f"ride −{0:.{digits}f}")
        if show(found.limit_pa) != show(found.ceiling_pa):
            steps.append(f"rounded down {less(found.limit_pa, found.ceiling_pa)}")
    steps.append(f"ceiling {show(found.ceiling_pa)}")
    if found.stop_reading_pa is not None:
        steps += [
            f"this inflator {less(found.ceiling_pa, found.stop_reading_pa)}",
            f"stops at {show(found.stop_reading_pa)}",
        ]
    return " → ".join(steps)


def arithmetic(found: Assessment) -> str:
    """Envelope formula with its numbers, absolute pressures named as such; empty where the ride changes nothing."""
    e = found.envelope
    if (
        e is None
        or found.limit_pa is None
        or found.ceiling_pa is None
        or found.held_on == "fill"
        or not _changes(e)
    ):
        return ""
    return (
        f"({found.limit_pa / 1000:.1f} + {e.lowest_ambient_pa / 1000:.2f}) kPa x {e.fill_ck / 100:.2f} K / {e.hottest_ck / 100:.2f} K "
        f"− {e.fill_ambient_pa / 1000:.2f} kPa = {e.fill_ceiling_pa / 1000:.2f} kPa, rounded down to {found.ceiling_pa // 1000} kPa "
        "(limit and result gauge, the other two ambient)"
    )


def _changes(e: Envelope) -> bool:
    return e.hottest_ck != e.fill_ck or e.lowest_ambient_pa != e.fill_ambient_pa


def sentences(found: Assessment) -> Iterator[str]:
    """Return the whole answer, line by line."""
    for limit in found.limits:
        mark = " <- governs" if limit.id == found.governing else ""
        yield f"limit     {show_limit(limit.pa)} gauge  {limit.id}: {limit.source} [{limit.confidence}]{mark}"
    for note in found.refusals:
        yield f"REFUSED   {note.id}: {note.text}"
    if found.ceiling_pa is not None:
        yield from _answered(found)
    for note in found.warnings:
        yield f"warning   {note.id}: {note.text}"
    yield f"caution   {CAUTION}"


def _answered(found: Assessment) -> Iterator[str]:
    assert found.ceiling_pa is not None and found.limit_pa is not None
    for line in chain(found):
        yield f"steps     {line}"
    if sum_line := arithmetic(found):
        yield f"ride      {sum_line}"
        assert found.envelope is not None
        e = found.envelope
        yield (
            f"ride      at {celsius(e.hottest_ck):.0f} °C and the highest point a fill to the limit reads "
            f"{show_reading(e.highest_gauge_if_filled_to_limit_pa, found.limit_pa)}, a fill to the ceiling "
            f"{show_reading(e.highest_gauge_if_filled_to_ceiling_pa or 0, found.limit_pa)}"
        )
        from rimward.limits.uncertainty.ride import WEATHER_PA, envelope_uncertainty

        spread = envelope_uncertainty(found.limit_pa, e)
        yield (
            f"ride      a fill temperature uncertain by 0.5 K and weather of ±{WEATHER_PA / 100:.0f} hPa "
            f"give this an uncertainty of ±{spread.expanded / 1000:.1f} kPa "
            "(k = 2); it is not subtracted, so measure the tyre's temperature carefully"
        )
    if found.instrument and found.instrument.basis:
        yield f"inflator  guard band {show_minimum(found.instrument.guard_pa)}: {found.instrument.basis}"
    low = (
        "the tyre's minimum is not printed"
        if found.window.min_pa is None
        else f"from the tyre's minimum {show_minimum(found.window.min_pa)}"
    )
    yield f"window    {low}, up to {show_limit(found.ceiling_pa)} gauge"
    yield f"CEILING   {show_limit(found.ceiling_pa)} gauge"
    if found.stop_reading_pa is not None:
        yield f"STOPS AT  {show_limit(found.stop_reading_pa)} gauge on this inflator"
