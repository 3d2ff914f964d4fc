"""Self-check of an inflator over its link: it starts, its tick keeps time, heap is free, the store answers. No prompt needed, no air
moved.
"""

import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.device.link.client import Client
from rimward.device.link.ports import open_client
from rimward.formats.records import text_of

TICK_MOST_US = 400  # with flash waits; half the period would trip
RATE_LEAST, RATE_MOST = (
    495.0,
    505.0,
)  # ticks a second, tolerance for the host's clock and the line's delay
HEAP_LEAST = 30_000  # bytes
MEASURE_S = 3.0
TRY_S = 0.5
Tell = Callable[[str], None]


@dataclass(frozen=True)
class SelfCheck:
    """Findings. `ticks_a_second` by this computer's clock; `tick_us`: longest tick since the start; `problems`: one line each."""

    firmware: str
    interpreter: str
    boots: int
    ticks_a_second: float
    tick_us: int
    heap_free: int
    wheels: int
    sessions: int
    trips: int
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """True without problems."""
        return not self.problems

    def row(self) -> dict[str, Any]:
        """Return the findings for JSON."""
        return {"ok": self.ok, **asdict(self)}


def wait_for(port: str, wait_s: float, tell: Tell) -> Client:
    """Open a conversation once the inflator has started. Refusal if it takes longer than `wait_s` seconds."""
    until = time.monotonic() + wait_s
    while True:
        try:
            return open_client(port, hold=False, tries=1)
        except Refusal as refusal:
            if time.monotonic() >= until:
                text = f"The inflator at {port} did not start within {wait_s:g} s: {refusal}"
                raise Refusal(
                    text,
                    "Open the workshop contact, switch it off and on, and run: rimward install --check-only --port "
                    + port,
                ) from refusal
        tell(f"waiting for the inflator, {max(until - time.monotonic(), 0):.0f} s left")
        time.sleep(TRY_S)


def self_check(client: Client) -> SelfCheck:
    """Run all checks; takes about three seconds."""
    first = client.request(codes.STATUS)
    began = client.transport.now_s()
    client.wait(MEASURE_S)
    last = client.request(codes.STATUS)
    rate = ((last["tick"] - first["tick"]) & 0x3FFFFFFF) / (client.transport.now_s() - began)
    figures = {
        "firmware": text_of(client.about["firmware"]),
        "interpreter": text_of(client.about["interpreter"]),
        "boots": int(client.about["boot"]),
        "ticks_a_second": round(rate, 1),
        "tick_us": int(last["tick_max_us"]),
        "heap_free": int(last["heap_free"]),
        "wheels": len(verbs.list_profiles(client)),
        "sessions": len(verbs.list_sessions(client)),
        "trips": int(client.request(codes.FAULTS, index=0)["count"]),
    }
    return SelfCheck(**figures, problems=tuple(problems(figures, verbs.status(client))))


def problems(figures: dict[str, Any], status: dict[str, Any]) -> list[str]:
    """Problems, one line each."""
    found = []
    if figures["boots"] < 1:
        found.append("The store does not count starts: install again, then service the flash.")
    if not RATE_LEAST <= figures["ticks_a_second"] <= RATE_MOST:
        found.append(
            f"{figures['ticks_a_second']} ticks a second instead of 500: the controller does not keep time."
        )
    if figures["tick_us"] > TICK_MOST_US:
        found.append(
            f"A tick took {figures['tick_us']} us, at most {TICK_MOST_US} us are allowed: install the compiled firmware."
        )
    if figures["heap_free"] < HEAP_LEAST:
        found.append(
            f"{figures['heap_free']} bytes of memory are free, at least {HEAP_LEAST} are needed."
        )
    if status["cause"] != "none":
        found.append(
            f"A cause is latched: {status['cause']}, {status['cause_reason']}; {status['cause_next']}."
        )
    return found
