"""`rimward proof run`: one test on the bench, from the signed profile to the row for `proof analyse`.

The host only watches and sends heartbeats. Air needs the person's hand on the run control behind the screen; a heartbeat later
than the lease
stops the air and opens the vent, so a host that fails ends the test.
"""

import contextlib
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rimward_protocol import codes, replies

from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, ports, verbs
from rimward.proof import bench, fromsession, keep, memory, record
from rimward.proof.events import Event, find_sudden
from rimward.proof.specimen import Specimen
from rimward.sessions.beat import BEAT_LOST, WORDS_OF
from rimward.simulation.plant.kept import is_kept
from rimward.wheels import keys
from rimward.wheels.keys import Ring

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
BUSY = replies.row_of(replies.BUSY_FILLING)[1]
CLOSED_S = 120.0
RECONNECT_S = 30.0  # a cable that comes back in this time brings the record home
Tell = Callable[[str, dict[str, Any]], None]


class Own:
    """Sender of heartbeats: this loop itself, while it runs. A page replaces it by `rimward.web.trial`."""

    lease_ms = LEASE_MS

    def __init__(self) -> None:
        self._at = -1.0

    def beats(self, now_s: float) -> bool:
        """Return True if a heartbeat is to be sent now; called every turn."""
        if now_s - self._at < BEAT_S:
            return False
        self._at = now_s
        return True

    def gone(self) -> str:
        """Reason why no further heartbeat will come; called only while nothing is under pressure."""
        return ""

    def turned(self, session: "Session") -> None:
        """End a turn of the loop."""


@dataclass
class Session:
    """A running test. `tell(kind, facts)` receives its progress: confirm, hold, level, event, let-go."""

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
        """Clock of the line, s."""
        return self.client.transport.now_s()

    def turn(self) -> None:
        """Run one turn of the loop: heartbeat, samples, status, events."""
        if self._beaten >= 0 and (self.live.last or {}).get("state") not in OVER:
            self.beat_gap_s = max(self.beat_gap_s, self.now() - self._beaten)
        if self.partner.beats(self.now()):
            self._beat += 1
            since, to = self.live.kept
            self.client.request(
                codes.BENCH_BEAT,
                beat=self._beat,
                lease_ms=self.partner.lease_ms,
                from_tick=since,
                to_tick=to,
            )
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
        """Status with a lost heartbeat named: the bench reports it as a released run control. Its record decides afterwards."""
        if status["stop_cause"] != "released" or self.beat_gap_s * 1000 < self.partner.lease_ms:
            return status
        row = dict(
            zip(
                ("stop_cause", "stop_cause_reason", "stop_cause_next"),
                (BEAT_LOST, *WORDS_OF[BEAT_LOST]),
                strict=True,
            )
        )
        return {**status, **row}

    def look(self) -> None:
        """Report sudden events of the newest samples, each once."""
        t, low, vent = self.live.trace(LOOK_SAMPLES)
        if len(t) < fromsession.LEAST_SAMPLES:
            return
        for event in find_sudden(t, low, venting=vent):
            known = any(
                e.kind == event.kind and abs(e.t_ms - event.t_ms) < SAME_S * 1000
                for e in self.found
            )
            if not known:
                self.found.append(event)
                self.tell("event", event.as_json())

    def until(self, done: Callable[[], bool], seconds: float) -> bool:
        """Run turns until `done`; False after a timeout."""
        end = self.now() + seconds
        while not done():
            if self.now() > end:
                return False
            self.turn()
        return True

    def wait(self, done: Callable[[], bool], seconds: float) -> bool:
        """Run turns before the first air, as `until`. Raises Refusal once no more heartbeats will come."""
        done_or_gone = self.until(lambda: done() or bool(self.partner.gone()), seconds)
        if not done() and self.partner.gone():
            raise Refusal(self.partner.gone(), "Nothing was filled. Begin the test again.")
        return done_or_gone


def run_port(port: str, test: bench.Test, folder: Path, tell: Tell) -> dict[str, Any]:
    """Run a test on the bench at a serial port, with this computer's bench key."""

    with ports.open_client(port, reconnect_s=RECONNECT_S) as client:
        return run(client, test, keys.load("bench"), folder, tell)


def run_virtual(
    test: bench.Test,
    folder: Path,
    tell: Tell,
    blow_off: str | None = None,
    specimen: Specimen | None = None,
    **over: Any,
) -> dict[str, Any]:
    """Run a test on a virtual bench, as fast as possible: with this computer's bench key, or a temporary one."""
    specimen = specimen or Specimen()
    if blow_off:
        specimen.add("blow-off", blow_off)
    ring = keys.load("bench")
    if not ring.keys:
        ring = keys.Ring((keys.Key(secrets.token_bytes(keys.KEY_BYTES), keys.today()),), "nowhere")
    if not is_kept():
        tell("compiling", {})
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
    """Complete an interrupted test from its NAME.json: with the bench's record where a client is given, else from the live samples."""
    keep.read_facts(path)
    files = keep.Files(path.parent, path.stem)
    if client is not None:
        keep.fetch(client, files, ring)
    return keep.complete(files, ring)


def require_bench(client: Client) -> None:
    """Raise Refusal unless this is a proof bench with a key."""
    flags = client.about["flags"]
    if not flags & 2:
        raise Refusal(
            "This inflator is not a proof bench; its limits are those of filling.",
            "Connect the bench, or try it with --virtual.",
        )
    if not flags & 1:
        raise Refusal(
            "The bench has no key.",
            "Make one with `rimward key new --purpose bench`, then `rimward key enrol --purpose bench`, confirmed at the bench.",
        )


def with_gauge(client: Client, test: bench.Test) -> bench.Test:
    """Test for this bench's gauge, with the guard band in force there."""
    return replace(test, gauge_pa=verbs.status(client)["guard_pa"])


def run(
    client: Client, test: bench.Test, ring: Ring, folder: Path, tell: Tell, partner: Any = None
) -> dict[str, Any]:
    """Run the whole test and return the result as a JSON-ready object, after everything was saved in `folder`. Refusal where it could not
    begin,
    or where the bench's record is missing: `finish` completes it later.
    """
    require_bench(client)
    test = with_gauge(client, test)
    memory.check_memory(verbs.status(client)["heap_free"], test)
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
    """Run the test itself, every sample written as it arrives. A test without air leaves no files."""
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
    """Row of a test without the bench's record. A test without air leaves no files."""
    if not any(row[2][3] & codes.OUT_GATE for row in now.live.rows):
        keep.forget(files)
        return
    with contextlib.suppress(Refusal):  # too few samples for a row; they are kept
        keep.complete(files, now.ring, now.beat_gap_s)


@contextmanager
def _watching(now: Session) -> Iterator[None]:
    """Pass live samples to the recorder, and to an earlier watcher, whose watch continues afterwards."""
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
    with contextlib.suppress(Refusal):  # a line that is lost has nothing to end
        client.request(codes.WATCH, what=0, rate_hz=1)


def _confirmed(now: Session) -> None:
    """Wait for a person who compares the specimen at the bench and confirms it there."""
    now.tell("confirm", {"label": now.test.label})
    now.wait(
        lambda: (
            now.status.get("waiting") == "hold-to-run" or now.status.get("state") in (*OVER, "idle")
        ),
        PERSON_S,
    )
    if now.status.get("waiting") != "hold-to-run":
        cause = now.status.get("stop_cause", "none")
        raise Refusal(
            f"The bench did not arm ({cause}).",
            "Read its display; key in the bench position, specimen confirmed, then run it again.",
        )


def _watched(now: Session) -> None:
    """Follow the test from the first hold to its end, and until the vent has emptied the fixture."""
    now.tell("hold", {"ceiling_pa": now.status["ceiling_pa"], "target_pa": now.status["target_pa"]})
    if not now.wait(lambda: now.status["state"] not in ("ready", "asking"), PERSON_S):
        raise Refusal(
            "Nobody held the run control.", "Hold it behind the screen for the whole test."
        )
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
        raise Refusal(
            "The test did not end within four hours.",
            "Release the run control and check the bench.",
        )
    now.tell("let-go", {"state": now.ended["state"], "cause": now.ended["stop_cause"]})
    now.until(lambda: (now.live.last or {"low_pa": 0})["low_pa"] < EMPTY_PA, PERSON_S)
    now.look()


def _has_closed(client: Client, before: set[int]) -> bool:
    """Return True once the bench lists a closed record of this test. It answers nothing of its store while the run control is held."""
    try:
        rows = verbs.list_sessions(client)
    except Refusal as refused:
        if f"({BUSY})" not in refused.text:
            raise
        return False
    return any(row["session"] not in before and row["ended"] for row in rows)


def _closed(now: Session, before: set[int]) -> None:
    """Wait until the person has released the run control and the bench has written its record."""
    end = now.now() + CLOSED_S
    while not _has_closed(now.client, before):
        if now.now() > end:
            raise Refusal(
                "The bench has not closed its record: the run control is still held.",
                "Release it; then complete the test with `rimward proof finish`.",
            )
        now.until(lambda: False, 0.5)
