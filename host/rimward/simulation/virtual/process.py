"""Firmware as a process: one INPUT record a tick on a pipe, one OUTPUT record back, the link on its standard streams."""

import contextlib
import os
import select
import signal
import struct
import time
from pathlib import Path

from rimward_fw.board import simulated as wire

from rimward.base.errors import Refusal
from rimward.kernels.sources import source_paths
from rimward.simulation.virtual.interpreter import Interpreter

try:
    import fcntl
except ModuleNotFoundError:  # Windows: everything that needs no running firmware works there
    fcntl = None  # type: ignore[assignment]

ANSWER_S = 0.05  # wall time after which the plant continues without the firmware
STARVED_S = 5.0  # longer limit where this machine, not the firmware, is the cause
BOOT_S = 20.0
DISPLAY_BYTES = 1024
OUTPUT_BYTES = struct.calcsize(wire.OUTPUT)


def require_posix() -> None:
    """Raise Refusal on a system without the pipes and pseudo-terminals that a virtual inflator needs."""
    if fcntl is None:
        raise Refusal(
            "A virtual inflator needs pseudo-terminals, which this system does not have.",
            "Run it on Linux or macOS, or in a Linux environment on this computer; everything else works here.",
        )


class Firmware:
    """One run of the firmware. `exchange` returns its output bits, or None without an answer."""

    def __init__(
        self,
        interpreter: Interpreter,
        link_fd: int,
        flash: Path | None = None,
        device: str = "virtual0",
        tree: Path | None = None,
        bare: bool = False,
    ) -> None:
        require_posix()
        protocol, firmware, main = source_paths()
        if tree is not None:
            firmware, main = tree, tree / "main.py"
        folders = os.pathsep.join(dict.fromkeys((str(protocol), str(firmware))))
        env = dict(
            os.environ,
            MICROPYPATH=f".frozen{os.pathsep}{folders}",
            PYTHONPATH=folders,
            RIMWARD_DEVICE=device,
        )
        if flash is not None:
            env["RIMWARD_FLASH"] = str(flash)
        env.pop("RIMWARD_BARE", None)
        if bare:
            env["RIMWARD_BARE"] = "1"
        inputs, self._to = os.pipe()
        self._from, outputs = os.pipe()
        errors_out, errors = os.pipe()
        self.process = Child(
            [*interpreter.argv, str(main)],
            env,
            (link_fd, link_fd, errors, inputs, outputs),
            errors_out,
        )
        os.close(errors)
        os.close(inputs)
        os.close(outputs)
        self._poll = select.poll()
        self._poll.register(self._from, select.POLLIN)
        self._owed = False
        self.took = False  # the last row reached the firmware, whether it answered in time or not
        self.booted = False
        self.display = b""
        self.flags = 0
        self.halted_ticks = 0

    def exchange(self, row: bytes) -> int | None:
        """Exchange one tick. None: no answer within 50 ms of wall time though it could have run, or an earlier answer is still due."""
        self.took = False
        try:
            if self._owed:
                if not self._poll.poll(0):
                    self.halted_ticks += 1
                    return None
                self._answer()
                self._owed = False
            os.write(self._to, row)
            self.took = True
            if not self._answers(ANSWER_S if self.booted else BOOT_S):
                self._owed = True
                self.halted_ticks += 1
                return None
            out = self._answer()
            self.booted = True
            return out
        except (BrokenPipeError, EOFError):
            return None

    def _answers(self, seconds: float) -> bool:
        """Wait for the answer; true once it is there. A firmware that is ready to run but gets no processor time is waited for."""
        if self._poll.poll(seconds * 1000):
            return True
        before = None
        until = time.monotonic() + STARVED_S
        while time.monotonic() < until:
            state, ran_s = run_time(self.process.pid)
            if state not in ("R", "D") or (before is not None and ran_s - before > ANSWER_S / 2):
                return bool(self._poll.poll(0))
            before = ran_s
            if self._poll.poll(ANSWER_S * 1000):
                return True
        return False

    def _answer(self) -> int:
        out, self.flags, _tick = struct.unpack(wire.OUTPUT, self._read(OUTPUT_BYTES))
        if self.flags & wire.OUT_DISPLAY:
            self.display = self._read(DISPLAY_BYTES)
        return int(out)

    def _read(self, count: int) -> bytes:
        data = os.read(self._from, count)
        while len(data) < count:
            more = os.read(self._from, count - len(data)) if data or self._poll.poll(1000) else b""
            if not more:
                raise EOFError("the firmware has ended")
            data += more
        return data

    @property
    def owes(self) -> bool:
        """True while the answer to an earlier tick is still due."""
        return self._owed

    def halt(self) -> None:
        """Stop the processor where it is (SIGSTOP)."""
        os.kill(self.process.pid, signal.SIGSTOP)

    def go_on(self) -> None:
        """Let a halted processor continue."""
        os.kill(self.process.pid, signal.SIGCONT)

    @property
    def ended(self) -> int | None:
        """Exit code once the process has ended."""
        return self.process.poll()

    def complaint(self) -> str:
        """Last line of its error stream while it runs: a firmware without a file system idles after it, its air off."""
        return self.process.errors().rpartition("\n")[2] if self.process.poll() is None else ""

    def last_words(self) -> str:
        """Contents of its error stream, once it has ended."""
        return self.process.errors() if self.process.poll() is not None else ""

    def dying_words(self) -> str:
        """Last line of its error stream, of a firmware that is about to end or has ended."""
        deadline = time.monotonic() + 0.5
        while self.process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.002)
        return self.last_words().strip().rpartition("\n")[2]

    def close(self) -> None:
        """End the process; it sees its input close, and is killed if it does not go."""
        for fd in (self._to, self._from):
            os.close(fd)
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.process.pid, signal.SIGCONT)
        deadline = time.monotonic() + 0.5
        while self.process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.002)
        self.process.end()


def run_time(pid: int) -> tuple[str, float]:
    """Return (state, seconds of processor time so far) of a process on Linux: R runs or is ready, D waits for a disk, T is stopped.

    ("", 0) where the system does not report it: then there is no extra wait.
    """
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        return state, int(Path(f"/proc/{pid}/schedstat").read_text().split()[0]) / 1e9
    except (OSError, ValueError, IndexError):
        return "", 0.0


class Child:
    """Process with the given descriptors 0, 1, 2, ... Spawned, not forked: safe with running threads."""

    def __init__(
        self, argv: list[str], env: dict[str, str], fds: tuple[int, ...], errors_fd: int
    ) -> None:
        high = [
            fcntl.fcntl(fd, fcntl.F_DUPFD_CLOEXEC, 10) for fd in fds
        ]  # moved away from the numbers that they will get
        actions = [(os.POSIX_SPAWN_DUP2, fd, number) for number, fd in enumerate(high)]
        try:
            self.pid = os.posix_spawn(argv[0], argv, env, file_actions=actions)
        finally:
            for fd in high:
                os.close(fd)
        self._errors_fd = errors_fd
        self._errors = b""
        self.code: int | None = None

    def poll(self) -> int | None:
        """Exit code once it has ended; negative for a signal."""
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
        return self.code

    def errors(self) -> str:
        """Contents of its error stream so far."""
        os.set_blocking(self._errors_fd, False)
        with contextlib.suppress(BlockingIOError):
            self._errors += os.read(self._errors_fd, 65536)
        return self._errors.decode(errors="replace").strip()

    def end(self) -> None:
        """End it if it still runs, and release its resources."""
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)
            self.code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        os.close(self._errors_fd)


def check_boot(firmware: Firmware) -> None:
    """Raise Refusal if the firmware ended while starting."""
    if firmware.ended is not None:
        words = firmware.last_words().splitlines()
        raise Refusal(
            f"The firmware ended while starting (code {firmware.ended}): {words[-1] if words else 'no message'}.",
            "Reinstall rimward.",
        )
