"""The check-out program on the stand-in: each switch alone, nothing without the run control, every exit switches the air off."""

from pathlib import Path

import pytest
from rimward_fw.control import configuration
from rimward_fw.ui import buttons
from rimward_protocol import codes

from hardware import sheets

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
START = f"""
WORLD.logging = False
sys.path.insert(0, {str(HARDWARE)!r})
import checkout_pico as c
c.HURRY = 50
WORLD.devices[(0, 0x76)] = chips.Barometer()
pressures(100_653 / 1e5 - 1.01325, 0)  # A is sealed: it reads the room's air against standard air
press("WORKSHOP", "KEY_LOW", "CUTOFF", "RUN")
real = c.Bench.sense
def sense(self):
    machine.before_tick()
    return real(self)
c.Bench.sense = sense
board = pico.Board()
def edges(bits, level=0, most=c.STILL_PA, ms=2000):
    bench = c.Bench(board)
    before = WORLD.edges[IN["GATE"]]
    seen = set()
    plain = bench.drive
    def drive(out):
        plain(out)
        seen.add((WORLD.out[IN["RELAY"]], WORLD.out[IN["VENT"]]))
    bench.drive = drive
    try:
        c.step(bench, bits, ms, level, most)
        how = "done"
    except c.Stop as stop:
        bench.still()
        how = str(stop)
    return how, WORLD.edges[IN["GATE"]] - before, sorted(seen), [WORLD.out[IN[n]] for n in ("GATE", "RELAY", "VENT")]
"""


def run(pico, code):
    return pico(START + code)


@pytest.mark.parametrize("level", [0, 1])
def test_pulses_come_without_the_relay_and_end_at_the_level_asked_for(pico, level):
    how, count, seen, left = eval(run(pico, f"print(edges(c.GATE | c.VENT_OPEN, {level}))")[-1])
    assert how == "done" and 20 <= count <= 22 and seen == [(0, 0)] and left == [level, 0, 0]


@pytest.mark.parametrize("level", [0, 1])
def test_the_relay_comes_without_pulses(pico, level):
    how, count, seen, left = eval(run(pico, f"print(edges(c.RELAY, {level}))")[-1])
    assert how == "done" and count == level and (1, 1) in seen and left == [level, 0, 0]


@pytest.mark.parametrize(
    "world,why",
    [
        ('press("WORKSHOP", "KEY_LOW", "CUTOFF")', "run control"),
        ('press("WORKSHOP", "KEY_HIGH", "CUTOFF", "RUN")', "range key"),
        ('press("WORKSHOP", "KEY_HIGH", "KEY_LOW", "CUTOFF", "RUN")', "range key"),
        ("pressures(0, 3.4)", "stands at 3.4"),
        ("pressures(3.4, 0)", "stands at 3.4"),
        ("WORLD.word = 0", "out of its band"),
        ("WORLD.codes[26] = 0", "out of its band"),
    ],
)
def test_no_air_moves_where_it_must_not(pico, world, why):
    how, count, _seen, left = eval(
        run(pico, f"{world}\nprint(edges(c.GATE | c.RELAY | c.VENT_OPEN, 0, c.VENT_PA))")[-1]
    )
    assert why in how and count == 0 and left[1:] == [0, 0]


def test_the_whole_program_waits_for_a_person_and_ends_with_the_air_off(pico):
    """ENTER for every step but the third; the run control is released in the last."""
    out = run(
        pico,
        """
turn = [0]
plain = board.idle
def idle():
    turn[0] += 1
    asked = turn[0] // 2
    if turn[0] % 2:
        press("WORKSHOP", "KEY_LOW", "CUTOFF", "DOWN" if asked == 2 else "ENTER", "RUN")
    else:
        press("WORKSHOP", "KEY_LOW", "CUTOFF", *([] if asked == 6 else ["RUN"]))
board.idle = idle
c.main(board)
print([WORLD.out[IN[n]] for n in ("RELAY", "VENT")], board._dead)
""",
    )
    said = [line for line in out if line.startswith("  ")]
    assert [line.split(";")[0].strip() for line in said] == ["done"] * 2 + ["left out"] + [
        "done"
    ] * 2 + ["STOPPED: run control not held"]
    assert out[-1] == "[0, 0] True"


def test_without_the_workshop_contact_it_does_nothing(pico):
    out = run(
        pico,
        'press("KEY_LOW", "CUTOFF", "RUN")\nboard = pico.Board()\nc.main(board)\nprint(WORLD.edges[IN["GATE"]], board._dead)',
    )
    assert out[-2].startswith("Switch off") and out[-1] == "0 True"


def test_its_numbers_are_the_firmware_s_and_the_sheet_names_it(pico):
    names = ["GATE", "RELAY", "VENT_OPEN", "RUN", "KEY_LOW", "KEY_HIGH", "DOWN", "ENTER"]
    found = eval(run(pico, f"print([getattr(c, n) for n in {names!r}])")[-1])
    assert found[:3] == [codes.OUT_GATE, codes.OUT_RELAY, codes.OUT_VENT]
    assert found[3:] == [
        buttons.RUN,
        buttons.KEY_LOW,
        buttons.KEY_HIGH,
        buttons.DOWN,
        buttons.ENTER,
    ]
    text = (HARDWARE / "checkout_pico.py").read_text()
    assert f"* {configuration.GAIN} >> 9" in text and f"- {-configuration.OFF_VENTED:_}" in text
    assert "hardware/checkout_pico.py" in sheets.markdown()
