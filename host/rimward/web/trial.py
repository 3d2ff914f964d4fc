"""A proof test that a page leads: what the pages are told of it, and the beats of the one page that holds the bench."""

import json
import re
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from rimward.errors import Refusal
from rimward.keys import Ring as Keys
from rimward.link.client import Client
from rimward.proof import bench, retention, show
from rimward.proof import run as testing
from rimward.register.place import data_dir
from rimward.units import show_limit, show_reading
from rimward.web.lease import LEASE_MS, Lease

FOLDER = "proof"
NAME = re.compile(r"[0-9]{8}-[0-9]{6}")
GONE_S = 10.0
RESULT = "result.json"
ENDED_WORDS = {
    "done": "Every level was held.",
    "released": "The tyre let go.",
    "stopped": "Stopped before its end.",
}
ORDERLY = ("filling", "leak-watch", "seat-pause")


class Trial:
    """One test. `facts` is what pages are shown; it is replaced, never changed. `run` has the desk's thread until the test is over."""

    lease_ms = LEASE_MS

    def __init__(self, test: bench.Test, keys: Keys, lease: Lease, told: Callable[["Trial", dict[str, Any] | None], None], **more: Any) -> None:
        self.test, self.running, self._keys, self._lease, self._told = test, True, keys, lease, told
        self._called_off = ""
        self._passed_s = self._longest_s = 0.0
        self._status: dict[str, Any] = {}
        levels = [
            {"name": name, "pa": pa, "hold_s": hold_s, "gauge": show.level(pa, test.retention_pa)}
            for name, pa, hold_s in test.levels()
        ]
        self.facts: dict[str, Any] = {
            "phase": "sent", "label": test.label, "limit_pa": test.limit_pa, "limit": show_limit(test.limit_pa), "levels": levels, "at": -1,
            "state": "", "since_tick": 0, "begun": int(time.time()), "begun_tick": 0, "events": [], "next": "Wait.", "result": None, "refused": "", **more,
        }  # fmt: skip

    # The desk's thread

    def run(self, client: Client) -> dict[str, Any]:
        """The whole test. Refusal where it could not begin or its record did not come home."""
        name = time.strftime("%Y%m%d-%H%M%S", time.gmtime())
        patience, client.reconnect_s = client.reconnect_s, testing.RECONNECT_S
        self._lease.begin()
        try:
            found = testing.run(client, self.test, self._keys, data_dir() / FOLDER / name, self.hear, self)
        finally:
            client.reconnect_s = patience
        found = {**found, "name": name, "label": self.test.label, "unix_s": int(time.time()), "longest_gap_s": round(self._longest_s, 2)}
        found.update({key: self.facts[key] for key in ("medium", "who")})
        (data_dir() / FOLDER / name / RESULT).write_text(json.dumps(found, indent=1), encoding="utf-8")
        self._tell(phase="ended", result=in_words(found), next="The specimen is scrap: mark rim and tyre as tested.")
        return found

    def over(self, done: "Future[Any]") -> None:
        """The desk has done with it, one way or another."""
        self.running = False
        wrong = Refusal("The connection was lost.", "Begin the test again.") if done.cancelled() else done.exception()
        if wrong is not None:
            self._tell(phase="refused", refused=str(wrong), next="Let go of the run control; the bench stops and vents by itself.")
        else:
            self._tell()

    def beats(self, _now_s: float) -> bool:
        """Passes on what the page gave."""
        if self._called_off or not self._lease.take():
            return False
        now_s = time.monotonic()
        if self.facts["phase"] == "run" and self._passed_s:
            self._longest_s = max(self._longest_s, now_s - self._passed_s)
        self._passed_s = now_s
        return True

    def gone(self) -> str:
        """Why the test will not go on: called off, or its page is gone."""
        return self._called_off or ("The page that held the bench has gone." if self._lease.silent_s() > GONE_S else "")

    def turned(self, session: testing.Session) -> None:
        """Lets the desk tell its pages."""
        if session.status and session.status is not self._status:
            self._status = session.status
            self._told(self, session.status)

    def hear(self, kind: str, facts: dict[str, Any]) -> None:
        """What happens, as `proof.run` tells it."""
        if kind in ("confirm", "hold", "let-go"):
            self._tell(phase=kind, next=show.SAID[kind])
        elif kind == "level" and facts["state"] in ORDERLY:
            at = min(range(len(self.facts["levels"])), key=lambda i: abs(self.facts["levels"][i]["pa"] - facts["level_pa"]))
            if facts["state"] == "seat-pause":
                following = f"{show.STATES['seat-pause'].capitalize()}. Keep holding."
            else:
                following = "Keep holding the run control behind the screen; let go to stop and vent."
            begun = self.facts["begun_tick"] or facts["tick"]
            self._tell(phase="run", at=max(at, self.facts["at"]), state=facts["state"], since_tick=facts["tick"], begun_tick=begun, next=following)
        elif kind == "event":
            self._tell(events=[*self.facts["events"], event_words(facts)])

    # A page's thread

    def call_off(self) -> None:
        """No beat is passed on any more: the lease runs out, the air stops, the vent opens."""
        self._called_off = "The test was called off on the page."

    def _tell(self, **news: Any) -> None:
        self.facts = {**self.facts, **news, "running": self.running}
        self._told(self, None)


def event_words(event: dict[str, Any]) -> dict[str, Any]:
    """An event as people read it."""
    kind = event["kind"].replace("_", " ")
    highest = show_reading(round(event["highest_before_pa"]))
    return {"t_s": round(event["t_ms"] / 1000, 2), "kind": kind, "text": f"{kind}, highest before it {highest}"}


def in_words(found: dict[str, Any]) -> dict[str, Any]:
    """A result as people read it, the same figures as `rimward proof run` prints."""
    note = ""
    if found["ended"] == "stopped" and found["cause"] == "released":
        gap = f" The longest gap between two beats was {found['longest_gap_s']:.1f} s." if found.get("longest_gap_s") else ""
        note = f"Either the run control was let go or the page's beat was lost.{gap}"
    return {
        "name": found["name"],
        "label": found["label"],
        "when": time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(found["unix_s"])),
        "ended": ENDED_WORDS[found["ended"]],
        "all_held": found["ended"] == "done",
        "cause": found["cause"].replace("-", " "),
        "note": note,
        "retention": retention.WORDS[found["retention"]],
        "highest": f"{show_reading(found['highest_bar'] * 1e5)} gauge",
        "limit": f"{show_limit(round(found['limit_bar'] * 1e5))} gauge",
        "margin": f"{found['margin']:.3f}",
        "censored": "" if found["ended"] == "released" else "It did not let go: the margin is censored, at least this much.",
        "held": f"{found['hold_s']:.0f} s",
        "events": [event_words(event)["text"] for event in found["events"]],
    }


def kept() -> list[dict[str, Any]]:
    """Tests whose record is on this computer, newest first."""
    rows = []
    for path in sorted((data_dir() / FOLDER).glob(f"*/{RESULT}"), reverse=True)[:200]:
        try:
            rows.append(in_words(json.loads(path.read_text(encoding="utf-8"))))
        except (OSError, ValueError, KeyError):
            continue  # the files beside it are still whole
    return rows


def files_of(name: str) -> dict[str, Path]:
    """The files of a kept test by form. Refusal for a name that is none."""
    folder = data_dir() / FOLDER / name
    if not NAME.fullmatch(name) or not (folder / RESULT).is_file():
        raise Refusal(f"There is no kept test {name[:40]}.", "See the list of tests for the names.")
    own = next(folder.glob("*-bench.rws"))
    whole = own.with_name(own.name.replace("-bench.rws", ".rws"))
    return {"rws": whole, "bench": own, "csv": whole.with_suffix(".csv"), "json": folder / RESULT}
