"""A campaign over processes or a scheduler's workers. Every chunk is the same wherever it runs."""

import contextlib
import os
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from rimward.campaign import people
from rimward.campaign.draw import choices, draw
from rimward.campaign.play import RECORD, fill_ideal, play
from rimward.campaign.store import Plan, Results, fingerprint
from rimward.errors import Refusal

Tell = Callable[[int, int, float], None]  # sessions done, sessions in all, seconds left


class StaleCode(Exception):
    """A worker would not do what the campaign means."""


def plan_of(sessions: int, seed: int, faults: tuple[str, ...], who: tuple[str, ...] = people.NAMES) -> Plan:
    """The plan of what was asked; Refusal for a fault or a person that is none."""
    try:
        choices(faults)
    except KeyError as wrong:
        raise Refusal(f"There is no fault named {wrong}.", "Give all, none, or names that `rimward campaign --faults list` shows.") from wrong
    unknown = [name for name in who if name not in people.NAMES]
    if unknown:
        raise Refusal(f"There is no person named {unknown[0]!r}.", f"Give all, or some of: {', '.join(people.NAMES)}.")
    return Plan(sessions, seed, tuple(faults), tuple(who), code=fingerprint())


def run_chunk(plan: Plan, chunk: int) -> np.ndarray:
    """The records of one chunk; runs anywhere."""
    from rimward.simulation.engines import compiled

    if plan.code != fingerprint():
        raise StaleCode("this worker has other code than the campaign")
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
    """Runs what is missing of `plan` and keeps it in `out`. An interrupt ends it after keeping what is done."""
    results = Results(out, plan)
    missing = results.missing()
    if not missing:
        return results
    start, before = time.monotonic(), len(results.rows())
    finished = _scheduled(plan, missing, scheduler) if scheduler else _local(plan, missing, workers or os.cpu_count() or 1)
    try:
        for chunk, rows in finished:
            results.add(chunk, rows)
            done = sum(len(piece) for piece in results.done.values())
            rate = (done - before) / max(time.monotonic() - start, 1e-6)
            tell(done, plan.sessions, (plan.sessions - done) / rate)
    except StaleCode as wrong:
        raise Refusal("A worker has other code than this campaign.", "Install the same version everywhere, leave the sources alone, begin anew.") from wrong
    return results


def _local(plan: Plan, missing: list[int], workers: int) -> Iterator[tuple[int, np.ndarray]]:
    if workers == 1 or len(missing) == 1:
        for chunk in missing:
            yield chunk, run_chunk(plan, chunk)
        return
    from rimward.simulation.engines import compiled

    compiled()  # so that the processes find the machine code on disk
    run_chunk(Plan(1, plan.seed, plan.faults, plan.people, code=plan.code), 0)
    pool = ProcessPoolExecutor(min(workers, len(missing)), mp_context=get_context("spawn"), initializer=_end_with_parent)
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
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


HELD = (signal.SIGINT, signal.SIGTERM)


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Delivers an interrupt after the block, so that no process is left half started. Processes begun inside inherit the hold."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, HELD)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with_parent() -> None:
    """A worker takes SIGTERM again, and leaves an interrupt from the terminal to its parent, which ends it."""
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})


def _collect(running: dict[Future[np.ndarray], int]) -> Iterator[tuple[int, np.ndarray]]:
    ready, _ = wait(running, return_when=FIRST_COMPLETED)
    for future in ready:
        yield running.pop(future), future.result()


def _scheduled(plan: Plan, missing: list[int], address: str) -> Iterator[tuple[int, np.ndarray]]:
    try:
        from distributed import Client, as_completed
    except ImportError as wrong:
        raise Refusal("A scheduler needs the package distributed.", "Install rimward[sim].") from wrong
    try:
        client = Client(address, timeout=10)
    except (OSError, ValueError) as wrong:
        raise Refusal(f"No scheduler answers at {address}.", "Start one, or leave --scheduler out.") from wrong
    with client:
        futures = client.map(run_chunk, [plan] * len(missing), missing, pure=False)
        chunk_of = dict(zip((future.key for future in futures), missing))
        for future in as_completed(futures):
            yield chunk_of[future.key], future.result()
            future.release()
