"""The list of decisions of a record: which words of the kernels it shows, and how a difference is worded. The kernels are stood in for."""

from array import array
from types import SimpleNamespace

import numpy as np
import pytest
from rimward.sessions import decisions as module
from rimward.sessions.decisions import Decision, compare, decisions
from rimward_protocol import kernel_slots as slots

# outputs, fill state, latched cause, last stop, reading in pascal
PLAYED = [
    (0, 0, 0, 1, 1_000),
    (0, 0, 0, 1, 2_000),
    (3, 0, 0, 1, 3_000),
    (3, 5, 0, 1, 4_000),
    (3, 5, 2, 1, 5_000),
    (3, 5, 2, 4, -6_000),
    (3, 5, 2, 4, 7_000),
]
WANTED = [
    Decision(700, "nothing", "idle", "none", "released", 1_000),
    Decision(702, "GATE+RELAY", "idle", "none", "released", 3_000),
    Decision(703, "GATE+RELAY", "measuring", "none", "released", 4_000),
    Decision(704, "GATE+RELAY", "measuring", "stop-reading", "released", 5_000),
    Decision(705, "GATE+RELAY", "measuring", "stop-reading", "time-budget", -6_000),
]


def span(count: int) -> SimpleNamespace:
    start = {name: np.full(48, 900 + i) for i, name in enumerate("gxfy")}
    x, y = (np.arange(count * 48).reshape(count, 48) + add for add in (10_000, 20_000))
    return SimpleNamespace(tick=700, ticks=count, start=start, x=x, y=y)


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> list[tuple[list[int], list[int], int]]:
    """Inputs that the kernels were given, and what the reading was before."""
    given = []

    def couple(_guard, _fill, g: array, x: array, f: array, y: array) -> int:
        bits, f[slots.F_STATE], g[slots.G_CAUSE], g[slots.G_STOP], pascal = PLAYED[len(given)]
        given.append((x.tolist(), y.tolist(), g[slots.G_READ]))
        g[slots.G_READ] = pascal + slots.BIAS_PA
        # words that a decision does not show
        f[slots.F_REASON] = g[slots.G_CAUSE_N] = g[slots.G_WHY] = len(given)
        return bits

    monkeypatch.setattr(module.order, "couple", couple)
    return given


def test_each_change_of_what_is_shown_is_a_decision_and_nothing_else(seen) -> None:
    assert decisions(SimpleNamespace(spans=[span(len(PLAYED))])) == WANTED


def test_kernels_get_the_recorded_inputs_of_their_tick(seen) -> None:
    """All of x; of y the slow words from the sixth on: the others come from the guard."""
    played = span(3)
    decisions(SimpleNamespace(spans=[played]))
    for tick, (x, y, _reading) in enumerate(seen):
        assert x == played.x[tick].tolist()
        assert y[6:] == played.y[tick].tolist()[6:] and y[:6] == [903] * 6
    assert [reading for *_inputs, reading in seen] == [900, 601_000, 602_000]


def test_each_stretch_begins_with_a_decision(seen) -> None:
    found = decisions(SimpleNamespace(spans=[span(1), span(1)]))
    assert [one.tick for one in found] == [700, 700]


def test_a_difference_names_every_word() -> None:
    rows = [one.row() for one in WANTED]
    assert rows[4] == [705, "GATE+RELAY", "measuring", "stop-reading", "time-budget", -6_000]
    changed = [rows[0], rows[1], [703, "GATE", "purge", "released", "none", 412_345]]
    assert compare(changed, WANTED[:3]) == [
        "was tick 703: GATE, purge, cause released, last stop none, reading 4.123 bar\n"
        "now tick 703: GATE+RELAY, measuring, cause none, last stop released, reading 0.040 bar"
    ]


def test_missing_and_added_decisions_are_differences() -> None:
    rows = [one.row() for one in WANTED]
    assert compare(rows, WANTED) == []
    (less,) = compare(rows[:1], [])
    assert less.startswith("was tick 700: nothing, idle") and less.endswith("\nnow nothing")
    (more,) = compare([], WANTED[:1])
    assert more.startswith("was nothing\nnow tick 700: ")
    assert len(compare(rows, [], 2)) == 2 and len(compare(rows[:2], [], 2)) == 2
    assert len(compare(rows + rows, [])) == 6
