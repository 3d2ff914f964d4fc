"""A person at a virtual inflator: answers, presses, holds. Used by the demo, the tests and the tools."""

from typing import Any

from rimward.link import Client, LockstepTransport, verbs
from rimward.simulation.scenario import KEY
from rimward.virtual import VirtualInflator
from rimward.virtual.setup import source_of

SOURCE_SETTING = 5  # 0 compressor 1 line; free air delivery, mL/min; supply, Pa


# what is asked -> what this person presses: 5 bar is printed on the tyre, and 3 bar are wanted
PRESSES = {
    "new-wheel": ("enter",),
    "looser-limits": ("enter",),
    "printed-maximum": (*["up"] * 9, "enter"),
    "approval": ("enter",),
    "target": (*["up"] * 6, "enter"),
    "stood-an-hour": ("enter",),
}


class Person:
    """Someone who reads the display and acts on it. Everything takes plant time."""

    def __init__(self, inflator: VirtualInflator) -> None:
        self.inflator = inflator
        self.client = Client(LockstepTransport(inflator))

    def status(self) -> dict:
        """What the display says."""
        return verbs.status(self.client)

    def enrol(self, key: bytes = KEY) -> None:
        """Gives the inflator a workshop key and confirms it there."""
        verbs.enrol_key(self.client, key, self.confirm)

    def set_source(self) -> None:
        """Give the inflator the figures of the plant's air source."""
        value = source_of(self.inflator.plant.params)
        self.put(SOURCE_SETTING, value)

    def put(self, number: int, value: bytes) -> None:
        """Stores a setting and confirms it at the inflator."""
        verbs.put_setting(self.client, number, value, self.confirm)

    def confirm(self, _text: str = "") -> None:
        """Presses the workshop button once the display has named the request."""
        self.inflator.advance(0.3)
        self.inflator.press("workshop")

    def bring(self, data: bytes) -> dict[str, Any]:
        """Enrols the shop's key and sends a profile tagged with it; gives what `verbs.send_profile` does."""
        self.enrol()
        return verbs.send_profile(self.client, data)

    def choose(self, wheel_id: bytes) -> None:
        """Chooses the wheel, confirms a new one, says that it has stood here for an hour."""
        verbs.choose_wheel(self.client, wheel_id)
        for _ in range(6):
            waiting = self.status()["waiting"]
            if waiting not in PRESSES:
                break
            for button in PRESSES[waiting]:
                self.inflator.press(button)
        self.inflator.advance(0.5)

    def hold(self, seconds: float) -> None:
        """Holds the run control for a while."""
        self.inflator.hands.run = True
        self.inflator.advance(seconds)
        self.inflator.hands.run = False

    def fill(self, seconds: float = 240.0) -> dict:
        """Holds the run control, confirms the bead when asked, lets go when the fill is done or stopped. Gives the last status."""
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
        """Lets go and waits until the inflator has written its session."""
        self.inflator.hands.run = False
        self.inflator.advance(seconds)
