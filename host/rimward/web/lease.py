"""The lease of the proof bench, as a page gives it: a beat is passed on only while that page holds the bench and sees what goes on.

One loaded page leads a test from its first beat to its end. When that page's line ends, because it was closed or loaded again, no beat of
any page counts for this test any more.
"""

import threading
import time
from collections.abc import Callable

from rimward.web.hold import Hold
from rimward.web.ring import Ring

LEASE_MS = 500  # the longest that the bench takes
SEEN_SAMPLES = 50  # a page that has seen nothing of the last second does not watch
FRESH_S = 0.25


class Lease:
    """Beats come from the page's line and are taken by the thread that talks to the bench, each at most once. None is ever made up."""

    def __init__(self, hold: Hold, ring: Ring, clock: Callable[[], float] = time.monotonic) -> None:
        self._hold, self._ring, self._clock = hold, ring, clock
        self._lock = threading.Lock()
        self._number = self._taken = -1
        self._at = clock()
        self._leader = ""
        self._broken = False

    def beat(self, token: str, page: str, number: int, seen: int) -> bool:
        """A page's beat. `seen`: the number of the next sample it waits for. False for one that does not count."""
        if not self._hold.owns(token, page) or not 0 <= self._ring.next - seen <= SEEN_SAMPLES:
            return False
        with self._lock:
            if number == self._number or self._broken or self._leader not in ("", page):
                return False
            self._number, self._at = number, self._clock()
            self._leader = page
            return True

    def take(self) -> bool:
        """Whether a fresh beat is there that was not passed on yet."""
        with self._lock:
            new, self._taken = self._number != self._taken, self._number
            return new and not self._broken and self._clock() - self._at <= FRESH_S

    def left(self, page: str) -> None:
        """A page's line has ended: if it led the test, the test has no beat any more."""
        with self._lock:
            self._broken = self._broken or page == self._leader

    @property
    def broken(self) -> bool:
        """Whether the page that led the test has gone."""
        with self._lock:
            return self._broken

    def silent_s(self) -> float:
        """Since the last beat that counted."""
        with self._lock:
            return self._clock() - self._at

    def begin(self) -> None:
        """A test begins: what came before is no beat of it."""
        with self._lock:
            self._taken, self._at = self._number, self._clock()
            self._leader, self._broken = "", False
