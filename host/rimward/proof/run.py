"""`rimward proof run`: one test on the bench, from the signed profile to the row for `proof analyse`.

The host only watches and beats. Air needs the person's hand on the run control behind the screen; a beat that does not come within the
lease stops the air and opens the vent, so a host that dies ends the test.
"""

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import chain, count
from pathlib import Path
from typing import Any

from rimward_protocol import codes

from rimward import keys
from rimward.errors import Refusal
from rimward.keys import Ring
from rimward.link import Client, LockstepTransport, verbs
from rimward.proof import bench, fromsession, merge, record
from rimward.proof.events import Event, find_events, find_sudden
from rimward.proof.load import Sample
from rimward.proof.retention import PASSES, verdict
from rimward.sessions import read_session
from rimward.units import parse_pressure

LEASE_MS = 400
BEAT_S = 0.1
STATUS_S = 0.5
LOOK_S = 1.0  # how often events are looked for
LOOK_SAMPLES = 1500
SAME_S = 1.0
SAY_S = 10.0
RATE_HZ = 50
PERSON_S = 300.0  # how long a person may take over a step
EMPTY_PA = 10_000
CLOSED_S = 120.0
RECONNECT_S = 30.0  # a cable that comes back in this time brings the record home
Tell = Callable[[str, dict[str, Any]], None]


class Own:
    """Who gives the beats: this loop itself, for as long as it runs. A page takes its place in `rimward.web.trial`."""

    lease_ms = LEASE_MS

    def __init__(self) -> None:
        self._at = -1.0

    def beats(self, now_s: float) -> bool:
        """Whether a beat is to be sent now; asked every turn."""
        if now_s - self._at < BEAT_S:
            return False
        self._at = now_s
        return True

    def gone(self) -> str:
        """Why no beat will come any more, in words; asked only while nothing is under pressure."""
        return ""

    def turned(self, session: "Session") -> None:
        """A turn of the loop is over."""


@dataclass
class Session:
    """A test under way. `tell(kind, facts)` hears what happens: confirm, hold, level, event, let-go."""

    client: Client
    test: bench.Test
    ring: Ring
    tell: Tell
    partner: Any = field(default_factory=Own)
    live: record.Recorder = field(default_factory=record.Recorder)
    found: list[Event] = field(default_factory=list)
    status: dict[str, Any] = field(default_factory=dict)
    ended: dict[str, Any] = field(default_factory=dict)
    _beat: int = 0
    _asked: float = -1.0
    _looked: float = 0.0
    _said: float = 0.0

    def now(self) -> float:
        return self.client.transport.now_s()

    def turn(self) -> None:
        """One turn of the loop: beat, samples, status, events."""
        if self.partner.beats(self.now()):
            self._beat += 1
            self.client.request(codes.BENCH_BEAT, beat=self._beat, lease_ms=self.partner.lease_ms)
        self.client.pump()
        if self.now() - self._asked >= STATUS_S:
            self._asked = self.now()
            self.status = verbs.status(self.client)
        if self.now() - self._looked >= LOOK_S:
            self._looked = self.now()
            self.look()
        last = self.live.last
        if last is not None and last["t_s"] - self._said >= SAY_S:
            self._said = last["t_s"]
            self.tell("sample", last)
        self.partner.turned(self)

    def look(self) -> None:
        """Sudden events of the newest samples, each told once."""
        t, low, vent = self.live.trace(LOOK_SAMPLES)
        if len(t) < fromsession.LEAST_SAMPLES:
            return
        for event in find_sudden(t, low, venting=vent):
            known = any(e.kind == event.kind and abs(e.t_ms - event.t_ms) < SAME_S * 1000 for e in self.found)
            if not known:
                self.found.append(event)
                self.tell("event", event.as_json())

    def until(self, done: Callable[[], bool], seconds: float) -> bool:
        """Turns until `done`; False if it did not come in time."""
        end = self.now() + seconds
        while not done():
            if self.now() > end:
                return False
            self.turn()
        return True

    def wait(self, done: Callable[[], bool], seconds: float) -> bool:
        """The same before the first air: ends with a Refusal once nobody beats any more."""
        done_or_gone = self.until(lambda: done() or bool(self.partner.gone()), seconds)
        if not done() and self.partner.gone():
            raise Refusal(self.partner.gone(), "Nothing was filled. Begin the test again.")
        return done_or_gone


def run_port(port: str, test: bench.Test, folder: Path, tell: Tell) -> dict[str, Any]:
    """A test on the bench at a serial port, with the bench key of this computer."""
    from rimward.link.ports import open_client

    with open_client(port, reconnect_s=RECONNECT_S) as client:
        return run(client, test, keys.load("bench"), folder, tell)


def run_virtual(test: bench.Test, folder: Path, tell: Tell, blow_off: str | None = None, **over: Any) -> dict[str, Any]:
    """The same on a virtual bench with a key of its own, as fast as this machine can."""
    if blow_off:
        over["blow_off_pa"] = float(parse_pressure(blow_off))
    ring = keys.Ring((keys.Key(secrets.token_bytes(keys.KEY_BYTES), keys.today()),), "nowhere")
    with bench.virtual(test, **over) as inflator:
        hands = bench.Hands(inflator)
        with Client(LockstepTransport(inflator)) as client:
            hands.enrol(client, ring)

        def both(kind: str, facts: dict[str, Any]) -> None:
            hands.tell(kind, facts)
            tell(kind, facts)

        with Client(LockstepTransport(inflator)) as client:
            return run(client, test, ring, folder, both)


def require_bench(client: Client) -> None:
    """Refusal unless this is a proof bench with a key."""
    flags = client.about["flags"]
    if not flags & 2:
        raise Refusal(
            "This inflator is not a proof bench; its limits are those of filling.", "Connect the bench, or try it with --virtual."
        )
    if not flags & 1:
        raise Refusal(
            "The bench has no key.",
            "Make one with `rimward key new --purpose bench`, then `rimward key enrol --purpose bench` with its button held.",
        )


def run(client: Client, test: bench.Test, ring: Ring, folder: Path, tell: Tell, partner: Any = None) -> dict[str, Any]:
    """The whole test; gives the result as a JSON-ready object after everything was saved in `folder`. Refusal where it could not begin."""
    require_bench(client)
    verbs.send_profile(client, bench.profile_of(test, ring))
    now = Session(client, test, ring, tell, partner or Own())
    before = {row["session"] for row in verbs.list_sessions(client)}
    with _watching(now):
        verbs.choose_wheel(client, test.wheel_id)
        _confirmed(now)
        now.live.rows.clear()
        now._said = 0.0
        _watched(now)
        number = _closed(now, before)
    return save(client, now, number, folder)


@contextmanager
def _watching(now: Session) -> Iterator[None]:
    """Live samples go to the recorder, and on to whoever watched before; that one's watch stays when this ends."""
    client = now.client
    heard = client.on_push

    def push(message: int, payload: bytes) -> None:
        if message == codes.LIVE:
            now.live.take(payload)
        if heard is not None:
            heard(message, payload)

    client.on_push = push
    client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=RATE_HZ)
    try:
        yield
    finally:
        client.on_push = heard
        if heard is None:
            _unwatch(client)


def _unwatch(client: Client) -> None:
    try:
        client.request(codes.WATCH, what=0, rate_hz=1)
    except Refusal:
        pass  # a line that is lost has nothing to end


def _confirmed(now: Session) -> None:
    """A person compares the specimen at the bench and confirms it there."""
    now.tell("confirm", {"label": now.test.label})
    over = ("stopped", "tripped", "idle", "done")
    now.wait(lambda: now.status.get("waiting") == "hold-to-run" or now.status.get("state") in over, PERSON_S)
    if now.status.get("waiting") != "hold-to-run":
        cause = now.status.get("stop_cause", "none")
        raise Refusal(
            f"The bench did not arm ({cause}).", "Read its display; key in the bench position, specimen confirmed, then run it again."
        )


def _watched(now: Session) -> None:
    """From the first hold to the end of the test, and until the vent has emptied the fixture."""
    now.tell("hold", {"ceiling_pa": now.status["ceiling_pa"], "target_pa": now.status["target_pa"]})
    if not now.wait(lambda: now.status["state"] not in ("ready", "asking"), PERSON_S):
        raise Refusal("Nobody held the run control.", "Hold it behind the screen for the whole test.")
    shown: list[Any] = [None]

    def ended() -> bool:
        last = now.live.last
        if last is not None and (last["level_pa"], last["state"]) != shown[0]:
            shown[0] = (last["level_pa"], last["state"])
            now.tell("level", last)
        now.ended = now.status
        return now.status["state"] in ("done", "stopped", "tripped")

    longest = 3600.0 * 4
    if not now.until(ended, longest):
        raise Refusal("The test did not end within four hours.", "Let go of the run control and look at the bench.")
    now.tell("let-go", {"state": now.ended["state"], "cause": now.ended["stop_cause"]})
    now.until(lambda: (now.live.last or {"low_pa": 0})["low_pa"] < EMPTY_PA, PERSON_S)
    now.look()


def _closed(now: Session, before: set[int]) -> int:
    """Waits until the person has let go and the bench has written its record; gives its number."""
    number = 0

    def written() -> bool:
        nonlocal number
        fresh = [row["session"] for row in verbs.list_sessions(now.client) if row["session"] not in before and row["ended"]]
        number = fresh[0] if fresh else 0
        return bool(fresh)

    end = now.now() + CLOSED_S
    while not written():
        if now.now() > end:
            raise Refusal(
                "The bench has not closed its record: the run control is still held.", "Let go; then pull it with `rimward session pull`."
            )
        now.until(lambda: False, 0.5)
    return number


def save(client: Client, now: Session, number: int, folder: Path) -> dict[str, Any]:
    """Pulls the bench's record, writes the whole session and the row, and gives the result."""
    folder.mkdir(parents=True, exist_ok=True)
    name = free_name(folder, f"proof-{verbs.device_name(client)}-{number}")
    own = folder / f"{name}-bench.rws"
    verbs.pull_session(client, number, own)
    whole = folder / f"{name}.rws"
    whole.write_bytes(record.whole_session(own.read_bytes(), now.live))
    log = read_session(whole)
    sample = fromsession.with_cells(fromsession.sample_of(log, whole.name), {"medium": now.test.medium or None, "rim_inner_mm": now.test.rim_inner_mm})
    table = folder / f"{name}.csv"
    table.write_text(merge.to_csv([sample]), encoding="utf-8")
    t, low, vent = now.live.trace()
    return result(now, sample, find_events(t, low, venting=vent), {"session": str(whole), "bench_session": str(own), "row": str(table)})


def free_name(folder: Path, name: str) -> str:
    """`name`, with a number behind it where `folder` has files of that name: a bench that lost its memory counts from one again."""
    numbered = (f"{name}-{n}" for n in count(2))
    tried = chain([name], numbered)
    return next(one for one in tried if not any((folder / f"{one}{end}").exists() for end in ("-bench.rws", ".rws", ".csv")))


def result(now: Session, sample: Sample, events: list[Event], files: dict[str, str]) -> dict[str, Any]:
    """What came of it: `ended` done, released or stopped; `retention` True, False, or None where it was not decided."""
    released = sample.released == "yes"
    state = now.ended["state"]
    retention = verdict(sample)
    return {
        "ended": "released" if released else "done" if state == "done" else "stopped",
        "state": state,
        "cause": now.ended["stop_cause"] if state != "tripped" else now.ended["cause"],
        "retention_held": PASSES[retention],
        "retention": retention,
        "highest_bar": sample.release_bar,
        "limit_bar": sample.limit_bar,
        "margin": sample.margin,
        "hold_s": sample.known["hold_s"],
        "row": sample.raw,
        "events": [event.as_json() for event in events],
        "files": files,
    }
