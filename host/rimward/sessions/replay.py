"""Replay of recorded inputs through the real kernels: the same decisions tick by tick, or a readable difference."""

from array import array
from dataclasses import dataclass
from typing import Any

import numpy as np
from rimward_fw.bench import fill as bench_fill
from rimward_fw.kernels import fill, guard, order
from rimward_protocol import causes, codes, enumerations
from rimward_protocol import kernel_slots as slots

from rimward.kernels.bench import guard_module
from rimward.sessions.log import SessionLog, Span, word_names

MOST_SHOWN = 5


@dataclass(frozen=True)
class Difference:
    """First difference of a replay. `recorded` and `replayed` are in words."""

    tick: int
    what: str
    recorded: str
    replayed: str
    reading_pa: int
    state: str
    cause: str

    def line(self) -> str:
        """One line for people."""
        return (
            f"tick {self.tick}: {self.what}: recorded {self.recorded}, replayed {self.replayed} "
            f"(reading {self.reading_pa / 1e5:.3f} bar, {self.state}, cause {self.cause})"
        )


@dataclass(frozen=True)
class Replay:
    """Result of a replay. Identical: every output bit of every replayed tick, and the state at every later snapshot."""

    identical: bool
    ticks: int
    spans: tuple[tuple[int, int], ...]  # first tick, ticks
    differences: tuple[Difference, ...]


def replay(log: SessionLog) -> Replay:
    """Run every full-rate span of a session from its snapshot."""
    differences: list[Difference] = []
    kernels = kernels_of(log)
    for span in log.spans:
        differences += _replay_span(span, kernels)
    ticks = sum(span.ticks for span in log.spans)
    spans = tuple((span.tick, span.ticks) for span in log.spans)
    return Replay(not differences and ticks > 0, ticks, spans, tuple(differences))


def kernels_of(log: SessionLog) -> tuple[Any, Any]:
    """Return the steps of guard and fill controller that decided in this session: a bench has its own."""
    if not log.bench:
        return guard.step, fill.step

    return guard_module().step, bench_fill.step


def _replay_span(span: Span, kernels: tuple[Any, Any]) -> list[Difference]:
    state = {name: array("i", span.start[name].tolist()) for name in "gxfy"}
    found: list[Difference] = []
    xs, ys = span.x.tolist(), span.y.tolist()
    slow = slots.FILL_SLOW
    for i in range(span.ticks):
        at = span.tick + i
        if at in span.marks:
            found += _compare_state(at, span.marks[at], state)
        state["x"][:] = array("i", xs[i])
        state["y"][slow:] = array("i", ys[i][slow:])
        bits = order.couple(*kernels, state["g"], state["x"], state["f"], state["y"])
        recorded = int(span.out[i]) | int(span.fill[i]) << 8
        if bits != recorded:
            found.append(_difference(at, "outputs", out_words(recorded), out_words(bits), state))
        if len(found) >= MOST_SHOWN:
            break
    return found


def _compare_state(at: int, mark: dict[str, np.ndarray], state: dict[str, Any]) -> list[Difference]:
    found = []
    for name in "gf":
        wrong = [i for i, value in enumerate(mark[name].tolist()) if value != state[name][i]]
        if wrong:
            names = word_names(name)
            recorded = ", ".join(f"{names[i]}={mark[name][i]}" for i in wrong[:4])
            replayed = ", ".join(f"{names[i]}={state[name][i]}" for i in wrong[:4])
            found.append(_difference(at, "state", recorded, replayed, state))
    return found


def _difference(
    at: int, what: str, recorded: str, replayed: str, state: dict[str, Any]
) -> Difference:
    return Difference(
        at,
        what,
        recorded,
        replayed,
        state["g"][39] - slots.BIAS_PA,
        codes.word_of(enumerations.FILL_STATES, state["f"][0]),
        causes.row_of(state["g"][0])[1],
    )


def out_words(bits: int) -> str:
    """Output bits in words."""
    names = [word for bit, word, _meaning in enumerations.GUARD_OUTS if bits & bit]
    names += [word for bit, word in ((1, "want"), (2, "bleed"), (4, "beep")) if bits >> 8 & bit]
    return "+".join(names) or "nothing"
