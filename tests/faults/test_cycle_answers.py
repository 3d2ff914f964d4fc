"""The fill cycle alone: what it waits for, what is shown, and what each press does in each state."""

from types import SimpleNamespace

import pytest
from rimward_fw.control import builtin, cycle, events
from rimward_fw.control.cycle import FillCycle
from rimward_fw.ui import buttons
from rimward_protocol import causes, codes

from tests.faults.cyclebench import (  # noqa: F401
    CAUSE,
    CEIL,
    CHK,
    JOB_SLOT,
    READ,
    REASON,
    RUN,
    STATE,
    SW,
    TYRE,
    VOLUME,
    WHEEL,
    WHY,
    ZERO_PA,
)


def test_what_is_waited_for_and_shown(visit: FillCycle) -> None:
    e = visit.app.engine
    e.f[STATE] = 5
    visit.t0_ck = 28_500
    rows = [
        (cycle.ASK_STOOD, codes.WAIT_STOOD, 28_500, codes.ASKING),
        (cycle.ASK_COLD, codes.WAIT_STOOD, 28_500, codes.ASKING),
        (cycle.LOADING, codes.WAIT_NOTHING, 0, 5),
        (cycle.ARMED, codes.WAIT_RUN, 0, 5),
        (cycle.OVER, codes.WAIT_NOTHING, 0, codes.STOPPED),
        (cycle.IDLE, codes.WAIT_NOTHING, 0, codes.IDLE),
    ]
    for phase, what, value, shown in rows:
        visit.phase = phase
        assert (*visit.waiting(), visit.state()) == (what, value, shown), phase
    visit.phase = cycle.ASK_WHEEL
    assert visit.waiting() == (10, 77) and visit.state() == codes.ASKING
    visit.wheel = WHEEL
    assert visit.waiting() == (codes.WAIT_NEW_WHEEL, 0)
    visit.old = (1,)
    assert visit.waiting() == (codes.WAIT_LIMITS, 0)
    visit.phase, visit.cause = cycle.OVER, causes.TARGET_REACHED
    assert visit.state() == codes.FILL_DONE
    for phase in range(7):
        visit.phase, e.g[CAUSE] = phase, 31
        assert visit.waiting() == (codes.WAIT_CLEAR, 31) and visit.state() == codes.TRIPPED


def test_what_an_armed_cycle_waits_for(armed: FillCycle) -> None:
    e = armed.app.engine
    e.g[READ] = ZERO_PA + 210_000
    e.f[VOLUME] = 1_400
    for state, run, why, what, value in (
        (codes.SEAT_PAUSE, 0, 0, codes.WAIT_BEAD, 210_000),
        (codes.ASKING, RUN, 0, codes.WAIT_WHICH_WHEEL, 1_400),
        (codes.READY, 0, 0, codes.WAIT_RUN, 0),
        (codes.READY, RUN, 0, codes.WAIT_NOTHING, 0),
        (codes.READY, RUN, causes.NO_PROFILE, codes.WAIT_RUN, 0),
        (codes.READY, RUN, causes.NO_PROFILE + 1, codes.WAIT_NOTHING, 0),
        (5, RUN, causes.NO_PROFILE, codes.WAIT_NOTHING, 0),
    ):
        e.f[STATE], e.x[SW], e.g[WHY] = state, run, why
        assert armed.waiting() == (what, value), (state, run, why)
        released = state == codes.READY and run and why == causes.NO_PROFILE
        assert armed.must_let_go() is bool(released)
        assert armed.state() == (codes.ASKING if released else state)
    e.f[STATE] = 0
    assert armed.state() == codes.READY
    armed.phase, e.x[SW] = cycle.LOADING, RUN
    assert armed.must_let_go() and armed.waiting() == (codes.WAIT_RUN, 0)
    armed.phase = cycle.ASK_STOOD
    assert not armed.must_let_go()


def test_a_fault_takes_one_answer_and_nothing_else(visit: FillCycle) -> None:
    visit.phase, visit.app.engine.g[CAUSE] = cycle.ASK_STOOD, 12
    for bits in (buttons.DOWN, buttons.UP, buttons.ENTER, buttons.ENTER):
        visit.pressed(bits)
    assert visit.app.noted == [(events.CLEARED, 0, 12, 0)] and visit.app.did == []
    assert visit.app.engine.answers == buttons.CLEAR and visit.phase == cycle.ASK_STOOD


@pytest.mark.parametrize(
    ("button", "answer", "phase"),
    [
        (buttons.ENTER, (codes.WAIT_STOOD, 1), cycle.ASK_STOOD),
        (buttons.DOWN, (codes.WAIT_STOOD, 0), cycle.ASK_COLD),
        (buttons.UP, (codes.WAIT_STOOD, 2), cycle.OVER),
    ],
)
def test_answers_about_an_hour_at_rest(
    visit: FillCycle, button: int, answer: tuple[int, int], phase: int
) -> None:
    visit.choose(WHEEL, builtin.profile(300_000, 200_000), True)
    visit.app.noted.clear()
    visit.pressed(button)
    assert visit.app.noted == [(events.ANSWER, 0, *answer)] and visit.phase == phase
    assert (("arm", 29_000) in visit.app.did) == (button == buttons.ENTER)
    assert visit.added == (button == buttons.UP)
    assert visit.question == ("added" if button == buttons.UP else "")
    assert visit.t0_ck == (28_750 if button == buttons.DOWN else 0)


def test_answers_about_a_new_wheel(visit: FillCycle) -> None:
    for button, phase, what, old in (
        (buttons.ENTER, cycle.ASK_STOOD, codes.WAIT_NEW_WHEEL, None),
        (buttons.DOWN, cycle.IDLE, codes.WAIT_LIMITS, (1, 2)),
    ):
        visit.app.facts = SimpleNamespace(facts=old)
        visit.choose(WHEEL, builtin.profile(300_000, 200_000), False)
        visit.app.noted.clear(), visit.app.did.clear()
        visit.pressed(buttons.UP)
        assert visit.app.noted == [] and visit.phase == cycle.ASK_WHEEL
        visit.pressed(button)
        yes = button == buttons.ENTER
        assert visit.app.noted == [(events.ANSWER, 0, what, int(yes))] and visit.phase == phase
        assert visit.app.did == ([("confirm", WHEEL)] if yes else [])


def test_a_colder_tyre_is_stated_in_steps(visit: FillCycle) -> None:
    """2.5 K; from -20 °C to the measured air."""
    visit.phase, visit.t0_ck = cycle.ASK_COLD, 25_600
    for button, wanted in (
        (buttons.DOWN, 25_350), (buttons.DOWN, 25_315), (buttons.UP, 25_565), (buttons.DOWN | buttons.UP, 25_315),
    ):  # fmt: skip
        visit.pressed(button)
        assert visit.t0_ck == wanted
    visit.t0_ck = 28_800
    visit.pressed(buttons.UP)
    assert visit.t0_ck == 29_000 and visit.app.noted == []
    visit.pressed(buttons.ENTER)
    assert visit.app.noted == [(events.ANSWER, 0, codes.WAIT_STOOD, 29_000)]
    assert visit.app.did == [("arm", 29_000)]


def test_presses_in_an_armed_cycle(armed: FillCycle, monkeypatch: pytest.MonkeyPatch) -> None:
    e, noted = armed.app.engine, armed.app.noted
    ready: list[int] = []
    monkeypatch.setattr(cycle.questions, "ready", lambda _cycle, bits: ready.append(bits))
    e.g[READ] = ZERO_PA + 210_000
    for state, run, button, answers, said, at_rest in (
        (codes.SEAT_PAUSE, 0, buttons.DOWN, 0, [], 0),
        (codes.SEAT_PAUSE, 0, buttons.ENTER, buttons.CONFIRM, [(10, 0, 210_000, 0)], 0),
        (codes.ASKING, 0, buttons.UP, 0, [], 0),
        (codes.ASKING, 0, buttons.ENTER, buttons.CONFIRM, [(25, 0, 9, 1)], 0),
        (codes.READY, 0, buttons.ENTER, 0, [], 1),
        (codes.READY, RUN, buttons.ENTER, 0, [], 0),
        (5, 0, buttons.ENTER, 0, [], 0),
    ):
        e.f[STATE], e.x[SW], e.answers = state, run, 0
        noted.clear(), ready.clear()
        armed.pressed(button)
        assert (e.answers, noted, len(ready)) == (answers, said, at_rest), (state, run, button)
    assert armed.phase == cycle.ARMED


def test_presses_after_the_end(visit: FillCycle, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, int]] = []
    monkeypatch.setattr(cycle.questions, "asked", lambda _cycle, yes, no: asked.append((yes, no)))
    visit.phase, visit.question = cycle.OVER, "measured"
    visit.pressed(buttons.DOWN)
    visit.pressed(buttons.ENTER)
    assert asked == [(0, buttons.DOWN), (buttons.ENTER, 0)] and visit.phase == cycle.OVER
    visit.question = ""
    visit.pressed(buttons.DOWN)
    assert visit.phase == cycle.OVER and len(asked) == 2
    visit.pressed(buttons.ENTER)
    assert visit.phase == cycle.IDLE
