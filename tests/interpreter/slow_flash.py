"""On MicroPython: the whole firmware over littlefs on flash as slow as its data sheet allows. Time is virtual and moves by ticks and flash.

As on the chip no tick runs while the flash erases or programs: the next one comes late by as much.
"""

import vfs
from rimward_fw import app
from rimward_fw.board import simulated_flash
from rimward_fw.control import builtin
from rimward_protocol import kernel_slots as slots

RUN, KEY_LOW, ENTER = 1, 2, 2048
TICK_US = 2000
MOUNT = "/slow"


class Board:
    NAME = "simulated"
    simulated = True
    ambient_pa = 101325
    air_ck = 29315
    pump_mv = 12000
    unix_s = 0

    def __init__(self, blocks):
        self.us = 0
        self.owed = 0  # flash time since the last tick
        self.word = KEY_LOW
        self.pa = 0
        self.n = 0
        self.engine = None
        self.fed = 0
        self.unfed = 0  # longest time between two feeds, us
        self.turns = []  # flash time of each turn of the loop, us, where there was any
        self.operations = 0  # erases and programs
        self.left = 0
        self.flash = simulated_flash.Flash(blocks)
        vfs.VfsLfs2.mkfs(self.flash, progsize=simulated_flash.PROGRAM_BYTES)
        vfs.mount(
            vfs.VfsLfs2(
                self.flash,
                readsize=simulated_flash.READ_BYTES,
                progsize=simulated_flash.PROGRAM_BYTES,
            ),
            MOUNT,
        )

    def slow(self):
        """From now on the flash takes its time, and refuses to be written while air may move."""
        self.flash.waited = self.waited

    def waited(self, us):
        self.us += us
        self.owed += us
        self.operations += 1

    def mount(self):
        return MOUNT

    def context(self, arrays):
        return arrays

    def set_pins(self, t):
        pass

    def start(self, engine, _tick):
        self.engine = engine

    def idle(self):
        """One tick; what the flash took makes it late."""
        self.n += 1
        self.us += TICK_US
        x = self.engine.x
        x[slots.X_A] = 6554 + (self.pa + (self.n * 37 & 127)) * 8 // 153
        x[slots.X_B] = 6554 + (self.pa + (self.n * 53 & 511)) * 8 // 153
        x[slots.X_SW] = self.word
        x[slots.X_LOAD] = 3
        x[slots.X_GAP] = min(255, (TICK_US + self.owed) >> 7)
        x[slots.X_SUPPLY] = 78
        self.owed = 0
        if self.engine.decide() & 3 == 3:
            self.pa += max(10, 81 - self.pa // 12000)

    commissioned = True

    def cutoff_words(self):
        return 2400 + self.pa * 24 // 1250, 24000, 11935, 18603 if self.word & RUN else 0

    def cutoff_fresh(self):
        return True

    def ticks_ms(self):
        return self.us // 1000

    def feed(self):
        self.unfed = max(self.unfed, self.us - self.fed)
        self.fed = self.us

    def off(self):
        pass

    def read(self, into):
        return 0

    def write(self, view):
        return len(view)

    def show(self, frame):
        pass

    def beep(self, on):
        pass

    def hold(self):
        return 0

    def let_go(self, state):
        pass

    def last_words(self, error):
        raise error

    def reset(self):
        raise RuntimeError("reset")

    def reset_cause(self):
        return 1

    def remember(self, word):
        self.left = word

    def remembered(self):
        return 0

    def random(self, count):
        return bytes(count)

    def unique_id(self):
        return b"slow0000"


def started(blocks):
    """A firmware whose flash holds old sessions up to its reserve."""
    board = Board(blocks)
    a = app.App(board)
    a.start()
    number = 1
    while a.store._fits(8192, a.store._reserve()):
        a.store.session_append(number, bytes(4000))
        a.store.session_end(number, {"unix_s": 0, "cause": 1, "flags": 1, "wheel_id": bytes(8)})
        number += 1
    board.slow()
    board.fed = board.us
    return a, board


def turn(a, board):
    before = board.us
    head = a.engine.head
    a.work()
    took = board.us - before - TICK_US * ((a.engine.head - head) & 0x3FFFFFFF)
    if took:
        board.turns.append(took)


def until(a, board, done, most):
    """Turns of the loop until `done()`; how many."""
    for n in range(most):
        if done():
            return n
        turn(a, board)
    raise RuntimeError("not within %d turns" % most)


def press(a, board, bit):
    for word in (board.word | bit, board.word & ~bit):
        board.word = word
        for _ in range(100):
            turn(a, board)


def armed(a, board):
    a.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
    press(a, board, ENTER)
    until(a, board, lambda: a.cycle.phase == 5, 2000)


def stuffed(a):
    """The memory of the record full to the brim."""
    for blocks in a.recorder.stores:
        while blocks.room(400):
            blocks.put(2, bytes(480), 400)
            if blocks.dropping and blocks.end + 403 > len(blocks.buf):
                break
    return a.recorder.waiting()
