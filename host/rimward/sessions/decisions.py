"""Decisions of the kernels on recorded inputs, as a short list of changes: content of a reference."""

from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rimward_fw.kernels import fill, guard, order
from rimward_protocol import causes, codes, enumerations
from rimward_protocol import kernel_slots as slots

from rimward.sessions.log import SessionLog, Span
from rimward.sessions.replay import out_words


@dataclass(frozen=True)
class Decision:
    """Outputs, fill state, latched cause and cause of the last stop from this tick on."""

    tick: int
    out: str
    state: str
    cause: str
    stop: str
    reading_pa: int

    def row(self) -> list[Any]:
        """Return the row stored in a reference."""
        return [self.tick, self.out, self.state, self.cause, self.stop, self.reading_pa]


def decisions(log: SessionLog) -> list[Decision]:
    """Replay every span and list each change of decision."""
    return [decision for span in log.spans for decision in _of_span(span)]


def _of_span(span: Span) -> Iterator[Decision]:
    state = {name: array("i", span.start[name].tolist()) for name in "gxfy"}
    xs, ys = span.x.tolist(), span.y.tolist()
    slow = slots.FILL_SLOW
    before = None
    for i in range(span.ticks):
        state["x"][:] = array("i", xs[i])
        state["y"][slow:] = array("i", ys[i][slow:])
        bits = order.couple(guard.step, fill.step, state["g"], state["x"], state["f"], state["y"])
        now = (bits, state["f"][0], state["g"][0], state["g"][2])
        if now != before:
            before = now
            yield _decision(span.tick + i, now, state["g"][39] - slots.BIAS_PA)


def _decision(at: int, now: tuple[int, int, int, int], reading: int) -> Decision:
    bits, fill_state, cause, stop = now
    state = codes.word_of(enumerations.FILL_STATES, fill_state)
    return Decision(
        at, out_words(bits), state, causes.row_of(cause)[1], causes.row_of(stop)[1], reading
    )


def compare(reference: list[list[Any]], found: list[Decision], most: int = 6) -> list[str]:
    """Lines for the differences from a reference; empty without any."""
    lines = []
    for i in range(max(len(reference), len(found))):
        was = reference[i] if i < len(reference) else None
        now = found[i].row() if i < len(found) else None
        if was != now:
            lines.append(f"was {_say(was)}\nnow {_say(now)}")
        if len(lines) == most:
            break
    return lines


def _say(row: list[Any] | None) -> str:
    if row is None:
        return "nothing"
    return f"tick {row[0]}: {row[1]}, {row[2]}, cause {row[3]}, last stop {row[4]}, reading {row[5] / 1e5:.3f} bar"
