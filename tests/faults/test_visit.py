"""Attacks on a visit: a tyre stated warmer than the air, a run control held too early, a ceiling that outlasts its wheel, an instrument's own figures."""

import struct
from types import SimpleNamespace

import pytest
from rimward_fw.control import builtin, consent, cycle, events, setting_texts
from rimward_fw.control.engine import Engine
from rimward_fw.kernels import fill, guard
from rimward_fw.ui import buttons
from rimward_protocol import causes, codes, replies
from rimward_protocol import kernel_slots as slots

from tests.faults.consentbench import WHEEL, Board, Inflator


def asked_about(inflator: Inflator) -> cycle.FillCycle:
    """A new wheel, compared and confirmed: the next question is whether it has been at rest here."""
    inflator.send(10)
    inflator.ask(codes.SELECT, WHEEL)
    inflator.press(buttons.ENTER)
    assert inflator.waiting() == "stood-an-hour"
    return inflator.app.cycle


def ready(inflator: Inflator) -> cycle.FillCycle:
    visit = asked_about(inflator)
    inflator.press(buttons.ENTER)
    inflator.wait(1.0)
    assert visit.phase == cycle.ARMED
    return visit


def test_a_tyre_is_never_stated_warmer_than_the_measured_air(inflator: Inflator) -> None:
    """T0 is the lower of both: a warmer one would raise the ceiling."""
    visit = asked_about(inflator)
    inflator.press(buttons.DOWN)
    assert visit.t0_ck == 29_115 - 250 and inflator.app.air_ck() == 29_315, (
        "begins below the lower of the air and the target's reference"
    )
    inflator.press(buttons.UP, 12)
    assert visit.t0_ck == 29_315
    inflator.press(buttons.DOWN, 4)
    assert visit.t0_ck == 29_315 - 4 * 250
    inflator.press(buttons.ENTER)
    inflator.wait(1.0)
    assert (
        visit.phase == cycle.ARMED
        and inflator.app.engine.y[slots.FILL_SLOW + 13] == 29_315 - 4 * 250
    )
    assert (events.ANSWER, codes.WAIT_STOOD, 0) in inflator.events and (
        events.ANSWER,
        codes.WAIT_STOOD,
        visit.t0_ck,
    ) in inflator.events


def test_the_coldest_tyre_that_can_be_stated(inflator: Inflator) -> None:
    visit = asked_about(inflator)
    inflator.press(buttons.DOWN, 30)
    assert visit.t0_ck == 25_315, "-20 °C"


def test_the_ceiling_goes_with_its_wheel(inflator: Inflator) -> None:
    """After any way of leaving: no ceiling, no check word, no job, and a held run control starts nothing."""
    visit = ready(inflator)
    engine = inflator.app.engine
    assert (
        engine.x[slots.X_CEIL_PA] > 0
        and engine.y[slots.Y_JOB] == 1
        and inflator.ask(codes.STATUS)[1]["ceiling_pa"] > 0
    )
    visit.leave(causes.RELEASED)
    inflator.wait(1.0)
    assert (engine.x[slots.X_CEIL_PA], engine.x[slots.X_CHK], engine.y[slots.Y_JOB]) == (0, 0, 0)
    assert visit.phase == cycle.IDLE and inflator.ask(codes.STATUS)[1]["ceiling_pa"] == 0
    inflator.board.switches = buttons.KEY_LOW | buttons.RUN
    inflator.wait(3.0)
    assert inflator.board.air_ticks == 0 and engine.g[slots.G_WHY] == causes.NO_PROFILE


def test_a_run_control_held_while_arming_brings_nothing_into_force(inflator: Inflator) -> None:
    visit = asked_about(inflator)
    inflator.app.cutoff.watch = lambda: (
        None
    )  # this board's view of the cutoff does not include its coil
    inflator.board.switches = buttons.KEY_LOW | buttons.ENTER
    while visit.phase != cycle.LOADING:
        inflator.wait(0.01)
    inflator.board.switches = buttons.KEY_LOW | buttons.RUN
    inflator.wait(1.5)
    assert (
        visit.phase == cycle.LOADING
        and inflator.app.engine.g[slots.G_CEIL] == 0
        and inflator.waiting() == "hold-to-run"
    )
    assert visit.must_let_go() and visit.state() == codes.ASKING and inflator.board.air_ticks == 0
    inflator.board.switches = buttons.KEY_LOW
    inflator.wait(1.0)
    assert visit.phase == cycle.ARMED and inflator.app.engine.g[slots.G_CEIL] > 0


@pytest.mark.parametrize(("number", "value", "shown", "named"), [(4, struct.pack("<i", 300), (101_625, 29_315), "barometer 300 Pa"), (4, struct.pack("<i", -450), (100_875, 29_315), "barometer -450 Pa"),
                                                                  (6, struct.pack("<h", -120), (101_325, 29_195), "air thermometer -120 cK")])  # fmt: skip
def test_the_instrument_s_own_corrections_are_added(
    inflator: Inflator, number: int, value: bytes, shown: tuple[int, int], named: str
) -> None:
    inflator.ask(codes.SETTING_PUT, bytes((number, 0)) + value)
    inflator.wait(0.3)
    assert named in inflator.shown()
    inflator.press(buttons.WORKSHOP)
    status = inflator.ask(codes.STATUS)[1]
    assert (status["ambient_pa"], status["air_ck"]) == shown
    visit = ready(inflator)
    inflator.wait(0.2)
    assert visit.phase == cycle.ARMED and inflator.app.engine.x[slots.FAST_INPUTS] == shown[0], (
        "the ceiling is worked out with it"
    )


def test_what_a_visit_asks_for_is_named_by_its_number(inflator: Inflator) -> None:
    visit = ready(inflator)
    assert visit.waiting() == (codes.WAIT_RUN, 0)
    inflator.app.engine.f[slots.F_STATE], inflator.app.engine.f[slots.F_VOLUME] = (
        codes.ASKING,
        1_234,
    )
    assert visit.waiting() == (codes.WAIT_WHICH_WHEEL, 1_234)
    visit.pressed(buttons.ENTER)
    assert (
        events.ANSWER,
        codes.WAIT_WHICH_WHEEL,
        1,
    ) in inflator.events and inflator.app.engine.answers & buttons.CONFIRM
    inflator.app.engine.f[slots.F_STATE], inflator.app.engine.g[slots.G_READ] = (
        codes.SEAT_PAUSE,
        slots.BIAS_PA + 180_000,
    )
    assert visit.waiting() == (codes.WAIT_BEAD, 180_000)
    inflator.app.engine.g[slots.G_CAUSE] = causes.OVER_PRESSURE
    assert (
        visit.waiting() == (codes.WAIT_CLEAR, causes.OVER_PRESSURE)
        and visit.state() == codes.TRIPPED
    )


def test_a_deletion_is_recorded_with_the_profile_s_numbers(inflator: Inflator) -> None:
    inflator.send(10)
    inflator.ask(codes.PROFILE_DELETE, WHEEL)
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)
    assert (events.PROFILE_DELETED, 10, 10) in inflator.events
    assert inflator.ask(codes.PROFILE_DELETE, WHEEL)[1]["code"] == replies.NOT_FOUND
    assert inflator.app.store.wheels.row(WHEEL).flags == 0, "nothing of it stays confirmed"


def test_release_is_requested_only_while_no_limit_is_in_force(inflator: Inflator) -> None:
    visit, engine = ready(inflator), inflator.app.engine
    engine.x[slots.X_SW] = buttons.KEY_LOW | buttons.RUN
    for state, why, wanted in (
        (codes.READY, causes.NO_PROFILE, True),
        (codes.READY, causes.NONE, False),
        (codes.READY, causes.STOP_READING, False),
        (codes.FILLING, causes.NO_PROFILE, False),
    ):
        engine.f[slots.F_STATE], engine.g[slots.G_WHY] = state, why
        assert visit.must_let_go() is wanted, (state, why)
    engine.x[slots.X_SW] = buttons.KEY_LOW
    engine.f[slots.F_STATE], engine.g[slots.G_WHY] = codes.READY, causes.NO_PROFILE
    assert not visit.must_let_go()


def test_a_bead_is_confirmed_in_the_pause_only(inflator: Inflator) -> None:
    ready(inflator)
    engine = inflator.app.engine
    engine.f[slots.F_STATE] = codes.FILLING
    inflator.app.cycle.pressed(buttons.ENTER)
    assert not engine.answers & buttons.CONFIRM
    engine.f[slots.F_STATE], engine.g[slots.G_READ] = codes.SEAT_PAUSE, slots.BIAS_PA + 180_000
    inflator.app.cycle.pressed(buttons.ENTER)
    assert (
        engine.answers & buttons.CONFIRM and (events.BEAD_CONFIRMED, 180_000, 0) in inflator.events
    )


def test_a_trip_ends_the_fill_and_is_recorded_once(inflator: Inflator) -> None:
    visit = ready(inflator)
    inflator.app.engine.g[slots.G_CAUSE] = causes.OVER_PRESSURE
    visit.work()
    visit.work()
    assert (visit.phase, visit.cause) == (cycle.OVER, causes.OVER_PRESSURE) and (
        slots.X_CEIL_PA,
        0,
    ) in visit.queue
    assert [event[0] for event in inflator.events].count(events.TRIPPED) == 1
    visit.pressed(buttons.ENTER)
    assert (
        inflator.app.engine.answers & buttons.CLEAR
        and (events.CLEARED, causes.OVER_PRESSURE, 0) in inflator.events
    )


def test_an_overdue_instrument_arms_nothing(inflator: Inflator) -> None:
    visit = asked_about(inflator)
    inflator.app.locked_out = lambda: True
    inflator.press(buttons.ENTER)
    assert (visit.phase, visit.cause) == (cycle.OVER, causes.INSTRUMENT_OVERDUE)
    assert (events.REFUSED, replies.SETTING_LOCKED, 0) in inflator.events and inflator.app.engine.x[
        slots.X_CEIL_PA
    ] == 0


def test_after_another_pump_the_tyre_is_measured_first_then_filled_on_a_yes(
    inflator: Inflator,
) -> None:
    visit = asked_about(inflator)
    inflator.press(buttons.UP)
    assert (visit.phase, visit.question, visit.added) == (cycle.OVER, "added", True)
    assert (events.ANSWER, codes.WAIT_STOOD, 2) in inflator.events
    inflator.press(buttons.ENTER)
    assert visit.phase == cycle.ASK_COLD
    inflator.press(buttons.ENTER)
    inflator.wait(1.0)
    assert (
        visit.phase == cycle.ARMED
        and visit.measuring
        and inflator.app.engine.y[slots.Y_TARGET_PA] == 20_000
    )
    visit.leave(causes.CARTRIDGE_FIRST_MEASURE)
    visit.phase, visit.question = cycle.OVER, "measured"
    inflator.wait(1.0)
    inflator.press(buttons.ENTER)
    inflator.wait(1.0)
    assert (
        visit.phase == cycle.ARMED
        and not visit.measuring
        and inflator.app.engine.y[slots.Y_TARGET_PA] > 300_000
    )


@pytest.mark.parametrize(
    ("answer", "then"), [(buttons.ENTER, "seat-next"), (buttons.DOWN, "seat-again")]
)
def test_after_seating_the_answer_decides_what_is_armed(
    inflator: Inflator, answer: int, then: str
) -> None:
    visit = ready(inflator)
    visit.leave(causes.RELEASED)
    visit.phase, visit.question = cycle.OVER, "seat-done"
    inflator.wait(1.0)
    inflator.press(answer)
    assert (
        visit.question == then
        and (events.ANSWER, codes.WAIT_BEAD, int(answer == buttons.ENTER)) in inflator.events
    )
    inflator.press(buttons.ENTER)
    inflator.wait(1.0)
    assert visit.phase == cycle.ARMED and visit.seating == (then == "seat-again")
    assert (inflator.app.engine.x[slots.X_CEIL_PA] <= 275_000) == visit.seating


def test_a_press_too_soon_after_the_request_is_ignored(inflator: Inflator) -> None:
    inflator.ask(codes.KEY_ENROL, bytes(range(40, 72)))
    inflator.app.consent.pressed(buttons.WORKSHOP)
    assert inflator.app.consent.what == codes.WAIT_ENROL
    inflator.wait(0.3)
    inflator.app.consent.pressed(buttons.WORKSHOP)
    assert inflator.app.consent.what == codes.WAIT_NOTHING


def test_numbers_on_the_display() -> None:
    assert [setting_texts.thousandth(value) for value in (998, 1_000, 1_007, 1_012, 1_120)] == [
        "0.998",
        "1.000",
        "1.007",
        "1.012",
        "1.120",
    ]
    assert (consent.ANSWER_MS, consent.READ_MS) == (60_000, 150)


def test_what_is_built_in_for_an_unregistered_wheel(inflator: Inflator) -> None:
    """Restated: a straight-side rim 28 wide, the smallest volume, 5 bar at most and 4.2 bar as ceiling, no target."""
    held = {
        name: builtin.BUILT_IN[name]
        for name in (
            "limit_pa",
            "ceiling_pa",
            "target_pa",
            "volume_low_ml",
            "volume_ml",
            "tyre_width_dmm",
            "rim_class",
            "seat_pause_pa",
            "time_budget_s",
        )
    }
    assert held == {"limit_pa": 500_000, "ceiling_pa": 420_000, "target_pa": 0, "volume_low_ml": 800, "volume_ml": 1_250, "tyre_width_dmm": 280, "rim_class": 0, "seat_pause_pa": 200_000,
                    "time_budget_s": 180}  # fmt: skip
    assert {name: builtin.BUILT_IN[name] for name in ("revision", "issue", "flags", "chuck", "position", "ambient_min_pa", "temp_max_ck", "ref_temp_ck")} == {
        "revision": 1, "issue": 1, "flags": 0, "chuck": 1, "position": 0, "ambient_min_pa": 75_000, "temp_max_ck": 31_815, "ref_temp_ck": 29_315,
    }  # fmt: skip
    assert inflator.app.profile_of(bytes(8)) is None, "nothing is entered before it is asked for"
    inflator.ask(codes.SELECT, bytes(8))
    inflator.press(buttons.UP, 30)
    assert inflator.app.entry.printed_pa == 1_000_000
    inflator.press(buttons.DOWN, 3)
    assert inflator.app.entry.printed_pa == 970_000
    inflator.press(buttons.ENTER, 2)
    inflator.press(buttons.UP, 2)
    assert inflator.app.entry.target_pa == 100_000
    inflator.app.cycle.phase = cycle.IDLE
    inflator.ask(codes.SELECT, bytes(8))
    assert (inflator.app.entry.printed_pa, inflator.app.entry.target_pa) == (0, 0)
    assert (
        builtin.values_of(300_000, 100_000, 20_000)["ref_temp_ck"] == 23_315
        and builtin.values_of(300_000, 100_000, 40_000)["ref_temp_ck"] == 33_315
    )


# Tick engine


def broken(at: int) -> SimpleNamespace:
    """A guard that fails at its `at`-th step."""
    count = [0]

    def step(g, x):  # type: ignore[no-untyped-def]
        count[0] += 1
        if count[0] >= at:
            raise ZeroDivisionError("a defect")
        return guard.step(g, x)

    return SimpleNamespace(boot=guard.boot, step=step, steps=count)


def test_a_fault_of_the_tick_stays_until_a_reset() -> None:
    """From that tick on the vent alone is driven; no kernel runs again, whatever is offered or answered."""
    board, kernel = Board(), broken(5)
    engine = Engine(board, (kernel, fill))
    engine.start()
    for _ in range(4):
        board.idle()
    assert not engine.failed
    board.idle()
    assert (
        engine.failed
        and engine.out == codes.OUT_VENT
        and board.bits == 4
        and isinstance(engine.error, ZeroDivisionError)
    )
    ran = kernel.steps[0]
    for _ in range(20):
        engine.offer(slots.X_CEIL_PA, 400_000)
        board.idle()
    assert (
        engine.failed
        and engine.out == codes.OUT_VENT
        and kernel.steps[0] == ran
        and engine.x[slots.X_CEIL_PA] == 0
    )


def test_the_interrupt_s_own_step_halts_too(monkeypatch: pytest.MonkeyPatch) -> None:
    board = Board()
    engine = Engine(board)
    monkeypatch.setattr("rimward_fw.kernels.tick.step", broken(1).step)
    off: list[int] = []
    monkeypatch.setattr(board, "off", lambda: off.append(1))
    engine._fill = None
    engine.step()
    assert (
        engine.failed and engine.out == codes.OUT_VENT and off == [1] and engine.error is not None
    )


def test_a_slow_word_that_waits_is_not_overwritten() -> None:
    board = Board()
    engine = Engine(board)
    engine.start()
    assert engine.offer(slots.X_CEIL_PA, 400_000)
    assert not engine.offer(slots.X_CHK, 7), "the first still waits for its tick"
    board.idle()
    assert (engine.x[slots.X_CEIL_PA], engine.x[slots.X_CHK]) == (400_000, 0)
    assert engine.offer(slots.X_CHK, 7)
