"""Display of a virtual inflator in the terminal, above the input line; one picture after the other where the output is not a terminal."""

import shutil
import threading
from typing import TextIO

from rimward.device.link.screen import HEIGHT, WIDTH, drawn

BELOW = 6  # lines left for typing
KEEP, BACK = "\x1b7", "\x1b8"


class Face:
    """Draw pictures and print lines on one output. `show` may be called from another thread than `tell`."""

    def __init__(self, out: TextIO, unicode: bool) -> None:
        self.out, self.unicode = out, unicode
        self._lock = threading.Lock()
        size = shutil.get_terminal_size()
        tall = size.lines >= HEIGHT // 2 + BELOW
        self.columns = size.columns if tall or not out.isatty() else min(size.columns, WIDTH - 1)
        lines = len(drawn(bytes(WIDTH * 8), self.columns, unicode))
        self.fixed = out.isatty() and size.lines >= lines + BELOW
        if self.fixed:
            self._write(f"\x1b[2J\x1b[{lines + 2};{size.lines}r\x1b[{lines + 2};1H")
        self._last = size.lines

    def show(self, frame: bytes) -> None:
        """Draw a picture."""
        lines = drawn(frame, self.columns, self.unicode)
        if self.fixed:
            self._write(
                KEEP
                + "".join(f"\x1b[{at};1H{line}\x1b[K" for at, line in enumerate(lines, 1))
                + BACK
            )
        else:
            self._write("\n".join([*lines, "", ""]))

    def tell(self, text: str) -> None:
        """Print a line below the picture."""
        self._write(text + "\n")

    def close(self) -> None:
        """Release the whole terminal."""
        if self.fixed:
            self._write(f"\x1b[r\x1b[{self._last};1H\n")

    def _write(self, text: str) -> None:
        with self._lock:
            self.out.write(text)
            self.out.flush()
