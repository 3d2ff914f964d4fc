"""The tick's owner: what the hard timer interrupt runs, and the only way in and out of it.

The interrupt touches only what is allocated here. The main loop hands slow words in through one slot a tick, so that
every change has a tick of its own in the record.
"""

from array import array

from rimward_fw.kernels import tick, words

Y_AT = 64  # slot numbers from here on mean fill's inputs


class Engine:
    """State of both kernels. `step` is safe in a hard interrupt; `offer` and `asks` belong to the main loop."""

    def __init__(self, board):
        self.board = board
        self.g = array("i", [0] * words.WORDS_G)
        self.x = array("i", [0] * words.WORDS_X)
        self.f = array("i", [0] * words.WORDS_F)
        self.y = array("i", [0] * words.WORDS_Y)
        guard, fill = kernels_of(board)
        guard.boot(self.g)
        self.head = 0  # ticks done; wraps at 2**30, after 24 days
        self.asks = 0  # switch bits that stand for a person's answers (clear, confirm, bleed, end the job)
        self.out = 0
        self.failed = 0
        self.load_max = 0
        self._slot = 0
        self._value = 0
        self._record = None
        self._guard = guard.step
        self._fill = fill.step
        self._tick = tick.tick
        self.step_ref = self.step  # a bound method made once: making one allocates

    def record_with(self, add):
        """`add(tick, guard bits, fill bits)` is called after every tick, in the interrupt."""
        self._record = add

    def step(self, _timer=None):
        """One tick. Any exception means the air is off and stays off until reset."""
        try:
            self._step()
        except BaseException:
            self.failed = 1
            self.board.off()

    def _step(self):
        if self.failed:
            self.board.off()
            return
        x = self.x
        self.board.sense(x)
        x[2] = x[2] | self.asks
        if self._slot:
            if self._slot >= Y_AT:
                self.y[self._slot - Y_AT] = self._value
            else:
                x[self._slot] = self._value
            self._slot = 0
        out = self._tick(self._guard, self._fill, self.g, x, self.f, self.y)
        self.out = out
        self.board.drive(out)
        if self._record:
            self._record(self.head, out & 255, out >> 8)
        self.head = (self.head + 1) & 0x3FFFFFFF
        if x[3] > self.load_max:
            self.load_max = x[3]

    def offer(self, slot, value):
        """Hands one slow word in. False while the last one still waits for its tick."""
        if self._slot:
            return False
        self._value = value
        self._slot = slot  # last: the interrupt takes a word only when its slot is set
        return True


def kernels_of(board):
    """(guard, fill) as modules: those the board names, else the plain ones."""
    if hasattr(board, "kernels"):
        return board.kernels()
    from rimward_fw.kernels import fill, guard

    return guard, fill
