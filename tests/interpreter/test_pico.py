"""The very same pico.py that goes on the chip, on MicroPython's unix build: pins, words, switches, gate, and the tick's memory."""

import re
from pathlib import Path

import pytest


def test_pins_and_functions_are_those_of_the_table(pico):
    out = pico(
        """
board = pico.Board()
for row in WORLD.log: print(*row)
print(sorted(WORLD.out.items()))
"""
    )
    assert {"pin 2 out", "pin 3 out", "pin 4 out", "pin 6 in", "pin 9 in", "adc 26", "adc 27", "adc 28"} <= set(out)
    assert "spi 0 4000000 0 0 18 19 16" in out and "i2c 0 20 21 100000" in out and "i2c 1 10 11 400000" in out
    assert not [row for row in out if row.startswith("timer") or row.startswith("watchdog")]
    assert out[-1] == str([(2, 0), (3, 0), (4, 0), (15, 0), (17, 0), (22, 0)]), "every output is safe before anything runs"


def test_timer_is_hard_and_two_milliseconds(pico):
    assert pico("board = pico.Board()\nboard.start(lambda: None)\nprint(WORLD.log[-2:])") == ["[('watchdog', 4000), ('timer', 2, 1, True)]"]


def test_words_are_ratios_of_the_sensor_supply(pico):
    """Zero, half and full pressure at a nominal and at a low supply: A to the bit, B within one step of the converter."""
    out = pico(
        """
x = array("i", [0] * 24)
board = pico.Board()
for supply in (5.0, 4.75):
    for bar in (0, 5, 10):
        pressures(bar, bar, supply)
        for n in range(64): board.sense(x)
        print(x[0], x[1], x[5])
"""
    )
    rows = [[int(word) for word in row.split()] for row in out]
    for (a, b, supply), (bar, units) in zip(rows, [(bar, units) for units in (78, 74) for bar in (0, 5, 10)]):
        ideal = (0.1 + 0.08 * bar) * 65536
        assert abs(a - ideal) <= 0.5
        assert abs(b - ideal) <= 16, "one of 4,096 steps"
        assert supply == units


def test_no_supply_and_no_converter_give_words_out_of_band(pico):
    out = pico(
        """
x = array("i", [0] * 24)
WORLD.codes = {26: 4095, 27: 0, 28: 0}
WORLD.word = 0
board = pico.Board()
board.sense(x)
print(x[0], x[1], x[5])
"""
    )
    assert out == ["0 65535 0"]


def test_integers_stay_under_thirty_bits(pico):
    out = pico(
        """
worst = 0
for part in (0, 1, 8000, 16380):
    for whole in (0, 1, 256, 9000, 16380):
        worst = max(worst, part << 16, pico.ratio_q16(part, whole))
worst = max(worst, 16380 * (3300000 // 600) + (1 << 19), 4095 * (3300000 // 175))
print(worst < 1 << 30, pico.supply_units(16380), pico.pump_mv(4095))
"""
    )
    assert out == ["True 86 18852"]


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
        (("RUN", "KEY_LOW", "KEY_HIGH", "UP", "DOWN", "ENTER", "WORKSHOP"), 1 | 2 | 4 | 8 | 512 | 1024 | 2048 | 4096),
    ],
)
def test_switch_word(pico, held, word):
    out = pico(f"x = array('i', [0] * 24)\nboard = pico.Board()\npress(*{held!r})\nboard.sense(x)\nprint(x[2])")
    assert out == [str(word)]


def test_gate_toggles_once_a_tick_only_while_its_bit_is_set(pico):
    out = pico(
        """
board = pico.Board()
def edges(bits, ticks):
    before = WORLD.edges[IN["GATE"]]
    for n in range(ticks): board.drive(bits)
    return WORLD.edges[IN["GATE"]] - before
print(edges(0, 10), edges(1 | 2, 10), edges(2, 10), edges(16, 10), edges(1, 7), edges(0, 10))
print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
board.drive(2); print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
board.drive(4); print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
board.drive(2 << 8); print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
board.drive(1 | 2); board.off(); print(WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]])
"""
    )
    assert out == ["0 10 0 0 7 0", "0 1", "1 1", "0 0", "0 0", "0 0"]


def test_after_off_no_tick_runs_and_nothing_feeds_the_watchdog(pico):
    out = pico(
        """
ticks = []
board = pico.Board()
board.start(lambda: ticks.append(1) or board.drive(3))
board._interrupt(None); board.feed(); board.feed()
print(len(ticks), WORLD.fed)
board.off()
before = WORLD.edges[IN["GATE"]]
for n in range(20): board._interrupt(None)
board.feed()
print(len(ticks), WORLD.fed, WORLD.edges[IN["GATE"]] - before, WORLD.out[IN["RELAY"]])
"""
    )
    assert out == ["1 1", "1 1 0 0"], "fed once for one tick, never for none"


def test_load_and_gap_are_what_the_clock_says(pico):
    out = pico(
        """
x = array("i", [0] * 24)
now = 0
class Clock:
    def ticks_us(self): return now
    def ticks_ms(self): return now // 1000
    ticks_diff = staticmethod(time.ticks_diff)
    sleep_us = staticmethod(time.sleep_us)
pico.time = Clock()
def tick():
    global now
    board.sense(x)
    now += work
board = pico.Board()
board.start(tick)
for work, gap in ((500, 2000), (1000, 2000), (300, 5000), (300, 60000)):
    now += gap - (0 if gap else 0)
    board._interrupt(None)
    now -= work
    print(x[3], x[4])
"""
    )
    assert out == ["0 16", "4 16", "8 40", "2 255"], "LOAD is the tick before, GAP since it began, both in 125 us"


def test_the_whole_tick_takes_no_memory(pico):
    """The board's hard interrupt with both kernels and the recorder behind it, for 500 ticks on a locked heap."""
    out = pico(
        """
from rimward_fw.control.engine import Engine
from rimward_protocol import session
WORLD.logging = False
board = pico.Board()
engine = Engine(board)
record = session.FastRecorder(engine.x, ((engine.x, 2, 3, 0), (engine.x, 5, 24, 0), (engine.y, 6, 25, 64)))
record.start()
engine.record_with(record.add)
board.start(engine.step_ref)
run = WORLD.timers[0].callback
def many(n):
    for i in range(n): run(None)
many(3)
micropython.heap_lock()
many(500)
micropython.heap_unlock()
print(engine.head, engine.failed, engine.g[0], engine.x[0], engine.x[5])
"""
    )
    assert out[0].split()[:2] == ["503", "0"]


def test_the_hard_interrupt_part_names_nothing_that_allocates():
    """No floats, containers, slices or formatted text between `_interrupt` and the main loop's part."""
    text = (Path(__file__).parents[2] / "firmware" / "rimward_fw" / "board" / "pico.py").read_text()
    part = text[text.index("    def _interrupt") : text.index("    # The main loop")]
    assert not re.search(r"\d\.\d|\bbytearray|\bbytes\(|\blist\(|\bdict\(|\bprint\(|lambda|\{|f\"|\[[^\]]*:[^\]]*\]", part)
