"""Diagnosis figures: the correct cause of each fault and the cause that sessions reported first, as one confusion matrix."""

import re
from collections import Counter
from collections.abc import Mapping
from typing import Any

import numpy as np
from rimward_protocol import causes, interval

from rimward.simulation.coupling import DONE
from rimward.simulation.plant.faults import FAULTS

NOTHING = "nothing"
REPORTED_SHARE = 0.95
BAND_PA = 10_000  # guard band: two transducers of the default class

# Fault -> words of its correct causes. Empty: the firmware has no cause for it. With two words either is correct only where
# the two are one of PAIRS. A fault that differs by source has a row for a line as well, with LINE behind its name.
LINE = " (line)"
RIGHT: Mapping[str, tuple[str, ...]] = {
    "gate_stuck_on": ("gate-element-stuck", "rising-while-off"),
    "relay_stuck_on": ("relay-stuck",),
    "both_stuck_on": ("gate-element-stuck", "rising-while-off"),
    "solenoid_leaking": (
        "hose-or-tyre",
        "air-budget",
    ),  # a compressor's outlet valve: air goes back
    "solenoid_leaking" + LINE: ("gate-element-stuck", "rising-while-off"),
    "hose_pulled_off": ("hose-or-tyre", "no-tyre"),
    "hose_detached": ("hose-or-tyre", "no-tyre"),
    "hose_cracked": ("hose-or-tyre", "air-budget"),
    "hose_kinked": ("not-seen",),
    "core_stuck_shut": ("not-seen",),
    "slow_puncture": ("hose-or-tyre", "air-budget"),
    "fast_puncture": ("hose-or-tyre", "air-budget"),
    "blow_off": ("hose-or-tyre", "no-tyre"),
    "a_stuck": ("sensor-a-frozen",),
    "b_stuck": ("sensor-b-frozen",),
    "a_open": ("sensor-a-range",),
    "b_open": ("sensor-b-range",),
    "a_shorted": ("sensor-a-range",),
    "b_shorted": ("sensor-b-range",),
    **{
        f"{side}_{name}": ("sensors-disagree",)
        for side in "ab"
        for name in ("drift", "noisy", "late", "tap_blocked")
    },
    **{f"{side}_offset": (f"sensor-{side}-range", "sensors-disagree") for side in "ab"},
    "both_taps_blocked": ("independent-cutoff",),
    "neck_blocked": ("independent-cutoff",),
    "barometer_dead": ("barometer",),
    "barometer_wrong": ("barometer", "sensors-disagree"),
    "brown_out": ("sensor-supply",),
    "tyre_over_full": ("above-target", "not-seen"),
    "timer_late": ("tick-late",),
    "timer_skipped": ("tick-late",),
    "wrong_wheel": ("wrong-volume",),
}
PAIRS: tuple[frozenset[str], ...] = tuple(
    frozenset(pair)
    for pair in (
        ("gate-element-stuck", "rising-while-off"),  # the same part, found by the self-test or during a fill
        ("hose-or-tyre", "no-tyre"),  # hose off: seen as a fall, or at the next burst
        ("hose-or-tyre", "air-budget"),  # a leak that ends the fill by its fall, or by the air that it takes
        ("above-target", "not-seen"),  # a tyre seen through an open core; behind a closed one its reading is the hose's
        ("sensor-x-range", "sensors-disagree"),  # an error that leaves the range is a broken wire to anyone; x: a or b
        ("barometer", "sensors-disagree"),  # only A against B shows a barometer with a small error
    )
)  # fmt: skip


def first_reported(rows: np.ndarray) -> list[str]:
    """Word of the first cause reported after the fault began, one for each row; NOTHING without one."""
    found = []
    for row in rows:
        begun = max(int(row["at"]), 0)
        times = [
            (int(row[f"{name}_at"]), int(row[name]))
            for name, least in (("cause", 0), ("stop", 1), ("why", 0))
            if row[name] > least and row[f"{name}_at"] >= begun
        ]
        found.append(str(causes.row_of(min(times)[1])[1]) if times else NOTHING)
    return found


def is_right(fault: str, word: str) -> bool:
    """Return True if `word` is a correct cause of `fault`: its only one, or one of a pair in the table."""
    right = RIGHT.get(fault, ())
    return word in right and (len(right) == 1 or pair_of(right) in PAIRS)


def pair_of(words: tuple[str, ...]) -> frozenset[str]:
    """Words as PAIRS has them: the transducers are alike."""
    return frozenset(re.sub("^sensor-[ab]-", "sensor-x-", word) for word in words)


def name_of(fault: str, line: bool) -> str:
    """Name of the fault's row in RIGHT, on a line or a compressor."""
    return fault + LINE if line and fault + LINE in RIGHT else fault


def harmless(rows: np.ndarray) -> np.ndarray:
    """Mask of the sessions whose fill was done with the settled tyre where the display says, guard band included: a held-open core
    within 10 kPa of its target, a closed one within the range shown (`rimward_protocol.interval`) and 10 kPa."""
    error = rows["settled_pa"] - rows["target_pa"]
    open_core = rows["pin"] > 0
    low = np.where(open_core, 0, interval.BELOW_PA) + BAND_PA
    high = np.where(open_core, 0, interval.ABOVE_PA) + BAND_PA
    return np.asarray((rows["state"] == DONE) & (error >= -low) & (error <= high))


def magnitude(fault: str, severity: np.ndarray) -> np.ndarray:
    """Size of the fault within its range, 0..1, whatever its sign."""
    signed = any(effect.signed for effect in FAULTS[fault].effects)
    return np.abs(2.0 * severity - 1.0) if signed else severity


def reported_from(sizes: np.ndarray, seen: np.ndarray) -> float | None:
    """Least size from which 95 % of the sessions reported something; None where the largest tenth did not."""
    order = np.argsort(sizes)
    share = seen[order][::-1].cumsum()[::-1] / np.arange(len(seen), 0, -1)
    good = np.flatnonzero(share[: int(0.9 * len(seen)) + 1] >= REPORTED_SHARE)
    return float(sizes[order][good[0]]) if len(good) else None


def size_text(fault: str, part: float | None) -> str:
    """Format the fault's size at `part` of its range, in the unit of its field."""
    row = FAULTS[fault]
    if part is None:
        return "-"
    if not row.effects and not row.flags:
        return "all"
    if row.effects:
        effect = row.effects[0]
        if effect.low == effect.high:
            return "all"
        return f"{abs(effect.value(0.5 + 0.5 * part if effect.signed else part)):.3g}"
    return ", ".join(f"{row.flag(name, part):.3g} {name.rsplit('_', 1)[-1]}" for name in row.flags)


def figures(rows: np.ndarray, fault: str, severity: np.ndarray) -> dict[str, Any]:
    """One row of the matrix; `fault` is empty for none. `severity` 0..1, one for each row."""
    words = first_reported(rows)
    seen = np.array([word != NOTHING for word in words])
    sizes = magnitude(fault, severity) if fault else np.zeros(len(rows))
    part = reported_from(sizes, seen) if fault else None
    large = sizes >= part if part is not None else np.ones(len(rows), bool)
    right = np.array(
        [
            is_right(name_of(fault, line > 0), word)
            for word, line in zip(words, rows["line"], strict=True)
        ]
    )
    reported = seen & large
    safe = seen | harmless(rows)
    return {
        "fault": fault or "none", "set": FAULTS[fault].set if fault else "D", "sessions": len(rows), "words": dict(Counter(words).most_common()),
        "reported": float(seen.mean()), "reported_from": size_text(fault, part) if fault else "-",
        "reported_or_harmless": float(safe.mean()), "right": dict(Counter(word for word, good in zip(words, right, strict=True) if good)),
        "right_of_reported": float(right[reported].mean()) if reported.any() else 0.0, "has_cause": bool(RIGHT.get(fault)), "over": int((rows["exceed"] > 0).sum()),
    }  # fmt: skip


def precision(matrix: list[dict[str, Any]]) -> dict[str, float]:
    """Share of correct reports among the sessions that reported a cause first, with equal numbers of sessions for every fault."""
    reported: Counter[str] = Counter()
    right: Counter[str] = Counter()
    for row in matrix:
        for word, count in row["words"].items():
            reported[word] += count
            right[word] += row["right"].get(word, 0)
    return {word: right[word] / count for word, count in reported.most_common() if word != NOTHING}
