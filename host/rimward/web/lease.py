"""Lease of the proof bench for a page: a heartbeat is passed on only while that page holds the bench and receives samples.

One loaded page leads a test from its first heartbeat to its end. When that page's line ends, because it was closed or reloaded,
no heartbeat
of any page counts for this test any more.
"""

import threading
import time
from collections.abc import Callable

from rimward.web.hold import Hold
from rimward.web.ring import Ring

LEASE_MS = 500  # longest lease that the bench accepts
SEEN_SAMPLES = 50  # a page without any sample of the last second does not watch
FRESH_S = 0.25


class Lease:
    """Heartbeats come from the page's line and are taken by the device worker, each at most once. None is ever invented."""

    def __init__(self, hold: Hold, ring: Ring, clock: Callable[[], float] = time.monotonic) -> None:
        self._hold, self._ring, self._clock = hold, ring, clock
        self._lock = threading.Lock()
        self._number = self._taken = -1
        self._at = clock()
        self._leader = ""
        self._broken = False

    def beat(self, token: str, page: str, number: int, seen: int) -> bool:
        """Note a heartbeat of a page. `seen`: number of the next sample it waits for. False for one that does not count."""
        if not self._hold.owns(token, page) or not 0 <= self._ring.next - seen <= SEEN_SAMPLES:
            return False
        with self._lock:
            if number == self._number or self._broken or self._leader not in ("", page):
                return False
            self._number, self._at = number, self._clock()
            self._leader = page
            return True

    def take(self) -> bool:
        """Return True if there is a fresh heartbeat that was not passed on yet."""
        with self._lock:
            new, self._taken = self._number != self._taken, self._number
            return new and not self._broken and self._clock() - self._at <= FRESH_S

    def left(self, page: str) -> None:
        """Note that a page's line has ended: if it led the test, the test gets no more heartbeats."""
        with self._lock:
            self._broken = self._broken or page == self._leader

    @property
    def broken(self) -> bool:
        """True if the page that led the test is gone."""
        with self._lock:
            return self._broken

    def silent_s(self) -> float:
        """Seconds since the last heartbeat that counted."""
        with self._lock:
            return self._clock() - self._at

    def begin(self) -> None:
        """Begin a test: earlier heartbeats do not count."""
        with self._lock:
            self._taken, self._at = self._number, self._clock()
            self._leader, self._broken = "", False
