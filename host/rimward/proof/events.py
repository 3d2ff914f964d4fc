"""Events in the pressure trace of a proof test: bead seating pops, creep, slip, leak onset, release.

The trace must be of the tyre itself (valve core out), evenly sampled, gauge pascals. Sudden events (pop, slip, release) are found with the
two samples that start with them. Slow ones (creep, leak onset) are found once enough of the fall is visible, and their onset is
then located
by a fit. All thresholds are in `Settings`, in pascals or in multiples of the trace's noise.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rimward.proof import slow

KINDS = ("seating_pop", "slip", "creep", "leak_onset", "release")
SECOND_DIFFERENCE_SD = 6**0.5  # of unit noise: 1, -2, 1
MEDIAN_OF_ABSOLUTE = 0.6744897501960817  # of a unit normal
TREND_SAMPLES = 8
SETTLE_SAMPLES = 6  # time within which hose and filter show the whole of a drop
VENT_FIRST_SHARE = 0.1
LEAST_SAMPLES = 6
LEAST_PA = 40_000  # below this a bead that jumps onto its seat can take most of the pressure: no release, as in the bench's firmware


@dataclass(frozen=True)
class Settings:
    """Thresholds; `noise_pa` is measured from the trace where it is None.

    `seated_pa`: sudden drops under it are seating pops, over it slips (the profile's seating pause; ours where none is given).
    `step_sigma`, `step_min_pa`: how large a sudden drop must be. `release_share` of the pressure gone within `release_ms` is a
    release: water loses much at a slip, so the share is high. `slope_sigma`, `slope_min_pa_s`, `fall_min_pa`, `windows`: slow falls;
    `judge_s`: how long a fall from the end of a rise is watched before it is called a leak.
    """

    noise_pa: float | None = None
    seated_pa: float = 350_000
    step_sigma: float = 8.0
    step_min_pa: float = 1_500
    release_share: float = 0.6
    release_ms: int = 500
    slope_sigma: float = 8.0
    slope_min_pa_s: float = 20.0
    fall_min_pa: float = 1_000
    judge_s: float = 20.0
    windows: tuple[int, ...] = (20, 200, 1000)


DEFAULT = Settings()


@dataclass(frozen=True)
class Event:
    """One event: index and time of its first sample, the highest pressure before it, and the change it made."""

    kind: str
    index: int
    t_ms: int
    highest_before_pa: float
    change_pa: float

    def as_json(self) -> dict[str, Any]:
        """Return the event for JSON."""
        return asdict(self)


def find_events(
    t_ms: ArrayLike,
    pressure_pa: ArrayLike,
    settings: Settings = DEFAULT,
    venting: ArrayLike | None = None,
) -> list[Event]:
    """All events in time order, none after a release. `venting` marks samples at which the vent was commanded open."""
    t, p, asked = _trace(t_ms, pressure_pa, venting)
    if p.size < LEAST_SAMPLES:
        return []
    noise = _noise_of(p, settings)
    drops, released = _drops_and_release(t, p, settings, noise, asked)
    end = p.size if released is None else released
    want = slow.Fall(
        settings.judge_s,
        settings.slope_min_pa_s,
        settings.fall_min_pa,
        settings.slope_sigma,
        settings.windows,
    )
    runs = slow.falls(t[:end] / 1000, _without_drops(p[:end], drops), noise, asked[:end], want)
    return sorted(
        _sudden(t, p, drops, released, settings) + [_slow(t, p, run) for run in runs],
        key=lambda event: event.index,
    )


def find_sudden(
    t_ms: ArrayLike,
    pressure_pa: ArrayLike,
    settings: Settings = DEFAULT,
    venting: ArrayLike | None = None,
) -> list[Event]:
    """Pops, slips and the release alone: a hundredth of the time, for who has a heartbeat to keep."""
    t, p, asked = _trace(t_ms, pressure_pa, venting)
    if p.size < LEAST_SAMPLES:
        return []
    return _sudden(
        t, p, *_drops_and_release(t, p, settings, _noise_of(p, settings), asked), settings
    )


def _noise_of(p: np.ndarray, settings: Settings) -> float:
    return noise_pa(p) if settings.noise_pa is None else settings.noise_pa


def noise_pa(pressure_pa: np.ndarray) -> float:
    """Return the standard deviation of the noise, from the median absolute second difference: ramps and rare events do not move it."""
    return float(np.median(np.abs(np.diff(pressure_pa, 2)))) / (
        MEDIAN_OF_ABSOLUTE * SECOND_DIFFERENCE_SD
    )


def highest_pa(pressure_pa: np.ndarray) -> float:
    """Highest pressure over a median of five, so that a noise peak never makes a release look higher."""
    if pressure_pa.size < 5:
        return float(np.min(pressure_pa)) if pressure_pa.size else 0.0
    return float(
        np.max(np.median(np.lib.stride_tricks.sliding_window_view(pressure_pa, 5), axis=1))
    )


def _sudden_drops(p: np.ndarray, floor: float, asked: np.ndarray) -> list[tuple[int, float]]:
    """Return (first sample, size) of drops where two samples before all lie above two samples after by more than floor and trend."""
    if p.size < 4:
        return []
    half = floor / 2
    rough = (p[1:-2] - p[2:-1] > half) & (p[1:-2] - p[3:] > half) & (p[:-3] - p[2:-1] > half)
    found: list[tuple[int, float]] = []
    for at in (np.flatnonzero(rough) + 2).tolist():
        size = _drop_size(p, at, floor)
        if size and not _commanded(p, at, asked) and (not found or at - found[-1][0] > 2):
            found.append((at, size))
    return [(at, _jump(p, at, size)) for at, size in found]


def _drop_size(p: np.ndarray, at: int, floor: float) -> float:
    """Size of the drop that starts at `at`, zero for none: a rising trend is added back, a falling one is no drop."""
    before, after = _trend(p, at - TREND_SAMPLES - 1, at), _trend(p, at + 1, at + TREND_SAMPLES + 2)
    rise, falling = max(0.0, before), max(0.0, -before, -after)
    size = min(p[at - 2] + rise, p[at - 1]) - max(p[at], p[at + 1] - rise)
    return float(size + rise) if size > floor + 3 * falling else 0.0


def _trend(p: np.ndarray, start: int, stop: int) -> float:
    """Median change a sample, zero with too few samples."""
    changes = np.diff(p[max(0, start) : stop])
    return float(np.median(changes)) if changes.size >= 3 else 0.0


def _release_index(
    t: np.ndarray, p: np.ndarray, settings: Settings, floor: float, asked: np.ndarray
) -> int | None:
    """First sample of the first fall that reaches the release share within the release time, was not commanded, is seen by two samples, and
    is
    never regained: a tyre that has left its rim holds no pressure again.
    """
    reach = max(1, int(settings.release_ms / float(np.median(np.diff(t)))))
    tail = np.concatenate([p, np.full(reach, p[-1])])
    later = np.maximum(tail[reach : reach + p.size - 1], tail[reach + 1 : reach + p.size])
    gone = np.flatnonzero((p[:-1] > LEAST_PA) & (p[:-1] - later > settings.release_share * p[:-1]))
    for before in gone.tolist():
        part = p[before : before + reach + 2]
        top = int(np.argmax(part))
        lower = np.flatnonzero(part[top:] < part[top] - floor)
        if not lower.size:  # no more than noise
            continue
        at: int = before + top + int(lower[0])
        if (
            not _commanded(p, at, asked)
            and not _regained(p, at)
            and _fell_by_itself(
                p[at - 1 : at + reach], asked[at - 1 : at + reach], settings.release_share / reach
            )
        ):
            return at
    return None


def _regained(p: np.ndarray, at: int) -> bool:
    """Return True if the pressure before sample `at` is reached again after it."""
    return bool(highest_pa(p[at:]) >= p[at - 1])


def _fell_by_itself(p: np.ndarray, asked: np.ndarray, share: float) -> bool:
    """Return True if the fall from `p[0]` was a release before a vent took over: more than a vent's first sample, `share` a sample or more.

    Noise or a settling hose just before a commanded vent is none.
    """
    vented = int(np.argmax(asked)) if asked.any() else 0
    return not vented or bool(p[0] - p[vented] > max(VENT_FIRST_SHARE, share * vented) * p[0])


def _commanded(p: np.ndarray, at: int, asked: np.ndarray) -> bool:
    """Return True if the vent was open before the fall. Opened with its first sample, it had no time to release a tenth: that was no vent.

    A guard that sees a release opens the vent at once, so a vent that follows the fall says nothing against a release.
    """
    return bool(asked[at - 1] or (asked[at] and p[at - 1] - p[at] <= VENT_FIRST_SHARE * p[at - 1]))


def _without_drops(p: np.ndarray, drops: list[tuple[int, float]]) -> np.ndarray:
    """Trace with each drop added back and bridged, so that slow falls are found without drops and their tails."""
    level: np.ndarray = p.copy()
    for at, size in drops:
        level[at:] += size
        last = min(at + SETTLE_SAMPLES, level.size - 1)
        level[at:last] = (
            np.linspace(level[at - 1], level[last], last - at + 2)[1:-1]
            if last > at
            else level[at:last]
        )
    return level


def _jump(p: np.ndarray, at: int, smallest: float) -> float:
    """Size of a drop between the levels on either side, after hose or filter have settled; a rise before it continues."""
    before, after = (
        p[max(0, at - SETTLE_SAMPLES) : at],
        p[at + SETTLE_SAMPLES : at + 2 * SETTLE_SAMPLES],
    )
    if after.size < 3 or not before.size:
        return smallest
    line = p[max(0, at - 3 * SETTLE_SAMPLES) : at]
    rise = max(0.0, float(np.polyfit(np.arange(line.size), line, 1)[0])) if line.size > 2 else 0.0
    apart = SETTLE_SAMPLES + (before.size + after.size) / 2
    return max(smallest, float(np.mean(before) - np.mean(after)) + rise * apart)


def _drops_and_release(
    t: np.ndarray, p: np.ndarray, settings: Settings, noise: float, asked: np.ndarray
) -> tuple[list[tuple[int, float]], int | None]:
    """Return (first sample, size) of the sudden drops, and the release's first sample."""
    floor = max(settings.step_min_pa, settings.step_sigma * noise)
    released = _release_index(t, p, settings, floor, asked)
    return _sudden_drops(p[: p.size if released is None else released], floor, asked), released


def _sudden(
    t: np.ndarray,
    p: np.ndarray,
    drops: list[tuple[int, float]],
    released: int | None,
    settings: Settings,
) -> list[Event]:
    found = [
        _event("seating_pop" if p[at - 1] < settings.seated_pa else "slip", t, p, at, -size)
        for at, size in drops
    ]
    if released is not None:
        found.append(
            _event("release", t, p, released, float(np.min(p[released:])) - float(p[released - 1]))
        )
    return found


def _slow(t: np.ndarray, p: np.ndarray, run: slow.Run) -> Event:
    return _event(run.kind, t, p, run.start, run.change_pa)


def _event(kind: str, t: np.ndarray, p: np.ndarray, at: int, change_pa: float) -> Event:
    return Event(kind, at, int(t[at]), highest_pa(p[:at]), change_pa)


def _trace(
    t_ms: ArrayLike, pressure_pa: ArrayLike, venting: ArrayLike | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    t, p = np.asarray(t_ms), np.asarray(pressure_pa, dtype=float)
    if t.shape != p.shape or t.ndim != 1:
        raise ValueError("times and pressures must be two rows of one length")
    if not np.all(np.isfinite(p)):
        raise ValueError("a pressure is not finite")
    if np.any(np.diff(t) <= 0):
        raise ValueError("times must rise")
    return (
        t,
        p,
        np.zeros(p.size, dtype=bool) if venting is None else np.asarray(venting, dtype=bool),
    )
