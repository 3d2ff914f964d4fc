"""The guided run: one point after the other off the inflator's live readings, then the coefficients back to the device."""

import math
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

from rimward_protocol import codes, enumerations

from rimward.calibration.fit import Calibrated, Point
from rimward.errors import Refusal
from rimward.link import Client, verbs
from rimward.link.live import live_rows

SAMPLES = 100
SAMPLE_S = 6.0
SETTINGS = {"a": 1, "b": 2}
GUARD_SETTING = 3
Q16 = 65536


@dataclass(frozen=True)
class Reference:
    """The reference gauge. Pa; `expanded_pa` is U with coverage factor `k`, off its certificate."""

    name: str
    expanded_pa: float
    k: float
    resolution_pa: float
    certificate: int = 0


def measure(client: Client) -> tuple[float, float, float]:
    """(mean of A, mean of B, larger standard deviation) over two seconds of live samples, Pa gauge."""
    rows: list[dict] = []
    before = client.on_push
    client.on_push = lambda message, payload: rows.extend(live_rows(payload) if message == codes.LIVE else [])
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
        raise Refusal(f"Only {len(rows)} readings came in {SAMPLE_S:.0f} s.", "Check the cable and start again.")
    values = [[row[f"{name}_pa"] for row in rows[:SAMPLES]] for name in ("a", "b")]
    means = [sum(v) / len(v) for v in values]
    spread = max(math.sqrt(sum((x - m) ** 2 for x in v) / (len(v) - 1)) for v, m in zip(values, means))
    return means[0], means[1], spread


def collect(client: Client, nominal_pa: list[int], ask: Callable[[int, bool], float]) -> list[Point]:
    """Goes up through the pressures and down again. `ask(nominal, rising)` gives what the reference shows, Pa gauge."""
    points = []
    for rising, order in ((True, sorted(nominal_pa)), (False, sorted(nominal_pa, reverse=True))):
        for nominal in order:
            shown = ask(nominal, rising)
            a, b, spread = measure(client)
            status = verbs.status(client)
            points.append(Point(rising, shown, a, b, spread, status["ambient_pa"], status["air_ck"]))
    return points


def coefficients(client: Client, number: int) -> tuple[float, float]:
    """Gain and offset that the device applies now."""
    value = client.request(codes.SETTING_GET, number=number)["value"]
    if len(value) < 8:
        return 1.0, 0.0
    gain, offset = struct.unpack_from("<ii", value)
    return gain / Q16, float(offset)


def write_back(client: Client, result: Calibrated, reference: Reference, today: float | None = None) -> dict[str, int]:
    """Writes coefficients, guard band and date to the device (which keeps two copies). Needs the workshop button held.

    Gives the settings' revisions. Refusal from the device, or if what it stored reads back differently.
    """
    days = int((time.time() if today is None else today) - codes.EPOCH_DAY_UNIX_S) // 86400
    ambient = result.points[0].ambient_pa
    wanted = {}
    for channel in result.channels:
        gain, offset = coefficients(client, SETTINGS[channel.name])
        new_offset = channel.gain * offset + channel.offset_pa
        if channel.name == "a":  # a sealed transducer: the device takes the barometer off after the gain
            new_offset -= (channel.gain - 1.0) * ambient
        row = (round(gain * channel.gain * Q16), round(new_offset), days, round(channel.hysteresis_pa), reference.certificate)
        wanted[SETTINGS[channel.name]] = struct.pack("<iiIiH", *row)
    wanted[GUARD_SETTING] = struct.pack("<iI", result.guard_pa, days)
    revisions = {}
    for number, value in wanted.items():
        answer = client.request(codes.SETTING_PUT, number=number, value=value)
        if answer["value"] != value:
            raise Refusal(f"Setting {number} reads back differently.", "Run the calibration again; service the inflator if it repeats.")
        revisions[codes.word_of([(row[0], row[1]) for row in enumerations.SETTINGS], number)] = answer["revision"]
    return revisions
