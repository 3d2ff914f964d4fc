"""The bench's fill with the derived guard and the simulated fixture, tick by tick. Limits are literals here."""

from array import array

import pytest
from rimward.kernels import bench as build
from rimward.proof import bench
from rimward.simulation.plant import Plant
from rimward.simulation.plant import layout as k
from rimward_fw.bench import app as firmware
from rimward_fw.bench import fill as bench_fill
from rimward_fw.kernels import order
from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words

BOTH, RUN, CONFIRM = 6, 1, 64
IDLE, READY, SELF_TEST, FILLING, SEAT_PAUSE, HOLDING, DONE, STOPPED, TRIPPED = (
    0,
    1,
    3,
    6,
    7,
    12,
    13,
    14,
    15,
)
HOLDS = {
    12: 250,
    13: 250,
    14: 500,
    15: 250,
}  # ticks in place of minutes; the real ones have a test of their own


class Rig:
    """Both kernels and a plant. `run` moves time; hands are the caller's."""

    def __init__(self, test, holds=HOLDS, ramp=None, seed=1, **over):
        from rimward.wheels.keys import Key, Ring
        from rimward_protocol import layout

        ring = Ring((Key(b"k" * 32, "2025-01-01"),), "here")
        fields = layout.unpack(layout.PROFILE, bench.profile_of(test, ring))
        here = {
            "ambient_pa": 101_325,
            "t0_ck": 29_315,
            "guard_pa": 16_000,
            "conn": 1,
            "gain_a": 15_625,
            "gain_b": 15_625,
        }
        here |= {"off_a": -98_675, "off_b": -200_000, "job": 1}
        code, xs, ys = firmware.limits(fields, here)
        assert code == 0
        self.guard, self.plant = (
            build.guard_module(),
            Plant(bench.plant_of(test, **over), seed=seed, compiled=True),
        )
        self.g, self.x = (
            array("i", [0] * len(kernel_words.GUARD_STATE)),
            array("i", [0] * len(kernel_words.GUARD_INPUT)),
        )
        self.f, self.y = (
            array("i", [0] * len(kernel_words.FILL_STATE)),
            array("i", [0] * len(kernel_words.FILL_INPUT)),
        )
        self.guard.boot(self.g)
        self.x[6:], self.y[6:] = array("i", xs), array("i", ys)
        for slot, ticks in holds.items():
            self.y[slot] = ticks
        if ramp:
            self.y[bench_fill._RAMP] = ramp
        self.drive, self.out, self.held, self.confirm, self.levels = k.VENT, 0, False, True, []
        self.run(100)

    def tick(self):
        reading = self.plant.tick(
            self.drive, (k.RUN if self.held else 0) | k.RANGE_HIGH | k.ATTACHED
        )
        x = self.x
        x[slots.X_A], x[slots.X_B], x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = (
            reading.a,
            reading.b,
            3,
            16,
            reading.supply,
        )
        x[slots.X_SW] = (
            reading.switches & 8
            | BOTH
            | (RUN if self.held else 0)
            | (CONFIRM if self.confirm and self.f[slots.F_STATE] == SEAT_PAUSE else 0)
        )
        self.out = order.couple(self.guard.step, bench_fill.step, self.g, x, self.f, self.y)
        self.drive = self.out & 7 | (k.VENT if self.out & 512 else 0)
        if self.f[slots.F_STATE] == HOLDING and (
            not self.levels or self.levels[-1] != self.f[bench_fill._LEVEL]
        ):
            self.levels.append(self.f[bench_fill._LEVEL])

    def run(self, ticks, until=None):
        for n in range(ticks):
            if until and until(self):
                return n
            self.tick()
        assert until is None, (
            f"state {self.f[slots.F_STATE]}, reason {self.f[slots.F_REASON]}, level {self.f[bench_fill._LEVEL]}, low {self.f[bench_fill._LOW]}, cause {self.g[slots.G_CAUSE]}, why {self.g[slots.G_WHY]}"
        )
        return ticks

    @property
    def venting(self):
        return bool(self.drive & k.VENT)


FAST = 1600  # 50 kPa/s
WATER = bench.Test(500_000)


def ended(rig):
    return rig.f[slots.F_STATE] in (DONE, STOPPED, TRIPPED)


def test_retention_with_the_real_times_holds_five_minutes_and_vents():
    """Seat a minute, limit a minute, 566 kPa for 302 s: 110 % of 5 bar and U on top for five minutes (ISO 4210-2, from memory)."""
    rig = Rig(WATER, holds={})
    rig.held = True
    at_level = most = 0
    ticks = 0
    while not ended(rig):
        rig.tick()
        ticks += 1
        at_level = at_level + 1 if rig.plant.tyre_pa >= 566e3 - 500 else 0
        most = max(most, at_level)
        assert ticks < 300_000
    assert (rig.f[slots.F_STATE], rig.f[slots.F_REASON]) == (DONE, 3)
    assert most >= 300 * 500
    assert rig.levels == [250_000, 500_000, 566_000]
    assert rig.plant.peak_pa < 574e3
    assert 450 * 500 < ticks < 540 * 500
    rig.run(2000)
    assert rig.venting and rig.plant.tyre_pa < 5e3


def test_steps_go_up_to_the_top_and_no_further():
    rig = Rig(bench.Test(500_000, top_pa=620_000), ramp=FAST)
    rig.held = True
    rig.run(60_000, ended)
    assert rig.f[slots.F_STATE] == DONE
    assert rig.levels == [250_000, 500_000, 566_000, 591_000, 616_000, 620_000]
    assert 620e3 <= rig.plant.peak_pa < 632e3


@pytest.mark.parametrize("air_ml", [100, 250, 1200])
@pytest.mark.parametrize("seed", [1, 2])
def test_ramp_is_no_faster_than_5_kpa_a_second_and_levels_are_not_overshot(air_ml, seed):
    rig = Rig(bench.Test(500_000, air_ml=air_ml), seed=seed)
    rig.held = True
    rig.run(2_000, lambda r: r.f[slots.F_STATE] == FILLING)
    start, tyre = 0, []
    while rig.f[slots.F_STATE] == FILLING:
        rig.tick()
        tyre.append(rig.plant.tyre_pa)
        start += 1
    pace = [b - a for a, b in zip(tyre, tyre[2500::1])]  # over five seconds
    assert max(pace) < 5 * 5_000 + 12_000
    assert 240e3 / (start / 500) < 5_300
    rig.run(300)
    assert rig.plant.peak_pa < 250e3 + 10e3


def filled_to(pa, test=WATER, **over):
    rig = Rig(test, ramp=FAST, **over)
    rig.held = True
    rig.run(60_000, lambda r: r.plant.tyre_pa > pa)
    return rig


def test_letting_go_stops_and_vents_in_the_same_tick_and_nothing_goes_on():
    rig = filled_to(300e3)
    rig.held = False
    rig.tick()
    assert rig.out & 3 == 0 and rig.venting
    rig.run(500)
    rig.held = True
    rig.run(5000)
    assert (
        (rig.f[slots.F_STATE], rig.f[slots.F_REASON]) == (STOPPED, 1)
        and rig.plant.tyre_pa < 5e3
        and rig.venting
    )


def test_nothing_rises_before_the_run_control_is_held_and_the_vent_stands_open():
    rig = Rig(WATER)
    rig.run(3000)
    assert rig.f[slots.F_STATE] == READY and rig.venting and rig.plant.peak_pa < 100


def test_beads_wait_for_a_person():
    rig = Rig(WATER, ramp=FAST)
    rig.confirm, rig.held = False, True
    rig.run(20_000, lambda r: r.f[slots.F_STATE] == SEAT_PAUSE)
    rig.run(20_000)
    assert rig.f[slots.F_STATE] == SEAT_PAUSE and 249e3 < rig.plant.tyre_pa < 262e3
    rig.confirm = True
    rig.run(20_000, lambda r: r.f[bench_fill._LEVEL] == 500_000)


@pytest.mark.parametrize("blow_off_pa", [200e3, 420e3, 551e3])
def test_a_release_stops_the_air_at_once_and_is_recorded_before_the_vent_opens(blow_off_pa):
    rig = Rig(WATER, ramp=FAST, holds={**HOLDS, 14: 30_000}, blow_off_pa=blow_off_pa)
    rig.held = True
    rig.run(60_000, lambda r: r.plant.S[k.S_BLOWN] > 0)
    assert rig.run(100, lambda r: r.f[slots.F_STATE] == STOPPED) < 50
    assert rig.f[slots.F_REASON] == 7
    assert not rig.venting
    assert 200 < rig.run(400, lambda r: r.venting) <= 252
    rig.run(2000)
    assert rig.out & 3 == 0


def test_a_leak_that_the_source_cannot_keep_up_with_ends_the_test():
    rig = filled_to(400e3)
    rig.plant.F[k.F_PUNCTURE] = 0.08e-8
    rig.run(30_000, ended)
    assert (rig.f[slots.F_STATE], rig.f[slots.F_REASON]) == (STOPPED, 50) and rig.venting


def test_a_break_in_the_hold_starts_the_time_again():
    rig = Rig(WATER, ramp=FAST, holds={**HOLDS, 14: 5_000})
    rig.held = True
    rig.run(60_000, lambda r: r.f[bench_fill._LEVEL] == 566_000 and r.f[bench_fill._HELD] > 4_000)
    rig.plant.F[k.F_PUNCTURE] = 0.05e-8
    rig.run(2_000, lambda r: r.f[bench_fill._LOW] < 564_000)
    rig.plant.F[k.F_PUNCTURE] = 0.0
    assert rig.f[bench_fill._HELD] == 0
    assert rig.run(60_000, ended) > 5_000
    assert rig.f[slots.F_STATE] == DONE


def test_a_latched_cause_vents_and_ends_it():
    rig = filled_to(300e3)
    rig.plant.F[k.F_A_FORCE] = 0.0
    rig.run(300, lambda r: r.f[slots.F_STATE] == TRIPPED)
    assert rig.f[slots.F_REASON] in (16, 18) and rig.venting and rig.out & 3 == 0
    rig.run(3000)
    assert rig.plant.tyre_pa < 5e3


def test_air_budget_ends_a_test_that_swallows_too_much():
    rig = Rig(WATER, ramp=FAST)
    rig.x[slots.X_AIR_MAX] = 20_000
    rig.x[slots.X_CHK] = slots.check_word(rig.x)
    rig.held = True
    rig.run(60_000, ended)
    assert (
        (rig.f[slots.F_STATE], rig.f[slots.F_REASON]) == (STOPPED, 5)
        and rig.venting
        and rig.plant.peak_pa < 300e3
    )


def test_a_second_test_begins_from_nothing():
    rig = filled_to(300e3)
    rig.held = False
    rig.run(1000)
    rig.x[slots.X_CONN], rig.y[slots.Y_CONN] = 2, 2
    rig.x[slots.X_CHK] = slots.check_word(rig.x)
    rig.run(100)
    assert rig.f[slots.F_STATE] == READY
    rig.held = True
    rig.run(60_000, ended)
    assert rig.f[slots.F_STATE] == DONE


def test_every_stored_word_and_sum_stays_small():
    """Extremes of what guard and main loop can hand over: no word leaves 30 bits, and nothing raises."""
    for mean in (-600_000, 0, 1_000_000, 3_590_000):
        for job in (0, 4):
            rig = Rig(WATER)
            y = rig.y
            y[slots.Y_READ], y[slots.Y_MEAN], y[slots.Y_JOB], y[slots.Y_SW], y[slots.Y_OUT] = (
                3_590_000,
                mean,
                job,
                RUN,
                19,
            )
            for _ in range(600):
                bench_fill.step(rig.f, y)
                assert all(-(2**29) <= v < 2**29 for v in rig.f)


@pytest.mark.parametrize("missing", ["limit above the last level", "seat above the limit"])
def test_arming_refuses_a_test_that_makes_no_sense(missing):
    from rimward.wheels.keys import Key, Ring
    from rimward_protocol import layout, replies

    fields = layout.unpack(
        layout.PROFILE, bench.profile_of(WATER, Ring((Key(b"k" * 32, "2025-01-01"),), "here"))
    )
    if missing.startswith("limit"):
        fields["limit_pa"] = 520_000
    else:
        fields["limit_pa"] = 200_000
    here = {"ambient_pa": 101_325, "t0_ck": 29_315, "guard_pa": 16_000, "conn": 1, "job": 1}
    assert firmware.limits(fields, here)[0] == replies.PROFILE_TARGET


def test_a_last_level_too_near_the_ceiling_is_refused():
    from rimward.wheels.keys import Key, Ring
    from rimward_protocol import layout, replies

    fields = layout.unpack(
        layout.PROFILE, bench.profile_of(WATER, Ring((Key(b"k" * 32, "2025-01-01"),), "here"))
    )
    fields["ceiling_pa"] = 567_000
    here = {"ambient_pa": 101_325, "t0_ck": 29_315, "guard_pa": 16_000, "conn": 1, "job": 1}
    assert firmware.limits(fields, here)[0] == replies.TARGET_ABOVE_STOP
