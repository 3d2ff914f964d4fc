"""Runs the power cuts on real littlefs: every action, from several states, cut in every way. Runs on MicroPython.

`main` prints one line of JSON for every action and state. States that do not hold are listed as failures; an exception from the store ends the run.
"""

import json

import vfs
from rimward_fw.storage.store import Store

from tests.faults import cutactions, cutstate
from tests.faults.cutflash import BLANK, CUTS, FORGOTTEN, LOST, PROGRAM_BYTES, REORDERED, CutFlash

POINT = "/cut"
READ_BYTES = 256  # larger than on the device: fewer calls, the same writes
FAILURES_KEPT = 20
FAILED = "FAILED"
GONE = "does not mount"  # only where flash forgot what it had promised to hold: no one file system survives all of that
TWICE = "cut again in the repair"
TWICE_CUTS = ("first half", "noise", "after")


class Bench:
    """One flash, mounted and unmounted again and again."""

    def __init__(self, blocks):
        self.flash = CutFlash(blocks)
        self.locked = False

    def format(self):
        """An empty file system."""
        self.flash.load(BLANK * self.flash.blocks)
        self.format_here()

    def format_here(self):
        """An empty file system, by operations that count."""
        vfs.VfsLfs2.mkfs(self.flash, progsize=PROGRAM_BYTES)

    def mounts(self):
        """True if what flash holds mounts."""
        self.flash.again()
        try:
            vfs.VfsLfs2(self.flash, readsize=READ_BYTES, progsize=PROGRAM_BYTES, mtime=False)
        except OSError:
            return False
        return True

    def use(self, act, boot=True):
        """Mounts, boots if asked, does `act(store, boots)`, unmounts. Gives what it gave."""
        vfs.mount(
            vfs.VfsLfs2(self.flash, readsize=READ_BYTES, progsize=PROGRAM_BYTES, mtime=False), POINT
        )
        try:
            store = Store(POINT, lambda: self.locked)
            given = act(store, store.boot() if boot else 0)
            closed = store.close()
            return given or closed if isinstance(given, int) else given
        finally:
            vfs.umount(POINT)

    def state(self):
        """The state after a restart with what flash holds now."""
        self.flash.again()
        return self.use(cutstate.snapshot)


class Trial:
    """One action from one state: its image, its operations, the old and the new state."""

    def __init__(self, row, phase):
        self.name, blocks, prepare, self.act, code, holds = row
        self.phase = phase
        self.bench = Bench(blocks)
        self.bench.format()
        self.bench.use(lambda store, boots: cutactions.start(store, phase))
        self.bench.use(lambda store, boots: prepare(store), False)
        self.cramped = blocks == cutactions.CRAMPED
        self.image = bytes(self.bench.flash.data)
        flash = self.bench.flash
        self.old = self.bench.state()
        self.load()
        self.code = self.perform()
        if flash.dirty_programs:
            raise ValueError("flash was programmed twice without an erase")
        self.ops = list(flash.ops)
        self.syncs = list(flash.syncs)
        self.wear = (flash.erases, flash.bytes, len(flash.ops))
        self.new = self.bench.state()
        self.cuts = {}
        self.failures = []
        if self.code != code or not self.bench.use(lambda store, boots: bool(holds(store)), False):
            self._failed(
                "no cut", 0, "gives code " + str(self.code) + ", and does not do what it is for"
            )

    def perform(self):
        """Load the image and do the action under the plan that was made; return its code."""
        return self.bench.use(lambda store, boots: self.act(store), False)

    def load(self):
        """Back to the state before."""
        self.bench.flash.load(self.image)

    def check(self, way, op, must_be_new=False):
        """Restart from the flash contents and check them."""
        if not self.bench.mounts():
            return (
                self._count(way, GONE)
                if way == FORGOTTEN
                else self._failed(way, op, "the file system does not mount")
            )
        got = self.bench.state()
        if way == TWICE and 0 <= got[0]["boots"] - self.old[0]["boots"] <= 2:
            got[0]["boots"] = self.old[0]["boots"]  # the mending restart counts, or does not
        state, wrong = cutstate.judge(self.old, self.new, got, way == FORGOTTEN)
        if must_be_new and state not in ("new", "same"):
            wrong = wrong or "it said done, and the state is " + state
        if not wrong and not self.cramped:
            wrong = self._works()
        if wrong:
            return self._failed(way, op, wrong)
        return self._count(way, state)

    def _count(self, way, state):
        key = (way, state)
        self.cuts[key] = self.cuts.get(key, 0) + 1
        return state

    def _works(self):
        """After the restart both copies of every record are intact and the store accepts a change."""

        def change(store, boots):
            uneven = cutstate.uneven_copies(POINT)
            if uneven:
                return uneven
            code = store.setting_put(8, bytes([self.phase]))
            return (
                ""
                if code == 0 and store.setting_get(8)[0] == bytes([self.phase])
                else "no change is taken after the cut"
            )

        return self.bench.use(change, False)

    def _failed(self, way, op, why):
        if len(self.failures) < FAILURES_KEPT:
            self.failures.append([self.name, self.phase, way, op, why[:300]])
        return self._count(way, FAILED)

    def step_rows(self):
        """Operation by operation: what it is, and the state after each kind of cut."""
        rows = []
        for op in range(len(self.ops)):
            erase, block, offset, buf = self.ops[op]
            row = ["erase" if erase else "program " + str(len(buf)), op in self.syncs]
            for how in CUTS:
                row.append(self.cut(op, how))
            rows.append(row)
        return rows

    def cut(self, op, how):
        """Cut the power in one operation."""
        self.load()
        self.bench.flash.cut(op, how)
        self.perform()
        self.bench.flash.dead = False
        return self.check(how, op)

    def reordered(self, op):
        """Operations since the last sync that never came about, though a later one did."""
        since = max([at for at in self.syncs if at <= op])
        window = list(range(since, op))
        skips = [{late} for late in window[-3:]]
        if len(window) > 1:
            skips.append(set(window))
        for skipped in skips:
            self._power_off_without(op, skipped, REORDERED)

    def forgotten(self, op, step):
        """Operations acknowledged and synced that flash does not hold after all."""
        since = max([at for at in self.syncs if at <= op])
        for early in range(self.phase % step, since, step):
            self._power_off_without(op, {early}, FORGOTTEN)

    def _power_off_without(self, op, skipped, way):
        self.load()
        flash = self.bench.flash
        flash.cut(op, "after")
        self.perform()
        flash.without(skipped)
        flash.dead = False
        self.check(way, op)

    def lost(self, op):
        """An operation that does nothing although the flash says done; then the rest, or a cut soon after."""
        flash = self.bench.flash
        self.load()
        flash.lose(op)
        code = self.perform()
        self.check(LOST, op, code == 0)
        for later in (1, 2):
            self.load()
            flash.lose(op)
            flash.cut(op + later, "after")
            self.perform()
            flash.dead = False
            self.check(LOST, op)

    def twice(self, op):
        """A cut, and another one in the restart that mends it."""
        flash = self.bench.flash
        self.load()
        flash.cut(op, "after")
        self.perform()
        image = bytes(flash.data)
        flash.load(image)
        self.bench.use(_just_boot)
        for second in range(len(flash.ops)):
            for how in TWICE_CUTS:
                flash.load(image)
                flash.cut(second, how)
                self.bench.use(_just_boot)
                flash.dead = False
                self.check(TWICE, second)

    def every_way(self, quick):
        """Everything but the plain cuts of `step_rows`."""
        count = len(self.ops)
        for op in range(count):
            self.reordered(op)
            if not quick or op % 2 == self.phase % 2:
                self.lost(op)
            self.forgotten(op, 7 if quick else 1)
        if count and self.old[0]["boots"] == self.new[0]["boots"]:
            for op in range(self.phase % 3, count, 12 if quick else 3):
                self.twice(op)


class FirstBoot(Trial):
    """Blank flash: formatted, then started for the first time. A file system that does not mount after a cut is formatted again."""

    name = cutactions.FIRST_BOOT
    code = 0
    cramped = False

    def __init__(self, phase):
        self.phase = phase
        self.bench = Bench(cutactions.ROOMY - phase % 8)
        flash = self.bench.flash
        self.image = BLANK * flash.blocks
        self.cuts = {}
        self.failures = []
        self.load()
        self.perform()
        self.ops = list(flash.ops)
        self.syncs = list(flash.syncs)
        self.wear = (flash.erases, flash.bytes, len(flash.ops))
        self.new = self.bench.state()
        self.old = (dict(self.new[0]), {})
        self.old[0]["boots"] = 1

    def perform(self):
        try:
            self.bench.format_here()
        except OSError:
            return 0
        return self.bench.use(_just_boot)

    def check(self, way, op, must_be_new=False):
        if not self.bench.mounts():
            self.bench.format()
        return Trial.check(self, way, op)


def _just_boot(store, boots):
    return 0


def run_trial(row, phase, quick):
    """All cuts of one action from one state: (the trial, what each operation is and leads to)."""
    trial = FirstBoot(phase) if row is None else Trial(row, phase)
    steps = trial.step_rows()
    trial.every_way(quick)
    return trial, steps


def rows():
    """Every action; None means the first boot."""
    return [None] + list(cutactions.ACTIONS)


def plant(name, phase):
    """Plant one defect and print what plain cuts of its actions find: this interpreter is not usable afterwards."""
    from tests.faults import cutdefects

    for defect, actions, spoil in cutdefects.DEFECTS:
        if defect == name:
            spoil()
            for row in cutactions.ACTIONS:
                if row[0] in actions:
                    trial = Trial(row, phase)
                    trial.step_rows()
                    print(
                        json.dumps({"cuts": sum(trial.cuts.values()), "failures": trial.failures})
                    )


def main(numbers, phases, quick):
    """Run the numbered actions from the given states and print one line of JSON for each."""
    table = rows()
    for number in numbers:
        for phase in phases:
            trial, steps = run_trial(table[number], phase, quick)
            cuts = [[way, state, trial.cuts[(way, state)]] for way, state in sorted(trial.cuts)]
            line = {
                "action": trial.name,
                "phase": phase,
                "code": trial.code,
                "cuts": cuts,
                "failures": trial.failures,
            }
            line["wear"] = trial.wear
            line["steps"] = steps
            print(json.dumps(line))
