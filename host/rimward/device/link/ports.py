"""Serial ports with an inflator, and their identification."""

import contextlib
import glob
import os
import warnings
from collections.abc import Iterator
from typing import Any

import platformdirs
from rimward_protocol import frame
from serial.tools import list_ports

from rimward.base.errors import Refusal
from rimward.base.logs import LINK
from rimward.device.link.client import Client
from rimward.device.link.transport import SerialTransport
from rimward.device.link.verbs import instrument, status, tell_time
from rimward.formats.records import text_of

SCAN_S = 0.7  # time for each of two attempts on a port of unknown kind


def open_client(port: str, **options: Any) -> Client:
    """Open a conversation on a port; one that holds the inflator also sets its clock. Refusal without an inflator."""
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
    """Candidate ports: USB serial lines, and running virtual inflators of this user, by the names that they print."""
    found = [
        port.device
        for port in list_ports.comports()
        if port.vid is not None or "ttyACM" in port.device or "usbmodem" in port.device
    ]
    return found + [
        os.path.realpath(link)
        for link in sorted(glob.glob(os.path.join(virtual_folder(), "*")))
        if runs(link)
    ]


def runs(link: str) -> bool:
    """Return True if the virtual inflator of this link still runs. Otherwise its line may be somebody's terminal by now."""
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
    """Folder in which virtual inflators link their ports."""

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # without a runtime folder its substitute serves as well
        return os.path.join(
            platformdirs.user_runtime_dir("rimward", ensure_exists=False), "virtual"
        )


def inflators() -> Iterator[dict[str, Any]]:
    """Query each candidate in turn; return a row for each port: identification, or the reason of the failure."""
    for port in candidates():
        try:
            with open_client(port, hold=False, reply_s=SCAN_S, tries=2) as client:
                yield {
                    **about_row(port, client.about),
                    "calibration": instrument(client).row(status(client)["guard_pa"]),
                }
        except Refusal as refusal:
            yield {"port": port, "inflator": False, "why": refusal.text}


def only_inflator() -> str:
    """Port of the only inflator present. Refusal for none, or more than one.

    A single candidate is not queried first: opening it reports any problem.
    """
    ports = candidates()
    if len(ports) > 1:
        rows = list(inflators())
        ports = [row["port"] for row in rows if row["inflator"]]
        if not ports:
            raise Refusal(
                f"No inflator answers: {'; '.join(row['why'] for row in rows)}",
                "Plug one in, or name its port with --port.",
            )
    if len(ports) > 1:
        raise Refusal(
            f"{len(ports)} inflators are connected: {', '.join(ports)}.",
            "Choose one with --port PORT, or set RIMWARD_PORT.",
        )
    if not ports:
        raise Refusal(
            "No inflator is connected.",
            "Plug one in, start one with `rimward virtual`, or name its port with --port.",
        )
    LINK.info("the only inflator present is on %s", ports[0])
    return ports[0]


def about_row(port: str, about: dict[str, Any]) -> dict[str, Any]:
    """HELLO_IS in words."""
    flags = about["flags"]
    return {
        "port": port,
        "inflator": True,
        "device": text_of(about["device_id"])
        if about["device_id"].isascii()
        else about["device_id"].hex(),
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
