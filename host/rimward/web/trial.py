"""Proof test led by a page: its facts for all pages, and the heartbeats of the one page that holds the bench."""

import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from rimward.base.errors import Refusal
from rimward.base.units import show_limit
from rimward.device.link.client import Client
from rimward.proof import bench, show
from rimward.proof import run as testing
from rimward.web import kept
from rimward.web.lease import LEASE_MS, Lease
from rimward.wheels.keys import Ring as Keys

GONE_S = 10.0
ORDERLY = ("filling", "leak-watch", "seat-pause")


class Trial:
    """One test. `facts`: data for pages, replaced, never changed. `run` occupies the device worker until the test is over."""

    lease_ms = LEASE_MS

    def __init__(
        self,
        test: bench.Test,
        keys: Keys,
        lease: Lease,
        ended: Callable[["Trial", dict[str, Any] | None], None],
        **more: Any,
    ) -> None:
        self.test, self.running, self._keys, self._lease, self._ended = (
            test,
            True,
            keys,
            lease,
            ended,
        )
        self._called_off = self.name = ""
        self._status: dict[str, Any] = {}
        levels = [
            {"name": name, "pa": pa, "hold_s": hold_s, "gauge": show.level(pa, test.hold_pa)}
            for name, pa, hold_s in test.levels()
        ]
        self.facts: dict[str, Any] = {
            "phase": "sent", "label": test.label, "limit_pa": test.limit_pa, "limit": show_limit(test.limit_pa), "levels": levels, "at": -1,
            "state": "", "since_tick": 0, "begun": int(time.time()), "begun_tick": 0, "events": [], "next": "Wait.", "result": None, "refused": "", **more,
        }  # fmt: skip

    # Device worker's thread

    def run(self, client: Client) -> dict[str, Any]:
        """Run the whole test. Refusal where it could not begin or its record is missing."""
        self.name = name = time.strftime("%Y%m%d-%H%M%S", time.gmtime())
        patience, client.reconnect_s = client.reconnect_s, testing.RECONNECT_S
        self._lease.begin()
        try:
            found = testing.run(client, self.test, self._keys, kept.place() / name, self.hear, self)
        finally:
            client.reconnect_s = patience
        found = kept.save(name, found, self.test.label, self.facts["who"], self._called_off)
        self._tell(
            phase="ended",
            result=kept.in_words(found),
            next="The specimen is scrap: mark rim and tyre as tested.",
        )
        return found

    def over(self, done: "Future[Any]") -> None:
        """Note that the device worker has finished with it."""
        self.running = False
        wrong = (
            Refusal("The connection was lost.", "Begin the test again.")
            if done.cancelled()
            else done.exception()
        )
        if wrong is not None:
            self._tell(
                phase="refused",
                refused=str(wrong),
                next="Let go of the run control; the bench stops and vents by itself.",
            )
        else:
            self._tell()

    def beats(self, _now_s: float) -> bool:
        """Pass on the page's heartbeat."""
        return not self._called_off and self._lease.take()

    def gone(self) -> str:
        """Reason why the test will not continue: called off, or its page is gone."""
        gone = self._lease.broken or self._lease.silent_s() > GONE_S
        return self._called_off or (
            "The page that held the bench has gone: it was closed or loaded again." if gone else ""
        )

    def turned(self, session: testing.Session) -> None:
        """Let the device worker inform its pages."""
        if session.status and session.status is not self._status:
            self._status = session.status
            self._ended(self, session.status)

    def hear(self, kind: str, facts: dict[str, Any]) -> None:
        """Take an event of `proof.run`."""
        if kind in ("confirm", "hold", "let-go"):
            self._tell(phase=kind, next=show.SAID[kind])
        elif kind == "level" and facts["state"] in ORDERLY:
            at = min(
                range(len(self.facts["levels"])),
                key=lambda i: abs(self.facts["levels"][i]["pa"] - facts["level_pa"]),
            )
            if facts["state"] == "seat-pause":
                following = f"{show.STATES['seat-pause'].capitalize()}. Keep holding."
            else:
                following = (
                    "Keep holding the run control behind the screen; release it to stop and vent."
                )
            begun = self.facts["begun_tick"] or facts["tick"]
            self._tell(
                phase="run",
                at=max(at, self.facts["at"]),
                state=facts["state"],
                since_tick=facts["tick"],
                begun_tick=begun,
                next=following,
            )
        elif kind == "event":
            self._tell(events=[*self.facts["events"], kept.event_words(facts)])

    # A page's thread

    def call_off(self) -> None:
        """Stop passing heartbeats: the lease runs out, the air stops, the vent opens."""
        self._called_off = "The test was called off on the page."

    def _tell(self, **news: Any) -> None:
        self.facts = {**self.facts, **news, "running": self.running}
        self._ended(self, None)
