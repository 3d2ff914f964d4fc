"""What the compiled install puts on a board decides as the sources do: the same fills, tick for tick, of both on MicroPython."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from rimward.device.install import plan
from rimward.kernels.assemble import assemble
from rimward.simulation.virtual.interpreter import find_interpreter

ROOT = Path(__file__).parents[2]
SCRIPT = Path(__file__).parent / "soak_script.py"
KERNELS = tuple(
    f"{plan.KERNELS}{name}.mpy" for name in ("guard", "fill", "tick")
)  # of another processor: here from source
SIMULATED = ("simulated", "simulated_flash")


ROUND_AFTER_ROUND = """
import sys, gc
sys.path.insert(0, sys.argv[1])
gc.threshold(4096)  # as main.py begins
from rimward_fw import app
from rimward_fw.control import builtin
from rimward_protocol import kernel_slots as slots
import toy_board
class Board(toy_board.Board):
    simulated = False
    bench = 0
    feed = lambda self: None
    read = lambda self, into: 0
    write = lambda self, view: len(view)
a = app.App(Board(sys.argv[2]))
a.engine.g[slots.G_FA] = a.engine.g[slots.G_FB] = slots.BIAS_PA << 4  # both transducers read nothing, as the cutoff's does
a.engine.g[slots.G_READ] = slots.BIAS_PA
gc.collect()
gc.threshold(-1)
def turns(count):
    for n in range(count):
        a.engine.t[slots.T_HEAD] += 5  # T_HEAD
        a.board.now += 10
        a.work()
turns(60)
for n in range(12):
    a.cycle.choose(bytes(8), builtin.profile(500000, 300000), True)
    a.cycle.pressed(2048)
    turns(20)  # the record opens in steps
    blocks = a.recorder.stores
    print(a.recorder.active, sum([len(b.buf) for b in blocks]), min([len(b.buf) * 2 // b.size for b in blocks]))
    turns(40)
    a.cycle.leave(1)
    a.cycle.phase = 0
    a.cycle.queue.clear()
    turns(60)
"""
GALLERY = (Path(__file__).parent / "display_gallery.py").read_text()
FIRMWARE = ROOT / "firmware" / "rimward_fw"


@pytest.fixture(scope="module")
def compiled(tmp_path_factory):
    """A folder with the compiled modules, and what uses their names: simulated boards, which no chip has, and the scripts of these tests."""
    folder = tmp_path_factory.mktemp("compiled")
    beside = {
        f"rimward_fw.board.{name}": (FIRMWARE / "board" / f"{name}.py").read_text()
        for name in SIMULATED
    }
    beside["toy_board"] = GALLERY[GALLERY.index("class Board:") : GALLERY.index("def fresh(")]
    beside |= {"soak_script": SCRIPT.read_text(), "rounds": ROUND_AFTER_ROUND}
    texts, apart = plan.made_ready(None, beside, False)
    for item in plan.compiled_items(texts, apart):
        path = folder / item.path.removeprefix(plan.LIB + "/")
        if (
            path.is_relative_to(folder)
            and item.path.startswith(plan.LIB)
            and item.path not in KERNELS
        ):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(item.data)
    for name in ("soak_script", "rounds"):
        (folder / f"{name}.mpy").unlink()
        (folder / f"{name}.py").write_text(texts[f"{plan.LIB}/{name}.py"])
    kernels = folder / "rimward_fw" / "kernels"
    kernels.mkdir(parents=True, exist_ok=True)
    for name in ("guard", "fill"):
        (kernels / f"{name}.py").write_text(assemble(f"rimward_fw.kernels.{name}"))
    for name in (
        "tick",
        "order",
    ):  # the plant drives a part of the tick, which is not a separate function once assembled
        shutil.copy(FIRMWARE / "kernels" / f"{name}.py", kernels)
    return folder


def figures(folders, script=SCRIPT, fills=3):
    done = subprocess.run(
        [*find_interpreter().argv, str(script), folders, str(fills)],
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert done.returncode == 0 and "soak ok" in done.stdout, done.stdout + done.stderr
    row = json.loads(done.stdout.splitlines()[0].split(" ", 1)[1])
    return {name: row[name] for name in ("fills", "done", "stopped", "ticks", "peak_pa")}, row[
        "heap"
    ]


def test_the_same_fills_as_the_sources(compiled):
    plain, plain_heap = figures(f"{ROOT / 'protocol'}:{ROOT / 'firmware'}")
    small, small_heap = figures(str(compiled), compiled / "soak_script.py")
    assert small == plain and small["done"] == 3
    assert small_heap < plain_heap, "and it takes less memory"


def test_every_session_gets_its_memory(compiled, tmp_path):
    """A small heap, and cycle after cycle: it does not crumble. No piece is less than half of what it should be, most are whole."""
    (tmp_path / "store").mkdir()
    command = [
        *find_interpreter().argv[:1],
        "-X",
        "heapsize=480k",
        str(compiled / "rounds.py"),
        str(compiled),
        str(tmp_path / "store"),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr
    rows = [line.split() for line in done.stdout.splitlines()]
    assert len(rows) == 12 and rows[0] == ["True", str(48 * 1024), "2"]
    assert all(
        active == "True" and int(got) >= 36 * 1024 and int(halves) >= 1
        for active, got, halves in rows
    ), rows
