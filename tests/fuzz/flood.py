"""Attack the line during a fill: no late tick, the same fill as without the attack, and a working conversation afterwards."""

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from rimward.device.link import Client, LockstepTransport, verbs
from rimward.simulation.person import Person
from rimward.simulation.plant import layout as k
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes, frame, layout, messages

from tests.fuzz.frames import Draw, Maker
from tests.unit.linkbench import profile

SECONDS = 6.0
PROFILE = frame.encode(codes.PROFILE_PUT, 5, profile(revision=9))
WATCH = frame.encode(codes.WATCH, 8, bytes((3, 50)))


def hello(host_id: int, what: int = 1) -> bytes:
    """HELLO of one host."""
    row = {
        "protocol": codes.PROTOCOL_VERSION,
        "layout_hash": layout.layout_hash(),
        "what": what,
        "host_id": host_id,
    }
    return frame.encode(
        codes.HELLO, host_id & 0xFFFF, layout.pack(messages.payload_of(codes.HELLO), row)
    )


def noise(seed: int) -> Callable[[int], bytes]:
    """512 random bytes a tick: 256,000 a second."""
    draw = Draw(seed)
    block = bytes(draw.bytes(4096))
    return lambda tick: block[tick * 37 % 3500 :][:512]


def damaged(seed: int) -> Callable[[int], bytes]:
    """Damaged frames, one a tick."""
    maker = Maker(seed)
    return lambda tick: maker.next()


# name -> (what the line brings in tick n, does a host read what comes back)
ATTACKS: dict[str, tuple[Callable[[int], bytes], bool]] = {
    "noise": (noise(3), True),
    "damaged frames": (damaged(4), True),
    "slow bytes": (
        lambda tick: PROFILE[tick // 25 % len(PROFILE) :][:1] if tick % 25 == 0 else b"",
        True,
    ),
    "half frames": (lambda tick: PROFILE[:60] if tick % 3 == 0 else b"", True),
    "uploads one behind the other": (lambda tick: PROFILE, True),
    "wrong sequence numbers": (lambda tick: frame.encode(codes.STATUS, tick * 7919 & 0xFFFF), True),
    "two hosts": (
        lambda tick: (
            hello(1) + frame.encode(codes.STATUS, 1),
            hello(2) + frame.encode(codes.SELECT, 2, bytes(8)),
        )[tick & 1],
        True,
    ),
    "everything watched, nothing read": (
        lambda tick: WATCH if tick % 50 == 0 else frame.encode(codes.STATUS, 3),
        False,
    ),
}


# The main loop takes a person's answer some ticks earlier or later from run to run, attacked or not: the fill begins at another moment, with other noise, and
# its three rests of 0.2 s last some ticks more or less. A source held back by an attack would lose more than this share.
APART = 0.02
LEAST_REST = (
    60  # ticks: no rest of a fill is shorter; a source that an attack makes drop out is back sooner
)


@dataclass(frozen=True)
class Seen:
    """What an attack did. Times of answers in ms of wall time, on MicroPython; the tick is late at 50."""

    attack: str
    bytes_offered: int
    bytes_taken: int
    halted_ticks: int
    slowest_ms: float
    cause: str
    air_ticks: int
    air_ticks_alone: int
    shortest_rest: int
    recovered: bool


def filling() -> tuple[VirtualInflator, Person]:
    """An inflator in a long run of its pump, the run control held: the search and the second burst end at about 0.2 bar."""
    inflator = VirtualInflator(plant_of(Scenario()))
    person = Person(inflator)
    person.bring(profile())
    person.choose(Scenario().wheel_id())
    inflator.hands.run = True
    assert inflator.until(lambda v: v.powered and v.plant.tyre_pa > 60000, 60.0)
    return inflator, person


def attack(name: str, seconds: float = SECONDS) -> Seen:
    """Attack the line for some seconds of a fill; the same fill runs without the attack for comparison."""
    alone, _ = filling()
    with alone:
        air_alone = sum(run_for(alone, seconds, lambda tick: b"", True)[2])
    inflator, person = filling()
    with inflator:
        assert inflator.firmware is not None
        before = inflator.firmware.halted_ticks
        offered, taken, air, slowest = run_for(inflator, seconds, *ATTACKS[name])
        halted = inflator.firmware.halted_ticks - before
        recovered = talks(inflator)
        cause = Person(inflator).status()["cause"]
    return Seen(
        name,
        offered,
        taken,
        halted,
        round(slowest * 1000, 2),
        cause,
        sum(air),
        air_alone,
        shortest_rest(air),
        recovered,
    )


def run_for(
    inflator: VirtualInflator, seconds: float, line: Callable[[int], bytes], reads: bool
) -> tuple[int, int, list[int], float]:
    """(bytes offered, bytes the line took, per tick whether air went in, slowest tick in seconds of wall time)."""
    assert inflator._far is not None
    offered = taken = 0
    air, slowest = [], 0.0
    for tick in range(round(seconds * 500)):
        data = line(tick)
        offered += len(data)
        if data:
            with contextlib.suppress(BlockingIOError):  # the line is full
                taken += inflator._far.send(data)
        if reads:
            inflator.read()
        begun = time.perf_counter()
        inflator.tick()
        slowest = max(slowest, time.perf_counter() - begun)
        air.append(int(bool(inflator.drive & k.GATE)))
    return offered, taken, air, slowest


def shortest_rest(air: list[int]) -> int:
    """Ticks of the shortest time without air between two with it; as many as there are where it never stopped."""
    rests = [len(list(run)) for on, run in groupby(air) if not on]
    inside = rests[0 if air[0] else 1 : len(rests) if air[-1] else -1]
    return min(inside, default=len(air))


def talks(inflator: VirtualInflator) -> bool:
    """A new conversation works once the attack is over: in the fill, and about stored things after it."""
    while inflator.read():
        inflator.advance(0.05)
    with Client(LockstepTransport(inflator), hold=False, tries=12) as client:
        if not verbs.status(client)["ceiling_pa"]:
            return False
        inflator.hands.run = False
        inflator.advance(1.0)
        return [row["data"] for row in verbs.list_profiles(client)] == [profile()]


def problems_of(seen: Seen) -> list[str]:
    """Return the effects that an attack must not have."""
    found: list[str] = []
    if seen.halted_ticks:
        found.append(f"{seen.halted_ticks} ticks without an answer")
    if seen.cause != "none":
        found.append(f"the guard latched: {seen.cause}")
    if abs(seen.air_ticks - seen.air_ticks_alone) > APART * seen.air_ticks_alone:
        found.append(
            f"air was on in {seen.air_ticks} ticks, in {seen.air_ticks_alone} without the attack"
        )
    if seen.shortest_rest < LEAST_REST:
        found.append(f"the source dropped out for {seen.shortest_rest} ticks")
    if not seen.recovered:
        found.append("no conversation afterwards")
    return found


def figures(seen: Seen) -> dict[str, Any]:
    """For a report."""
    return {
        "bytes_offered": seen.bytes_offered,
        "bytes_taken": seen.bytes_taken,
        "slowest_tick_ms": seen.slowest_ms,
    }
