"""Board at its prompt: the few operations of an install. mpremote carries each one; a change of its interface affects only this module."""

import ast
import contextlib
import io
from typing import Any

from rimward.base.errors import Refusal

RAW_PROMPT_S = 5
LINE_S = 5  # longest silence within an answer
CHUNK = 2048
BATCH = 24  # paths in one request
HELP = "Switch the inflator off, close the workshop contact, switch it on and try again; a new board needs MicroPython first."

DIGEST = """
import hashlib, os
def rimward_digest(path):
    h = hashlib.sha256()
    b = bytearray(512)
    try:
        f = open(path, 'rb')
    except OSError:
        return ''
    n = f.readinto(b)
    while n:
        h.update(memoryview(b)[:n])
        n = f.readinto(b)
    f.close()
    return ''.join(['%02x' % i for i in h.digest()])
def rimward_files(folder):
    found = []
    try:
        rows = list(os.ilistdir(folder))
    except OSError:
        return found
    for row in rows:
        path = folder + '/' + row[0]
        if row[1] & 0x4000:
            found += rimward_files(path)
        else:
            found.append(path)
    return found
"""


class Device:
    """Open conversation with the prompt of MicroPython on a serial port. Use as a context manager."""

    def __init__(self, port: str) -> None:
        try:
            from mpremote.transport import TransportError, TransportExecError
            from mpremote.transport_serial import SerialTransport
        except ImportError as error:
            raise Refusal(
                "Installing needs mpremote, which is not installed.",
                "Run: pip install 'rimward[install]'",
            ) from error
        self.port = port
        self._errors: tuple[type[Exception], ...] = (TransportError, OSError)
        self._exec_error: type[Exception] = TransportExecError
        said = io.StringIO()
        try:
            self._transport: Any = SerialTransport(port, timeout=LINE_S)
        except (TransportError, OSError) as error:
            raise Refusal(
                f"{port} cannot be opened.", "List the ports with `rimward inflators`."
            ) from error
        try:
            with contextlib.redirect_stdout(
                said
            ):  # mpremote prints the output it received instead of a prompt
                self._transport.enter_raw_repl(timeout_overall=RAW_PROMPT_S)
            self.run(DIGEST)
        except (TransportError, OSError) as error:
            self._transport.close()
            raise Refusal(f"There is no MicroPython prompt at {port}.", HELP) from error

    def __enter__(self) -> "Device":
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Return to the plain prompt and release the port."""
        with contextlib.suppress(*self._errors):
            self._transport.exit_raw_repl()
        with contextlib.suppress(*self._errors):
            self._transport.close()

    def run(self, code: str) -> str:
        """Run code on the board and return its output. Refusal if it fails or the line breaks."""
        try:
            return bytes(self._transport.exec(code)).decode("utf-8", "replace").strip()
        except self._exec_error as error:
            last = str(error).strip().splitlines()[-1:] or ["no message"]
            raise Refusal(
                f"The board refused: {last[0]}.", "If it is full, delete old files; else report it."
            ) from error
        except self._errors as error:
            raise Refusal(
                f"The connection on {self.port} was lost.",
                "Plug it in again and repeat: the previous installation is intact.",
            ) from error

    def ask(self, expression: str) -> Any:
        """Return the value of a plain expression."""

        return ast.literal_eval(self.run(f"print(repr({expression}))"))

    def digests(self, paths: list[str]) -> dict[str, str]:
        """SHA-256 of each file, computed by the board over the stored bytes; empty for a missing file."""
        found: dict[str, str] = {}
        for at in range(0, len(paths), BATCH):
            part = paths[at : at + BATCH]
            found.update(zip(part, self.ask(f"[rimward_digest(p) for p in {part!r}]")))
        return found

    def folders(self, paths: list[str]) -> None:
        """Create every folder that these files need."""
        needed = {path[:at] for path in paths for at in range(1, len(path)) if path[at] == "/"}
        self.run(f"for p in {sorted(needed)!r}:\n try:\n  os.mkdir(p)\n except OSError: pass")

    def write(self, path: str, data: bytes) -> None:
        """Write a complete file; its folder exists."""
        pieces = [data[at : at + CHUNK] for at in range(0, len(data), CHUNK)] or [b""]
        for number, piece in enumerate(pieces):
            begin = f"f = open({path!r}, 'wb')\n" if number == 0 else ""
            end = "\nf.close()" if number == len(pieces) - 1 else ""
            self.run(f"{begin}f.write({piece!r}) == {len(piece)} or 1 // 0{end}")

    def rename(self, old: str, new: str) -> None:
        """Replace one file by another in one step."""
        self.run(f"os.rename({old!r}, {new!r})")

    def remove(self, path: str) -> None:
        """Delete a file if it exists."""
        self.run(f"try:\n os.remove({path!r})\nexcept OSError: pass")

    def files(self, folder: str) -> list[str]:
        """List every file under a folder."""
        return list(self.ask(f"rimward_files({folder!r})"))
