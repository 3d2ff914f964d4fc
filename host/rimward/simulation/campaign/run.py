"""Campaign over processes or a scheduler's workers. Every chunk gives the same result wherever it runs."""

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from rimward.base.errors import Refusal
from rimward.simulation.campaign import people
from rimward.simulation.campaign.draw import choices, draw
from rimward.simulation.campaign.play import RECORD, fill_ideal, play
from rimward.simulation.campaign.store import Plan, Results, fingerprint
from rimward.simulation.engines import compiled

Tell = Callable[[int, int, float], None]  # sessions done, sessions in all, seconds left


class StaleCode(Exception):
    """A worker has other code than the campaign."""


def plan_of(
    sessions: int, seed: int, faults: tuple[str, ...], who: tuple[str, ...] = people.NAMES
) -> Plan:
    """Build the plan of a request. Refusal for an unknown fault or person."""
    try:
        choices(faults)
    except KeyError as wrong:
        raise Refusal(
            f"Unknown fault {wrong}.",
            "Use all, none, or names listed by `rimward campaign --faults list`.",
        ) from wrong
    unknown = [name for name in who if name not in people.NAMES]
    if unknown:
        raise Refusal(
            f"Unknown person {unknown[0]!r}.", f"Use all, or some of: {', '.join(people.NAMES)}."
        )
    return Plan(sessions, seed, tuple(faults), tuple(who), code=fingerprint())


def run_chunk(plan: Plan, chunk: int) -> np.ndarray:
    """Return the records of one chunk; runs anywhere."""

    if plan.code != fingerprint():
        raise StaleCode("this worker has another version than the campaign")
    session = compiled()["session"]
    names = choices(plan.faults)
    rows = np.zeros(len(plan.numbers(chunk)), RECORD)
    for i, number in enumerate(plan.numbers(chunk)):
        d = draw(plan.seed, number, names, plan.people)
        row, words, plant = play(d, session)
        if plant is not None and words is not None:
            fill_ideal(row, d, words, plant)
        rows[i] = row
    return rows


def run(plan: Plan, out: Path, tell: Tell, workers: int = 0, scheduler: str = "") -> Results:
    """Run the missing chunks of `plan` and store them in `out`. An interrupt ends the run after storing finished work."""
    results = Results(out, plan)
    missing = results.missing()
    if not missing:
        return results
    start, before = time.monotonic(), len(results.rows())
    finished = (
        _scheduled(plan, missing, scheduler)
        if scheduler
        else _local(plan, missing, workers or os.cpu_count() or 1)
    )
    try:
        for chunk, rows in finished:
            results.add(chunk, rows)
            done = sum(len(piece) for piece in results.done.values())
            rate = (done - before) / max(time.monotonic() - start, 1e-6)
            tell(done, plan.sessions, (plan.sessions - done) / rate)
    except StaleCode as wrong:
        raise Refusal(
            "A worker has another version than this campaign.",
            "Install the same version everywhere and start again.",
        ) from wrong
    return results


def _local(plan: Plan, missing: list[int], workers: int) -> Iterator[tuple[int, np.ndarray]]:
    if workers == 1 or len(missing) == 1:
        for chunk in missing:
            yield chunk, run_chunk(plan, chunk)
        return

    compiled()  # so that the processes find the machine code on disk
    run_chunk(Plan(1, plan.seed, plan.faults, plan.people, code=plan.code), 0)
    pool = ProcessPoolExecutor(
        min(workers, len(missing)), mp_context=get_context("spawn"), initializer=_end_with_parent
    )
    waiting = iter(missing)
    running: dict[Future[np.ndarray], int] = {}
    try:
        for chunk in waiting:
            with _signals_held():
                running[pool.submit(run_chunk, plan, chunk)] = chunk
            if len(running) >= 2 * workers:
                yield from _collect(running)
        while running:
            yield from _collect(running)
    except BaseException:
        for worker in list(
            getattr(pool, "_processes", None) or ()
        ):  # a worker may compile for a minute: it is not waited for
            with contextlib.suppress(OSError):
                os.kill(worker, signal.SIGTERM)
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


HELD = (signal.SIGINT, signal.SIGTERM)
MASKS = hasattr(signal, "pthread_sigmask")  # Windows has none


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Defer an interrupt until the end of the block, so that no process is left half started. Processes started inside inherit the mask.

    Handlers are put off too: a signal may reach a thread of a library, which has no such mask, and its handler runs in this one.
    """
    noted: list[int] = []
    in_main = threading.current_thread() is threading.main_thread()
    handlers = {number: signal.getsignal(number) for number in HELD} if in_main else {}
    for number in handlers:
        signal.signal(number, lambda which, _frame: noted.append(which))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, HELD) if MASKS else set()
    try:
        yield
    finally:
        if MASKS:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        for number, handler in handlers.items():
            signal.signal(number, handler)
        if noted:
            signal.raise_signal(noted[0])


def _end_with_parent() -> None:
    """Let a worker react to SIGTERM again, and leave an interrupt from the terminal to its parent, which ends it."""
    if MASKS:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})


def _collect(running: dict[Future[np.ndarray], int]) -> Iterator[tuple[int, np.ndarray]]:
    ready, _ = wait(running, return_when=FIRST_COMPLETED)
    for future in ready:
        yield running.pop(future), future.result()


def _scheduled(plan: Plan, missing: list[int], address: str) -> Iterator[tuple[int, np.ndarray]]:
    try:
        from distributed import Client, as_completed
    except ImportError as wrong:
        raise Refusal(
            "A scheduler needs the package distributed.", "Install rimward[sim]."
        ) from wrong
    try:
        client = Client(address, timeout=10)
    except (OSError, ValueError) as wrong:
        raise Refusal(
            f"No scheduler answers at {address}.", "Start one, or omit --scheduler."
        ) from wrong
    with client:
        futures = client.map(run_chunk, [plan] * len(missing), missing, pure=False)
        chunk_of = dict(zip((future.key for future in futures), missing))
        for future in as_completed(futures):
            yield chunk_of[future.key], future.result()
            future.release()
