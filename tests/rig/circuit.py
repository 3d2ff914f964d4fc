"""Sections of the rig report about faults of the circuit: exchanged pins, shorts and opens, heat, what several things share."""

from collections import Counter
from typing import Any

from hardware import swaps

Section = tuple[bool, list[str], dict[str, Any]]


def polarity() -> Section:
    """Every pair of pins of every polarised part exchanged, and what refuses it."""
    figures, left = swaps.figures(), swaps.survivors()
    by_rule = Counter(s.refused_by for s in swaps.survey() if s.refused_by)
    lines = [f"{figures['exchanges']:.0f} exchanged pairs of pins, {figures['refused']:.0f} refused; without the processor's own "
             f"{figures['refused_without_processor']:.0f} of {figures['without_processor']:.0f} ({figures['share']:.1%}; {swaps.LEAST_SHARE:.0%} wanted)"]
    lines += [f"{name}: {count}" for name, count in by_rule.most_common()]
    lines += [f"not refused: {s.ref} {' and '.join(sorted(s.pins))}: {s.reason or 'NO REASON'}" for s in left]
    return swaps.holds(), lines, {**figures, "by_rule": dict(by_rule), "survivors": {f"{s.ref} {' '.join(sorted(s.pins))}": s.reason for s in left}}
