"""Set-up for the tests of the Pico's modules: the stand-in for `machine`, with its wires at rest."""

START = """
sys.path.insert(0, {stand!r})
import machine, chips, time, micropython
from machine import WORLD
from array import array
from rimward_fw.board import pico, pins
from rimward_protocol import kernel_slots as slots
class Chip:  # what the chip's own `micropython` has and the unix build lacks
    keys = []
    alloc_emergency_exception_buf = staticmethod(lambda size: None)
    kbd_intr = staticmethod(lambda key: Chip.keys.append(key))
pico.micropython = Chip
pico.STORE = {store!r}
pico.LAST_WORDS = {store!r} + "-words"
IN = {{row[0]: row[1] for row in pins.PINS}}
def press(*names):
    WORLD.levels = 0
    for name in names:
        WORLD.levels |= 1 << IN[name]
def code(volts, milli):
    return round(volts * milli / 1000 / 3.3 * 4096)
def pressures(a_bar, b_bar, supply=5.0):
    WORLD.word = round((0.1 + 0.08 * a_bar) * 65536)
    WORLD.codes[26] = code(supply * (0.1 + 0.08 * b_bar), 600)
    WORLD.codes[27] = code(supply, 600)
    WORLD.codes[28] = code(12.0, 175)
press("KEY_LOW", "CUTOFF")
pressures(0, 0)
"""

# `run(turns)`: the whole firmware for some turns of its main loop; `each(board, turn)` may observe it or change inputs.
APP = """
from rimward_fw import app
WORLD.logging = False
WORLD.devices[(0, 0x76)] = chips.Barometer()
WORLD.devices[(0, 0x48)] = chips.Converter()
pico.Board.commissioned = True  # as after its bring-up
class Done(BaseException): pass
def run(turns, each=None):
    board = pico.Board()
    count = 0
    def idle():
        nonlocal count
        count += 1
        if each: each(board, count)
        if count > turns: raise Done()
        if WORLD.timers:
            for n in range(5): WORLD.timers[-1].callback(None)
        time.sleep_ms(3)
        pico.Board.idle(board)
    board.idle = idle
    try:
        app.run(board)
    except machine.Reset:
        pass
    return board
"""

# `engines`: every engine that was made.
LATCHED = """
engines = []
from rimward_fw.control import engine
plain = engine.Engine.__init__
def made(self, board):
    plain(self, board)
    engines.append(self)
engine.Engine.__init__ = made
"""
