"""Visit of a wheel to an inflator, from its session: pressure found and pressure left.

Found: the tyre's pressure before any air went in. A pin-open chuck shows it, less the air that filled the hose. Behind a
pressure-open chuck
it is the point where the reading stops rising steeply: there the valve core opens, its spring pressure above the tyre. Pressures gauge
pascal, temperatures kelvin.
"""

from dataclasses import dataclass

import numpy as np
from rimward_protocol import causes, codes, enumerations, kernel_words

from rimward.sessions.log import SessionLog
from rimward.sessions.targets import targets_of

# From simulated visits with known truth, `python -m tests.bench.visits`: standard uncertainties and mean errors.
U_FOUND_PA = {"pin-open": 1_800.0, "pressure-open": 6_000.0}
U_LEFT_PA = {
    "pin-open": 2_500.0,
    "pressure-open": 5_000.0,
}  # at rest; the spring of a closed core is assumed
LEFT_HIGH_PA = {
    "pin-open": 0.0,
    "pressure-open": 9_000.0,
}  # mean error of the assumed spring, reading too high
U_LEFT_WARM_PA = 8_000.0  # stopped during a fill, the air still warm
KNEE_PA = 26_800.0  # from the tyre's pressure to the opening of its core: the spring assumed by the fill controller, and the flow's drop
SHORT_TERM = 0.1  # share of the guard band by which one instrument may differ between two visits
U_TEMPERATURE_K = 1.0  # a tyre after an hour in the room, against the air
U_STATED_K = 3.0  # a temperature stated by a person
MEASURED_AFTER_HAND_PUMP_PA = (
    20_000  # target of a run that only measures a tyre filled by hand pump
)
SHOWS_PA = 10_000.0  # a reading above this at the hose, before any flow, is the tyre's
KNEE_TICKS = 700  # time in which the hose reaches the tyre's pressure
FLOWING = (4, 5, 6, 9, 10, 16)  # FILL_STATES in which air may flow in
COLD = kernel_words.FILL_STATE.index("cold")
VOLUME = kernel_words.FILL_STATE.index("volume")
HOSE = kernel_words.FILL_INPUT.index("manifold_ml")


@dataclass(frozen=True)
class Visit:
    """Results of one session for a wheel. `u_..` are standard uncertainties; None where the record does not support a value."""

    name: str
    wheel_id: str
    device: str
    calibration: str
    chuck: str
    start_s: int
    end_s: int
    found_pa: float | None
    u_found_pa: float
    left_pa: float | None
    u_left_pa: float
    ambient_pa: float
    temp_k: float
    u_temp_k: float
    u_instrument_pa: float


def visit_of(log: SessionLog, name: str = "") -> Visit | None:
    """Return the visit of a session; None without wheel, clock or proper end."""
    profile, here, end = log.profile, log.conditions, log.end
    if (
        profile is None
        or not here
        or end is None
        or not log.header["unix_s"]
        or not any(profile["wheel_id"])
        or log.bench
    ):
        return None
    chuck = codes.word_of(enumerations.CHUCKS, profile["chuck"])
    first = int(log.trace["tick"][0]) if len(log.trace) else end["tick"]
    start = int(log.header["unix_s"])
    rested = _rested(log)
    return Visit(
        name=name,
        wheel_id=profile["wheel_id"].hex(),
        device=log.header["device_id"].hex(),
        calibration=(log.meta.get("calibration-a", b"") + log.meta.get("calibration-b", b"")).hex(),
        chuck=chuck,
        start_s=start,
        end_s=start + round((end["tick"] - first) * codes.TICK_US / 1e6),
        found_pa=None if _pumped_by_hand(log) else _found(log, chuck, profile["volume_ml"]),
        u_found_pa=U_FOUND_PA[chuck],
        left_pa=_left(log, rested, LEFT_HIGH_PA[chuck]),
        u_left_pa=U_LEFT_PA[chuck] if rested else U_LEFT_WARM_PA,
        ambient_pa=float(here["ambient_pa"]),
        temp_k=here["t0_ck"] / 100.0,
        u_temp_k=U_TEMPERATURE_K if here["t0_ck"] == here["air_ck"] else U_STATED_K,
        u_instrument_pa=(here["ceiling_pa"] - here["stop_pa"]) / 2.0,
    )


def cold_pa(log: SessionLog) -> int | None:
    """Tyre pressure once it has the air's temperature, gauge pascal, as the fill controller last knew it; None where the fill did not end at rest."""
    left = _left(log, True, 0.0) if _rested(log) else None
    return None if left is None else round(left)


def _rested(log: SessionLog) -> bool:
    end = log.end
    return end is not None and (
        codes.word_of(enumerations.FILL_STATES, end["state"]) == "done"
        or end["cause"] == causes.ABOVE_TARGET
    )


def _left(log: SessionLog, rested: bool, high_pa: float) -> float | None:
    """Tyre pressure at the air's temperature, as last known to the fill controller; None if unknown."""
    if log.end is None or log.end["tyre_pa"] < 0:
        return None
    marks = [arrays["f"] for span in log.spans for arrays in span.marks.values()]
    return float(marks[-1][COLD] if rested and marks else log.end["tyre_pa"]) - high_pa


def _pumped_by_hand(log: SessionLog) -> bool:
    """Return True if the person stated that air was added by hand before this visit."""
    answers = [(row["value"], row["value2"]) for row in log.events if row["event"] == "answer"]
    return (2, 2) in answers or 0 < max(
        (pa for _tick, pa in targets_of(log)), default=0
    ) <= MEASURED_AFTER_HAND_PUMP_PA


def _found(log: SessionLog, chuck: str, profile_ml: int) -> float | None:
    """Tyre pressure before air went in; None where the record does not show it."""
    series = log.series(5)
    reading = np.maximum(series["a_pa"], series["b_pa"]).astype(float)
    gate = (series["out"] & codes.OUT_GATE) != 0
    if chuck == "pin-open":
        seen = series["tyre_pa"] >= 0
        before = reading[: int(np.argmax(seen)) if seen.any() else len(reading)]
        before = before[before > SHOWS_PA][-20:]
        return _before_the_hose(log, float(np.median(before)), profile_ml) if len(before) else None
    rising = gate & (reading > SHOWS_PA / 2) & np.isin(series["state"], FLOWING)
    knee = (
        _knee(series["tick"].astype(float), reading, gate, int(np.argmax(rising)))
        if rising.any()
        else None
    )
    return None if knee is None else max(0.0, knee - KNEE_PA)


def _before_the_hose(log: SessionLog, reading_pa: float, profile_ml: int) -> float:
    """Tyre pressure before it filled the hose (gauge), from their common pressure."""
    ambient = float(log.conditions["ambient_pa"])
    learnt = [
        int(arrays["f"][VOLUME])
        for span in log.spans
        for arrays in span.marks.values()
        if arrays["f"][VOLUME] > 0
    ]
    hoses = [int(span.y[-1, HOSE]) for span in log.spans]
    share = (hoses[-1] if hoses else 0) / float(learnt[-1] if learnt else profile_ml)
    return (reading_pa + ambient) * (1.0 + share) - ambient * share - ambient


def _knee(tick: np.ndarray, reading: np.ndarray, gate: np.ndarray, first: int) -> float | None:
    """Return the reading at which the rise at the hose bends, from sample `first` on: the intersection of the two best-fitting straight lines."""
    stopped = np.flatnonzero(~gate[first:] | (tick[first:] > tick[first] + KNEE_TICKS))
    last = first + int(stopped[0]) if len(stopped) else len(tick)
    t, p = tick[first:last] - tick[first], reading[first:last]
    if len(t) < 12:
        return None
    _, k = min((_residual(t[:k], p[:k]) + _residual(t[k:], p[k:]), k) for k in range(4, len(t) - 3))
    steep, flat = np.polyfit(t[:k], p[:k], 1), np.polyfit(t[k:], p[k:], 1)
    if flat[0] > steep[0] / 3:
        return None  # no bend: the tyre's pressure was not reached
    return float(np.polyval(flat, (flat[1] - steep[1]) / (steep[0] - flat[0])))


def _residual(t: np.ndarray, p: np.ndarray) -> float:
    """Sum of squares about the best-fitting straight line."""
    return float(((p - np.polyval(np.polyfit(t, p, 1), t)) ** 2).sum())
