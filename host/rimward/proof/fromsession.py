"""A recorded session as one proof sample.

Only a session through a chuck that holds the core open counts: behind a closed core the hose says nothing of the tyre, and a
release there would be read as a hose coming off.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from rimward_protocol import causes, codes, layout

from rimward.errors import Refusal
from rimward.proof.events import Event, Settings, find_events, highest_pa
from rimward.proof.load import BAR_PA, Sample, Value
from rimward.proof.retention import PERCENT
from rimward.sessions import SessionLog, read_session

TICK_MS = 2
LEAST_SAMPLES = 50
HELD_SHARE = 0.99
LATE_TICKS = 5_000


def is_session(path: Path) -> bool:
    """Whether a file begins as a session does."""
    try:
        with path.open("rb") as file:
            return file.read(len(layout.SESSION_MAGIC)) == layout.SESSION_MAGIC
    except OSError:
        return False  # the reader that follows says why


def read_sample(path: Path, label: str = "") -> Sample:
    """The sample of one session file; refuses what cannot count. `label` names the file where its own name does not do."""
    return sample_of(read_session(path), label or path.name)


def sample_of(log: SessionLog, name: str) -> Sample:
    """Highest pressure before release or stop, the profile's limit, and how long the pressure was held."""
    profile = _profile(log)
    if log.damage or profile is None:
        raise Refusal(f"{name}: {log.damage or 'it holds no profile'}, so it is no proof of anything.", "Give a whole session.")
    if profile["chuck"] != codes.CHUCK_PIN_OPEN:
        raise Refusal(f"{name}: the chuck did not hold the core open, so the tyre was not seen.", "Write the test down in a CSV file.")
    if log.bench and _begins_late(log):
        raise Refusal(
            f"{name}: its trace begins after the test did, since a bench keeps the last seconds only.",
            "Give the file that `rimward proof run` wrote beside it.",
        )
    if len(log.trace) < LEAST_SAMPLES:
        raise Refusal(f"{name}: its trace has fewer than {LEAST_SAMPLES} samples.", "Give a session of a test.")
    t_ms, pressure_pa, venting = trace_of(log)
    release = _release(t_ms, pressure_pa, venting, profile["seat_pause_pa"])
    end = len(pressure_pa) if release is None else release.index
    top_pa = highest_pa(pressure_pa[:end]) if release is None else release.highest_before_pa
    if top_pa <= 0:
        raise Refusal(f"{name}: it shows no pressure.", "Give a session of a test.")
    return _sample(log, profile, name, top_pa, release is not None, _held_s(t_ms[:end], pressure_pa[:end], top_pa, profile["limit_pa"]))


def _begins_late(log: SessionLog) -> bool:
    """Whether samples of the first seconds are missing."""
    armed = [event["tick"] for event in log.events if event["event"] == "armed"]
    return bool(armed) and (len(log.trace) == 0 or int(log.trace["tick"][0]) - armed[0] > LATE_TICKS)


def _profile(log: SessionLog) -> dict | None:
    """The profile that was in force, of an ordinary inflator or of the bench."""
    return log.profile


def trace_of(log: SessionLog) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times in ms, the lower of the two readings (a proof must not read high), and where the vent was commanded open."""
    trace = log.trace
    return trace["tick"] * TICK_MS, np.minimum(trace["a_pa"], trace["b_pa"]).astype(float), (trace["out"] & codes.OUT_VENT) != 0


def _release(t_ms: np.ndarray, pressure_pa: np.ndarray, venting: np.ndarray, seated_pa: int) -> Event | None:
    found = find_events(t_ms, pressure_pa, Settings(seated_pa=seated_pa or Settings.seated_pa), venting)
    return next((event for event in found if event.kind == "release"), None)


def _held_s(t_ms: np.ndarray, pressure_pa: np.ndarray, top_pa: float, limit_pa: int) -> float:
    """Longest unbroken time at the retention pressure where it was reached, else near the highest pressure."""
    retention_pa = limit_pa * PERCENT / 100
    floor = retention_pa if top_pa >= retention_pa else HELD_SHARE * top_pa
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(pressure_pa, 5), axis=1) if pressure_pa.size >= 5 else pressure_pa
    edges = np.flatnonzero(np.diff(np.concatenate(([False], smooth >= floor, [False])).astype(np.int8)))
    spans = [int(t_ms[stop - 1] - t_ms[start]) for start, stop in zip(edges[::2], edges[1::2], strict=True)]
    return max(spans, default=0) / 1000


def _sample(log: SessionLog, profile: dict, name: str, top_pa: float, released: bool, held_s: float) -> Sample:
    device = log.header["device_id"].rstrip(b"\0").decode("ascii", "replace")
    known: dict[str, Value] = {
        "sample": f"{device}-{log.header['session']}",
        "release_bar": top_pa / BAR_PA,
        "limit_bar": profile["limit_pa"] / BAR_PA,
        "released": "yes" if released else "no",
        "rim_id": profile["wheel_id"].hex(),
        "hold_s": held_s,
        "instrument": device,
        "stop_reason": causes.row_of(log.end["cause"])[1] if log.end else "not closed",
    }
    if guard_pa := log.conditions.get("ceiling_pa", 0) - log.conditions.get("stop_pa", 0):
        known["gauge_u_bar"] = guard_pa / BAR_PA
    return Sample(str(known["sample"]), float(known["release_bar"]), float(known["limit_bar"]), str(known["released"]), name, 0, known, _cells(known))


def with_cells(sample: Sample, more: Mapping[str, Value | None]) -> Sample:
    """The sample with what its session does not say; None is not known."""
    known = {**sample.known, **{column: value for column, value in more.items() if value is not None}}
    return replace(sample, known=known, raw=_cells(known))


def _cells(known: dict[str, Value]) -> dict[str, str]:
    return {column: f"{value:.10g}" if isinstance(value, float) else str(value) for column, value in known.items()}
