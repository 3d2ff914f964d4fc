"""Recorded session as one proof sample.

Only a session through a chuck that holds the core open counts: behind a closed core the hose does not show the tyre, and a
release there would
look like a hose coming off.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from rimward_fw.bench.trace import THIN_STEP
from rimward_protocol import codes, layout

from rimward.base.errors import Refusal
from rimward.proof import holding, stated
from rimward.proof.events import Event, Settings, find_events, highest_pa
from rimward.proof.load import BAR_PA, Sample, Value
from rimward.proof.loss import loss
from rimward.proof.outcome import Outcome, outcome
from rimward.proof.standard import HOLD_S, PERCENT
from rimward.sessions import SessionLog

TICK_MS = 2
LEAST_SAMPLES = 50
HELD_SHARE = 0.99
LATE_TICKS = 5_000


THIN_LEAST = 10  # so many steps of that length are no chance


def is_session(path: Path) -> bool:
    """Return True if a file begins like a session."""
    try:
        with path.open("rb") as file:
            return file.read(len(layout.SESSION_MAGIC)) == layout.SESSION_MAGIC
    except OSError:
        return False  # the following reader reports the reason


def sample_of(log: SessionLog, name: str, open_ended: bool = False) -> Sample:
    """Highest pressure before release or stop, the profile's limit, and the duration of the hold. Refusal for what cannot count.

    `open_ended` accepts a record that was not closed, as evidence of a release or of nothing.
    """
    profile = _profile(log)
    if profile is None or (log.damage and not (open_ended and log.end is None)):
        raise Refusal(
            f"{name}: {log.damage or 'it holds no profile'}, so it proves nothing.",
            "Use a complete session.",
        )
    if profile["chuck"] != codes.CHUCK_PIN_OPEN:
        raise Refusal(
            f"{name}: the chuck did not hold the core open, so the tyre was not measured.",
            "Enter the test in a CSV file.",
        )
    if log.bench and _begins_late(log):
        raise Refusal(
            f"{name}: its trace begins after the test did: the bench's memory ended.",
            "Use the file written beside it by `rimward proof run`.",
        )
    if log.bench and _is_thinned(log):
        raise Refusal(
            f"{name}: a bench's own trace keeps every eighth sample of what the computer had.",
            "Use the file written beside it by `rimward proof run`, which has them all.",
        )
    if len(log.trace) < LEAST_SAMPLES:
        raise Refusal(
            f"{name}: its trace has fewer than {LEAST_SAMPLES} samples.", "Use a session of a test."
        )
    t_ms, pressure_pa, venting = trace_of(log)
    release = _release(t_ms, pressure_pa, venting, profile["seat_pause_pa"])
    lost = loss(pressure_pa, venting, (log.trace["out"] & codes.OUT_GATE) != 0)
    ended = outcome(log, release, lost, highest_pa(pressure_pa))
    if ended.top_pa <= 0:
        raise Refusal(f"{name}: it shows no pressure.", "Use a session of a test.")
    end = len(pressure_pa) if release is None else release.index
    return _sample(log, profile, name, ended, _hold(log, end, ended.top_pa, profile["limit_pa"]))


def _begins_late(log: SessionLog) -> bool:
    """Return True if samples of the first seconds are missing."""
    armed = [event["tick"] for event in log.events if event["event"] == "armed"]
    return bool(armed) and (
        len(log.trace) == 0 or int(log.trace["tick"][0]) - armed[0] > LATE_TICKS
    )


def _is_thinned(log: SessionLog) -> bool:
    """Return True for the bench's own record with a thinned trace; the joined one states the specimen."""
    steps = np.diff(log.trace["tick"])
    return "specimen" not in log.meta and int(np.count_nonzero(steps == THIN_STEP)) > THIN_LEAST


def _profile(log: SessionLog) -> dict[str, Any] | None:
    """Profile in force, of an ordinary inflator or of the bench."""
    return log.profile


def trace_of(log: SessionLog) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times in ms, the lower of the two readings (a proof must not read high), and where the vent was commanded open."""
    trace = log.trace
    return (
        trace["tick"] * TICK_MS,
        np.minimum(trace["a_pa"], trace["b_pa"]).astype(float),
        (trace["out"] & codes.OUT_VENT) != 0,
    )


def _release(
    t_ms: np.ndarray, pressure_pa: np.ndarray, venting: np.ndarray, seated_pa: int
) -> Event | None:
    found = find_events(
        t_ms, pressure_pa, Settings(seated_pa=seated_pa or Settings.seated_pa), venting
    )
    return next((event for event in found if event.kind == "release"), None)


def _hold(log: SessionLog, end: int, top_pa: float, limit_pa: int) -> holding.Hold:
    """Longest hold at 110 % plus the gauge's U where that lasted long enough; else at 110 % where reached, else near the highest
    pressure.
    """
    retention_pa = limit_pa * PERCENT / 100
    trace = log.trace[:end]
    columns = trace["tick"] * TICK_MS, trace["a_pa"].astype(float), trace["b_pa"].astype(float)
    if top_pa >= retention_pa + _guard_pa(log):
        raised = holding.longest(*columns, retention_pa + _guard_pa(log))
        if raised.seconds >= HOLD_S:
            return raised
    return holding.longest(
        *columns, retention_pa if top_pa >= retention_pa else HELD_SHARE * top_pa
    )


def _guard_pa(log: SessionLog) -> int:
    """Return the gauge's U, zero where it is not recorded."""
    return max(0, log.conditions.get("ceiling_pa", 0) - log.conditions.get("stop_pa", 0))


def _sample(
    log: SessionLog, profile: dict[str, Any], name: str, ended: Outcome, hold: holding.Hold
) -> Sample:
    device = log.header["device_id"].rstrip(b"\0").decode("ascii", "replace")
    known: dict[str, Value] = {
        "sample": f"{device}-{log.header['session']}",
        "release_bar": ended.top_pa / BAR_PA,
        "limit_bar": profile["limit_pa"] / BAR_PA,
        "released": ended.released,
        "rim_id": profile["wheel_id"].hex(),
        "hold_s": hold.seconds,
        "hold_bar": max(0.0, hold.least_pa) / BAR_PA,
        "instrument": device,
        "stop_reason": ended.reason,
    }
    if guard_pa := _guard_pa(log):
        known["gauge_u_bar"] = guard_pa / BAR_PA
    for column, field in (("rim_inner_mm", "rim_width_dmm"), ("tyre_nominal_mm", "tyre_width_dmm")):
        if profile[field]:
            known[column] = profile[field] / 10
    known.update(stated.columns_of(log.meta.get("specimen", b""), name))
    return Sample(
        str(known["sample"]),
        float(known["release_bar"]),
        float(known["limit_bar"]),
        str(known["released"]),
        name,
        0,
        known,
        _cells(known),
    )


def with_cells(sample: Sample, more: Mapping[str, Value | None]) -> Sample:
    """Sample with values that its session lacks; None is unknown."""
    known = {
        **sample.known,
        **{column: value for column, value in more.items() if value is not None},
    }
    return replace(sample, known=known, raw=_cells(known))


def _cells(known: dict[str, Value]) -> dict[str, str]:
    return {
        column: f"{value:.10g}" if isinstance(value, float) else str(value)
        for column, value in known.items()
    }
