"""The whole firmware on the stand-in: it runs, says what is missing, and every end of it is air off and a reset."""

import pytest

from .standin import APP, LATCHED


def test_the_whole_firmware_runs_and_ends_in_off_and_reset(pico):
    """The main loop on the stand-in: it runs, feeds the watchdog, and whatever ends it is air off and a reset."""
    out = pico(APP + "board = run(200)\nprint(WORLD.fed > 100, WORLD.resets, WORLD.out[IN['RELAY']], WORLD.out[IN['VENT']], board._dead, board.ambient_pa)")
    assert out[-1] == "True 1 0 0 True 100653"


def test_without_barometer_and_display_it_goes_on(pico):
    out = pico(APP + "WORLD.devices = {}\nboard = run(200)\nprint(WORLD.fed > 100, WORLD.resets, board.ambient_pa)")
    assert out[-1] == "True 1 0"


def test_the_barometer_is_read_before_the_first_tick(pico):
    """Transducer A is sealed: a tick that did not know the air would take the two transducers for disagreeing, and latch."""
    out = pico(APP + """
start = pico.Board.start
seen = []
def keep(board, engine, tick):
    seen.append(board.ambient_pa)
    start(board, engine, tick)
pico.Board.start = keep
run(120)
print(seen)
""")
    assert out[-1] == "[100653]"


@pytest.mark.parametrize("held,cause,why", [(("CUTOFF", "KEY_LOW"), 0, 1), (("CUTOFF", "KEY_LOW", "RUN"), 31, 31)])
def test_a_missing_barometer_is_named_as_such(pico, held, cause, why):
    """No latch at rest, and with the run control held the barometer's cause, not the transducers'."""
    out = pico(APP + LATCHED + f"WORLD.devices = {{}}\npress(*{held!r})\nrun(200)\ng = engines[0].g\nprint(g[0], g[3], abs(g[39] - 600000) < 3000)")
    assert out[-1] == f"{cause} {why} True"


def test_workshop_contact_at_power_up_means_no_tick_ever(pico):
    out = pico(APP + "press('WORKSHOP', 'CUTOFF', 'RUN')\nboard = run(50)\nprint(len(WORLD.timers), WORLD.watchdog_ms, WORLD.out[IN['RELAY']], board._dead)")
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
