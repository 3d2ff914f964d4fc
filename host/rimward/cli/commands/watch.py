"""`rimward watch`: an inflator's pressure, ceiling and state, live."""

import queue
import threading
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click
from rich.live import Live

from rimward.base.output import console
from rimward.cli.commands._port import json_option, port_option

if TYPE_CHECKING:
    from rimward.device.link.live import Watcher

REFRESH_S = 0.25
JOIN_S = 1.0
LINE_S = 1.0


@click.command()
@port_option
@click.option(
    "--rate", default=10, show_default=True, type=click.IntRange(2, 50), help="Readings a second."
)
@click.option("--seconds", type=float, help="Stop after so long; else until interrupted.")
@json_option
def command(port: str, rate: int, seconds: float | None, as_json: bool) -> None:
    """Show live pressure, ceiling and state, each with its age; older than a second is marked old. With --json one object a line.

    With a pressure-open chuck the tyre's figure is a range while the tyre is at rest (ready, done, stopped), as on the display: with --json
    tyre_low_pa and tyre_high_pa, null elsewhere.
    The age counts from the inflator's reading, transmission included. Without new samples the last one is shown again, as old.
    Into a pipe or a file it prints plain lines: one a second, and one at each change of state or cause.
    """

    from rimward.device.link.live import Watcher
    from rimward.device.link.ports import open_client

    end = time.monotonic() + seconds if seconds else None
    with open_client(port, hold=False, reconnect_s=10.0) as client:
        watcher = Watcher(client, rate)
        with Reader(watcher) as reader:
            if as_json:
                shown = -1
                for row in reader.rows(end):
                    if row["tick"] != shown or row["old"]:
                        click.echo(watcher.json_line(row))
                    shown = row["tick"]
            elif not console.is_terminal:
                _plain(watcher, reader.rows(end))
            else:
                with Live(console=console, auto_refresh=False) as live:
                    for row in reader.rows(end):
                        live.update(watcher.panel(row), refresh=True)


def _plain(watcher: "Watcher", rows: Iterator[dict[str, Any]]) -> None:
    """Print lines for a pipe or a file: one a second, and one as soon as a word of it changes."""
    due, words = 0.0, None
    for row in rows:
        now = time.monotonic()
        if now >= due or watcher.words(row) != words:
            due, words = now + LINE_S, watcher.words(row)
            click.echo(f"{time.strftime('%H:%M:%S')}  {watcher.line(row)}")


class Reader:
    """Read the line in its own thread, so that the shown values age on the screen whatever the line does."""

    def __init__(self, watcher: "Watcher") -> None:
        self.watcher = watcher
        self._rows: queue.SimpleQueue[dict[str, Any] | BaseException] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "Reader":
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, *_exc: object) -> bool:
        self._stop.set()
        self._thread.join(JOIN_S)
        if not self._thread.is_alive():
            self.watcher.stop()
        return kind is KeyboardInterrupt

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                for row in self.watcher.turn():
                    self._rows.put(row)
        except BaseException as failed:
            self._rows.put(failed)

    def rows(self, end: float | None) -> Iterator[dict[str, Any]]:
        """Yield samples as they arrive, and the last one again while none arrives, until `end` on the monotonic clock."""
        last: dict[str, Any] | None = None
        while end is None or time.monotonic() < end:
            try:
                got = self._rows.get(timeout=REFRESH_S)
            except queue.Empty:
                got = None
            if isinstance(got, BaseException):
                raise got
            last = got or last
            if last is not None:
                yield self.watcher.seen(last)
