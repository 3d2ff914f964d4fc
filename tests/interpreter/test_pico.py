"""The very same pico.py and tick that go on the chip, on MicroPython's unix build: pins, words, switches, gate, and the tick's memory."""

import pytest

# A whole engine on the board; `turn(n)` runs n ticks of its interrupt.
ENGINE = """
from rimward_fw.control.engine import Engine
from rimward_protocol import kernel_slots as slots
from machine import CLOCK
WORLD.logging = False
board = pico.Board()
engine = Engine(board)
engine.start()
x, g, t = engine.x, engine.g, engine.t
def turn(count=1, us=2000):
    for i in range(count):
        CLOCK[0] = CLOCK[0] + us & 0xFFFFFFFF
        WORLD.timers[0].callback(None)
"""


def test_pins_and_functions_are_those_of_the_table(pico):
    out = pico(
        """
board = pico.Board()
for row in WORLD.log: print(*row)
print(sorted(WORLD.out.items()))
"""
    )
    assert {
        "pin 2 out",
        "pin 3 out",
        "pin 4 out",
        "pin 6 in",
        "pin 9 in",
        "adc 26",
        "adc 27",
        "adc 28",
    } <= set(out)
    assert (
        "spi 0 4000000 0 0 18 19 16" in out
        and "i2c 0 20 21 100000" in out
        and "i2c 1 10 11 400000" in out
    )
    assert (
        "dma 0x4004c00c 268435455" in out
        and "mem32 0x4004c000 0x17000b" in out
        and "mem32 0x4003c000 0xf" in out
    )
    assert not [row for row in out if row.startswith("timer") or row.startswith("watchdog")]
    assert out[-1] == str([(2, 0), (3, 0), (4, 0), (15, 0), (17, 0), (22, 0)]), (
        "every output is safe before anything runs"
    )


def test_timer_is_hard_and_two_milliseconds(pico):
    assert pico(
        ENGINE
        + "print(WORLD.timers[0].period, WORLD.timers[0].mode, WORLD.timers[0].hard, WORLD.watchdog_ms)"
    ) == ["2 1 True 4000"]


def test_words_are_ratios_of_the_sensor_supply(pico):
    """Zero, half and full pressure at a nominal and at a low supply: A to the bit, B within one step of the converter."""
    out = pico(
        ENGINE
        + """
for supply in (5.0, 4.75):
    for bar in (0, 5, 10):
        pressures(bar, bar, supply)
        turn(64)
        print(x[slots.X_A], x[slots.X_B], x[slots.X_SUPPLY])
"""
    )
    rows = [[int(word) for word in row.split()] for row in out]
    for (a, b, supply), (bar, units) in zip(
        rows, [(bar, units) for units in (78, 74) for bar in (0, 5, 10)]
    ):
        ideal = (0.1 + 0.08 * bar) * 65536
        assert abs(a - ideal) <= 0.5
        assert abs(b - ideal) <= 16, "one of 4,096 steps"
        assert supply == units


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("WORLD.codes = {26: 4095, 27: 0, 28: 0}", "{a} 65535 0"),
        ("WORLD.sampling = False", "{a} 0 0"),
        ("WORLD.transfers = False", "0 {b} 78"),
    ],
)
def test_what_does_not_arrive_gives_words_out_of_band(pico, broken, words):
    """No supply, frozen samples, a converter that does not answer: outside 5 to 95 %, never an old value."""
    out = pico(
        ENGINE
        + f"pressures(2, 2)\nturn(64)\nprint(x[slots.X_A], x[slots.X_B])\n{broken}\nturn(64)\nprint(x[slots.X_A], x[slots.X_B], x[slots.X_SUPPLY])"
    )
    a, b = out[0].split()
    assert out[1] == words.format(a=a, b=b)
    assert a != "0" and b not in ("0", "65535")


@pytest.mark.parametrize(
    "held,word",
    [
        (("CUTOFF",), 0),
        ((), 8),
        (("RUN", "CUTOFF"), 1),
        (("KEY_LOW", "CUTOFF"), 2),
        (("KEY_HIGH", "CUTOFF"), 4),
        (("UP", "CUTOFF"), 512),
        (("DOWN", "CUTOFF"), 1024),
        (("ENTER", "CUTOFF"), 2048),
        (("WORKSHOP", "CUTOFF"), 4096),
        (("BENCH0", "BENCH1", "CUTOFF"), 0),
        (
            ("RUN", "KEY_LOW", "KEY_HIGH", "UP", "DOWN", "ENTER", "WORKSHOP"),
            1 | 2 | 4 | 8 | 512 | 1024 | 2048 | 4096,
        ),
    ],
)
def test_switch_word(pico, held, word):
    out = pico(ENGINE + f"press(*{held!r})\nturn()\nprint(x[slots.X_SW])")
    assert out == [str(word)]


def test_gate_toggles_once_a_tick_only_while_its_bit_is_set(pico):
    out = pico(
        ENGINE
        + """
from rimward_fw.kernels import tick
from machine import SIO, SPI_BLOCK, before_tick, after_tick
def drive(bits, ticks=1):
    before = WORLD.edges[IN["GATE"]]
    for n in range(ticks):
        before_tick()
        t[slots.T_OUT] = bits
        tick.drive(t, SIO, SPI_BLOCK)
        after_tick()
    return WORLD.edges[IN["GATE"]] - before
print(drive(0, 10), drive(1 | 2, 10), drive(2, 10), drive(16, 10), drive(1, 7), drive(0, 10))
print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
for bits in (2, 4, 2 << 8):
    drive(bits)
    print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
drive(1 | 2); board.off(); print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
"""
    )
    assert out == ["0 10 0 0 7 0", "0 1", "1 1", "0 0", "0 0", "0 0"]


def test_after_off_no_kernel_runs_and_nothing_feeds_the_watchdog(pico):
    out = pico(
        ENGINE
        + """
turn(); board.feed(); board.feed()
print(engine.head, WORLD.fed)
board.off()
before = WORLD.edges[IN["GATE"]]
turn(20)
board.feed()
print(engine.head, WORLD.fed, WORLD.edges[IN["GATE"]] - before, WORLD.out[IN["RELAY"]])
"""
    )
    assert out == ["1 1", "1 1 0 0"], "fed once for one tick, never for none"


def test_load_and_gap_are_what_the_clock_says(pico):
    out = pico(
        ENGINE
        + """
turn(2)
for work, gap in ((500, 2000), (900, 2000), (300, 5000), (300, 60000)):
    t[slots.T_LOAD_US] = work
    turn(us=gap)
    print(x[slots.X_LOAD], x[slots.X_GAP])
"""
    )
    assert out == ["4 16", "8 16", "3 39", "3 255"], (
        "LOAD is the tick before, rounded up, GAP since it began, both in 128 us"
    )


def test_presses_are_counted_in_the_tick_and_none_is_lost_while_the_loop_writes(pico):
    """A bounce is one press, two presses 130 ms apart are two, a press of 150 ms in a stall of half a second is kept, and a long one is reported."""
    out = pico(
        ENGINE
        + """
from rimward_fw.ui.buttons import Buttons
taken = Buttons(t)
def hold(names, ms):
    press("KEY_LOW", "CUTOFF", *names)
    turn(ms // 2)
hold((), 200)
for n in range(3): hold(("ENTER",), 4); hold((), 4)
hold((), 200)
print(taken.poll(), taken.poll())
hold(("ENTER",), 150); hold((), 130); hold(("ENTER",), 150); hold((), 130)
print(taken.poll(), taken.poll(), taken.poll())
hold(("UP",), 1700)
print(taken.poll(), taken.poll(), taken.poll())
"""
    )
    assert out == ["(2048, 0) (0, 0)", "(2048, 0) (2048, 0) (0, 0)", "(512, 0) (0, 512) (0, 0)"]


def test_the_whole_tick_takes_no_memory(pico):
    """The board's hard interrupt with both kernels and the ring behind it, for 500 ticks on a locked heap."""
    out = pico(
        ENGINE
        + """
from rimward_fw.kernels import tick
turn(3)
many = WORLD.timers[0]._callback
micropython.heap_lock()
for i in range(500):
    many(None)
micropython.heap_unlock()
print(engine.head, engine.failed)
"""
    )
    assert out == ["503 False"]


def test_the_ring_gives_back_every_tick(pico):
    """1,000 ticks with a slow word every third: what the reader takes out is what the kernels saw."""
    out = pico(
        ENGINE
        + """
from rimward_fw.storage.ticks import TickReader
reader = TickReader(engine)
reader.begin()
wrong = 0
for n in range(1000):
    pressures(n % 50 / 10, n % 50 / 10)
    if n % 3 == 0:
        engine.offer(slots.X_BAND_PA if n % 2 else slots.FIRST_Y_SLOT + slots.Y_TARGET_PA, n)
    turn()
    if n % 7 == 6:
        while reader.waiting():
            reader.take()
        first, last = reader.x, list(x)
        wrong += list(first) != last or list(reader.y)[slots.FILL_SLOW:] != list(engine.y)[slots.FILL_SLOW:] or reader.out != engine.out
        wrong += reader.fa_pa != (g[slots.G_FA] >> 4) - slots.BIAS_PA or reader.state != engine.f[slots.F_STATE]
print(wrong, reader.tail, reader.overrun())
turn(500)
print(reader.overrun())
"""
    )
    assert out == ["0 994 False", "True"]
