"""Guided run: points from the inflator's live readings, one after the other, then the coefficients back to the inflator."""

import math
import struct
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from rimward_protocol import codes, enumerations

from rimward.base.errors import Refusal
from rimward.device.calibration.fit import (
    BENCH,
    ORDINARY,
    Calibrated,
    Factors,
    Point,
    Scale,
    compose,
)
from rimward.device.link import Client, verbs
from rimward.device.link.live import live_rows

SAMPLES = 100
SAMPLE_S = 6.0
SETTINGS = {"a": 1, "b": 2}
GUARD_SETTING = 3
Q16 = 65536
PRELOADS = 2
MOVED_PA, FOLLOWED = (
    20_000,
    0.25,
)  # a transducer that follows less than a quarter of such a step is stuck
OPEN_PA, LOADED = (
    15_000,
    0.9,
)  # required readings at open air and at a preload, as a share of the highest point
ZERO, PRELOAD, OPEN, RISING, FALLING = "zero", "preload", "open", "rising", "falling"


@dataclass(frozen=True)
class Reference:
    """Reference gauge. Pa; `expanded_pa`: U with coverage factor `k`, from its certificate; `due`: day on which its calibration ends."""

    name: str
    expanded_pa: float
    k: float
    resolution_pa: float
    certificate: str = ""
    serial: str = ""
    due: str = ""


@dataclass(frozen=True)
class Step:
    """One step for the person: `kind` is one of the words above, the nominal pressure is gauge Pa."""

    kind: str
    nominal_pa: int

    @property
    def measured(self) -> bool:
        """True if the reference is read at this step."""
        return self.kind in (ZERO, RISING, FALLING)


def sequence(nominal_pa: Iterable[int]) -> list[Step]:
    """Return the steps of a run: zero, preloads to the highest pressure, up, down, zero."""
    up = sorted(nominal_pa)
    loads = [Step(PRELOAD, up[-1]), Step(OPEN, 0)] * PRELOADS
    rising, falling = [Step(RISING, pa) for pa in up], [Step(FALLING, pa) for pa in reversed(up)]
    return [Step(ZERO, 0), *loads, *rising, *falling, Step(ZERO, 0)]


def left_sequence(nominal_pa: Iterable[int]) -> list[Step]:
    """Return the steps after writing the result: zero, then the lowest, a middle and the highest pressure."""
    up = sorted(nominal_pa)
    return [Step(ZERO, 0), *(Step(RISING, pa) for pa in (up[0], up[len(up) // 2], up[-1]))]


def scale_of(client: Client) -> Scale:
    """Transducers of the connected inflator: a proof bench's or an ordinary one's."""
    return BENCH if verbs.is_bench(client) else ORDINARY


def measure(client: Client) -> tuple[float, float, float]:
    """Return (mean of A, mean of B, larger standard deviation) over two seconds of live samples, Pa gauge."""
    rows: list[dict[str, Any]] = []
    before = client.on_push
    client.on_push = lambda message, payload: rows.extend(
        live_rows(payload) if message == codes.LIVE else []
    )
    try:
        client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=50)
        rows.clear()
        until = client.transport.now_s() + SAMPLE_S
        while len(rows) < SAMPLES and client.transport.now_s() < until:
            client.pump()
        client.request(codes.WATCH, what=0, rate_hz=1)
    finally:
        client.on_push = before
    if len(rows) < SAMPLES:
        raise Refusal(
            f"Only {len(rows)} readings arrived in {SAMPLE_S:.0f} s.",
            "Check the cable and start again.",
        )
    values = [[row[f"{name}_pa"] for row in rows[:SAMPLES]] for name in ("a", "b")]
    means = [sum(v) / len(v) for v in values]
    spread = max(
        math.sqrt(sum((x - m) ** 2 for x in v) / (len(v) - 1)) for v, m in zip(values, means)
    )
    return means[0], means[1], spread


def collect(
    client: Client,
    steps: Sequence[Step],
    ask: Callable[[Step], float],
    have: Sequence[Point] = (),
    keep: Callable[[Point], None] | None = None,
) -> list[Point]:
    """Run the steps. `ask(step)` returns the reading of the reference, Pa gauge; it is ignored at a preload.

    `have`: earlier points of the same steps, not taken again. `keep` gets each new point. Refusal for a transducer that does not
    follow; that
    point is dropped.
    """
    points = list(have)
    measured = -1
    for step in steps:
        measured += step.measured
        if measured < len(have) if step.measured else len(have) > 1:
            continue
        point = _point(client, step, ask(step))
        if step.measured:
            _check_follows(points[-1] if points else None, point)
            points.append(point)
            if keep is not None:
                keep(point)
        else:
            _check_load(step, point)
    return points


def _point(client: Client, step: Step, shown: float) -> Point:
    a, b, spread = measure(client)
    status = verbs.status(client)
    return Point(step.kind != FALLING, shown, a, b, spread, status["ambient_pa"], status["air_ck"])


def _check_follows(last: Point | None, point: Point) -> None:
    """Refuse a transducer that did not follow the reference."""
    if last is None or abs(moved := point.reference_pa - last.reference_pa) < MOVED_PA:
        return
    for name in ("a", "b"):
        read = getattr(point, f"{name}_pa") - getattr(last, f"{name}_pa")
        if abs(read) < FOLLOWED * abs(moved):
            raise Refusal(
                f"Transducer {name.upper()} is stuck: the reference changed by {moved / 1e5:+.2f} bar, it by {read / 1e5:+.2f} bar.",
                "The earlier points are stored. Clean its tap or replace it, then repeat the command.",
            )


def _check_load(step: Step, point: Point) -> None:
    """Refuse a preload that did not go to the highest pressure and back."""
    if step.kind == PRELOAD and min(point.a_pa, point.b_pa) < LOADED * step.nominal_pa:
        raise Refusal(
            f"The preload reached {min(point.a_pa, point.b_pa) / 1e5:.2f} bar of {step.nominal_pa / 1e5:.2f} bar.",
            "Go to the highest pressure before the points are read: it removes effects of earlier loads.",
        )
    if step.kind == OPEN and max(point.a_pa, point.b_pa) > OPEN_PA:
        raise Refusal(
            "The manifold was not open to the air between the preloads.",
            "Release all pressure, then continue.",
        )


def in_force(client: Client) -> Factors:
    """Gain and offset of both transducers in force in the inflator."""
    return {name: coefficients(client, number) for name, number in SETTINGS.items()}


def coefficients(client: Client, number: int) -> tuple[float, float]:
    """Gain and offset in force in the inflator."""
    value = client.request(codes.SETTING_GET, number=number)["value"]
    if len(value) < 8:
        return 1.0, 0.0
    gain, offset = struct.unpack_from("<ii", value)
    return gain / Q16, float(offset)


def revisions(client: Client) -> list[int]:
    """Revisions of the settings that a calibration writes: higher after any change."""
    return [
        client.request(codes.SETTING_GET, number=number)["revision"]
        for number in (*SETTINGS.values(), GUARD_SETTING)
    ]


def write_back(
    client: Client,
    result: Calibrated,
    number: int = 0,
    today: float | None = None,
    tell: verbs.Tell | None = None,
) -> dict[str, int]:
    """Write coefficients, guard band and date to the inflator (two copies). A person there confirms each.

    `number`: running number of the certificate. Return the settings' revisions. Refusal from the inflator, or if a stored value reads back
    differently.
    """
    days = int((time.time() if today is None else today) - codes.EPOCH_DAY_UNIX_S) // 86400
    ambient = result.points[0].ambient_pa
    wanted = {}
    for channel in result.channels:
        now = coefficients(client, SETTINGS[channel.name])
        gain, offset = compose(channel.name, (channel.gain, channel.offset_pa), now, ambient)
        row = (
            round(gain * Q16),
            round(offset),
            days,
            round(channel.hysteresis_pa),
            number & 0xFFFF,
        )
        wanted[SETTINGS[channel.name]] = struct.pack("<iiIiH", *row)
    wanted[GUARD_SETTING] = struct.pack("<iI", result.guard_pa, days)
    written = {}
    for setting, value in wanted.items():
        written[codes.word_of([(row[0], row[1]) for row in enumerations.SETTINGS], setting)] = (
            verbs.put_setting(client, setting, value, tell)
        )
    return written
