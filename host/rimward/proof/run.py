"""`rimward proof run`: one test on the bench, from the signed profile to the row for `proof analyse`.

The host only watches and beats. Air needs the person's hand on the run control behind the screen; a beat that does not come within the
lease stops the air and opens the vent, so a host that dies ends the test.
"""

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rimward_protocol import codes

from rimward import keys
from rimward.errors import Refusal
from rimward.keys import Ring
from rimward.link import Client, LockstepTransport, verbs
from rimward.proof import bench, fromsession, keep, record
from rimward.proof.events import Event, find_sudden
from rimward.proof.specimen import Specimen
from rimward.sessions.beat import BEAT_LOST, WORDS_OF

LEASE_MS = 400
BEAT_S = 0.1
STATUS_S = 0.5
LOOK_S = 1.0  # how often events are looked for
LOOK_SAMPLES = 1500
SAME_S = 1.0
SAY_S = 10.0
RATE_HZ = 50
OVER = ("done", "stopped", "tripped")
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
    beat_gap_s: float = 0.0  # longest time without a beat while the test ran
    _beat: int = 0
    _beaten: float = -1.0
    _asked: float = -1.0
    _looked: float = 0.0
    _said: float = 0.0

    def now(self) -> float:
        return self.client.transport.now_s()

    def turn(self) -> None:
        """One turn of the loop: beat, samples, status, events."""
        if self._beaten >= 0 and (self.live.last or {}).get("state") not in OVER:
            self.beat_gap_s = max(self.beat_gap_s, self.now() - self._beaten)
        if self.partner.beats(self.now()):
            self._beat += 1
            self.client.request(codes.BENCH_BEAT, beat=self._beat, lease_ms=self.partner.lease_ms)
            self._beaten = self.now()
        self.client.pump()
        if self.now() - self._asked >= STATUS_S:
            self._asked = self.now()
            self.status = self._told_apart(verbs.status(self.client))
        if self.now() - self._looked >= LOOK_S:
            self._looked = self.now()
            self.look()
        last = self.live.last
        if last is not None and last["t_s"] - self._said >= SAY_S:
            self._said = last["t_s"]
            self.tell("sample", last)
        self.partner.turned(self)

    def _told_apart(self, status: dict[str, Any]) -> dict[str, Any]:
        """The status with a lost beat named: the bench gives it the cause of a released run control. Its record decides afterwards."""
        if status["stop_cause"] != "released" or self.beat_gap_s * 1000 < self.partner.lease_ms:
            return status
        row = dict(zip(("stop_cause", "stop_cause_reason", "stop_cause_next"), (BEAT_LOST, *WORDS_OF[BEAT_LOST]), strict=True))
        return {**status, **row}

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


def run_virtual(
    test: bench.Test, folder: Path, tell: Tell, blow_off: str | None = None, specimen: Specimen | None = None, **over: Any
) -> dict[str, Any]:
    """The same on a virtual bench, as fast as this machine can: with this computer's bench key, or one of its own where there is none."""
    specimen = specimen or Specimen()
    if blow_off:
        specimen.add("blow-off", blow_off)
    ring = keys.load("bench")
    if not ring.keys:
        ring = keys.Ring((keys.Key(secrets.token_bytes(keys.KEY_BYTES), keys.today()),), "nowhere")
    with bench.virtual(test, **over) as inflator:
        inflator.watchers.append(specimen.tick)
        hands = bench.Hands(inflator)
        with Client(LockstepTransport(inflator)) as client:
            hands.enrol(client, ring)

        def both(kind: str, facts: dict[str, Any]) -> None:
            hands.tell(kind, facts)
            tell(kind, facts)

        with Client(LockstepTransport(inflator)) as client:
            return run(client, test, ring, folder, both)


def finish(path: Path, client: Client | None, ring: Ring) -> dict[str, Any]:
    """Completes a test that was interrupted, from its NAME.json: with the bench's record where a client is given, else from the live samples."""
    keep.read_facts(path)
    files = keep.Files(path.parent, path.stem)
    if client is not None:
        keep.fetch(client, files, ring)
    return keep.complete(files, ring)


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
            "Make one with `rimward key new --purpose bench`, then `rimward key enrol --purpose bench`, confirmed at the bench.",
        )


def run(client: Client, test: bench.Test, ring: Ring, folder: Path, tell: Tell, partner: Any = None) -> dict[str, Any]:
    """The whole test; gives the result as a JSON-ready object after everything was saved in `folder`. Refusal where it could not begin, or
    where the bench's record did not come home: `finish` completes it later."""
    require_bench(client)
    profile = bench.profile_of(test, ring)
    verbs.send_profile(client, profile)
    now = Session(client, test, ring, tell, partner or Own())
    before = {row["session"] for row in verbs.list_sessions(client)}
    with _watching(now):
        verbs.choose_wheel(client, test.wheel_id)
        _confirmed(now)
        now.live.rows.clear()
        now._said = 0.0
        files = _kept(now, folder, before, profile)
    return keep.complete(files, ring, now.beat_gap_s)


def _kept(now: Session, folder: Path, before: set[int], profile: bytes) -> keep.Files:
    """The test itself, every sample on disk as it comes. What never had air leaves no files."""
    files, journal = keep.begin(folder, verbs.device_name(now.client), before, now.test, profile)
    now.live.journal = journal
    now.tell("kept", {"path": str(files.path(".json"))})
    try:
        _watched(now)
        _closed(now, before)
        keep.fetch(now.client, files, now.ring)
    except BaseException:  # an interrupt too: what was heard is made a row before it goes on
        journal.close()
        _as_heard(now, files)
        raise
    finally:
        now.live.journal = None
        journal.close()
    return files


def _as_heard(now: Session, files: keep.Files) -> None:
    """The row of a test whose bench's record did not come home. What never had air leaves no files."""
    if not any(row[2][3] & codes.OUT_GATE for row in now.live.rows):
        keep.forget(files)
        return
    try:
        keep.complete(files, now.ring, now.beat_gap_s)
    except Refusal:
        pass  # too few samples for a row; they are kept


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
    now.wait(lambda: now.status.get("waiting") == "hold-to-run" or now.status.get("state") in (*OVER, "idle"), PERSON_S)
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
        return now.status["state"] in OVER

    longest = 3600.0 * 4
    if not now.until(ended, longest):
        raise Refusal("The test did not end within four hours.", "Let go of the run control and look at the bench.")
    now.tell("let-go", {"state": now.ended["state"], "cause": now.ended["stop_cause"]})
    now.until(lambda: (now.live.last or {"low_pa": 0})["low_pa"] < EMPTY_PA, PERSON_S)
    now.look()


def _closed(now: Session, before: set[int]) -> None:
    """Waits until the person has released the run control and the bench has written its record."""
    end = now.now() + CLOSED_S
    while not any(row["session"] not in before and row["ended"] for row in verbs.list_sessions(now.client)):
        if now.now() > end:
            raise Refusal(
                "The bench has not closed its record: the run control is still held.",
                "Release it; then complete the test with `rimward proof finish`.",
            )
        now.until(lambda: False, 0.5)
