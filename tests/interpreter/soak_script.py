"""Runs on MicroPython: fill after fill by the whole firmware over a toy tyre, memory watched. Arguments: paths, fills, bytes of heap left free at idle (0: all).

The toy only gives the kernels something to decide about; the checks are of the firmware's memory and counters.
Prints one line of figures a fill batch, and `soak ok` or `soak FAILED why` at the end.
"""

import gc
import sys

sys.path[:0] = sys.argv[1].split(":")
from rimward_fw.app import App  # noqa: E402 (the argument says where)
from rimward_fw.control import builtin  # noqa: E402
from rimward_protocol import kernel_slots as slots  # noqa: E402

RUN, KEY_LOW, ENTER = (
    1,
    2,
    2048,
)  # bits of the switch word: a compiled firmware has no names for them


def fill_memory(free):
    """Return blocks that leave one piece of so many bytes of the heap free."""
    gc.collect()
    hole = bytearray(free)
    blocks = None  # a chain of blocks: a list of thousands would itself need one large block
    size = 4096
    while size >= 64:
        try:
            blocks = blocks, bytearray(size - 16)
        except MemoryError:
            size >>= 1
    del hole
    return blocks


def main(fills, free):
    class Toy:
        NAME = "simulated"
        simulated = True
        ambient_pa = 101325
        air_ck = 29315
        pump_mv = 12000
        unix_s = 0
        commissioned = True

        def __init__(self):
            self.engine = None
            self.n = 0
            self.hose = self.cold = self.hot = self.pa = (
                0  # pascal gauge: hose; tyre at the casing's temperature, above it, both
            )
            self.left = 0
            self.word = KEY_LOW
            self.out = 0
            self.resets = 0

        def context(self, arrays):
            return arrays

        def set_pins(self, t):
            pass

        def start(self, engine, _tick):
            self.engine = engine

        def sense(self, x):
            n = self.n
            x[slots.X_A] = 6554 + (self.hose + (n * 37 & 127)) * 8 // 153
            x[slots.X_B] = 6554 + (self.hose + (n * 53 & 511)) * 8 // 153
            x[slots.X_SW] = self.word
            x[slots.X_LOAD] = 3
            x[slots.X_GAP] = 16
            x[slots.X_SUPPLY] = 78

        def cutoff_words(self):
            return 2400 + 12 * self.hose // 625, 24000, 11935, 18605 if self.word & RUN else 0

        def cutoff_fresh(self):
            return True

        def off(self):
            pass

        def idle(self):
            self.n = n = self.n + 1
            self.sense(self.engine.x)
            if self.engine.decide() & 3 == 3:
                self.hose += 20 * max(10, 81 - self.pa // 12000)
            flow = (self.hose - self.pa) >> 3
            self.hose -= flow
            self.left += flow
            rise = self.left // 20  # the tyre is 20 times the hose
            self.left -= 20 * rise
            self.hot += rise >> 3
            self.cold += rise - (rise >> 3)
            if n & 15 == 0:
                self.hot -= self.hot >> 7  # 4 s
            self.pa = self.cold + self.hot

        def emptied(self):
            self.hose = self.cold = self.hot = self.pa = self.left = 0

        def ticks_ms(self):
            return self.n * 2

        def now_us(self):
            return self.n * 2000

        def read(self, into):
            return 0

        def write(self, view):
            return len(view)

        def show(self, frame):
            pass

        def beep(self, on):
            pass

        def reset_cause(self):
            return 1

        def remember(self, word):
            self.left = word

        def remembered(self):
            return 0

        def feed(self):
            pass

        def hold(self):
            return 0

        def let_go(self, state):
            pass

        def last_words(self, error):
            raise error

        def reset(self):
            self.resets += 1
            raise SystemExit

        def random(self, count):
            return bytes(count)

        def unique_id(self):
            return b"soak0000"

        def mount(self):
            from rimward_fw.board import simulated_flash

            return simulated_flash.mount(None)

    board = Toy()
    app = App(board)
    app.start()

    def spin(ticks):
        for _ in range(ticks):
            app.work()

    spin(300)
    board.ballast = fill_memory(free) if free else None

    def press(bit):
        board.word |= bit
        spin(100)
        board.word &= ~bit
        spin(100)

    done = stopped = 0
    base = 0
    peak = 0
    least = 1 << 30
    for fill in range(fills):
        if fill == fills // 2:
            app.engine.t[slots.T_HEAD] = (
                0x3FFFFFFF - 4000
            )  # through the wrap in the middle of a fill
        board.emptied()
        app.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
        spin(60)
        press(ENTER)
        spin(
            400
        )  # the start takes its steps, a turn each; RUN held before its end has to be let go
        board.word |= RUN
        for _ in range(400):
            spin(50)
            state = app.cycle.state()
            if state == 7:  # bead pause
                board.word &= ~RUN
                press(ENTER)
                board.word |= RUN
            if state == 6 and free:  # filling
                gc.collect()
                least = min(least, gc.mem_free())
            if state in (13, 14, 15):
                break
        peak = max(peak, board.pa)
        if state == 13:
            done += 1
        else:
            stopped += 1
        board.word &= ~RUN
        spin(1300)
        board.emptied()
        spin(900)  # the record is written
        if app.engine.g[slots.G_CAUSE]:
            press(ENTER)
        gc.collect()
        used = gc.mem_alloc()
        if fill == 4:
            base = used
        if fill > 4 and used > base + 4096:
            print("soak FAILED heap grew from", base, "to", used, "after fill", fill)
            return
        if app.engine.failed or board.resets:
            print("soak FAILED the tick failed at fill", fill)
            return
    left = gc.mem_free()
    whole = bytearray(
        2048 if free else left // 4
    )  # a quarter of what is free in one piece: not in crumbs; in tight memory what a record asks for
    print(
        "figures",
        '{"fills": %d, "done": %d, "stopped": %d, "ticks": %d, "heap": %d, "free": %d, "least": %d, "peak_pa": %d}'
        % (fills, done, stopped, board.n, used, left, least, peak),
    )
    if peak > app.cycle.ceiling_pa:
        print("soak FAILED the toy tyre reached", peak)
    elif done < fills * 9 // 10:
        print(
            "soak FAILED only",
            done,
            "fills of",
            fills,
            "were done; last state",
            state,
            "cause",
            app.engine.g[slots.G_CAUSE],
            app.engine.f[slots.F_REASON],
        )
    else:
        print("soak ok", len(whole))


main(int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 0)
