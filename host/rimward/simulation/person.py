"""Simulated person at a virtual inflator: answers, presses, holds. Used by the demo, the tests and the tools."""

from typing import Any

from rimward.device.link import Client, LockstepTransport, verbs
from rimward.simulation.scenario import KEY
from rimward.simulation.virtual import VirtualInflator
from rimward.simulation.virtual.setup import source_of

SOURCE_SETTING = 5  # 0 compressor 1 line; free air delivery, mL/min; supply, Pa


# question -> button of this person: 5 bar is printed on the tyre, 3 bar is the target
LOADING_S = 5  # longest wait for a ceiling to come into force
PRESSES = {
    "new-wheel": ("enter",),
    "looser-limits": ("enter",),
    "printed-maximum": (*["up"] * 9, "enter"),
    "approval": ("enter",),
    "target": (*["up"] * 6, "enter"),
    "stood-an-hour": ("enter",),
}


class Person:
    """A person who reads the display and acts on it. Every act takes plant time."""

    def __init__(self, inflator: VirtualInflator) -> None:
        self.inflator = inflator
        self.client = Client(LockstepTransport(inflator))

    def status(self) -> dict[str, Any]:
        """Status of the inflator."""
        return verbs.status(self.client)

    def enrol(self, key: bytes = KEY) -> None:
        """Send the inflator a workshop key and confirm it there."""
        verbs.enrol_key(self.client, key, self.confirm)

    def set_source(self) -> None:
        """Set the inflator to the plant's air source."""
        value = source_of(self.inflator.plant.params)
        self.put(SOURCE_SETTING, value)

    def put(self, number: int, value: bytes) -> None:
        """Store a setting and confirm it at the inflator."""
        verbs.put_setting(self.client, number, value, self.confirm)

    def confirm(self, _text: str = "") -> None:
        """Press the workshop button once the display has named the request."""
        self.inflator.advance(0.3)
        self.inflator.press("workshop")

    def bring(self, data: bytes) -> dict[str, Any]:
        """Enrol the shop's key and send a profile tagged with it. Return the result of `verbs.send_profile`."""
        self.enrol()
        return verbs.send_profile(self.client, data)

    def choose(self, wheel_id: bytes) -> None:
        """Select the wheel, confirm a new one, state that it has stood here for an hour."""
        verbs.choose_wheel(self.client, wheel_id)
        for _ in range(6):
            waiting = self.status()["waiting"]
            if waiting not in PRESSES:
                break
            for button in PRESSES[waiting]:
                self.inflator.press(button)
        self.inflator.advance(0.5)
        for _ in range(
            LOADING_S * 10
        ):  # who holds before the ceiling is in force is asked to let go
            if (now := self.status())["state"] != "ready" or now["waiting"] != "nothing":
                break
            self.inflator.advance(0.1)

    def hold(self, seconds: float) -> None:
        """Hold the run control for a time."""
        self.inflator.hands.run = True
        self.inflator.advance(seconds)
        self.inflator.hands.run = False

    def fill(self, seconds: float = 240.0) -> dict[str, Any]:
        """Hold the run control, confirm the bead when asked, release it when the fill is done or stopped. Return the last status."""
        hands = self.inflator.hands
        hands.run = True
        until = self.inflator.now_s + seconds
        last = self.status()
        while self.inflator.now_s < until:
            self.inflator.advance(0.1)
            last = self.status()
            if last["waiting"] == "bead-seated":
                hands.run = False
                self.inflator.press("enter")
                hands.run = True
            elif last["state"] in ("done", "stopped", "tripped"):
                break
        hands.run = False
        return last

    def let_settle(self, seconds: float = 3.0) -> None:
        """Release and wait until the inflator has written its session."""
        self.inflator.hands.run = False
        self.inflator.advance(seconds)
