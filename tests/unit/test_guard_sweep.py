"""Limits of the guard, restated as numbers, five steps to each side in every permission state; and coverage of the guard."""

import ast
from pathlib import Path

import pytest
from rimward_fw.kernels import guard

from tests.trust.guard_coverage import measure
from tests.trust.guard_guided import S, X, inputs, rows
from tests.trust.guard_judge import jury_table, load
from tests.trust.guard_model import KEY_LOW, RUN, WANT
from tests.trust.guard_prove import plant, source_of_guard
from tests.trust.guard_sweep import LIMITS, OFFSETS, STATES, cases, failures, reach


def test_every_limit_holds_on_both_sides():
    assert failures(guard) == []


def test_the_sweep_is_whole():
    assert list(OFFSETS) == list(range(-5, 6))
    assert {state for limit in LIMITS for state in limit.states} == set(STATES)
    assert len(list(cases())) == sum(len(limit.states) * 11 for limit in LIMITS) > 1_500


@pytest.mark.parametrize(
    "planted",
    [
        ("_RATIO_LOW = const(3277)", "_RATIO_LOW = const(3276)"),
        ("_LOW_CEIL = const(500000)", "_LOW_CEIL = const(500001)"),
        ("_BAND_MIN = const(1000)", "_BAND_MIN = const(999)"),
        ("_DROP_PA = const(25000)", "_DROP_PA = const(25001)"),
        ("_RISE_OFF = const(6000)", "_RISE_OFF = const(6001)"),
        ("_SUPPLY_HIGH = const(82)", "_SUPPLY_HIGH = const(83)"),
        ("_LIFT_FIRST = const(110000)", "_LIFT_FIRST = const(109999)"),
    ],
)
def test_the_sweep_can_fail(planted):
    assert failures(load(ast.parse(plant(source_of_guard(), planted)))) != []


@pytest.mark.parametrize("state", STATES)
def test_states_are_reached_by_ticks_alone(state):
    g, x = reach(guard, state)
    assert (
        guard.step(g, x)
        == {
            "idle": 0,
            "ready": 18,
            "on": 19,
            "relay-test": 34,
            "gate-test": 33,
            "latched": 8,
            "warming": 0,
        }[state]
    )


def _all_that_is_tested(copy):
    assert failures(copy) == []
    for _ in rows(copy, 6_000, seed=3):
        pass
    table = jury_table()
    for k in range(len(table.out)):
        g = table.before[k].tolist()
        assert copy.step(g, table.inputs[k].tolist()) == table.out[k]


def test_every_line_and_branch_is_run():
    reached = measure(_all_that_is_tested)
    assert reached.missing_lines == [] and reached.missing_branches == []
    assert reached.lines > 250 and reached.branches > 60


def test_coverage_would_show_a_gap():
    reached = measure(lambda copy: copy.boot([0] * 49))
    assert len(reached.missing_lines) > 100


def test_guard_stays_readable():
    parts = sorted(Path(guard.__file__).parent.glob("guard*.py"))
    assert len(parts) == 5 and all(len(part.read_text().splitlines()) <= 400 for part in parts)


def test_a_flicker_of_the_wish_does_not_stretch_the_budget():
    """One tick in sixteen keeps the source running through its drop-out; it must cost what sixteen cost."""
    spent = {}
    for name, period in (("steady", 1), ("flicker", 16)):
        g, x = reach(guard, "on")
        before = g[S["time"]], g[S["air"]]
        for n in range(640):
            x[X["sw"]] = KEY_LOW | RUN | (WANT if n % period == 0 else 0)
            guard.step(g, x)
        spent[name] = (g[S["time"]] - before[0], g[S["air"]] - before[1])
    assert spent["steady"][0] == 640
    assert spent["flicker"][0] >= 600 and spent["flicker"][1] >= spent["steady"][1] * 600 // 640


def test_late_ticks_are_charged():
    g, x = reach(guard, "on")
    start = g[S["air"]]
    guard.step(g, x)
    usual = g[S["air"]] - start
    x[X["gap"]] = 32
    guard.step(g, x)
    assert g[S["air"]] - start - usual == 2 * usual


def test_damaged_inputs_keep_the_vent_of_a_latch_open():
    g, x = reach(guard, "ready")
    g[S["cause"]], g[S["cause_n"]] = 22, 233
    assert guard.step(g, x) == 12
    x[X["ceil_pa"]] = 900_001
    assert guard.step(g, x) == 12 and g[S["cause"]] == 22


def test_a_stuck_source_vents_under_any_latch():
    g, x = reach(guard, "ready")
    g[S["cause"]], g[S["cause_n"]], g[S["ran"]] = 18, 237, 1
    x[X["sw"]] = KEY_LOW
    for _ in range(600):
        x[X["a"]] += 2
        x[X["b"]] += 2
        out = guard.step(g, x)
    assert out == 12 and g[S["cause"]] == 22


def test_boot_is_off_and_unarmed():
    g = [7] * 49
    guard.boot(g)
    held = inputs(sw=KEY_LOW | RUN | WANT)
    assert [guard.step(g, held) for _ in range(400)] == [0] * 400
    assert g[S["why"]] == 9 or g[S["why"]] == 6
