"""Display driver: 128 x 64 points, SSD1306 class, on I2C. Frames are sent in slices so that the main loop is never blocked for long."""

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Buffer

ADDRESS = 0x3C
WIDTH = 128
PAGES = 8
FRAME_BYTES = WIDTH * PAGES
_SLICE = 64
_RETRY_MS = 3000

# Off, clock, 64 rows, no shift, charge pump on, page addressing, both axes reversed, contrast, precharge, level, on.
_SETUP = b"\x00\xae\xd5\x80\xa8\x3f\xd3\x00\x40\x8d\x14\x20\x00\xa1\xc8\xda\x12\x81\x9f\xd9\xf1\xdb\x40\xa4\xa6\xaf"


class Display:
    """Driver of the display: `show` takes a frame, `work` sends one changed slice a call. A missing display is looked for from time to
    time.
    """

    def __init__(self, bus: "Any") -> None:
        self.bus = bus
        self.there = False
        self.errors = 0
        self._next = 0
        self._frame = bytearray(FRAME_BYTES)
        self._dirty = bytearray(FRAME_BYTES // _SLICE)  # 1: slice has to be sent
        self._window = bytearray(b"\x00\x21\x00\x7f\x22\x00\x07")  # command byte, columns, pages
        self._out = bytearray(1 + _SLICE)
        self._out[0] = 0x40
        self._at = 0

    def show(self, frame: "Buffer") -> None:
        """Take 1,024 bytes, eight vertical points each, top left first; only slices that differ are sent."""
        view = memoryview(frame)
        for i in range(len(self._dirty)):
            begin = i * _SLICE
            if view[begin : begin + _SLICE] != memoryview(self._frame)[begin : begin + _SLICE]:
                self._frame[begin : begin + _SLICE] = view[begin : begin + _SLICE]
                self._dirty[i] = 1

    def work(self, now_ms: int) -> None:
        """Run one step: initialise, or send one slice of 64 bytes (about 2 ms on the wire)."""
        try:
            if not self.there:
                if now_ms >= self._next:
                    self._next = now_ms + _RETRY_MS
                    self.bus.writeto(ADDRESS, _SETUP)
                    self.there = True
                    for i in range(len(self._dirty)):
                        self._dirty[i] = 1
                return
            self._send()
        except OSError:
            self.errors += 1
            self.there = False

    def _send(self) -> None:
        for _ in range(len(self._dirty)):
            at = self._at
            self._at = (at + 1) % len(self._dirty)
            if self._dirty[at]:
                column = at * _SLICE % WIDTH
                page = at * _SLICE // WIDTH
                self._window[2] = column
                self._window[3] = column + _SLICE - 1
                self._window[5] = page
                self._window[6] = page
                self.bus.writeto(ADDRESS, self._window)
                self._out[1:] = memoryview(self._frame)[at * _SLICE : (at + 1) * _SLICE]
                self.bus.writeto(ADDRESS, self._out)
                self._dirty[at] = 0
                return

    def waiting(self) -> bool:
        """Return True while slices remain to be sent."""
        return bool(sum(self._dirty))
