"""Connection limits of the page: time for a request's header, number for each client; idle connections never keep others out."""

import asyncio
from collections import defaultdict
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

HEADER_S = 5.0  # from the first byte, or from the connection, to the end of a request's header
EACH_CLIENT = 32  # connections of one address; browsers open six to a host


class BoundedConnection(H11Protocol):
    """One connection. A client with too many loses the one idle for longest; if all are busy, a new one is refused."""

    open_by: dict[str, dict["BoundedConnection", None]] = defaultdict(
        dict
    )  # by client, in the order of connection

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._late: asyncio.TimerHandle | None = None
        self._key = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count it, make room for it, and wait for its first header."""
        super().connection_made(transport)
        self._key = self.client[0] if self.client else ""
        mine = self.open_by[self._key]
        mine[self] = None
        if len(mine) > EACH_CLIENT:
            waiting = next((each for each in mine if each is not self and each.waits), self)
            mine.pop(waiting)
            waiting.transport.abort()
        self._await_header()

    @property
    def waits(self) -> bool:
        """True if no request is being answered on it."""
        return self.cycle is None or self.cycle.response_complete

    def data_received(self, data: bytes) -> None:
        """Take bytes; a header that has begun must end in time."""
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self._header_came()
        elif (
            self.waits
            and self._late is None
            and self._key in self.open_by
            and self in self.open_by[self._key]
        ):
            self._await_header()

    def handle_websocket_upgrade(self, event: Any) -> None:
        """Leave the count: the line has its own limits, and only a page with the token gets one."""
        self._gone()
        super().handle_websocket_upgrade(event)

    def connection_lost(self, exc: Exception | None) -> None:
        """Remove it from the count."""
        self._gone()
        super().connection_lost(exc)

    def _await_header(self) -> None:
        self._late = self.loop.call_later(HEADER_S, self.transport.abort)

    def _header_came(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _gone(self) -> None:
        self._header_came()
        mine = self.open_by.get(self._key)
        if mine is not None:
            mine.pop(self, None)
            if not mine:
                del self.open_by[self._key]
