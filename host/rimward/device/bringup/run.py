"""Bring-up: asks the inflator or the person for each figure, stops at the first failure, enables air step by step."""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from rimward_protocol import codes, enumerations

from rimward.base.errors import Refusal
from rimward.device.bringup.steps import AIR, DRY, LINK, STEPS, Step
from rimward.device.link import Client, verbs

BRING_UP, VENT_BASELINE = 20, 21
WITHOUT_AIR, WHOLE = 1, 2
FRESH, CLOSED, BUTTON, RUN = 1, 2, 4, 8  # flags of CUTOFF_IS
YEARLY = 0.15  # of this unit's own figure
PUMPED_PA = 100_000
VESSEL_PA, FILL_S = 150_000, 90.0  # pressure that the vessel must reach
CHOOSES = ("self_test", "test_button")  # first select the built-in profile
WAIT_S, TRIP_S, LATCH_S, HOLD_S, LOOK_S = 20.0, 180.0, 10.0, 10.0, 0.05
EPOCH_DAY = codes.EPOCH_DAY_UNIX_S // 86_400


class Person(Protocol):
    """The person at the inflator."""

    def act(self, step: Step) -> None:
        """Perform the step's action, or begin it."""

    def read(self, step: Step) -> float:
        """Return the instrument's reading, in the step's unit."""

    def done(self, step: Step) -> None:
        """End the action that `act` began."""

    def confirm(self, text: str) -> None:
        """Press the workshop button: the display names the setting to be stored."""


@dataclass(frozen=True)
class Found:
    """Figure of one step and its result; `against`: this unit's baseline, if stored."""

    step: Step
    value: float
    holds: bool
    against: float | None = None


@dataclass
class Result:
    """Findings, and how far air was enabled (0, 1 without air, 2 complete)."""

    found: list[Found] = field(default_factory=list)
    level: int = 0

    @property
    def whole(self) -> bool:
        """True if all steps passed."""
        return self.level == WHOLE

    def baseline(self) -> dict[str, float]:
        """Return this unit's own figures."""
        return {f.step.key: f.value for f in self.found if f.step.baseline}


class Bench:
    """Figures that the inflator reports over the link."""

    def __init__(self, client: Client) -> None:
        self.client = client

    def cutoff(self) -> dict[str, Any]:
        """Measurements of the independent cutoff."""
        return self.client.request(codes.CUTOFF)

    def until(self, holds: Callable[[], bool], seconds: float) -> bool:
        """Poll until the condition holds or the time is over."""
        end = self.client.transport.now_s() + seconds
        while self.client.transport.now_s() < end:
            if holds():
                return True
            self.client.wait(LOOK_S)
        return holds()

    def flag(self, bit: int) -> bool:
        """One flag of CUTOFF_IS."""
        return bool(self.cutoff()["flags"] & bit)

    def cause(self) -> str:
        """Word of the latched cause."""
        return str(verbs.status(self.client)["cause"])

    # One method for each step; it returns the figure.

    def run(self) -> float:
        """Return 1 when the run control was seen open, then held."""
        return float(
            self.until(lambda: not self.flag(RUN), WAIT_S)
            and self.until(lambda: self.flag(RUN), WAIT_S)
        )

    def key(self) -> float:
        """Return 1 when the key was seen high, then low."""

        def stands(where: str) -> bool:
            """Return True once the key is in this position."""
            return self.until(lambda: verbs.status(self.client)["range"] == where, WAIT_S)

        return float(stands("high") and stands("low"))

    def pump_supply(self) -> float:
        """Supply in V."""
        return float(verbs.status(self.client)["supply_mv"]) / 1000

    def supplies(self) -> float:
        """Supply of the cutoff in V."""
        return float(self.cutoff()["supply_mv"]) / 1000

    def threshold(self) -> float:
        """Threshold of the cutoff, as a share of its supply."""
        return float(self.cutoff()["threshold_milli"]) / 1000

    def closed(self) -> float:
        """Return 1 when the cutoff is closed and its converter answers."""
        return float(
            self.until(lambda: self.cutoff()["flags"] & (FRESH | CLOSED) == FRESH | CLOSED, 2.0)
        )

    def pressures(self) -> list[float]:
        """Return A, B and C, Pa gauge."""
        seen = self.cutoff()
        return [float(seen[f"{name}_pa"]) for name in "abc"]

    def zero(self) -> float:
        """Largest of the three readings at ambient, Pa."""
        return max(abs(pa) for pa in self.pressures())

    def tick(self) -> float:
        """Longest tick in us."""
        return float(verbs.status(self.client)["tick_max_us"])

    def polarity(self) -> float:
        """Return the reading furthest from the pumped pressure, Pa."""
        self.until(lambda: self.pressures()[0] > PUMPED_PA * 0.9, WAIT_S)
        self.client.wait(1.0)
        return max(self.pressures(), key=lambda pa: abs(pa - PUMPED_PA))

    def trip_low(self) -> float:
        """Highest reading of A and B while the cutoff was still closed; None if it does not open."""
        highest = 0.0

        def opened() -> bool:
            """Return True once it has opened; records the highest reading before."""
            nonlocal highest
            seen = self.cutoff()
            if seen["flags"] & CLOSED:
                highest = max(highest, float(max(seen["a_pa"], seen["b_pa"])))
            return not seen["flags"] & CLOSED

        return highest if self.until(opened, TRIP_S) else 0.0

    def latch(self) -> float:
        """Return 1 when the cutoff is still open ten seconds later."""
        self.client.wait(LATCH_S)
        return float(not self.flag(CLOSED))

    def power_cycle(self) -> float:
        """Return 1 when the cutoff closes after a supply interruption."""
        return float(self.until(lambda: self.flag(CLOSED), WAIT_S))

    def self_test(self) -> float:
        """Return 1 when the vessel fills and no cause is latched."""
        flows = self.until(
            lambda: self.pressures()[0] > VESSEL_PA or self.cause() != "none", FILL_S
        )
        return float(flows and self.cause() == "none")

    def stops(self) -> float:
        """Return 1 when the reading stops rising half a second after the run control was released."""
        self.until(lambda: not self.flag(RUN), WAIT_S)
        self.client.wait(0.5)
        before = max(self.pressures()[:2])
        self.client.wait(1.0)
        return float(max(self.pressures()[:2]) < before + 3_000 and self.cause() == "none")

    def holds(self) -> float:
        """Change of the reading in ten seconds, Pa."""
        self.client.wait(5.0)  # the air cools first
        before = max(self.pressures()[:2])
        self.client.wait(HOLD_S)
        return max(self.pressures()[:2]) - before

    def three(self) -> float:
        """Largest difference of A, B and C, Pa."""
        found = self.pressures()
        return max(found) - min(found)

    def test_button(self) -> float:
        """Wait until the cutoff has opened; `opened_pa` gives the figure."""
        self.until(lambda: self.flag(BUTTON), WAIT_S)
        self.until(lambda: not self.flag(CLOSED), WAIT_S)
        return 0.0

    def vent_flow(self) -> float:
        """Time of the fall through the vent in ms, from the daily test."""
        return float(self.cutoff()["fall_ms"])


def check_step(step: Step, value: float, baseline: dict[str, float] | None) -> Found:
    """Check the limits and, with a baseline, a deviation of at most 15 %."""
    own = (baseline or {}).get(step.key)
    holds = step.low <= value <= step.high
    if own is not None and step.baseline:
        holds = holds and abs(value - own) <= YEARLY * abs(own)
    return Found(step, value, holds, own)


def bring_up(
    client: Client,
    person: Person,
    baseline: dict[str, float] | None = None,
    say: Callable[[Found], None] = lambda found: None,
) -> Result:
    """Run every step in order, up to the first failure; no step with air begins before all without it have passed.

    `baseline`: this unit's own figures, for the yearly check. Refusal where the inflator does not store the result.
    """
    permit(client, person, 0)
    result = walk(client, person, STEPS, baseline, say)
    if len(result.found) == len(STEPS) and all(f.holds for f in result.found):
        keep(
            client, person, VENT_BASELINE, struct.pack("<H", round(result.baseline()["vent_flow"]))
        )
        permit(client, person, WHOLE)
        result.level = WHOLE
    else:
        permit(client, person, 0)
        result.level = 0
    return result


def walk(
    client: Client,
    person: Person,
    steps: Sequence[Step],
    baseline: dict[str, float] | None,
    say: Callable[[Found], None],
) -> Result:
    """Run these steps up to the first failure. Only `bring_up` enables air permanently."""
    bench, result = Bench(client), Result()
    for step in steps:
        if step.phase == AIR and result.level == 0:
            permit(client, person, WITHOUT_AIR)
            result.level = WITHOUT_AIR
        if step.key in CHOOSES:
            verbs.choose_wheel(client)
        person.act(step)
        value = getattr(bench, step.key)() if step.source == LINK else person.read(step)
        person.done(step)
        if step.key == "test_button":
            value = opened_pa(bench)
        found = check_step(step, value, baseline)
        result.found.append(found)
        say(found)
        if not found.holds:
            break
    return result


def opened_pa(bench: Bench) -> float:
    """Return the opening pressure found by the inflator's daily test once it is over; None if it did not pass."""
    before = bench.client.transport.now_s()
    bench.until(lambda: bench.client.transport.now_s() - before > LATCH_S + 2, LATCH_S + 5)
    seen = bench.cutoff()
    return float(seen["opened_pa"]) if seen["cause"] == 0 and seen["fall_ms"] else 0.0


def permit(client: Client, person: Person, level: int) -> None:
    """Store the progress of the bring-up in the inflator."""
    day = max(
        0, int(client.request(codes.TIME, unix_s=0, zone_min=0)["unix_s"]) // 86_400 - EPOCH_DAY
    )
    keep(client, person, BRING_UP, struct.pack("<BI", level, day))


def keep(client: Client, person: Person, number: int, value: bytes) -> None:
    """Store one setting, confirmed at the inflator and read back."""
    word = next(row[1] for row in enumerations.SETTINGS if row[0] == number)
    try:
        verbs.put_setting(client, number, value, person.confirm)
    except Refusal as refusal:
        raise Refusal(
            f"The inflator did not store {word}: {refusal.text}",
            "Start the bring-up again and confirm at the inflator.",
        ) from refusal


def compare(found: list[Found], baseline: dict[str, float]) -> list[str]:
    """Return the steps whose figure differs by more than 15 % from this unit's baseline."""
    return [
        f.step.key
        for f in found
        if f.step.baseline
        and f.step.key in baseline
        and not check_step(f.step, f.value, baseline).holds
    ]


__all__ = ["AIR", "DRY", "Bench", "Found", "Person", "Result", "bring_up", "compare", "check_step"]
