"""Air that stays in the hose is no other wheel and no tyre at its target; one transducer that jumps is no leak."""

import pytest
from rimward.simulation.loop import Job
from rimward.simulation.plant import layout
from rimward_protocol import causes, codes

from .fillbench import Fill, start

JOB = {"tyre_mm": 28.0, "target_pa": 350_000, "ceiling_pa": 450_000, "limit_pa": 450_000}
ENDED = (codes.FILL_DONE, codes.STOPPED, codes.TRIPPED)
WAITS = 1_200  # ticks after the last air in which the guard may still find a valve that leaks
SOURCES = [(0, True), (0, False), (1, True), (1, False)]


def ended(fill: Fill) -> bool:
    return fill.state in ENDED


def half_full(kind: int, pin: bool, **more: float) -> Fill:
    """A fill in which the tyre was seen and its volume learnt, well under its target."""
    fill = start(Job(**JOB, kind=kind, pin_open=pin, start_pa=60_000.0, **more))
    fill.go(20_000, until=lambda one: one.learnt == 2 and one.tyre > 150_000)
    assert fill.state not in ENDED
    return fill


@pytest.mark.parametrize(("kind", "pin"), SOURCES)
def test_a_core_that_sticks_shut_ends_as_not_seen_and_the_tyre_is_unknown(kind, pin):
    fill = half_full(kind, pin)
    held = fill.tyre
    fill.fault[layout.F_CORE] = 1.0
    fill.go(12_000, until=ended)
    if (kind, pin) == (
        1,
        False,
    ):  # a burst under way lifts a shut hose over the ceiling: the guard says so first
        assert fill.reason in (causes.NOT_SEEN, causes.OVER_PRESSURE)
    else:
        assert (fill.state, fill.reason) == (codes.STOPPED, causes.NOT_SEEN)
    assert fill.tyre_pa == -1
    assert fill.tyre == pytest.approx(held, rel=0.1)  # it cools


def test_it_waits_for_the_guard_which_finds_a_valve_that_is_stuck_open():
    fill = half_full(0, True)
    fill.fault[layout.F_CORE] = 1.0
    fill.go(12_000, until=ended)
    assert fill.off >= WAITS
    stuck = half_full(0, True)
    stuck.go(8_000, until=lambda one: one.state == codes.SETTLING)
    stuck.fault[layout.F_GATE_ON] = 1.0
    stuck.go(12_000, until=ended)
    assert (stuck.state, stuck.reason) == (codes.TRIPPED, causes.RISING_WHILE_OFF)


def test_a_hose_that_is_kinked_empties_from_above_what_the_tyre_should_show():
    fill = half_full(0, False)
    fill.fault[layout.F_PATH] = 0.02
    fill.go(12_000, until=ended)
    assert (fill.state, fill.reason) == (codes.STOPPED, causes.NOT_SEEN)


def test_a_hose_that_leaks_is_still_a_leak():
    fill = half_full(0, False)
    fill.fault[layout.F_HOSE_C] = 1e-9
    fill.go(12_000, until=ended)
    assert (fill.state, fill.reason) == (codes.STOPPED, causes.HOSE_OR_TYRE)


def test_a_pump_that_cannot_open_the_core_finds_no_tyre_in_what_the_hose_loses_as_it_cools():
    """Its core is shut from the start: the search ends as not seen, never as done or above the target."""
    for target, ceiling in ((350_000, 450_000), (137_000, 188_000), (371_000, 413_000)):
        job = JOB | {"target_pa": target, "ceiling_pa": ceiling, "limit_pa": ceiling}
        fill = start(Job(**job, kind=0, pin_open=False, start_pa=100_000.0))
        fill.fault[layout.F_CORE] = 1.0
        fill.go(12_000, until=ended)
        assert (fill.state, fill.reason) == (codes.STOPPED, causes.NOT_SEEN)


@pytest.mark.parametrize("noise", [layout.F_A_NOISE, layout.F_B_NOISE])
def test_a_leak_is_not_named_while_one_transducer_jumps(noise):
    """The same hose leaks; with one transducer noisy sixty times over, that is the cause given, and no new hold goes on."""
    fill = half_full(0, False)
    fill.fault[layout.F_HOSE_C] = 1e-9
    fill.fault[noise] = 60.0
    fill.go(12_000, until=ended)
    assert fill.reason == causes.SENSORS_DISAGREE
    fill.go(50, run=False)
    fill.go(200)
    assert fill.state in ENDED and fill.reason == causes.SENSORS_DISAGREE


@pytest.mark.parametrize("pin", [True, False])
def test_a_smaller_wheel_of_half_the_volume_is_asked_about_and_no_dead_end(pin):
    fill = start(Job(**JOB, kind=0, pin_open=pin, start_pa=0.0, volume=0.5))
    fill.go(40_000, until=lambda one: ended(one) or one.state == codes.ASKING)
    assert fill.reason != causes.NOT_SEEN
    if pin:  # through a closed core the estimate's own uncertainty is larger
        assert fill.state == codes.ASKING or fill.reason == causes.WRONG_VOLUME


def test_a_first_burst_begins_from_a_hose_that_was_let_down():
    """A line's self-test lifts the hose; from there the fastest valves' first burst could reach a low ceiling."""
    job = JOB | {"target_pa": 180_000, "ceiling_pa": 237_000, "limit_pa": 237_000}
    fill = start(Job(**job, kind=1, pin_open=False, start_pa=100_000.0))
    fill.go(2_000, until=lambda one: one.state == codes.MEASURING)
    fill.s[layout.S_MM] *= 2.0  # as much air again in the hose
    fill.go(2_000, until=lambda one: one.on > 0)
    assert fill.base < 30_000


@pytest.mark.parametrize("leak", [6e-10, 8e-10, 1e-9, 1.5e-9])
def test_a_volume_that_differs_is_held_against_a_look_for_two_seconds(leak):
    """Through an open core a leak takes what a larger wheel would: it falls at rest, and is no question about the wheel."""
    fill = start(Job(**JOB, kind=0, pin_open=True, start_pa=60_000.0))
    fill.fault[layout.F_PUNCTURE] = leak
    fill.go(40_000, until=lambda one: ended(one) or one.state == codes.ASKING)
    assert (fill.state, fill.reason) == (codes.STOPPED, causes.HOSE_OR_TYRE)
