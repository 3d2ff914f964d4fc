"""One process for each mutant; a run with an unjudged mutant fails."""

import gc
import json
import os
import select
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.trust.guard_mutants import Mutant

Judging = Callable[[Mutant], tuple[str, str]]


@dataclass
class Outcome:
    """`unjudged`: mutants whose process crashed, hung or gave no verdict. They fail the run, as do survivors without a proof."""

    total: int = 0
    killed: dict[str, int] = field(default_factory=dict)
    survivors: list[str] = field(default_factory=list)
    proved_equal: list[str] = field(default_factory=list)
    unjudged: list[str] = field(default_factory=list)
    seconds: float = 0.0
    found: dict[str, str] = field(default_factory=dict)  # what saw each mutant

    @property
    def ok(self) -> bool:
        judged = sum(self.killed.values()) + len(self.proved_equal)
        return not self.survivors and not self.unjudged and judged == self.total > 0


def run_each(
    chosen: list[Mutant], workers: int, limit_s: float, judging: Judging
) -> dict[str, tuple[str, str] | None]:
    """The finding of every mutant by its key: (what killed it or "", detail), None where there is no verdict."""
    gc.collect()
    gc.freeze()
    found: dict[str, tuple[str, str] | None] = {}
    active: dict[int, tuple[int, Mutant, float]] = {}
    waiting = list(reversed(chosen))
    while waiting or active:
        while waiting and len(active) < workers:
            mutant = waiting.pop()
            pid, read = _start(mutant, judging)
            active[read] = (pid, mutant, time.monotonic() + limit_s)
        ready, _, _ = select.select(list(active), [], [], 1.0)
        for read in ready:
            pid, mutant, _ = active.pop(read)
            found[mutant.key] = _finish(pid, read)
        for read, (pid, mutant, deadline) in list(active.items()):
            if time.monotonic() > deadline:
                os.kill(pid, signal.SIGKILL)
                active.pop(read)
                _finish(pid, read)
                found[mutant.key] = None
    gc.unfreeze()
    return found


def _start(mutant: Mutant, judging: Judging) -> tuple[int, int]:
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read)
        _child(mutant, write, judging)
    os.close(write)
    return pid, read


def _child(mutant: Mutant, write: int, judging: Judging) -> None:
    """Never returns."""
    try:
        os.write(write, json.dumps(judging(mutant)).encode())
        os._exit(0)
    except (
        BaseException
    ):  # a defect of the judge itself: the parent sees a process without a verdict
        os._exit(3)


def _finish(pid: int, read: int) -> tuple[str, str] | None:
    said = os.read(read, 65_536)
    os.close(read)
    _, status = os.waitpid(pid, 0)
    if status != 0 or not said:
        return None
    killed, detail = json.loads(said)
    return killed, detail
