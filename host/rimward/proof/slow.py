"""Slow falls in a pressure trace: onset, and kind (creep slows down, a leak continues)."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

HOPS_A_WINDOW = 10
# A leak that has lost this share of the pressure also slows down: it stays a leak.
EMPTYING_SHARE = 0.15
EMPTIED_SHARE = (
    0.5  # of the gauge pressure: air that cools down after a quick fill takes a third of it at most
)
CREEP_RATIO = 0.5
# Longest time constant with which a rise settles: gas to casing takes seconds, casing to room minutes. Only a fall that slows down less than
# that, beyond its noise, is a leak.
SETTLING_S = 300.0
SURE = 2.0  # standard deviations
# A second onset must exceed its window's threshold by this much, since two noisy slopes are compared.
STEEPER = 1.5
# A clear fall continues while it is at least this share of the threshold.
FAINT = 0.5
# Share of the later slope that already counts as falling.
ALREADY = 0.3
PLACES_AT_ONCE = 64
# An onset is located to this part of a sample, with windows shrinking by at most `LESS` at a time.
PLACED = 0.4
MISFIT = 3.0  # standard deviations
LESS = 3


@dataclass(frozen=True)
class Fall:
    """Criteria of a slow fall: at least `slope_pa_s` and `fall_pa`, `sigma` times the slope's noise, over `windows` samples.

    A fall that begins at the end of a rise is a leak only once it has continued for `judge_s` and surely slows down less than settling: all
    settling begins like that.
    """

    judge_s: float
    slope_pa_s: float
    fall_pa: float
    sigma: float
    windows: tuple[int, ...]


@dataclass(frozen=True)
class Run:
    """One slow fall: first sample, the sample after its last, creep or leak_onset, and the change from one to the other."""

    kind: str
    start: int
    stop: int
    change_pa: float


@dataclass(frozen=True)
class Slopes:
    """Least-squares slopes of windows that start every `hop` samples, and their detection threshold."""

    window: int
    hop: int
    pa_s: np.ndarray
    threshold_pa_s: float
    noise_pa: float
    step_s: float


def falls(
    t_s: np.ndarray, level_pa: np.ndarray, noise_pa: float, asked: np.ndarray, want: Fall
) -> list[Run]:
    """Slow falls of a trace without its sudden drops. `asked` marks samples of commanded falls."""
    scales = [
        _slopes(t_s, level_pa, noise_pa, want, window)
        for window in want.windows
        if level_pa.size > window
    ]
    if not scales:
        return []
    clear, faint = (_covered(level_pa.size, scales, asked, share) for share in (1.0, FAINT))
    faint &= ~_rising(level_pa.size, scales[0])  # a long window may reach back into a rise
    spans = [
        (start, stop) for start, stop in _spans(faint, want.windows[0]) if clear[start:stop].any()
    ]
    runs = [
        run
        for start, stop in spans
        for run in _runs(t_s, level_pa, start, stop, scales, want.judge_s)
    ]
    return [run for run in runs if -run.change_pa >= want.fall_pa]


def _slopes(
    t_s: np.ndarray, level_pa: np.ndarray, noise_pa: float, want: Fall, window: int
) -> Slopes:
    hop = max(1, window // HOPS_A_WINDOW)
    step_s = float(np.median(np.diff(t_s)))
    ramp = (np.arange(window) - (window - 1) / 2) * step_s
    pa_s = sliding_window_view(level_pa, window)[::hop] @ (ramp / float(ramp @ ramp))
    return Slopes(
        window,
        hop,
        pa_s,
        max(want.slope_pa_s, want.sigma * noise_pa / float(np.sqrt(ramp @ ramp))),
        noise_pa,
        step_s,
    )


def _covered(n: int, scales: list[Slopes], asked: np.ndarray, share: float) -> np.ndarray:
    """Return the samples in a window that falls by at least `share` of its threshold without a commanded fall."""
    covered = np.zeros(n, dtype=bool)
    for scale in scales:
        commanded = (
            sliding_window_view(asked, scale.window)[:: scale.hop].any(axis=1)
            if asked.any()
            else np.zeros(1, dtype=bool)
        )
        covered |= _samples_of(n, scale, (scale.pa_s < -share * scale.threshold_pa_s) & ~commanded)
    return covered


def _rising(n: int, shortest: Slopes) -> np.ndarray:
    return _samples_of(n, shortest, shortest.pa_s > shortest.threshold_pa_s)


def _samples_of(n: int, scale: Slopes, chosen: np.ndarray) -> np.ndarray:
    """Return the samples that lie in one of the chosen windows."""
    starts = np.flatnonzero(chosen) * scale.hop
    edges = np.bincount(starts, minlength=n + 1) - np.bincount(
        starts + scale.window, minlength=n + 1
    )
    return np.cumsum(edges)[:n] > 0


def _spans(falling: np.ndarray, gap: int) -> list[tuple[int, int]]:
    """Return the runs of true samples, joined over gaps shorter than `gap`."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], falling, [False])).astype(np.int8)))
    spans: list[tuple[int, int]] = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if spans and start - spans[-1][1] < gap:
            spans[-1] = (spans[-1][0], stop)
        else:
            spans.append((start, stop))
    return spans


def _runs(
    t_s: np.ndarray,
    level_pa: np.ndarray,
    start: int,
    stop: int,
    scales: list[Slopes],
    judge_s: float,
) -> list[Run]:
    """One run, or two where the fall steepens: a leak that begins while something still settles."""
    onset, from_rise = _onset(t_s, level_pa, start, stop, scales)
    bend = _steepening(t_s, level_pa, onset, stop, scales)
    ends = [onset, stop] if bend is None else [onset, bend, stop]
    runs = [_run(t_s, level_pa, *pair) for pair in zip(ends, ends[1:], strict=False)]
    if not from_rise:
        return runs
    kind = _settled(t_s, level_pa, runs[0], judge_s, scales[0].noise_pa)
    return [replace(runs[0], kind=kind), *runs[1:]] if kind else runs[1:]


def _settled(
    t_s: np.ndarray, level_pa: np.ndarray, run: Run, judge_s: float, noise_pa: float
) -> str:
    """Kind of a fall from the end of a rise: creep where it slows down like settling, a leak where it surely does not or empties the
    tyre; none where it was not observed for long enough.
    """
    if run.kind == "creep" or -run.change_pa > EMPTYING_SHARE * level_pa[run.start]:
        return run.kind
    watched_s, third = (
        float(t_s[run.stop - 1] - t_s[run.start]),
        max(3, (run.stop - run.start) // 3),
    )
    first, last = (
        _slope(t_s, level_pa, run.start, run.start + third),
        _slope(t_s, level_pa, run.stop - third, run.stop),
    )
    if first >= 0 or watched_s < judge_s:
        return ""
    settling, ratio = math.exp(-2 / 3 * watched_s / SETTLING_S), last / first
    unsure = SURE * math.hypot(1, ratio) * noise_pa / (-first * watched_s / 3 * (third / 12) ** 0.5)
    if ratio - unsure > settling:
        return "leak_onset"
    return "creep" if ratio + unsure < settling else ""


def _steepening(
    t_s: np.ndarray, level_pa: np.ndarray, onset: int, stop: int, scales: list[Slopes]
) -> int | None:
    """Point where the fall grows by more than a window's threshold between windows; the shortest window that sees it locates it."""
    for scale in scales:
        apart, first = (
            -(-scale.window // scale.hop),
            -(-(onset + scale.window // 4 + 4) // scale.hop),
        )  # clear of the onset's own bend
        slopes = scale.pa_s[first : max(first, (stop - scale.window) // scale.hop + 1)]
        growth = slopes[:-apart] - slopes[apart:]
        if growth.size and float(np.max(growth)) > STEEPER * scale.threshold_pa_s:
            low = (first + int(np.argmax(growth))) * scale.hop
            high = min(stop, low + 2 * scale.window)
            return _closest_bend(
                t_s,
                level_pa,
                (onset + scale.window // 4 + 4, stop),
                (low, high),
                low + scale.window,
                scales,
            )
    return None


def _run(t_s: np.ndarray, level_pa: np.ndarray, onset: int, stop: int) -> Run:
    edge = max(1, min(5, (stop - onset) // 4))
    change = float(
        np.median(level_pa[stop - edge : stop]) - np.median(level_pa[onset : onset + edge])
    )
    return Run(_kind(t_s, level_pa, onset, stop, change), onset, stop, change)


def _onset(
    t_s: np.ndarray, level_pa: np.ndarray, start: int, stop: int, scales: list[Slopes]
) -> tuple[int, bool]:
    """First sample of the fall, and whether that is the end of a rise; otherwise it is the bend of a level after the rise."""
    short = scales[0].window
    rise = _last_rise(start, scales[0])
    held = 0 if rise is None else min(start, rise + short)
    bend = _closest_bend(t_s, level_pa, (held, stop), (held, stop), start, scales)
    if rise is None or not _falls_before(t_s, level_pa, held, bend, stop, scales):
        return bend, False
    low, high = max(0, rise - short), min(stop, held + 3 * short)
    return (_bend(t_s, level_pa, low, high, (low, high)) if high - low >= 8 else bend), True


def _closest_bend(
    t_s: np.ndarray,
    level_pa: np.ndarray,
    span: tuple[int, int],
    near: tuple[int, int],
    at: int,
    scales: list[Slopes],
) -> int:
    """Bend within `near`, searched around `at` with the samples of `span`: over the longest window, then over shorter ones, as long as they
    locate
    it or the trace fits two lines on one curve.
    """
    floor, stop = span
    gone = np.flatnonzero(level_pa[at:stop] < (1 - 2 * EMPTYING_SHARE) * level_pa[at])
    stop = at + int(gone[0]) if gone.size else stop  # beyond this no fall is straight
    bend, window, shortest = at, scales[-1].window, scales[0].window
    while True:
        low, high = max(floor, bend - window), min(stop, bend + 2 * window)
        if high - low < 8:
            return bend
        bend = _bend(t_s, level_pa, low, high, near)
        needed = max(
            _samples_needed(t_s, level_pa, low, bend, high, scales[0]), window // LESS, shortest
        )
        if needed >= window:
            return bend
        window = needed


def _samples_needed(
    t_s: np.ndarray, level_pa: np.ndarray, low: int, bend: int, high: int, scale: Slopes
) -> int:
    """Return the samples before the bend (and twice as many after) that locate it to `PLACED` of a sample, by the Cramér-Rao bound of two lines that
    meet; none where they do not fit or a curve of one degree more fits better, so that fewer are tried.
    """
    part, bend_s = slice(low, high), float(t_s[bend - 1])
    noise_pa = max(scale.noise_pa, 1.0)  # a trace may have none
    left, less = (
        _hinge_error(t_s[part], level_pa[part], bend_s, degree) / noise_pa**2 for degree in (2, 3)
    )
    if left - less > MISFIT**2 or left > (high - low) + MISFIT * (2 * (high - low)) ** 0.5:
        return 0
    change = (
        abs(_slope(t_s, level_pa, low, bend) - _slope(t_s, level_pa, bend, high)) * scale.step_s
    )
    return int(6 * (noise_pa / max(change * PLACED, 1e-9)) ** 2)


def _falls_before(
    t_s: np.ndarray, level_pa: np.ndarray, held: int, bend: int, stop: int, scales: list[Slopes]
) -> bool:
    """Return True if the level already fell between the end of the rise and the bend, clearly or by much of the later slope."""
    fitting = [scale for scale in scales if scale.window <= bend - held]
    if not fitting:
        return True
    before = _slope(t_s, level_pa, max(held, bend - fitting[-1].window), bend)
    after = _slope(t_s, level_pa, bend, min(stop, bend + fitting[-1].window))
    return before < -fitting[-1].threshold_pa_s or before < ALREADY * after


def _last_rise(start: int, shortest: Slopes) -> int | None:
    """First sample of the last short window that rises before `start`."""
    rising = np.flatnonzero(shortest.pa_s[: start // shortest.hop + 1] > shortest.threshold_pa_s)
    return int(rising[-1]) * shortest.hop if rising.size else None


def _bend(
    t_s: np.ndarray, level_pa: np.ndarray, start: int, stop: int, near: tuple[int, int]
) -> int:
    """First sample past the bend of this stretch, within `near`: least squares, coarsely over all places, then around the best."""
    t, level = t_s[start:stop], level_pa[start:stop]
    first = min(max(2, near[0] - start), t.size - 3)
    last = max(first + 1, min(t.size - 2, near[1] - start))
    low, high = first, last
    while True:
        stride = max(1, (high - low) // PLACES_AT_ONCE)
        best = min(
            range(low, high, stride), key=lambda place: _hinge_error(t, level, float(t[place]))
        )
        if stride == 1:
            return start + best + 1
        low, high = max(first, best - stride), min(last, best + stride + 1)


def _hinge_error(t_s: np.ndarray, level_pa: np.ndarray, bend_s: float, degree: int = 2) -> float:
    """Residual squares of two lines that meet at `bend_s`, on a curve (by default a parabola) for remaining settling."""
    whole_s = max(float(t_s[-1] - t_s[0]), 1e-9)
    unit = (t_s - t_s[0]) / whole_s
    table = np.column_stack(
        [
            np.ones_like(unit),
            unit,
            np.maximum(0.0, t_s - bend_s) / whole_s,
            *(unit**n for n in range(2, degree + 1)),
        ]
    )
    found = np.linalg.lstsq(table, level_pa, rcond=None)[0]
    return float(np.sum((level_pa - table @ found) ** 2))


def _kind(t_s: np.ndarray, level_pa: np.ndarray, start: int, stop: int, change_pa: float) -> str:
    """Creep slows down; a leak continues as it began, or in proportion to the pressure as it empties the tyre."""
    if -change_pa > EMPTIED_SHARE * level_pa[start]:
        return "leak_onset"
    third = max(3, (stop - start) // 3)
    first, last = (
        _slope(t_s, level_pa, start, start + third),
        _slope(t_s, level_pa, stop - third, stop),
    )
    left = 1.0
    if -change_pa > EMPTYING_SHARE * level_pa[start]:
        left = max(
            0.0,
            float(
                np.median(level_pa[stop - third : stop])
                / np.median(level_pa[start : start + third])
            ),
        )
    return "creep" if last > CREEP_RATIO * left * first else "leak_onset"


def _slope(t_s: np.ndarray, level_pa: np.ndarray, start: int, stop: int) -> float:
    t, level = t_s[start:stop] - np.mean(t_s[start:stop]), level_pa[start:stop]
    return float(t @ level / (t @ t)) if t.size > 1 else 0.0
