"""Reader of the tick's raw ring: restores, tick by tick, the inputs of the kernels. Main loop only."""

from array import array

from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.control.engine import Engine

WRAP = 0x3FFFFFFF  # width of the tick counter
HALF = 0x20000000
MARGIN = 16  # ticks that may come while one entry is read


def due(tick: int, at: int) -> bool:
    """Return True once `tick` has reached `at`, also across the tick counter's wrap."""
    return (tick - at) & WRAP < HALF


class TickReader:
    """Tick reader. `x`, `y`: inputs of guard and fill controller at the last tick taken; `out`: its output bits.

    `fa_pa`, `fb_pa`: filtered transducers; `tyre_pa`, `state`: the fill controller's.
    """

    def __init__(self, engine: "Engine") -> None:
        self.engine = engine
        self.x = array("i", [0] * slots.WORDS_X)
        self.y = array("i", [0] * slots.WORDS_Y)
        self.tail = 0
        self.out = 0
        self.fa_pa = 0
        self.fb_pa = 0
        self.tyre_pa = -1
        self.state = 0

    def begin(self) -> None:
        """Start with the next tick. Call with the tick held off."""
        self.x[:] = self.engine.x
        self.y[:] = self.engine.y
        self.tail = self.engine.head

    def waiting(self) -> int:
        """Return the number of ticks not yet taken."""
        return (self.engine.head - self.tail) & WRAP

    def overrun(self) -> bool:
        """Return True if the oldest waiting ticks have been overwritten."""
        return self.waiting() > slots.RING_TICKS - MARGIN

    def take(self) -> int:
        """Take the next waiting tick. Return its number."""
        ring = (
            self.engine.ring
        )  # few names: MicroPython puts a frame of more than 11 words on the heap
        at = (self.tail & (slots.RING_TICKS - 1)) * slots.RING_WORDS
        word = ring[at]
        self.x[slots.X_A] = word & 0xFFFF
        word >>= 16
        if word >= slots.FIRST_Y_SLOT:
            self.y[word - slots.FIRST_Y_SLOT] = ring[at + 4]
        elif word:
            self.x[word] = ring[at + 4]
        x = self.x
        word = ring[at + 1]
        x[slots.X_B] = word & 0xFFFF
        x[slots.X_SUPPLY] = word >> 16
        word = ring[at + 2]
        x[slots.X_SW] = word & 0xFFFF
        x[slots.X_LOAD] = word >> 16
        word = ring[at + 3]
        x[slots.X_GAP] = word & 0xFF
        self.out = word >> 8
        self.tyre_pa = ring[at + 5]
        word = ring[at + 6]
        self.fa_pa = (word & 0x3FFFFF) - slots.BIAS_PA
        self.state = word >> 22
        self.fb_pa = ring[at + 7] - slots.BIAS_PA
        at = self.tail
        self.tail = (at + 1) & WRAP
        return at


def read_pa(engine: "Engine", tick: int) -> int:
    """Higher of both filtered transducers at a tick still in the ring, Pa gauge."""
    at = (tick & (slots.RING_TICKS - 1)) * slots.RING_WORDS
    return max(engine.ring[at + 6] & 0x3FFFFF, engine.ring[at + 7]) - slots.BIAS_PA


def switches_at(engine: "Engine", tick: int) -> int:
    """Switch word at a tick still in the ring."""
    return engine.ring[(tick & (slots.RING_TICKS - 1)) * slots.RING_WORDS + 2] & 0xFFFF
