"""Ways to move bytes: a serial port, or the virtual inflator in lockstep, where waiting makes plant time pass."""

import time
from typing import TYPE_CHECKING, Protocol

import serial

from rimward.errors import Refusal

if TYPE_CHECKING:
    from rimward.virtual import VirtualInflator

GONE = (serial.SerialException, OSError, TypeError)


class LineLost(Refusal):
    """The line itself went away; it may come back."""


class Transport(Protocol):
    """Bytes out, bytes in, and a clock that fits them."""

    def write(self, data: bytes) -> None:
        """Sends all bytes. LineLost when the line is gone."""

    def read(self) -> bytes:
        """Bytes that came; waits up to 20 ms for some. LineLost when the line is gone."""

    def now_s(self) -> float:
        """A clock for time limits."""

    def reopen(self, wait_s: float) -> bool:
        """Waits for a lost line to come back; False if it did not."""

    def close(self) -> None:
        """Gives the line back."""


class SerialTransport:
    """A serial port opened exclusively."""

    def __init__(self, port: str) -> None:
        self.name = port
        self._serial = self._open()

    def _open(self) -> serial.Serial:
        try:
            line = serial.Serial(self.name, 115200, timeout=0.02, write_timeout=2.0, exclusive=True)
            line.reset_input_buffer()  # what an earlier conversation left
            return line
        except (*GONE, ValueError) as wrong:
            raise port_refusal(self.name, wrong) from wrong

    def write(self, data: bytes) -> None:
        try:
            self._serial.write(data)
        except serial.SerialTimeoutException as wrong:
            raise Refusal(f"Port {self.name} takes no bytes: nothing reads them at the other end.", "Switch the inflator off and on.") from wrong
        except GONE as wrong:
            raise lost(self.name) from wrong

    def read(self) -> bytes:
        try:
            data = self._serial.read(1)
            return data + self._serial.read(self._serial.in_waiting) if data else data
        except GONE as wrong:
            raise lost(self.name) from wrong

    def now_s(self) -> float:
        return time.monotonic()

    def reopen(self, wait_s: float) -> bool:
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
        try:
            self._serial.close()
        except GONE:
            pass  # the line is gone already


class LockstepTransport:
    """A virtual inflator in its own time: reading lets plant time pass until bytes come."""

    def __init__(self, inflator: "VirtualInflator") -> None:
        self.inflator = inflator
        self.name = "virtual"

    def write(self, data: bytes) -> None:
        self.inflator.write(data)

    def read(self) -> bytes:
        for _ in range(2):
            data = self.inflator.read()
            if data:
                return data
            self.inflator.advance(0.01)
            if self.inflator.firmware is not None and self.inflator.firmware.owes:
                time.sleep(0.01)  # it is at work on something long: plant time must not run away from it meanwhile
        return self.inflator.read()

    def now_s(self) -> float:
        return self.inflator.now_s

    def reopen(self, wait_s: float) -> bool:
        return True

    def close(self) -> None:
        """The inflator goes on."""


def port_refusal(port: str, wrong: Exception) -> Refusal:
    """What an unusable port means, in one line."""
    text = str(wrong).lower()
    if "no such file" in text or "could not find" in text or "filenotfound" in text:
        return Refusal(f"There is no port {port}.", "List the inflators that are here with `rimward inflators`.")
    if "exclusively lock" in text or "busy" in text or "access is denied" in text or "resource temporarily" in text:
        return Refusal(f"Port {port} is in use by another program.", "Close that program, then try again.")
    if "permission" in text:
        return Refusal(f"This user may not open port {port}.", "Join the group that owns it (often `dialout`), then log in again.")
    return Refusal(f"Port {port} cannot be opened as a serial line.", "List the inflators that are here with `rimward inflators`.")


def lost(port: str) -> LineLost:
    """The line went away."""
    return LineLost(f"The connection on {port} was lost.", "Plug the cable in and run the command again; what was in force stays in force.")
