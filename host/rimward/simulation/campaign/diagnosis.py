"""Diagnosis figures: the correct cause of each fault and the cause that sessions reported first, as one confusion matrix."""

from collections import Counter
from collections.abc import Mapping
from typing import Any

import numpy as np
from rimward_protocol import causes

from rimward.simulation.plant.faults import FAULTS

NOTHING = "nothing"
REPORTED_SHARE = 0.95

# Fault -> words of its correct causes. Empty: the firmware has no cause for it yet. With two words either is correct only where
# the two are one of PAIRS.
RIGHT: Mapping[str, tuple[str, ...]] = {
    "gate_stuck_on": ("gate-element-stuck", "rising-while-off"),
    "relay_stuck_on": ("relay-stuck",),
    "both_stuck_on": ("rising-while-off",),
    "solenoid_leaking": ("rising-while-off",),
    "hose_pulled_off": ("hose-or-tyre", "no-tyre"),
    "hose_detached": ("hose-or-tyre", "no-tyre"),
    "hose_cracked": ("hose-or-tyre", "leaking"),
    "slow_puncture": ("leaking",),
    "fast_puncture": ("leaking", "not-rising"),
    "blow_off": ("leaking", "not-rising"),
    "a_stuck": ("sensor-a-frozen",),
    "b_stuck": ("sensor-b-frozen",),
    "a_open": ("sensor-a-range",),
    "b_open": ("sensor-b-range",),
    "a_shorted": ("sensor-a-range",),
    "b_shorted": ("sensor-b-range",),
    **{
        f"{side}_{name}": ("sensors-disagree",)
        for side in "ab"
        for name in ("offset", "drift", "noisy", "late", "tap_blocked")
    },
    "both_taps_blocked": ("not-rising", "independent-cutoff"),
    "neck_blocked": ("not-rising", "independent-cutoff"),
    "barometer_dead": ("barometer",),
    "barometer_wrong": ("barometer", "sensors-disagree"),
    "brown_out": ("sensor-supply",),
    "tyre_over_full": ("above-target",),
    "timer_late": ("tick-late",),
    "timer_skipped": ("tick-late",),
    "wrong_wheel": ("wrong-volume",),
}
PAIRS: tuple[frozenset[str], ...] = tuple(
    frozenset(pair)
    for pair in (
        ("gate-element-stuck", "rising-while-off"),  # the same part, found by the self-test or during a fill
        ("hose-or-tyre", "no-tyre"),  # hose off: seen as a fall, or at the next burst
        ("leaking", "not-rising"),  # a leak that the source just exceeds, or just does not
        ("not-rising", "independent-cutoff"),  # both readings frozen: the window that ends first
        ("hose-or-tyre", "leaking"),  # a cracked hose while the core is open
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
    return word in right and (len(right) == 1 or frozenset(right) in PAIRS)


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
    right = np.array([is_right(fault, word) for word in words])
    reported = seen & large
    return {
        "fault": fault or "none", "set": FAULTS[fault].set if fault else "D", "sessions": len(rows), "words": dict(Counter(words).most_common()),
        "reported": float(seen.mean()), "reported_from": size_text(fault, part) if fault else "-",
        "right_of_reported": float(right[reported].mean()) if reported.any() else 0.0, "has_cause": bool(RIGHT.get(fault)), "over": int((rows["exceed"] > 0).sum()),
    }  # fmt: skip


def precision(matrix: list[dict[str, Any]]) -> dict[str, float]:
    """Share of correct reports among the sessions that reported a cause first, with equal numbers of sessions for every fault."""
    reported: Counter[str] = Counter()
    right: Counter[str] = Counter()
    for row in matrix:
        for word, count in row["words"].items():
            reported[word] += count
            right[word] += count if is_right(row["fault"], word) else 0
    return {word: right[word] / count for word, count in reported.most_common() if word != NOTHING}
