"""Virtual inflator: plant and firmware tick by tick, with a person's hands. Time is the plant's."""

import os
import shutil
import socket
import struct
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rimward_fw.board import simulated as wire
from rimward_fw.ui import buttons
from rimward_protocol import kernel_slots as slots

from rimward.kernels.duration import load_units
from rimward.simulation.plant import Plant, PlantParams
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.kept import is_kept
from rimward.simulation.virtual.cutoff_view import CutoffCircuit
from rimward.simulation.virtual.interpreter import Interpreter, find_interpreter
from rimward.simulation.virtual.process import Firmware, check_boot

TICK_S = 0.002
BOOT_TICKS = 100
FILL_VENT = 2 << 8
POWERED = k.CONTACT_SHUT | k.GATE_SHUT
BUTTONS = {
    "up": buttons.UP,
    "down": buttons.DOWN,
    "enter": buttons.ENTER,
    "workshop": buttons.WORKSHOP,
}


@dataclass(frozen=True)
class Where:
    """Clock, flash image and name of a virtual inflator; `tree`: another firmware instead of the ordinary one; `bare`: a new board
    before its bring-up.
    """

    unix_s: int = 0
    flash: Path | None = None
    device: str = "virtual0"
    tree: Path | None = None
    bare: bool = False


@dataclass
class Hands:
    """State of the person's hands and of the world. Every change applies from the next tick."""

    run: bool = False
    range_high: bool = False
    range_bench: bool = False  # a bench's third key position: both contacts closed
    attached: bool = True
    locknut_shut: bool = False
    cutoff_test: bool = False  # the button that lowers the cutoff's threshold
    held: set[str] = field(default_factory=set)

    def controls(self) -> int:
        """Bits of the plant's controls."""
        bits = k.RUN if self.run else 0
        bits |= k.RANGE_HIGH if self.range_high or self.range_bench else 0
        bits |= k.ATTACHED if self.attached else 0
        return bits | (k.LOCKNUT_SHUT if self.locknut_shut else 0)

    def word(self) -> int:
        """Button bits of the switch word."""
        bits = buttons.KEY_LOW | buttons.KEY_HIGH if self.range_bench else 0
        for name in self.held:
            bits |= BUTTONS[name]
        return bits


class VirtualInflator:
    """Firmware and plant in lockstep. `advance` passes time; `write` and `read` are the link's far end.

    `link_fd`: a descriptor to use as the link instead of the built-in socket (a pseudo-terminal's master). `compiled`: None takes
    the plant's machine code where it is kept, else plain Python, which gives the same words: compiling takes longer than most sessions.
    """

    def __init__(
        self,
        params: PlantParams,
        seed: int = 1,
        faults: Any = (),
        interpreter: Interpreter | None = None,
        where: Where | None = None,
        link_fd: int | None = None,
        compiled: bool | None = None,
    ) -> None:
        self.interpreter = interpreter or find_interpreter()
        self.where = where or Where()
        self._own_flash = (
            None if self.where.flash else Path(tempfile.mkdtemp(prefix="rimward-flash-"))
        )
        self._flash = self.where.flash or self._own_flash / "image"  # type: ignore[operator]  # what a restart finds again
        self.plant = Plant(
            params, seed=seed, faults=faults, compiled=is_kept() if compiled is None else compiled
        )
        self.hands = Hands()
        self.cutoff = CutoffCircuit(self.plant)
        self.ticks = 0
        self.out = 0
        self.drive = k.DRIVE_RESET
        self.true = 0
        self.restarts = 0
        self.pump_mv = 12_000
        self.started = False  # the firmware has answered a tick
        self.last_words = ""  # of a firmware that ended before that
        self._missed_us = 0  # time of ticks that a halted firmware missed: its clock will show it
        self.watchers: list[Callable[[VirtualInflator], None]] = []
        self._far: socket.socket | None = None
        self._near: socket.socket | None = None
        if link_fd is None:
            self._near, self._far = socket.socketpair()
            self._far.setblocking(False)
            link_fd = self._near.fileno()
        os.set_blocking(link_fd, False)  # an unread line must not block the firmware
        self._link_fd = link_fd
        self.firmware: Firmware | None = None
        self._off_until = BOOT_TICKS
        self._dark_until = 0
        self._start = time.monotonic()

    def __enter__(self) -> "VirtualInflator":
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def close(self) -> None:
        """End the firmware."""
        if self.firmware is not None:
            self.firmware.close()
            self.firmware = None
        for end in (self._near, self._far):
            if end is not None:
                end.close()
        if self._own_flash is not None:
            shutil.rmtree(self._own_flash, ignore_errors=True)

    def power_cycle(self, off_ticks: int = BOOT_TICKS) -> None:
        """Interrupt the power for a time: coils, cutoff and firmware all restart."""
        self._dark_until = self.ticks + off_ticks
        self._restart(off_ticks)

    def _restart(self, off_ticks: int = BOOT_TICKS) -> None:
        if self.firmware is not None:
            self.firmware.close()
            self.firmware = None
        self._off_until = self.ticks + off_ticks
        self.restarts += 1
        self._missed_us = 0

    def tick(self) -> None:
        """Advance 2 ms."""
        dark = k.UNPOWERED if self.ticks < self._dark_until else 0
        self.cutoff.test(self.hands.cutoff_test)
        reading = self.plant.tick(self.drive, self.hands.controls() | dark)
        self.true = reading.true
        if self.firmware is None:
            self.drive = k.DRIVE_RESET
            if self.ticks >= self._off_until:
                self.firmware = Firmware(
                    self.interpreter,
                    self._link_fd,
                    self._flash,
                    self.where.device,
                    self.where.tree,
                    self.where.bare,
                )
        else:
            self._exchange(reading)
        self.ticks += 1
        for watcher in self.watchers:
            watcher(self)

    def _exchange(self, reading: Any) -> None:
        assert self.firmware is not None
        flags = (wire.IN_BAROMETER if reading.ambient_pa else 0) | (
            0 if self.cutoff.silent else wire.IN_VIEW
        )
        gap_us = reading.tick_us + self._missed_us
        row = struct.pack(
            wire.INPUT,
            max(0, min(65535, reading.a)),
            max(0, min(65535, reading.b)),
            reading.switches | self.hands.word(),
            load_units(),
            min(255, (gap_us + slots.LOAD_US // 2) // slots.LOAD_US),
            max(0, min(255, reading.supply)),
            self.pump_mv,
            flags,
            reading.ambient_pa,
            reading.air_ck,
            self.where.unix_s + self.ticks // 500 if self.where.unix_s else 0,
            *self.cutoff.words(self.hands.run, self.hands.range_high, self.hands.cutoff_test),
        )
        out = self.firmware.exchange(row)
        self._missed_us = 0 if self.firmware.took else gap_us
        if out is None:
            if self.firmware.ended is not None:
                self._ended()
            else:
                self.drive &= ~k.GATE  # pins keep their level, but the pulses have stopped
            return
        self.started = self.started or not self.firmware.flags & wire.OUT_RESET
        self.out = out
        self.drive = out & (k.GATE | k.RELAY | k.VENT) | (k.VENT if out & FILL_VENT else 0)
        if self.firmware.flags & wire.OUT_RESET:
            self._ended()

    def _ended(self) -> None:
        assert self.firmware is not None
        code = self.firmware.ended
        if not self.firmware.booted and code not in (None, 0, 3):
            check_boot(
                self.firmware
            )  # a firmware that ran and ended is restarted, as by a watchdog
        if not self.started:
            self.last_words = self.firmware.dying_words()
        self._restart()

    def advance(self, seconds: float) -> None:
        """Pass plant time."""
        for _ in range(round(seconds / TICK_S)):
            self.tick()

    def until(self, condition: Callable[["VirtualInflator"], bool], seconds: float) -> bool:
        """Pass time until `condition` holds; False if it did not within `seconds` of plant time."""
        for _ in range(round(seconds / TICK_S)):
            if condition(self):
                return True
            self.tick()
        return condition(self)

    def press(self, button: str, seconds: float = 0.2) -> None:
        """Press a button and release it."""
        self.hands.held.add(button)
        self.advance(seconds)
        self.hands.held.discard(button)
        self.advance(0.2)

    # Far end of the link

    def write(self, data: bytes) -> None:
        """Send bytes from the host."""
        assert self._far is not None
        view = memoryview(data)
        while view:
            try:
                view = view[self._far.send(view) :]
            except BlockingIOError:
                self.advance(0.01)

    def read(self) -> bytes:
        """Return the bytes available from the inflator."""
        assert self._far is not None
        try:
            return self._far.recv(65536)
        except BlockingIOError:
            return b""

    @property
    def powered(self) -> bool:
        """True while the pump has power (or the line is open): both elements closed, whatever the outputs."""
        return self.true & POWERED == POWERED

    @property
    def now_s(self) -> float:
        """Plant time, s."""
        return self.ticks * TICK_S

    @property
    def owes(self) -> bool:
        """True while the firmware's answer to an earlier tick is still due."""
        return self.firmware is not None and self.firmware.owes
