"""Of the firmware that `rimward install` puts on a board nothing is loaded once the tick runs; its heap is counted in `tests.board`."""

import ast
from pathlib import Path

FIRMWARE = Path(__file__).parents[2] / "firmware"
PROTOCOL = Path(__file__).parents[2] / "protocol" / "rimward_protocol"

AROUND = """
import gc, sys
import display_gallery as gallery
from rimward_fw.control import builtin
from rimward_fw.ui import buttons
from rimward_protocol import kernel_slots as slots, layout
a = gallery.fresh({store!r})
a.board.feed = lambda: None
a.board.read = lambda into: 0
a.board.write = len
def turn(ms=10):
    a.engine.t[slots.T_HEAD] += 5
    a.board.now += ms
    a.work()
def settle():
    for n in range(60): turn()
    layout.parts(layout.EVENT)  # the text read last stays in memory
    gc.collect()
    return gc.mem_alloc()
"""


def test_no_module_is_loaded_after_the_start(on_unix, tmp_path):
    """A fill cycle, every screen and a conversation: `sys.modules` stays as it was when the tick started; memory comes back."""
    code = (
        AROUND.format(store=str(tmp_path))
        + """
settle()
before = set(sys.modules)
used = []
for n in range(6):
    a.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
    a.cycle.pressed(buttons.ENTER)
    for i in range(40): turn()  # the record opens in steps
    assert a.recorder.active
    for i in range(40): turn()
    a.cycle.leave(1)
    a.cycle.phase = 0
    a.cycle.queue.clear()
    used.append(settle())
a.interface.service = True
turn(200)
print(max(used) - min(used) < 1024, set(sys.modules) - before)
"""
    )
    assert on_unix(code).strip() == "True set()"


def test_no_function_of_the_firmware_imports():
    """An import inside a function runs deep in the stack, allocates, and on a board that compiles takes seconds.

    Allowed: `board.here`, which picks the board before anything runs, what is built into the chip's interpreter, and the simulated
    board, which no chip has.
    """
    built_in = {"uctypes", "rp2"}
    found = []
    for file in [*(FIRMWARE / "rimward_fw").rglob("*.py"), *PROTOCOL.glob("*.py")]:
        for function in [
            n
            for n in ast.walk(ast.parse(file.read_text()))
            if isinstance(n, (ast.FunctionDef, ast.Lambda))
        ]:
            inside = [n for n in ast.walk(function) if isinstance(n, (ast.Import, ast.ImportFrom))]
            inside = [
                n
                for n in inside
                if isinstance(n, ast.ImportFrom) or {a.name for a in n.names} - built_in
            ]
            if (
                inside
                and getattr(function, "name", "") != "here"
                and not file.name.startswith("simulated")
            ):
                found.append(f"{file.name}:{function.name}")
    assert not found
