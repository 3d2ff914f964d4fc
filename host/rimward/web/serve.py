"""Server of the application on a socket of this computer."""

import socket
from collections.abc import Sequence

import uvicorn

from rimward.base.errors import Refusal
from rimward.sessions.report.archive import Archive
from rimward.web.app import application
from rimward.web.connections import BoundedConnection
from rimward.web.desk import DeviceWorker

LOOPBACK = ("127.0.0.1", "::1", "localhost")
OWN_NAMES = ("127.0.0.1", "localhost", "[::1]")
MOST_CONNECTIONS = 256
PING_S = 5.0


class Server:
    """Page on one address. `address`: URL for a person, with its token; `run` blocks until `stop` or an interrupt."""

    def __init__(
        self,
        serial: str | None = None,
        host: str = "127.0.0.1",
        listen: int = 0,
        open_to: Sequence[str] = (),
        database: str | None = None,
    ) -> None:
        if host not in LOOPBACK and not open_to:
            raise Refusal(
                f"{host} can be reached from other computers.",
                "Say by which name with --open-to NAME, or leave --host away.",
            )
        self._socket = _bound(host, listen)
        self.listen = self._socket.getsockname()[1]
        names = [*OWN_NAMES, *open_to]
        self.archive = Archive()
        self.desk = DeviceWorker(self.archive, serial)
        self.app, self.shop = application(
            self.desk, self.archive, [f"{name}:{self.listen}" for name in names], database
        )
        self.address = f"http://{open_to[0] if open_to else OWN_NAMES[0]}:{self.listen}/?token={self.shop.token}"
        self._server = uvicorn.Server(
            uvicorn.Config(
                self.app,
                log_level="warning",
                access_log=False,
                server_header=False,
                lifespan="on",
                http=BoundedConnection,
                ws="websockets-sansio",
                ws_max_size=4096,
                ws_ping_interval=PING_S,
                ws_ping_timeout=PING_S,
                limit_concurrency=MOST_CONNECTIONS,
                timeout_keep_alive=10,
                timeout_graceful_shutdown=2,
            )
        )

    def run(self) -> None:
        """Serve until stopped."""
        self._server.run([self._socket])

    def stop(self) -> None:
        """End `run` from another thread."""
        self._server.should_exit = True


def _bound(host: str, listen: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, listen))
    except OSError as failed:
        made.close()
        raise Refusal(
            f"Port {listen} on {host} cannot be used: {failed.strerror}.",
            "Give another with --listen, or 0 for a free one.",
        ) from failed
    return made
