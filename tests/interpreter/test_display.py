"""Every screen on a real framebuf: selected by the real display module from the kernels' state, drawn, distinct, and not cut off."""

import re

import pytest
from rimward_fw.ui.screens import SCREENS, turns

from tests.rig import screens


@pytest.fixture(scope="module")
def drawn():
    return screens.frames()


def test_every_screen_is_drawn_and_no_two_are_the_same(drawn):
    assert {name for name, _ in drawn} == set(SCREENS)
    assert len(drawn) == sum(len(turns(name)) for name in SCREENS)
    assert len(set(drawn.values())) == len(drawn)


def test_every_screen_is_a_png(drawn, tmp_path):
    paths = screens.write(tmp_path)
    assert len(paths) == len(drawn) and all(path.read_bytes()[:4] == b"\x89PNG" for path in paths)


def test_nothing_is_cut_off_with_the_longest_values_of_all(on_unix, tmp_path):
    """Every screen in each turn, bar first and psi first, every cause and refusal: title whole, every line and wrapped text within its room."""
    assert (
        on_unix(f"import display_gallery\ndisplay_gallery.cut_texts({str(tmp_path)!r})", time_s=300)
        == ""
    )


NEXT = re.compile(r"ENTER|DOWN|RUN|UP|air is off|one moment|ready in|[Ss]witch off and|hose off")


def test_the_next_step_is_on_every_screen_in_every_turn():
    """Of a screen that turns, too: what to press or hold, or that there is nothing to do but wait."""
    without = [
        (name, at)
        for name in SCREENS
        for at, table in enumerate(turns(name))
        if not any(NEXT.search(text) for _, _, text in table)
    ]
    assert without == []


def test_a_title_is_whole_words_and_a_wheel_has_two_lines(on_unix, tmp_path):
    code = f"""
import display_gallery as gallery
from rimward_fw.ui import display_numbers as show
print([show.whole(text) for text in ("BENCH MEASURE FIRST", "Larkspur front of Ida", "Zeitgeistlaufradsatz", "DONE")])
a = gallery.fresh({str(tmp_path)!r})
a.interface.psi_first = True
a.interface.chooser.begin()
print(a.interface.chooser.shown())
for n in range(3): a.interface.chooser.pressed(1024)
print(a.interface.chooser.shown()[-2:])
"""
    titles, listed, last = on_unix(code).splitlines()
    assert titles == "['BENCH MEASURE', 'Larkspur front', 'Zeitgeistlaufr..', 'DONE']"
    assert listed.startswith(
        "[('Ada front gravel', True), ('F 40-622 61.9psi', True), ('Ada rear gravel', False)"
    )
    assert last == "[('not registered', True), ('', True)]"


def test_the_owners_unit_comes_first_on_every_screen(on_unix, tmp_path):
    """Psi first: no line with bar alone, none of the first lines in bar."""
    code = f"""
import display_gallery as gallery
from rimward_fw.ui import display
for psi in (False, True):
    a = gallery.fresh({str(tmp_path)!r})
    a.interface.psi_first = psi
    gallery.armed(a, 1)
    gallery.drawn(a)
    print([row[2] for row in a.interface.view.drawn[0]])
"""
    bar, psi = on_unix(code).splitlines()
    assert "'fill to 2.50 bar', '      = 36.2 psi', 'ceiling 4.27 bar', '      = 61.9 psi'" in bar
    assert "'fill to 36.2 psi', '      = 2.50 bar', 'ceiling 61.9 psi', '      = 4.27 bar'" in psi


def test_the_bar_grows_with_the_reading_and_ends_at_the_ceiling(on_unix):
    code = """
from rimward_fw.ui import display
import framebuf
for shown in (0, 100, 250, 500, 600):
    frame = bytearray(1024)
    canvas = framebuf.FrameBuffer(frame, 128, 64, framebuf.MONO_VLSB)
    display.gauge(canvas, 48, (display.meter(shown, 500), display.meter(600, 500)))
    print(sum(canvas.pixel(x, 51) for x in range(2, 122)))
"""
    assert [int(n) for n in on_unix(code).split()] == [0, 24, 60, 120, 120]


def test_a_picture_goes_out_only_when_something_changed(on_unix, tmp_path):
    code = f"""
import display_gallery as gallery
a = gallery.fresh({str(tmp_path)!r})
shown = []
a.board.show = lambda frame: shown.append(1)
gallery.armed(a, 6, 100000)
for n in range(10): a.interface.view.work()
print(len(shown))
a.engine.f[gallery.F("tyre_pa")] = 100100
a.interface.view.work(); print(len(shown))
a.engine.f[gallery.F("tyre_pa")] = 106000
a.interface.view.work(); print(len(shown))
"""
    assert on_unix(code).split() == ["1", "1", "2"]


def test_without_framebuf_the_firmware_goes_on(on_unix, tmp_path):
    code = f"""
import display_gallery as gallery
from rimward_fw.ui import display
display.framebuf = None
a = gallery.fresh({str(tmp_path)!r})
a.interface.view.work()
print(a.board.frame)
"""
    assert on_unix(code).split() == ["None"]


def test_a_tyre_that_was_not_seen_is_told_by_how_far_the_hose_went(on_unix, tmp_path):
    code = f"""
import display_gallery as gallery
from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots
from rimward_fw.ui import display
a = gallery.fresh({str(tmp_path)!r})
gallery.armed(a, codes.STOPPED, -1, 312000)
print(display.fact(a, "seen"))
a.engine.f[slots.F_REASON] = causes.NOT_SEEN
print(display.fact(a, "seen"))
"""
    assert on_unix(code).splitlines() == ["tyre unknown", "hose 3.12 bar"]
