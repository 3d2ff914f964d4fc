"""Every screen on a real framebuf: picked by the real display module from what stands in the kernels, drawn, told apart, nothing cut off."""

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


WIDEST = {"ambient": 3, "air": 3, "seen": 13, "doing": 12, "second": 13, "tyre": 8, "rim": 3, "position": 5, "made": 10, "version": 12, "test": 6}


def widest(text):
    """The text with every name as wide as it can get; four signs where nothing else is said."""
    return re.sub(r"\{(\w+)\}", lambda m: "0" * WIDEST.get(m.group(1), 4), text)


def test_no_fixed_text_is_wider_than_the_display():
    wide = [
        (name, text)
        for name in SCREENS
        for table in turns(name)
        for _, style, text in table
        if style != "w" and len(widest(text)) > 16 and "{label}" not in text
    ]
    assert wide == []


def test_no_cause_and_no_refusal_is_cut(on_unix):
    assert on_unix("import display_gallery\ndisplay_gallery.cut_off()") == ""


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


def test_no_text_runs_into_the_line_below(on_unix):
    assert on_unix("import display_gallery\ndisplay_gallery.run_over()") == ""
