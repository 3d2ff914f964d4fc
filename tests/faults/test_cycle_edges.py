"""The fill cycle alone: each turn of the main loop, each end, word by word."""

from types import SimpleNamespace
from typing import Any

import pytest
from rimward_fw.control import builtin, cycle, events
from rimward_fw.control.cycle import FillCycle
from rimward_fw.ui import buttons
from rimward_protocol import causes, codes, layout, replies
from rimward_protocol import kernel_slots as slots

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


def test_a_new_cycle_knows_nothing(visit: FillCycle) -> None:
    assert (visit.phase, visit.wheel, visit.profile, visit.preset) == (
        cycle.IDLE,
        bytes(8),
        b"",
        b"",
    )
    assert (visit.ceiling_pa, visit.stop_pa, visit.highest_pa) == (0, 0, 0)
    assert (visit.connection, visit.t0_ck, visit.cause, visit.tyre_pa, visit.tripped) == (
        0, 0, 0, -1, 0
    )  # fmt: skip
    assert (visit.queue, visit.question, visit.asked_arm, visit.old) == ([], "", (0, False), None)
    flags = (visit.seating, visit.added, visit.measuring, visit.recordless, visit.ran)
    assert flags == (False,) * 5 and visit.to_arm is None and visit.values is None
    assert visit.waiting() == (codes.WAIT_NOTHING, 0) and visit.state() == codes.IDLE
    visit.work()
    assert visit.app.noted == [] and visit.app.did == []
    assert not visit.step() and visit.app.did == [("losses",)]


@pytest.mark.parametrize(
    ("wheel", "confirmed", "facts", "phase", "old", "code"),
    [
        (WHEEL, True, (1, 2), cycle.ASK_STOOD, None, replies.OK),
        (WHEEL, False, (1, 2), cycle.ASK_WHEEL, (1, 2), replies.WAITING_FOR_PERSON),
        (WHEEL, False, None, cycle.ASK_WHEEL, None, replies.WAITING_FOR_PERSON),
        (bytes(8), False, (1, 2), cycle.ASK_WHEEL, None, replies.WAITING_FOR_PERSON),
    ],
)
def test_choosing_a_wheel(
    visit: FillCycle, wheel: bytes, confirmed: bool, facts: Any, phase: int, old: Any, code: int
) -> None:
    visit.seating = visit.added = visit.measuring = visit.recordless = True
    visit.question, visit.preset, visit.to_arm = "measured", b"preset", (1, True)
    visit.app.facts = SimpleNamespace(facts=facts) if facts else None
    profile = builtin.profile(300_000, 200_000)
    assert visit.choose(wheel, profile, confirmed) == code
    assert (visit.phase, visit.old, visit.wheel, visit.profile) == (phase, old, wheel, profile)
    assert not (visit.seating or visit.added or visit.measuring or visit.recordless)
    assert (visit.question, visit.preset, visit.to_arm) == ("", b"", None)
    assert visit.values == layout.unpack(layout.PROFILE, profile)
    assert visit.app.did == [("clear",)] and visit.app.noted == [(events.WHEEL_CHOSEN, 0, 1, 0)]


def test_slow_words_go_one_at_a_time_and_the_run_control_holds_them(visit: FillCycle) -> None:
    e = visit.app.engine
    visit.phase, visit.queue = cycle.LOADING, [(7, 1), (8, 2)]
    e.x[SW] = RUN
    visit.work()
    assert e.offered == [] and visit.phase == cycle.LOADING
    e.x[SW], e.full = buttons.KEY_LOW, True
    visit.work()
    assert visit.queue == [(7, 1), (8, 2)]
    e.full = False
    visit.work()
    assert (e.offered, visit.queue, visit.phase) == ([(7, 1)], [(8, 2)], cycle.LOADING)
    visit.work()
    assert (e.offered, visit.queue, visit.phase) == ([(7, 1), (8, 2)], [], cycle.ARMED)


def test_words_that_remove_a_ceiling_do_not_wait_for_the_run_control(visit: FillCycle) -> None:
    e = visit.app.engine
    e.x[SW] = RUN
    for phase, to_arm in ((cycle.IDLE, None), (cycle.LOADING, (29_000, False))):
        visit.phase, visit.to_arm, visit.queue = phase, to_arm, [(7, 0), (15, 0)]
        visit.work()
        assert visit.queue == [(15, 0)] and visit.to_arm == to_arm and visit.phase == phase


def test_arming_waits_for_the_last_session_and_the_last_words(visit: FillCycle) -> None:
    visit.phase, visit.to_arm = cycle.LOADING, (28_000, True)
    visit.app.recorder.active = True
    visit.work()
    visit.app.recorder.active, visit.queue, visit.app.engine.full = False, [(7, 0)], True
    visit.work()
    assert visit.to_arm == (28_000, True) and ("arm", 28_000, True) not in visit.app.did
    visit.queue = []
    visit.work()
    assert visit.to_arm is None and visit.app.did[-1:] == [("arm", 28_000, True)]


@pytest.mark.parametrize("opened", [False, True])
def test_a_start_left_before_its_steps_keeps_what_the_wheel_was_left_at(
    visit: FillCycle, opened: bool
) -> None:
    ended: list[int] = []
    visit.losses.end = lambda _cycle, cause: ended.append(cause)  # type: ignore[method-assign]
    done: list[int] = []
    visit.phase, visit.steps = cycle.LOADING, [lambda: done.append(1), lambda: done.append(2)]
    for n in range(1, 3 if opened else 2):
        assert visit.step()
        visit.work()
        assert done == list(range(1, n + 1))
        assert visit.phase == (cycle.ARMED if n == 2 else cycle.LOADING)
    visit.leave(causes.RELEASED)
    assert visit.app.did.count(("recorder left",)) == (0 if opened else 1)
    assert visit.steps == [] and ended == ([causes.RELEASED] if opened else [])
    assert not visit.step()
    assert len(done) == (2 if opened else 1) and visit.phase == cycle.IDLE


def test_answers_are_used_up(armed: FillCycle) -> None:
    e = armed.app.engine
    for state, kept in ((codes.SEAT_PAUSE, True), (codes.ASKING, True), (5, False)):
        e.f[STATE], e.answers = state, buttons.CONFIRM | buttons.END_JOB
        armed.work()
        assert e.answers == buttons.END_JOB | (buttons.CONFIRM if kept else 0)
    armed.phase, armed.tripped, e.answers, e.g[CAUSE] = cycle.OVER, 1, buttons.CLEAR, 9
    armed.work()
    assert e.answers == buttons.CLEAR and armed.tripped == 1
    e.g[CAUSE] = 0
    armed.work()
    assert e.answers == 0 and armed.tripped == 0


def test_down_bleeds_while_it_is_held_and_the_cycle_is_armed(armed: FillCycle) -> None:
    e = armed.app.engine
    for phase, down, bleed in (
        (cycle.ARMED, buttons.DOWN, True), (cycle.ARMED, buttons.UP, False), (cycle.ARMED, 0, False), (cycle.OVER, buttons.DOWN, False),
    ):  # fmt: skip
        for before in (0, buttons.BLEED):
            armed.phase, e.t[slots.T_DOWN], e.answers = phase, down, before | buttons.END_JOB
            armed.work()
            assert e.answers == buttons.END_JOB | (buttons.BLEED if bleed else 0)


def test_each_press_of_the_run_control_is_recorded_with_its_reading(armed: FillCycle) -> None:
    e = armed.app.engine
    e.g[READ] = ZERO_PA + 123_000
    for run, event in ((RUN, events.RUN_HELD), (0, events.RUN_RELEASED)):
        e.x[SW] = run | buttons.KEY_LOW
        armed.work()
        armed.work()
        assert armed.app.noted == [(event, 0, 123_000, 0)] and armed.ran
        armed.app.noted.clear()


def test_the_tyre_s_last_pressure_stays_once_the_chuck_is_off(armed: FillCycle) -> None:
    e = armed.app.engine
    for state, word, kept, seen in (
        (5, 200_000, 200_000, 1), (5, -1, -1, 0), (5, 0, 0, 1), (codes.FILL_DONE, 250_000, 250_000, 1), (codes.FILL_DONE, -1, 250_000, 0),
        (codes.FILL_DONE, 0, 0, 1), (codes.FILL_DONE, -1, 0, 0), (codes.STOPPED, -1, -1, 0),
    ):  # fmt: skip
        e.f[STATE], e.f[TYRE] = state, word
        armed.app.did.clear()
        armed.work()
        assert armed.tyre_pa == kept and armed.app.did == [("seen",)] * seen


@pytest.mark.parametrize(
    ("ticks", "waiting", "run", "kept"),
    [(50, 9_999, 0, 0), (51, 2_048, 0, 0), (51, 2_049, 0, 1), (51, 2_049, RUN, 0)],
)
@pytest.mark.parametrize("start", [0, 2**30 - 20])
def test_a_tenth_of_a_second_at_rest_writes_what_waits(
    armed: FillCycle, ticks: int, waiting: int, run: int, kept: int, start: int
) -> None:
    e = armed.app.engine
    e.head, e.x[SW] = start, RUN
    armed.work()
    e.x[SW] = run
    armed.work()
    e.head, armed.app.held = (start + ticks) % 2**30, waiting
    armed.work()
    assert armed.app.did == [("keep",)] * kept


def settled(armed: FillCycle, ticks: int = 1_001, **words: int) -> None:
    e = armed.app.engine
    e.f[STATE], e.f[REASON] = words.get("state", codes.FILL_DONE), words.get("reason", 0)
    e.head, e.x[SW] = ticks, words.get("run", 0)
    armed._was_run = words.get("run", 0)
    armed.work()


@pytest.mark.parametrize(
    ("ticks", "words", "cause"),
    [
        (1_000, {}, None),
        (1_001, {"run": RUN}, None),
        (1_001, {"state": 5}, None),
        (1_001, {}, causes.TARGET_REACHED),
        (1_001, {"reason": 17}, 17),
        (1_001, {"state": codes.STOPPED, "reason": 17}, 17),
    ],
)
def test_a_finished_fill_ends_after_two_seconds(
    armed: FillCycle, ticks: int, words: dict[str, int], cause: int | None
) -> None:
    settled(armed, ticks, **words)
    assert armed.phase == (cycle.ARMED if cause is None else cycle.OVER) and armed.question == ""
    ended = [] if cause is None else [("end", cause), ("close", cause)]
    assert armed.app.did == ended and armed.cause == (cause or 0)
    assert armed.queue == ([] if cause is None else [(JOB_SLOT, 0), (CEIL, 0), (CHK, 0)])


@pytest.mark.parametrize(
    ("seating", "measuring", "tyre_pa", "question", "cause"),
    [
        (True, False, -1, "seat-done", 17),
        (False, True, 0, "measured", causes.CARTRIDGE_FIRST_MEASURE),
        (False, True, -1, "unknown", causes.CARTRIDGE_FIRST_MEASURE),
        (False, False, 0, "", 17),
    ],
)
def test_what_is_asked_after_the_end(
    armed: FillCycle, seating: bool, measuring: bool, tyre_pa: int, question: str, cause: int
) -> None:
    armed.seating, armed.measuring = seating, measuring
    armed.app.engine.f[TYRE] = tyre_pa
    settled(armed, state=codes.STOPPED, reason=17)
    assert (armed.question, armed.cause, armed.phase) == (question, cause, cycle.OVER)


@pytest.mark.parametrize("phase", [cycle.ARMED, cycle.OVER, cycle.ASK_STOOD])
def test_a_latched_cause_is_recorded_first_and_once(armed: FillCycle, phase: int) -> None:
    armed.phase, armed.app.engine.g[CAUSE], armed.app.held = phase, 12, 9_999
    armed.app.engine.head = 2_000
    armed.app.engine.f[STATE] = codes.STOPPED
    for _ in range(3):
        armed.work()
    did = [what for what in armed.app.did if what != ("losses",)]
    ended = [("end", 12), ("close", 12)] if phase == cycle.ARMED else []
    assert did == [("trip", 12), *ended] and armed.cause == 12 and armed.tripped == 1
    assert armed.phase == (cycle.OVER if phase == cycle.ARMED else phase)


def test_a_trip_that_was_seen_ends_nothing_by_waiting(armed: FillCycle) -> None:
    armed.app.engine.g[CAUSE], armed.tripped = 12, 1
    settled(armed)
    assert armed.phase == cycle.ARMED and armed.app.did == []


def test_the_ways_to_leave(visit: FillCycle) -> None:
    for phase, after, ended in (
        (cycle.LOADING, cycle.IDLE, True), (cycle.ARMED, cycle.IDLE, True), (cycle.OVER, cycle.OVER, False), (cycle.ASK_STOOD, cycle.IDLE, False),
    ):  # fmt: skip
        visit.phase, visit.queue, visit.cause = phase, [(1, 1)], 0
        visit.app.did.clear()
        visit.leave(17)
        assert visit.phase == after and visit.cause == (17 if ended else 0)
        assert visit.app.did == ([("end", 17), ("close", 17)] if ended else [])
        assert visit.queue == ([(JOB_SLOT, 0), (CEIL, 0), (CHK, 0)] if ended else [(1, 1)])
    visit.phase, visit.to_arm = cycle.LOADING, (29_000, False)
    visit.app.did.clear()
    visit.leave(17)
    assert visit.to_arm is None and visit.app.did == [] and visit.phase == cycle.IDLE


def test_end_and_drop(armed: FillCycle) -> None:
    armed.question = "seat-done"
    armed.end(18)
    assert (armed.phase, armed.cause, armed.question) == (cycle.OVER, 18, "")
    assert armed.app.did == [("end", 18), ("close", 18)]
    armed.drop()
    assert armed.phase == cycle.IDLE
    armed.phase = cycle.ARMED
    armed.drop()
    assert armed.phase == cycle.IDLE and armed.cause == causes.NO_PROFILE


def test_new_coefficients_end_the_cycle_and_are_loaded_after_the_ceiling_is_gone(
    armed: FillCycle,
) -> None:
    armed.reload({"gain_a": 1, "off_a": 2, "gain_b": 3, "off_b": 4})
    assert armed.cause == causes.NOT_READY and armed.app.did[-1] == ("again",)
    assert armed.queue == [(JOB_SLOT, 0), (CEIL, 0), (CHK, 0), (17, 1), (18, 2), (19, 3), (20, 4)]


def test_limits_use_the_present_wheel_or_what_only_measures(
    armed: FillCycle, monkeypatch: pytest.MonkeyPatch
) -> None:
    armed.app.hardware = "rig"
    armed.app.interface = SimpleNamespace(duty=SimpleNamespace(left_s=lambda: 99))
    monkeypatch.setattr(cycle.fill_modes, "limits", lambda *what: what)
    monkeypatch.setattr(cycle.fill_modes, "measure_values", lambda values, here: ("less", here))
    assert armed.limits_here({"a": 1}, True) == (armed.values, "rig", {"a": 1}, True, 99)
    armed.measuring = True
    assert armed.limits_here({"a": 1}, False)[0] == ("less", {"a": 1})
