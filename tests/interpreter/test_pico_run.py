"""The whole firmware on the stand-in: it runs, reports what is missing, and always ends with the air off and a reset."""

import pytest

from .standin import APP, LATCHED


def test_the_whole_firmware_runs_and_ends_in_off_and_reset(pico):
    """The main loop on the stand-in: it runs, feeds the watchdog, and always ends with the air off and a reset."""
    out = pico(
        APP
        + "board = run(200)\nprint(WORLD.fed > 100, WORLD.resets, WORLD.out[IN['RELAY']], WORLD.out[IN['VENT']], board._dead, board.ambient_pa)"
    )
    assert out[-1] == "True 1 0 0 True 100653"


def test_without_barometer_and_display_it_goes_on(pico):
    out = pico(
        APP
        + "WORLD.devices = {}\nboard = run(200)\nprint(WORLD.fed > 100, WORLD.resets, board.ambient_pa)"
    )
    assert out[-1] == "True 1 0"


def test_the_barometer_is_read_before_the_first_tick(pico):
    """Transducer A is sealed: a tick that did not know the air would take the two transducers for disagreeing, and latch."""
    out = pico(
        APP
        + """
start = pico.Board.start
seen = []
def keep(board, engine, tick):
    seen.append(board.ambient_pa)
    start(board, engine, tick)
pico.Board.start = keep
run(120)
print(seen)
"""
    )
    assert out[-1] == "[100653]"


@pytest.mark.parametrize(
    "held,cause,why", [(("CUTOFF", "KEY_LOW"), 0, 1), (("CUTOFF", "KEY_LOW", "RUN"), 31, 31)]
)
def test_a_missing_barometer_is_named_as_such(pico, held, cause, why):
    """No latch at rest, and with the run control held the barometer's cause, not the transducers'."""
    out = pico(
        APP
        + LATCHED
        + f"WORLD.devices = {{}}\npress(*{held!r})\nrun(200)\ng = engines[0].g\nprint(g[slots.G_CAUSE], g[slots.G_WHY], abs(g[slots.G_READ] - 600000) < 3000)"
    )
    assert out[-1] == f"{cause} {why} True"


def test_workshop_contact_at_power_up_means_no_tick_ever(pico):
    out = pico(
        APP
        + "press('WORKSHOP', 'CUTOFF', 'RUN')\nboard = run(50)\nprint(len(WORLD.timers), WORLD.watchdog_ms, WORLD.out[IN['RELAY']], board._dead)"
    )
    assert out[-1] == "0 0 0 True"


def test_last_words_are_written_once_for_each_kind(pico):
    out = pico(
        """
board = pico.Board()
board.last_words(ValueError("one")); print(open(pico.LAST_WORDS).read())
import os
board.last_words(ValueError("one"))
board.last_words(OSError(5)); print(open(pico.LAST_WORDS).read())
try: board.reset()
except machine.Reset: print("reset", WORLD.out[IN["RELAY"]])
"""
    )
    assert out[0] == "ValueError('one',)" and out[1].startswith("OSError") and out[2] == "reset 0"


def test_a_short_silence_of_the_barometer_changes_nothing_and_a_long_one_ends_the_fill_by_its_name(
    pico,
):
    """Armed: 0.3 s without it is not a fault. After 1.5 s the fill is ended as `barometer`; the transducers are not accused."""
    out = pico(
        APP
        + LATCHED
        + """
from rimward_protocol import causes
apps = []
from rimward_fw.control import builtin
begin = app.App.__init__
def made(self, board):
    begin(self, board)
    apps.append(self)
app.App.__init__ = made
seen = []
def each(board, turn):
    a = apps[0]
    WORLD.codes[26] ^= turn & 1  # a live converter is never still
    if turn == 40:
        a.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
        a.cycle.pressed(2048)
    if turn == 160: seen.append(a.cycle.phase)
    if turn == 170: WORLD.devices.pop((0, 0x76))
    if turn == 250: seen.append((a.cycle.phase, a.engine.g[slots.G_CAUSE]))
    if turn == 800: seen.append((a.cycle.phase, a.cycle.cause == causes.BAROMETER, a.engine.g[slots.G_CAUSE], a.status()["stop_cause"]))
run(810, each)
print(seen)
"""
    )
    assert out[-1] == "[5, (5, 0), (6, True, 0, 31)]"


def test_a_tick_that_stops_leaves_its_record_and_resets(pico):
    """An exception in the hard interrupt cancels its timer: air off, a trip in the store, last words, a reset."""
    out = pico(
        APP
        + """
from rimward_fw.storage.store import Store
said = []
pico.Board.last_words = lambda self, error: said.append(repr(error))
def each(board, turn):
    if turn == 100: WORLD.timers[-1].callback = lambda timer: None
board = run(400, each)
held = Store(pico.STORE, lambda: False)
print(WORLD.resets > 0, WORLD.out[IN["RELAY"]], [row["cause"] for row in held.trips()], said[0])
"""
    )
    assert out[-1] == "True 0 [25] RuntimeError('the tick stopped',)"


def test_a_trip_that_could_not_be_stored_is_stored_by_the_next_start_and_a_cut_off_session_is_named(
    pico,
):
    out = pico(
        APP
        + """
from rimward_fw.storage.store import Store
board = pico.Board()
print(board.remembered())
board.remember(23)
os = __import__("os")
os.mkdir(pico.STORE) if not "rimward" in os.listdir("/") else None
held = Store(pico.STORE, lambda: False)
held.boot()
held.session_append(7, b"header")
held.close()
apps = []
from rimward_fw.control import builtin
begin = app.App.__init__
def made(self, board):
    begin(self, board)
    apps.append(self)
app.App.__init__ = made
def each(board, turn):
    a = apps[0]
    if turn == 40:
        a.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
        a.cycle.pressed(2048)
run(120, each)
held = Store(pico.STORE, lambda: False)
print([row["cause"] for row in held.trips()], apps[0].cut_off, pico.Board().remembered(), [held.session_about(n)["flags"] for n in held.session_list()])
from rimward_protocol import layout
a = apps[0]
kinds = []
while a.recorder.first.waiting():
    kind, payload = a.recorder.first.oldest()
    if kind == layout.BLOCK_EVENT: kinds.append(layout.unpack(layout.EVENT, payload))
    a.recorder.first.written()
print([(k["event"], k["value"], k["value2"]) for k in kinds if k["event"] == 1])
"""
    )
    assert out[-3:-1] == ["0", "[23] 7 0 [0, 0]"] and out[-1] in ("[(1, 1, 7)]", "[]")
