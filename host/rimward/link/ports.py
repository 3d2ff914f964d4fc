"""Which serial ports have an inflator behind them, and what it is."""

import contextlib
import glob
import os
import warnings
from collections.abc import Iterator
from typing import Any

from rimward_protocol import frame
from serial.tools import list_ports

from rimward.errors import Refusal
from rimward.link.client import Client
from rimward.link.transport import SerialTransport
from rimward.link.verbs import instrument, tell_time
from rimward.logs import LINK
from rimward.records import text_of

SCAN_S = 0.7  # how long a port that may be anything is waited for, twice


def open_client(port: str, **options: Any) -> Client:
    """A conversation on a port; one that holds the inflator also tells it the time. Refusal if there is no inflator."""
    transport = SerialTransport(port)
    try:
        client = Client(transport, **options)
        if options.get("hold", True):
            tell_time(client)
        return client
    except BaseException:
        transport.close()
        raise


def candidates() -> list[str]:
    """Ports worth asking: USB serial lines, and virtual inflators of this user that still run, by the names that they print themselves."""
    found = [port.device for port in list_ports.comports() if port.vid is not None or "ttyACM" in port.device or "usbmodem" in port.device]
    return found + [os.path.realpath(link) for link in sorted(glob.glob(os.path.join(virtual_folder(), "*"))) if runs(link)]


def runs(link: str) -> bool:
    """True if the virtual inflator that left this link still runs. Its line may be somebody's terminal by now if it does not."""
    try:
        os.kill(int(link.rpartition("-")[2]), 0)
    except (ValueError, ProcessLookupError):
        with contextlib.suppress(OSError):
            os.unlink(link)
        return False
    except PermissionError:
        return False
    return True


def virtual_folder() -> str:
    """Where virtual inflators leave links to their ports."""
    import platformdirs

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where there is no runtime folder its substitute serves as well
        return os.path.join(platformdirs.user_runtime_dir("rimward", ensure_exists=False), "virtual")


def inflators() -> Iterator[dict[str, Any]]:
    """Asks each candidate in turn; gives a row for each port: what it is, or why it could not be asked."""
    for port in candidates():
        try:
            with open_client(port, hold=False, reply_s=SCAN_S, tries=2) as client:
                yield {**about_row(port, client.about), "calibration": instrument(client).row()}
        except Refusal as refusal:
            yield {"port": port, "inflator": False, "why": refusal.text}


def only_inflator() -> str:
    """The port of the only inflator present. Refusal where there is none, or more than one.

    A single candidate is not asked first: whoever opens it learns what is wrong with it.
    """
    ports = candidates()
    if len(ports) > 1:
        rows = list(inflators())
        ports = [row["port"] for row in rows if row["inflator"]]
        if not ports:
            raise Refusal(f"No inflator answers: {'; '.join(row['why'] for row in rows)}", "Plug one in, or give its port with --port.")
    if len(ports) > 1:
        raise Refusal(f"{len(ports)} inflators are here: {', '.join(ports)}.", "Say which with --port PORT, or set RIMWARD_PORT.")
    if not ports:
        raise Refusal("No inflator is here.", "Plug one in, start one with `rimward virtual`, or give its port with --port.")
    LINK.info("the only inflator present is on %s", ports[0])
    return ports[0]


def about_row(port: str, about: dict[str, Any]) -> dict[str, Any]:
    """HELLO_IS as people read it."""
    flags = about["flags"]
    return {
        "port": port,
        "inflator": True,
        "device": text_of(about["device_id"]) if about["device_id"].isascii() else about["device_id"].hex(),
        "board": text_of(about["board"]),
        "firmware": text_of(about["firmware"]),
        "interpreter": text_of(about["interpreter"]),
        "protocol": about["protocol"],
        "layout": about["layout_hash"].hex(),
        "key_enrolled": bool(flags & 1),
        "bench": bool(flags & 2),
        "simulated": bool(flags & 4),
        "latched": bool(flags & 32),
        "boot": about["boot"],
        "max_payload": min(about["max_payload"], frame.MAX_PAYLOAD),
    }
