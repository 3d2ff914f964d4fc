"""The shipped tick as machine code: bits and register accesses as on CPython, cycles within budget and bound, planted differences found."""

import json
import random
import subprocess
import sys
from dataclasses import replace

import pytest
from rimward.kernels import bench as build
from rimward.kernels import duration
from rimward_fw.bench import fill as bench_fill
from rimward_fw.kernels import fill, guard, tick
from rimward_protocol import kernel_slots as slots

from tests.interpreter import identical
from tests.machine import access, chip, engine, measure, planted, runtime, shipped, whole

SESSIONS = ("road-30", "hose_kinked")


def compared(code, rows, start=None, disturbed=False, left=None, counted=False):
    found = whole.Found()
    machine = whole.Machine(code, counted)
    whole.compare(whole.World(), machine, start, rows, found, disturbed, left)
    return found


@pytest.mark.parametrize("disturbed", [False, True])
def test_the_whole_tick_leaves_what_it_leaves_on_cpython(code, rows, disturbed):
    found = compared(code, rows, disturbed=disturbed)
    assert found.differences == [] and found.ticks == len(rows)


def test_both_kernels_alone_leave_what_they_leave_on_cpython(code, kept):
    assert measure.kernels_alone(code, kept) == ""


def test_recorded_sessions_come_out_as_recorded_and_within_the_budget(code):
    figures = measure.Figures(measure.bounds(code))
    measure.recorded(code, SESSIONS, figures.found, lambda *_: None)
    row = figures.row()
    assert row["ok"], (row, figures.found.differences, figures.bounds.problems())
    assert row["ticks"] > 10_000 and max(figures.found.tick) > 2 * runtime.DISPATCH_CYCLES
    assert (
        row["tick_us_worst"] <= 300
        and row["tick_us_median"] <= 200
        and row["fill_us_worst"] <= 200
        and row["bytecode_calls"] == 0
    )


def test_registers_are_read_and_written_in_the_same_order(code, rows):
    world, machine = whole.World(), whole.Machine(code, counted=False)
    theirs, mine = access.watch(machine), []
    tick.bind(guard.step, fill.step, access.watched(world.blocks, mine))
    world.begin(None)
    for row in rows[:400]:
        world.show(row)
        world.disturb()
        machine.take(world.blocks)
        mine.clear()
        theirs.clear()
        tick.interrupt(None)
        machine.interrupt.run()
        assert mine and mine == theirs


def test_a_halted_tick_only_drops_relay_and_vent(code, rows):
    world, machine = whole.World(), whole.Machine(code)
    world.begin(None)
    world.show(rows[0])
    world.blocks[whole.T][slots.T_HALT] = 1
    machine.take(world.blocks)
    before = whole.left(machine.views)
    machine.interrupt.run()
    pins = world.blocks[whole.T]
    assert machine.views[whole.SIO][6] == pins[slots.T_PIN_RELAY] | pins[slots.T_PIN_VENT]
    machine.views[whole.SIO][6] = world.blocks[whole.SIO][6]
    assert whole.left(machine.views) == before


@pytest.mark.parametrize(
    "which, function, least", [("guard", "step", 9), ("fill", "step", 7), ("tick", "interrupt", 9)]
)
def test_differences_planted_in_the_machine_code_are_found(
    code, filling, rows, which, function, least
):
    """16 instructions that run are changed, one at a time; a change may make no difference over these ticks."""
    start, rows = filling if which == "fill" else (None, rows)

    def run(changed):
        found = whole.Found()
        whole.compare(
            whole.World(), whole.Machine(changed, False), start, rows, found, which != "fill"
        )
        return found.differences

    machine = whole.Machine(code, counted=False)
    loaded = machine.loaded[("guard", "fill", "tick").index(which)]
    ran = planted.executed(
        machine.chip,
        loaded,
        lambda: whole.compare(whole.World(), machine, start, rows, whole.Found(), which != "fill"),
    )
    changes = planted.changes(loaded.code_at[function][1], ran[function], 16, random.Random(4))
    missed = [
        str(change)
        for change in changes
        if not run(replace(code, **{which: planted.with_change(getattr(code, which), change)}))
    ]
    assert len(changes) == 16 and 16 - len(missed) >= least, missed


def test_a_proof_bench_runs_on_the_same_path_within_the_same_budget(rows):
    code = whole.Codes(*(shipped.kernel(name, bench=True) for name in ("tick", "guard", "fill")))
    assert (
        code.tick.data == shipped.kernel("tick").data
        and code.guard.data != shipped.kernel("guard").data
    )
    found = whole.Found()
    world = whole.World(guard_step=build.guard_module().step, fill_step=bench_fill.step)
    whole.compare(world, whole.Machine(code), None, rows, found, True)
    assert found.differences == [] and found.ticks == len(rows)
    bounds = measure.bounds(code)
    assert (
        bounds.problems() == []
        and max(found.tick) <= bounds.tick.cycles + found.bridged <= 300 * runtime.CYCLES_PER_US
    )


def test_an_unchanged_copy_is_no_difference(code, rows):
    guard_code = code.guard.body.children[0]
    same = planted.with_change(code.guard, planted.Change(guard_code.name, 0, "", guard_code.data))
    assert compared(replace(code, guard=same), rows[:300]).differences == []


def test_the_comparison_of_the_kernels_alone_can_fail(code, kept):
    machine = engine.Engine(code.guard, code.fill)
    ran = planted.executed(
        machine.chip, machine.loaded[0], lambda: machine.run(None, kept.records.tobytes())
    )
    changes = planted.changes(
        machine.loaded[0].code_at["step"][1], ran["step"], 16, random.Random(1)
    )
    found = 0
    for change in changes:
        try:
            left = engine.Engine(planted.with_change(code.guard, change), code.fill).run(
                None, kept.records.tobytes()
            )
            found += bool(identical.differs(kept.left, left))
        except chip.Violation:
            found += 1
    print(f"{found} of {len(changes)} changes found")
    assert found >= len(changes) // 2


def test_the_simulation_takes_its_load_from_here(code):
    """After a change of a kernel that makes the longest tick a unit longer or shorter: `python -m tests.machine --write`."""
    now_us = runtime.microseconds(measure.bounds(code).tick.cycles)
    assert duration.load_units() == -(-now_us // slots.LOAD_US)
    assert 0.8 * duration.worst_us() <= now_us <= duration.worst_us() * 1.2


def test_the_command_prints_its_figures(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.machine", "--json", "--ticks", "400", "--sessions", "0"],
        capture_output=True,
        text=True,
        check=False,
    )
    row = json.loads(done.stdout)
    assert list(row) == [
        "ok", "ticks", "differences", "tick_us_worst", "tick_us_median", "guard_us_worst", "fill_us_worst", "bytecode_calls", "stack_bytes_worst"
    ]  # fmt: skip
    assert row["ok"] and done.returncode == 0 and row["ticks"] == 400
