"""Device worker: the one thread that talks to the inflator. Pages read its ring and state, and queue orders."""

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import TYPE_CHECKING, Any, TypeVar

from rimward_protocol import codes, enumerations

from rimward.base.closed_core import tyre_between
from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.device.link.client import Client
from rimward.device.link.live import live_rows
from rimward.device.link.ports import about_row, inflators, open_client
from rimward.sessions.log import SessionLog, read_session
from rimward.sessions.report.archive import Archive
from rimward.sessions.visit import cold_pa
from rimward.web.age import Ages
from rimward.web.hold import Hold
from rimward.web.lease import Lease
from rimward.web.ring import Ring

if TYPE_CHECKING:
    from rimward.web.trial import Trial

T = TypeVar("T")
LOG = logging.getLogger("rimward")
RATE_HZ = 50
STATUS_S = 0.4
AGAIN_S = 1.0
SEARCH_S = 4.0
ORDER_S = 30.0
RESTING = ("idle", "ready", "asking", "done", "stopped", "tripped")
MOVING = codes.OUT_GATE | codes.OUT_RELAY | codes.OUT_TESTING
STATES = {word: number for number, word, _meaning in enumerations.FILL_STATES}


class DeviceWorker:
    """Device worker: start it, give it a port, read `ring` and `state()`. `listeners` are called from its thread after every change."""

    def __init__(
        self,
        archive: Archive,
        port: str | None = None,
        connect: Callable[..., Client] = open_client,
    ) -> None:
        self.archive, self.hold, self.ring = archive, Hold(), Ring()
        self.lease, self.ages = Lease(self.hold, self.ring), Ages()
        self.trial: "Trial | None" = None
        self.port, self.search = port, port is None
        self.listeners: set[Callable[[], None]] = set()
        self.version = 0
        self._connect = connect
        self._client: Client | None = None
        self._orders: queue.Queue[tuple[Callable[[Client], Any], Future[Any]]] = queue.Queue(32)
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._new: list[tuple[int, ...]] = []
        self._state: dict[str, Any] = {
            "line": "none",
            "port": port,
            "why": "",
            "about": None,
            "status": None,
            "kept": None,
            "pull": None,
            "instrument": None,
        }
        self._device = ""
        self._visit: tuple[Any, ...] = ()
        self._holds = 0
        self._retry = self._asked = 0.0
        self._open_port = port
        self._thread = threading.Thread(target=self._run, name="rimward-desk", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def close(self) -> None:
        """Say goodbye to the inflator and end."""
        self._stop.set()
        self._thread.join(10)

    def state(self) -> dict[str, Any]:
        """Newest state; never changed in place."""
        with self._lock:
            return dict(self._state)

    def pressure_open(self) -> bool:
        """Return True if the inflator says that the chosen wheel's chuck is pressure-open."""
        status = self.state()["status"]
        return bool(status and status["pressure_open"])

    def use(self, port: str) -> None:
        """Switch to the inflator on another port."""
        self._free()
        self.port, self.search, self._device, self._retry = port, False, "", 0.0

    def order(self, act: Callable[[Client], T]) -> "Future[T]":
        """Queue a function of the inflator's client; the future returns its result or its Refusal."""
        if self._client is None:
            raise Refusal(
                "No inflator is connected.", "Plug one in, then look for it on the Set-up page."
            )
        self._free()
        done: Future[T] = Future()
        try:
            self._orders.put_nowait((act, done))
        except queue.Full:
            raise Refusal(
                "The inflator is busy with earlier orders.", "Wait a moment and try again."
            ) from None
        return done

    def lead(self, trial: "Trial") -> None:
        """Run a proof test on this thread; other orders wait until it ends."""
        done = self.order(trial.run)
        self.trial = trial
        done.add_done_callback(trial.over)

    def news(self, _trial: "Trial", status: dict[str, Any] | None) -> None:
        """Publish progress of a test, from this thread; the last chance to end it when the server ends."""
        if status is not None and self._stop.is_set():
            raise Refusal(
                "The workshop page was ended.", "Start it again; the bench has stopped and vented."
            )
        if status is None:
            self._tell()
        else:
            self.ages.status(status["tick"], status["state"], time.monotonic())
            self._heard(status)

    def enrolled(self) -> None:
        """Note that the inflator has just enrolled a key."""
        about = self.state()["about"]
        if about:
            self._tell(about={**about, "key_enrolled": True})

    def _free(self) -> None:
        if self.trial is not None and self.trial.running:
            raise Refusal("A proof test is under way.", "Wait until it is over.")

    # Thread

    def _run(self) -> None:
        while not self._stop.is_set():
            if self._client is None:
                self._open()
            else:
                try:
                    self._turn(self._client)
                except Refusal as lost:
                    self._lose(str(lost))
                except (
                    Exception
                ) as wrong:  # a defect here must not leave pages with an old pressure
                    LOG.exception("the line to the inflator failed")
                    self._lose(f"The line failed: {type(wrong).__name__}.")
        if self._client is not None:
            self._client.close()

    def _open(self) -> None:
        if time.monotonic() < self._retry:
            self._stop.wait(0.05)
            return
        self._retry = time.monotonic() + AGAIN_S
        if self.port is None:
            self._look()
            return
        try:
            client = self._connect(self.port)
        except Refusal as refusal:
            self._tell(line="lost" if self._device else "looking", why=str(refusal), status=None)
            if self._device:
                self._look()
            return
        try:
            self._begin(client)
        except Refusal as refusal:
            client.close()
            self._tell(line="lost" if self._device else "looking", why=str(refusal), status=None)

    def _begin(self, client: Client) -> None:
        about = about_row(self.port or "", client.about)
        client.on_push = self._push
        verbs.tell_time(client)
        client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=RATE_HZ)
        self._device, self._client, self._visit, self._asked = about["device"], client, (), 0.0
        self.ages.forget()
        self._open_port = self.port
        self._tell(
            line="on", port=self.port, why="", about=about, instrument=verbs.instrument(client)
        )

    def _look(self) -> None:
        """Find the port without one or after a loss: the only inflator, or the previous one under another name."""
        self._retry = time.monotonic() + SEARCH_S
        if self.port is None and not self.search:
            return
        found = [
            row for row in inflators() if row["inflator"] and self._device in ("", row["device"])
        ]
        if len(found) == 1:
            self.port, self._retry = found[0]["port"], 0.0
        elif not self._device:
            self._tell(
                line="none",
                why="No inflator was found."
                if not found
                else "Several inflators are here: choose one.",
            )

    def _lose(self, why: str) -> None:
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(OSError):
                client.transport.close()
        self._fail_orders()
        self._retry = time.monotonic() + 0.2
        self._tell(line="lost", why=why, status=None, pull=None)

    def _fail_orders(self) -> None:
        while not self._orders.empty():
            _act, done = self._orders.get_nowait()
            done.set_exception(
                Refusal(
                    "The connection was lost.",
                    "Plug the cable in; what was in force stays in force.",
                )
            )

    def _turn(self, client: Client) -> None:
        client.pump()
        self._share()
        while not self._orders.empty():
            self._do(client, *self._orders.get_nowait())
            self._asked = 0.0
        if self.port != self._open_port:
            client.close()
            self._client, self._device, self._retry = None, "", 0.0
            self._tell(line="looking", port=self.port, about=None, status=None)
            return
        if time.monotonic() - self._asked > STATUS_S:
            self._asked = time.monotonic()
            self._status(client)

    def _do(self, client: Client, act: Callable[[Client], Any], done: Future[Any]) -> None:
        if not done.set_running_or_notify_cancel():
            return
        try:
            done.set_result(act(client))
        except Exception as wrong:  # the failure belongs to the caller of the order
            done.set_exception(wrong)

    def _status(self, client: Client) -> None:
        asked = time.monotonic()
        status = verbs.status(client)
        self.ages.status(status["tick"], status["state"], asked)
        before, self._visit = (
            self._visit,
            (status["state"], status["ceiling_pa"] > 0),
        )  # a ceiling is in force: a record is open
        held = self.hold.held
        self._heard(status)
        resting = (
            status["state"] in RESTING and not status["out"] & MOVING and not status["ceiling_pa"]
        )
        if resting and before != self._visit:
            self._bring_home(
                client, status["state"], whole=not before, who=self.hold.who if held else ""
            )

    def _heard(self, status: dict[str, Any]) -> None:
        status["out_words"] = [
            word for bit, word, _meaning in enumerations.GUARD_OUTS if status["out"] & bit
        ]
        if status != self._state["status"] or self.hold.changes != self._holds:
            self._holds = self.hold.changes
            self._tell(status=status)

    def _push(self, message: int, payload: bytes) -> None:
        if message == codes.LIVE:
            for row in live_rows(payload):
                tyre = -1 if row["tyre_pa"] is None else row["tyre_pa"]
                limits = (row["ceiling_pa"], row["stop_pa"], row["target_pa"])
                self._new.append(
                    (
                        row["tick"],
                        row["reading_pa"],
                        tyre,
                        int(row["air_on"]),
                        STATES.get(row["state"], 0),
                        *limits,
                    )
                )
                self.ages.sample(row["tick"], row["state"])
            self._share()

    def _share(self) -> None:
        if self._new:
            rows, self._new = self._new, []
            self.ring.add(rows)
            self._ring_bell()

    # Sessions are pulled automatically

    def _bring_home(self, client: Client, state: str, whole: bool, who: str) -> None:
        for index, row in enumerate(_listed(client)):
            if self.archive.holds(self._device, row):
                if not whole:
                    break
                continue
            if (
                not row["ended"]
                and index == 0
                and state not in ("idle", "done", "stopped", "tripped")
            ):
                continue
            self._pull(client, row, who)

    def _pull(self, client: Client, row: dict[str, Any], who: str) -> None:
        to = self.archive.folder / f".{self._device}-{row['unix_s']}.pull"

        def progress(have: int, size: int) -> None:
            self._tell(pull={"session": row["session"], "have": have, "size": size})

        verbs.pull_session(
            client, row["session"], to, progress
        )  # bytes received before a lost line are continued from
        try:
            data = to.read_bytes()
            name = self.archive.add(data, who)
        except Refusal as refusal:
            self._tell(pull=None, why=str(refusal))
            return
        finally:
            to.unlink(missing_ok=True)
        self._tell(pull=None, kept={**self.archive.row(name), **_cold(read_session(data))})

    def _tell(self, **news: Any) -> None:
        with self._lock:
            self._state = {**self._state, **news}
            self.version += 1
        self._ring_bell()

    def touch(self) -> None:
        """Note a change of something shown beside the state (the hold)."""
        self._tell()

    def _ring_bell(self) -> None:
        for call in list(self.listeners):
            call()


def _cold(log: SessionLog) -> dict[str, Any]:
    """Return what the record says of the tyre once it is cold: `cold_pa`, and `cold_range_pa` in which it lies."""
    pa, profile = cold_pa(log), log.profile
    ends = None if pa is None or profile is None else tyre_between(pa, profile["chuck"])
    return {"cold_pa": pa, "cold_range_pa": ends}


def _listed(client: Client) -> Any:
    """Rows of the inflator's session list, newest first, requested one by one."""
    index, count = 0, 1
    while index < count:
        answer = client.request(codes.SESSION_LIST, index=index)
        count = answer["count"]
        if answer["session"]:
            yield {
                **{name: answer[name] for name in ("session", "bytes", "unix_s")},
                "ended": bool(answer["flags"] & 1),
            }
        index += 1
