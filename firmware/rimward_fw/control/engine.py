"""Tick engine: owns the arrays of both kernels and of the tick; `offer` passes slow words in, the ring passes raw ticks out.

The interrupt uses only memory allocated here. One slot passes one slow word a tick, so that every change has its own tick in the record.
"""

from array import array

from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.kernels import fill, guard, tick

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.shapes import Board


class Engine:
    """State of the kernels. Everything but `step` belongs to the main loop.

    `g`, `x`, `f`, `y`: words of guard and fill controller; `t`: words of the tick; `ring`: raw ticks.
    """

    def __init__(self, board: "Board", kernels: "tuple[Any, Any] | None" = None) -> None:
        """`kernels`: (guard, fill) modules in place of this firmware's own."""
        self.board = board
        guard_of, fill_of = kernels or (guard, fill)
        self.g = _words(slots.WORDS_G)
        self.x = _words(slots.WORDS_X)
        self.f = _words(slots.WORDS_F)
        self.y = _words(slots.WORDS_Y)
        self.t = _words(slots.WORDS_T)
        self.ring = _words(slots.RING_TICKS * slots.RING_WORDS)
        guard_of.boot(self.g)
        self.context = board.context([self.g, self.x, self.f, self.y, self.t, self.ring])
        board.set_pins(self.t)
        self._guard = guard_of.step
        self._fill = fill_of.step
        self.error: BaseException | None = None  # reason of a halt, where known
        tick.bind(self._guard, self._fill, self.context)

    def start(self) -> None:
        """Run the tick every 2 ms from now on."""
        self.board.start(self, tick)

    def step(self, _timer: "Any" = None) -> None:
        """Run one tick where the board has no interrupt of its own. Any exception means the air is off and stays off until reset."""
        try:
            tick.step(self._guard, self._fill, self.context)
        except BaseException as error:
            self.error = error
            self.halt()

    def decide(self) -> int:
        """Run one tick on fast inputs that the board has written into `x`. Return the output bits."""
        try:
            if not self.t[slots.T_HALT]:
                tick.decide(self._guard, self._fill, self.context)
        except BaseException as error:
            self.error = error
            self.halt()
        return self.t[slots.T_OUT]

    def halt(self) -> None:
        """Set outputs safe and run no kernel until reset. Callable from any context."""
        self.t[slots.T_HALT] = 1
        self.t[slots.T_OUT] = slots.OUT_VENT
        self.board.off()

    @property
    def head(self) -> int:
        """Number of ticks done; wraps at 2**30, after 24 days."""
        return self.t[slots.T_HEAD]

    @property
    def out(self) -> int:
        """Output bits of the last tick, the fill controller's shifted by 8."""
        return self.t[slots.T_OUT]

    @property
    def failed(self) -> bool:
        """True once an exception has halted the tick."""
        return self.t[slots.T_HALT] != 0

    @property
    def answers(self) -> int:
        """Switch bits of a person's answers (clear, confirm, bleed, end the job)."""
        return self.t[slots.T_ANSWERS]

    @answers.setter
    def answers(self, bits: int) -> None:
        """Set the bits of a person's answers, see the getter."""
        self.t[slots.T_ANSWERS] = bits

    @property
    def longest_us(self) -> int:
        """Longest tick so far, rounded up to the unit of LOAD."""
        return self.t[slots.T_LOAD_MAX] * slots.LOAD_US

    def offer(self, slot: int, value: int) -> bool:
        """Hand one slow word in. False while the last one is still pending."""
        if self.t[slots.T_SLOT]:
            return False
        self.t[slots.T_VALUE] = value
        self.t[slots.T_SLOT] = slot  # last: the interrupt takes a word only when its slot is set
        return True


def _words(count: int) -> "array[int]":
    return array("i", [0] * count)
