"""Heap of the idle inflator as `rimward install --compile` puts it on a board, on a 32-bit interpreter; and that it comes back to it."""

from tests.rig import heap

AROUND = """
import gc
import display_gallery as gallery
from rimward_fw.control import builtin
from rimward_fw.storage import rest
from rimward_fw.ui import buttons
a = gallery.fresh({store!r})
a.board.feed = lambda: None
a.board.read = lambda into: 0
a.board.write = len
def turn(ms=10):
    a.engine.head += 5
    a.board.now += ms
    a.work()
def settle():
    for n in range(60): turn()
    gc.collect()
    return gc.mem_alloc()
"""


def test_idle_heap_is_within_the_budget():
    ok, lines, figures = heap.report()
    print(*lines, sep="\n")
    assert ok and figures["idle"] <= heap.BUDGET, lines
    assert figures["idle_plain"] > 40_000 and figures["machine_code"] > 15_000, "counted at all"
    again = figures["stages"]["idle again after a wheel"]
    assert again - figures["idle_plain"] < 4096, "names stay interned, all else is let go"


def test_what_a_visit_needs_is_loaded_for_it_and_let_go_again(on_unix, tmp_path):
    code = AROUND.format(store=str(tmp_path)) + """
import sys
settle()
used = []
for n in range(6):
    print(a.recorder is rest.QUIET, "rimward_fw.storage.recorder" in sys.modules, "rimward_fw.control.arming" in sys.modules, "rimward_protocol.session" in sys.modules)
    a.cycle.choose(bytes(8), builtin.profile(), True)
    print(a.recorder is rest.QUIET, "rimward_fw.storage.recorder" in sys.modules)
    a.cycle.pressed(buttons.ENTER)
    assert a.recorder.active
    for i in range(40): turn()
    a.cycle.leave(1)
    a.cycle.phase = 0
    a.cycle.queue.clear()
    used.append(settle())
print(max(used) - min(used) < 1024, a.engine._record)
"""
    lines = on_unix(code).splitlines()
    assert lines[:2] == ["True False False False", "False True"] and lines[2:12:2] == ["True False False False"] * 5
    assert lines[-1] == "True None"


def test_a_conversation_loads_its_handlers_and_lets_them_go(on_unix, tmp_path):
    code = AROUND.format(store=str(tmp_path)) + """
import sys
from rimward_protocol import codes, frame, layout
from rimward_protocol.layouthash import LAYOUT_HASH
waiting = bytearray()
said = bytearray()
def read(into):
    count = min(len(waiting), len(into))
    into[:count] = waiting[:count]
    waiting[:count] = b""
    return count
a.board.read = read
a.board.write = lambda view: said.extend(bytes(view)) or len(view)
def ask(kind, body=b""):
    waiting.extend(frame.encode(kind, 1, body))
    turn()
    decoder = frame.Decoder()
    decoder.feed(said, 0, len(said))
    said[:] = b""
    return decoder.kind
hello = bytes([codes.PROTOCOL_VERSION]) + LAYOUT_HASH + bytes([0]) + bytes(4)
for n in range(3):
    turn(6000); settle(); print(a.link._handlers, "rimward_fw.link.requests" in sys.modules, "rimward_protocol.linkrows" in sys.modules)
    print(ask(codes.HELLO, hello), ask(codes.STATUS), "rimward_fw.link.requests" in sys.modules)
    turn(6000); settle()
    print(a.link._handlers, ask(codes.STATUS), ask(codes.BYE))
"""
    lines = on_unix(code).splitlines()
    assert lines == ["None False False", "65 66 True", "None 66 126"] * 3
