"""One source, identical bits, at length: `python -m tests.interpreter.identical [--ticks N] [--workers N] [--write]`.

Guided ticks drive both kernels on CPython; numba does the same ticks and every output and word of memory is compared after each. MicroPython
does the first of them and every session of the corpus. `--write` keeps the figures in IDENTICAL.md, with a fingerprint of the sources they are of.
"""

import argparse
import hashlib
import random
import subprocess
import sys
import tempfile
import time
from array import array
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path
from types import FunctionType
from typing import Any

import coverage
import numpy as np
from rimward.sessions import read_session
from rimward_fw.kernels import fill, guard, order
from rimward_protocol import causes, codes, enumerations
from rimward_protocol import kernel_slots as slots

from tests.interpreter import identical_run as run
from tests.sessions.cases import CASES
from tests.sessions.record import load
from tests.trust.bare import bare
from tests.trust.guard_guided import World

HERE = Path(__file__).parent
FIRMWARE = Path(guard.__file__).parent
KERNELS = (*sorted(FIRMWARE.glob("guard*.py")), *sorted(FIRMWARE.glob("fill*.py")))
PAGE = HERE / "IDENTICAL.md"
TICKS, DEVICE_TICKS = 10_000_000, 200_000
CHUNK = 20_000
BLOCK = 500  # ticks a digest
SEED = 11
COMMAND = "python -m tests.interpreter.identical --workers 2 --write"


class Guided:
    """Stands where the guided world expects a guard: its step runs both kernels, and keeps what went in and what was left."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        self.g, self.x, self.f, self.y = run.memory()
        self.records, self.left = array("i"), array("i")
        self.event, self.episode = -1, 0
        self.conn = -1

    def boot(self, g: Any) -> None:
        """A reset by the world: of the guard's memory."""
        guard.boot(g)
        self.event = -2

    def step(self, g: Any, x: Any) -> int:
        """One tick of both; `g` is the world's, and may have a bit flipped since."""
        if x[slots.X_CONN] != self.conn:
            self.conn, self.episode = x[slots.X_CONN], self.episode + 1
            self.job()
        own, head = self.episode & 1, self.flip(g)
        state = self.dice.randrange(17) if self.dice.random() < 0.004 else -1
        self.records.extend((own, head, state))
        self.records.extend(x)
        self.records.extend(self.y[run.SLOW :])
        self.g[:] = g
        self.x[:] = x
        if state >= 0:
            self.f[slots.F_STATE] = state
        out = run.one_tick(guard.step, fill.step, order.couple, self.g, self.x, self.f, self.y, own)
        for words in (array("i", [out]), self.g, self.f):
            self.left.extend(words)
        self.event = -1
        g[:] = self.g
        return out & 255

    def flip(self, g: Any) -> int:
        """What the world did to its guard's memory since the last tick, as a record says it."""
        if self.event == -1:
            for i in range(run.G):
                if g[i] != self.g[i]:
                    return 64 * ((g[i] ^ self.g[i]).bit_length() - 1) + i
        return self.event

    def job(self) -> None:
        """The fill's slow words of another connection: a profile drawn, or words drawn within their widths."""
        from tests.interpreter.kernel_pairs import Dice, words

        slow = words(Dice(self.dice.randrange(1 << 20)), 1)[2]
        for i, value in enumerate(slow):
            self.y[run.SLOW + i] = value
        self.y[slots.Y_CONN] = self.conn


def guided(seed: int, ticks: int) -> Guided:
    """`ticks` guided ticks by CPython."""
    kept = Guided(seed)
    world = World(random.Random(seed), kept)
    for _ in range(ticks):
        world.tick()
        if world.age > world.stop + 120:
            if world.g[slots.G_CAUSE] == 32:
                kept.boot(world.g)
            world.begin()
    return kept


@cache
def compiled() -> Any:
    """`run_block` with the kernels compiled by numba."""
    from numba import njit
    from rimward.simulation.engines import kernels
    from rimward.simulation.plant.jit import OPTIONS

    made = kernels()
    make = njit(**OPTIONS | {"cache": False, "error_model": "python"})
    space = vars(run) | {"one_tick": make(run.one_tick)}
    block: Any = make(FunctionType(run.run_block.__code__, space, "run_block"))
    return partial(block, made["guard_step"], made["guard_boot"], made["fill_step"], made["tick"])


def by_numba(start: Any, records: Any) -> np.ndarray:
    """What the compiled kernels leave, a row a tick."""
    memory = [np.array(words, np.int32) for words in run.memory(start)]
    rows = np.frombuffer(records, np.int32)
    count = len(rows) // run.RECORD
    left = np.zeros(count * run.WIDTH, np.int32)
    compiled()(*memory, np.array(rows), count, left)
    return left.reshape(count, run.WIDTH)


def differs(left: Any, other: np.ndarray) -> str:
    """Where CPython and the other first differ; empty when they do not."""
    mine = np.frombuffer(left, np.int32).reshape(other.shape)
    if np.array_equal(mine, other):
        return ""
    at = int(np.nonzero((mine != other).any(axis=1))[0][0])
    words = np.nonzero(mine[at] != other[at])[0].tolist()
    return (
        f"tick {at}: words {words} are {mine[at][words].tolist()} and {other[at][words].tolist()}"
    )


def one_chunk(number: int, ticks: int = CHUNK) -> dict[str, Any]:
    """A chunk on CPython and numba: digest, first difference, what it reached."""
    kept = guided(SEED + number, ticks)
    rows = np.frombuffer(kept.left, np.int32).reshape(-1, run.WIDTH)
    return {
        "ticks": len(rows), "digest": hashlib.sha256(kept.left.tobytes()).hexdigest(), "differs": differs(kept.left, by_numba(None, kept.records)),
        "outs": Counter((rows[:, 0] & 255).tolist()), "causes": Counter(rows[:, 1].tolist()), "states": Counter(rows[:, 1 + run.G].tolist()),
    }  # fmt: skip


def numba_and_cpython(ticks: int, workers: int, tell: Any = lambda *_: None) -> dict[str, Any]:
    """All guided ticks on both, and what they reached. `workers` 0: in this process."""
    chunks = -(-ticks // CHUNK)
    compiled()
    total: dict[str, Any] = {
        "ticks": 0,
        "outs": Counter(),
        "causes": Counter(),
        "states": Counter(),
    }
    digest = hashlib.sha256()
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn")) if workers else None
    try:
        for number, found in enumerate((pool.map if pool else map)(one_chunk, range(chunks))):
            if found["differs"]:
                raise AssertionError(
                    f"guided chunk {number}, CPython and numba: {found['differs']}"
                )
            digest.update(bytes.fromhex(found["digest"]))
            for name in ("ticks", "outs", "causes", "states"):
                total[name] += found[name]
            tell(number + 1, chunks)
    finally:
        if pool:
            pool.shutdown(cancel_futures=True)
    return total | {"digest": digest.hexdigest()[:16]}


def sources() -> str:
    """Fingerprint of what is compared: the kernels' own files and the order of a tick, without comments."""
    total = hashlib.sha256()
    for path in [*KERNELS, FIRMWARE / "order.py", FIRMWARE / "tick.py"]:
        total.update(path.name.encode() + b"\0" + bare(path.read_text(encoding="utf-8")).encode())
    return total.hexdigest()[:16]


def on_micropython(folder: Path, start: Any, records: Any) -> list[str]:
    """Digests by the unix build, a block each; `folder` holds what it may import."""
    from tests.interpreter.conftest import run_unix

    head = array("i", [word for words in run.memory(start) for word in words])
    path = folder / "identical.bin"
    path.write_bytes(head.tobytes() + bytes(records))
    code = f"import identical_run as r\nfor d in r.digests(FOLDER + '/identical.bin', {BLOCK}):\n    print(d.hex())\n"
    return run_unix(folder, code, heap="32m", time_s=1200).split()


def block_digests(left: Any) -> list[str]:
    """The same from what CPython left."""
    data = bytes(left)
    size = 4 * run.WIDTH * BLOCK
    return [hashlib.sha256(data[at : at + size]).hexdigest() for at in range(0, len(data), size)]


def corpus(name: str) -> list[tuple[Any, Any]]:
    """(memory at its start, records) of every full-rate span of a recorded session."""
    found = []
    for span in read_session(load(name)).spans:
        start = np.concatenate([span.start[part] for part in "gxfy"]).tolist()
        rows = np.zeros((span.ticks, run.RECORD), np.int32)
        rows[:, 1:3] = -1
        rows[:, run.HEAD : run.HEAD + run.X] = span.x
        rows[:, run.HEAD + run.X :] = span.y[:, run.SLOW :]
        found.append((start, rows.tobytes()))
    return found


def by_cpython(start: Any, records: Any) -> array:
    """What the plain kernels leave over recorded ticks."""
    rows = array("i")
    rows.frombytes(bytes(records))
    count = len(rows) // run.RECORD
    left = array("i", [0] * (count * run.WIDTH))
    g, x, f, y = run.memory(start)
    run.run_block(guard.step, guard.boot, fill.step, order.couple, g, x, f, y, rows, count, left)
    return left


def three_ways(folder: Path, start: Any, records: Any, left: Any) -> int:
    """Compare one stretch on all three; return its ticks."""
    other = by_numba(start, records)
    wrong = differs(left, other)
    assert not wrong, f"CPython and numba: {wrong}"
    mine, device = block_digests(left), on_micropython(folder, start, records)
    assert mine == device, (
        f"CPython and MicroPython differ in the {BLOCK} ticks of block {next((i for i, (a, b) in enumerate(zip(mine, device)) if a != b), -1)}"
    )
    return len(other)


def main() -> int:
    """Run all of it; 0 when every bit is the same."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.interpreter.identical",
        description="Both kernels, bit by bit, on three engines.",
    )
    parser.add_argument(
        "--ticks", type=int, default=TICKS, help="guided ticks on CPython and numba"
    )
    parser.add_argument(
        "--device-ticks", type=int, default=DEVICE_TICKS, help="of them on MicroPython too"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"keep the figures in {PAGE.name}")
    asked = parser.parse_args()
    begun = time.monotonic()

    def tell(done: int, chunks: int) -> None:
        print(
            f"\r{done} of {chunks} chunks, {time.monotonic() - begun:.0f} s",
            end="",
            file=sys.stderr,
            flush=True,
        )

    total = numba_and_cpython(asked.ticks, asked.workers, tell)
    print(file=sys.stderr)
    with tempfile.TemporaryDirectory() as name:
        folder = device_tree(Path(name))
        kept = guided(SEED, asked.device_ticks)
        device = three_ways(folder, None, kept.records.tobytes(), kept.left)
        spans = [span for case in CASES for span in corpus(case.name)]
        recorded = sum(three_ways(folder, *span, by_cpython(*span)) for span in spans)
    taken = branches(
        lambda: (guided(SEED, asked.device_ticks), [by_cpython(*span) for span in spans])
    )
    text = page(total, device, len(CASES), recorded, taken)
    print(text)
    if asked.write:
        PAGE.write_text(text)
    return 0


def branches(act: Any) -> dict[str, tuple[int, int]]:
    """File of a kernel -> (branches taken by `act()`, branches there are)."""
    measured = coverage.Coverage(
        branch=True, data_file=None, include=[str(path) for path in KERNELS], config_file=False
    )
    measured.start()
    try:
        act()
    finally:
        measured.stop()
    numbers = {path.name: measured._analyze(str(path)).numbers for path in KERNELS}
    return {name: (found.n_executed_branches, found.n_branches) for name, found in numbers.items()}


def device_tree(folder: Path) -> Path:
    """What MicroPython imports: protocol, firmware, and the runner."""
    import shutil

    for package in (FIRMWARE.parent, Path(codes.__file__).parent):
        shutil.copytree(
            package, folder / package.name, ignore=shutil.ignore_patterns("__pycache__")
        )
    shutil.copy(HERE / "identical_run.py", folder)
    return folder


def page(
    total: dict[str, Any],
    device: int,
    sessions: int,
    recorded: int,
    taken: dict[str, tuple[int, int]],
) -> str:
    """The figures as they are kept."""
    share = "\n".join(f"| `{name}` | {done} of {whole} |" for name, (done, whole) in taken.items())
    named = ", ".join(
        f"{causes.row_of(cause)[1]} {count}"
        for cause, count in sorted(total["causes"].items())
        if cause
    )
    states = ", ".join(
        f"{codes.word_of(enumerations.FILL_STATES, state)} {count}"
        for state, count in sorted(total["states"].items())
    )
    outs = ", ".join(f"{out} {count}" for out, count in sorted(total["outs"].items()))
    return f"""# Both kernels, bit by bit, on three engines

Made by `{COMMAND}`. After every tick the output bits and all {run.G} + {run.F} words of memory are compared.

| what | ticks | engines |
| --- | --- | --- |
| guided ticks, faults and flipped memory in them | {total["ticks"]} | CPython, numba |
| the first of them | {device} | CPython, numba, MicroPython |
| every full-rate tick of {sessions} recorded sessions | {recorded} | CPython, numba, MicroPython |

Sources: `{sources()}`. Digest of all guided ticks: `{total["digest"]}`.

Reached by the guided ticks:

- output bits of the guard: {outs}
- latched causes: {named}
- states of the fill: {states}

Branches taken on CPython by the first {device} guided ticks and the recorded sessions:

| kernel's file | branches |
| --- | --- |
{share}
"""


if __name__ == "__main__":
    try:
        sys.exit(main())
    except (AssertionError, subprocess.CalledProcessError) as wrong:
        sys.exit(f"not the same: {wrong}")
