"""Transports: a serial port, or the virtual inflator in lockstep, where waiting makes plant time pass."""

import contextlib
import time
from typing import Protocol

import serial

from rimward.base.errors import Refusal

GONE: tuple[type[BaseException], ...] = (serial.SerialException, OSError, TypeError)
UNUSABLE: tuple[type[BaseException], ...] = (*GONE, ValueError)


class LineLost(Refusal):
    """The line was lost; it may come back."""


class Transport(Protocol):
    """Bytes out, bytes in, and a matching clock."""

    def write(self, data: bytes) -> None:
        """Send all bytes. LineLost when the line is gone."""

    def read(self) -> bytes:
        """Return the bytes that arrived; waits up to 20 ms. LineLost when the line is gone."""

    def now_s(self) -> float:
        """Clock for time limits, s."""

    def reopen(self, wait_s: float) -> bool:
        """Wait for a lost line to come back; False if it did not."""

    def close(self) -> None:
        """Release the line."""


class Lockstep(Protocol):
    """An inflator whose time passes only when it is asked to: the virtual one, which the simulation builds on top of this room."""

    @property
    def now_s(self) -> float:
        """Its own time."""

    @property
    def owes(self) -> bool:
        """Whether it is still at work on something."""

    def write(self, data: bytes) -> None:
        """Send bytes to it."""

    def read(self) -> bytes:
        """Bytes that it sent since."""

    def advance(self, seconds: float) -> None:
        """Lets its time pass."""


class SerialTransport:
    """Serial port opened exclusively."""

    def __init__(self, port: str) -> None:
        self.name = port
        self._serial = self._open()

    def _open(self) -> serial.Serial:
        try:
            line = serial.Serial(self.name, 115200, timeout=0.02, write_timeout=2.0, exclusive=True)
            line.reset_input_buffer()  # remains of an earlier conversation
            return line
        except UNUSABLE as wrong:
            raise port_refusal(self.name, wrong) from wrong

    def write(self, data: bytes) -> None:
        """Send all bytes. LineLost when the line is gone."""
        try:
            self._serial.write(data)
        except serial.SerialTimeoutException as wrong:
            raise Refusal(
                f"Port {self.name} accepts no bytes: the other end does not read.",
                "Switch the inflator off and on.",
            ) from wrong
        except GONE as wrong:
            raise lost(self.name) from wrong

    def read(self) -> bytes:
        """Return the bytes that arrived; waits up to 20 ms. LineLost when the line is gone."""
        try:
            data: bytes = self._serial.read(1)
            return data + bytes(self._serial.read(self._serial.in_waiting)) if data else data
        except GONE as wrong:
            raise lost(self.name) from wrong

    def now_s(self) -> float:
        """Monotonic clock, s."""
        return time.monotonic()

    def reopen(self, wait_s: float) -> bool:
        """Wait for the port to come back; False after a timeout."""
        self.close()
        until = time.monotonic() + wait_s
        while time.monotonic() < until:
            try:
                self._serial = self._open()
                return True
            except Refusal:
                time.sleep(0.1)
        return False

    def close(self) -> None:
        """Close the port."""
        with contextlib.suppress(*GONE):  # the line is gone already
            self._serial.close()


class LockstepTransport:
    """Virtual inflator in its own time: reading lets plant time pass until bytes arrive."""

    def __init__(self, inflator: Lockstep) -> None:
        self.inflator = inflator
        self.name = "virtual"

    def write(self, data: bytes) -> None:
        """Send all bytes."""
        self.inflator.write(data)

    def read(self) -> bytes:
        """Return the bytes that arrived, running plant time meanwhile."""
        for _ in range(2):
            data = self.inflator.read()
            if data:
                return data
            self.inflator.advance(0.01)
            if self.inflator.owes:
                time.sleep(0.01)  # during long work on its side plant time must not run away
        return self.inflator.read()

    def now_s(self) -> float:
        """Plant time, s."""
        return self.inflator.now_s

    def reopen(self, wait_s: float) -> bool:
        """Return False: this line cannot be lost."""
        return True

    def close(self) -> None:
        """Do nothing: the inflator keeps running."""


def port_refusal(port: str, wrong: BaseException) -> Refusal:
    """Return the Refusal for an unusable port."""
    text = str(wrong).lower()
    if "no such file" in text or "could not find" in text or "filenotfound" in text:
        return Refusal(f"There is no port {port}.", "List the inflators with `rimward inflators`.")
    if (
        "exclusively lock" in text
        or "busy" in text
        or "access is denied" in text
        or "resource temporarily" in text
    ):
        return Refusal(
            f"Port {port} is in use by another program.", "Close that program, then try again."
        )
    if "permission" in text:
        return Refusal(
            f"You have no permission to open port {port}.",
            "Join the group that owns it (often `dialout`), then log in again.",
        )
    return Refusal(
        f"Port {port} cannot be opened as a serial line.",
        "List the inflators with `rimward inflators`.",
    )


def lost(port: str) -> LineLost:
    """Return the LineLost for a port."""
    return LineLost(
        f"The connection on {port} was lost.",
        "Plug the cable in and run the command again; limits in force stay in force.",
    )
