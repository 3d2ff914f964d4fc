"""Hold: the one page that may send to the inflator, for as long as it is open."""

import hmac
import secrets
import threading
import time
from collections.abc import Callable

from rimward.base.errors import Refusal

GRACE_S = 8.0  # a reload or a short loss of the line keeps the hold


class Hold:
    """One hold. A page proves it by its secret token; it expires when the page has been gone for a while."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._token = ""
        self._page = ""
        self._gone: float | None = None
        self.who = ""
        self.since_s = 0
        self.changes = 0

    def take(self, page: str, who: str) -> str:
        """Take the hold and return its token. Refusal while another page has it."""
        with self._lock:
            if self._held():
                raise Refusal(
                    f"Another page holds this inflator{f' ({self.who})' if self.who else ''}.",
                    "Give it back there, or close that page.",
                )
            self._token, self._page, self._gone = secrets.token_urlsafe(18), page, None
            self.who, self.since_s = who[:60], int(time.time())
            self.changes += 1
            return self._token

    def present(self, token: str, page: str) -> bool:
        """Present the token of a reloaded page. True if the hold is its own and no other open page has it."""
        with self._lock:
            if (
                not self._is(token)
                or not self._held()
                or (self._gone is None and page != self._page)
            ):
                return False
            self._page, self._gone = page, None
            return True

    def left(self, page: str) -> None:
        """Note that a page's live line ended."""
        with self._lock:
            if page == self._page and self._token:
                self._gone = self._clock()

    def give(self, token: str) -> None:
        """Release the hold."""
        with self._lock:
            if self._is(token):
                self._drop()

    def check(self, token: str) -> None:
        """Raise Refusal for a page without the hold."""
        with self._lock:
            if not self._held() or not self._is(token):
                raise Refusal(
                    "This page does not hold the inflator.", "Take it first; only one page can."
                )

    def owns(self, token: str, page: str) -> bool:
        """Return True if this page has the hold now, its line open."""
        with self._lock:
            return self._is(token) and page == self._page and self._gone is None

    @property
    def held(self) -> bool:
        """True if some page has it."""
        with self._lock:
            return self._held()

    def _is(self, token: str) -> bool:
        return bool(self._token) and hmac.compare_digest(token.encode(), self._token.encode())

    def _held(self) -> bool:
        if self._token and self._gone is not None and self._clock() - self._gone > GRACE_S:
            self._drop()
        return bool(self._token)

    def _drop(self) -> None:
        self._token = self._page = self.who = ""
        self._gone = None
        self.changes += 1
