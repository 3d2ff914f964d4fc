"""G10 on the guard, tick by tick with literal limits: bursts before a tyre was seen, the chuck off, and what is forgotten."""

import pytest
from rimward_fw.kernels import guard
from rimward_protocol import kernel_slots as slots

from tests.trust.guard_guided import S, code, inputs
from tests.trust.guard_model import BIAS, FILL_VENT, KEY_LOW, RUN, WANT

GATE, RELAY, READY, CHUCK_OFF = 1, 2, 16, 64
LINE, A_SEALED = 8, 1
CEILING, BAND = 400_000, 10_000
LOW = 55_000  # under 60 kPa only the return to ambient counts


class Rig:
    """A guard whose manifold reads what the test says, with no sensor error but a code's noise."""

    def __init__(self, flags=A_SEALED | LINE, ceiling=CEILING):
        self.g, self.noise = [0] * slots.WORDS_G, 0
        guard.boot(self.g)
        self.limits = {
            "flags": flags,
            "ceil_pa": ceiling,
            "band_pa": BAND,
            "rise_pa": 500,
            "norise": 30_000,
            "test_len": 50,
        }
        self.run(0, 60, hold=False)

    def tick(self, pa, hold=True, want=True, other=None):
        self.noise ^= 1  # a code that never changes is a frozen sensor
        x = inputs(
            **{"conn": 1} | self.limits,
            sw=KEY_LOW | (RUN if hold else 0) | (WANT if want else 0),
            a=code(pa) + self.noise,
            b=code(pa if other is None else other) + self.noise,
        )
        return guard.step(self.g, x)

    def vent(self, pa):
        """One tick with the vent open."""
        self.noise ^= 1
        codes = {"a": code(pa) + self.noise, "b": code(pa) + self.noise}
        return guard.step(
            self.g, inputs(**{"conn": 1} | self.limits | codes, sw=KEY_LOW | FILL_VENT)
        )

    def run(self, pa, ticks, hold=True, want=True):
        return [self.tick(pa, hold, want) for _ in range(ticks)]

    def ready(self, pa=0):
        """Attach, then hold until the self-test has passed."""
        self.run(pa, 400, hold=False)
        outs = self.run(pa, 250, want=False)
        assert outs[-1] & READY, outs[-1]

    def word(self, name):
        return self.g[S[name]]


def burst(rig, low, high, after):
    """The source runs as long as the guard allows; the reading steps from `low` to `high`, then to `after`. Return the ticks it ran."""
    ran = 0
    for pa in [low] + [high] * 20:
        if not rig.tick(pa) & GATE:
            break
        ran += 1
    rig.run(high, 15, want=False)  # the filters reach it
    rig.run(after, 60, want=False)
    return ran


def lengths(outs):
    """Runs of ticks with the gate on, and the gaps between them."""
    found, last = [], None
    for bit in (out & GATE for out in outs):
        if bit == last:
            found[-1] += 1
        else:
            found.append(1)
        last = bit
    first = outs[0] & GATE == 0
    return found[first::2], found[1 - first :: 2]


def test_a_line_opens_in_bursts_with_sixty_ticks_between_that_lengthen_while_nothing_comes():
    rig = Rig()
    rig.ready()
    runs, gaps = lengths(rig.run(0, 900))
    assert runs[:10] == [3, 4, 5, 6, 7, 8, 9, 10, 11, 11] and min(gaps[1:-1]) >= 60


def test_a_burst_that_delivers_air_is_not_lengthened_further():
    rig = Rig()
    rig.ready()
    for n in range(4):
        assert burst(rig, 10_000 * n, 10_000 * n + 10_000, 10_000 * n + 10_000) == 3
    assert rig.word("burst_more") == 0


def test_a_compressor_is_not_held_to_bursts():
    rig = Rig(flags=A_SEALED)
    rig.ready()
    assert sum(out & GATE for out in rig.run(0, 200)) > 190


@pytest.mark.parametrize(
    ("after", "seen", "lift"), [(116_000, 0, 100_000), (71_000, 0, 0), (68_000, 1, 0), (0, 0, 0)]
)
def test_flow_is_seen_where_a_burst_loses_more_than_half_of_its_rise_and_stands(after, seen, lift):
    """At ambient again it is a leak. A rise of which a quarter is lost bounds nothing."""
    rig = Rig()
    rig.ready(20_000)
    assert burst(rig, 20_000, 120_000, after) == 3
    assert rig.word("seen") == seen
    assert rig.word("lift") == pytest.approx(lift, abs=3_000)


def test_a_leak_is_no_tyre():
    """A half-seated chuck empties the manifold with a time constant of 0.5 s: it falls to half, but never rests."""
    rig = Rig()
    rig.ready()
    burst(rig, 0, 150_000, 150_000)
    for n in range(400):
        rig.tick(int(150_000 * 2.718 ** (-n / 250)), want=False)
    assert rig.word("seen") == 0


def test_no_burst_begins_while_the_reading_runs_off():
    """A chuck half seated on a tyre at its ceiling: the hose empties, and once it is pushed on the fall ends as one into a tyre does."""
    rig = Rig()
    rig.ready()
    burst(rig, 0, 150_000, 150_000)
    falls = (150_000 * 2.718 ** (-n / 250) for n in range(250))
    ran = [rig.tick(int(pa), want=n > 30) & GATE for n, pa in enumerate(falls)]
    assert not any(ran)
    assert sum(out & GATE for out in rig.run(55_000, 60)) == 3
    assert rig.word("seen") == 0


@pytest.mark.parametrize(("fall", "begins"), [(5, 1), (80, 0)])
def test_a_burst_begins_while_the_reading_moves_by_less_than_a_64th_in_16_ticks(fall, begins):
    """At 50 to 54 kPa that is 0.8 kPa in 16 ticks: 5 Pa a tick are 80 Pa, 80 are 1.3 kPa."""
    rig = Rig()
    rig.ready(54_000)
    ran = [rig.tick(54_000 - fall * n, want=n > 60) & GATE for n in range(66)]
    assert any(ran) == bool(begins)


def test_a_burst_from_ambient_shows_no_flow_the_next_one_does():
    """A chuck that is put on a full tyre while the hose empties into the room stops the fall just as a tyre does."""
    rig = Rig()
    rig.ready()
    burst(rig, 0, 100_000, 40_000)
    rig.run(40_000, 40, want=False)
    assert rig.word("seen") == 0
    burst(rig, 40_000, 140_000, 60_000)
    rig.run(60_000, 40, want=False)
    assert rig.word("seen") == 1


@pytest.mark.parametrize(("pa", "seen"), [(14_000, 0), (16_500, 1)])
def test_ambient_is_up_to_five_kilopascal_over_the_guard_band(pa, seen):
    rig = Rig()
    rig.ready(pa)
    burst(rig, pa, 100_000, 30_000)
    rig.run(30_000, 40, want=False)
    assert rig.word("seen") == seen


def test_flow_that_was_seen_is_forgotten_at_ambient():
    rig = Rig()
    rig.ready(20_000)
    burst(
        rig, 20_000, 120_000, 39_000
    )  # 29 kPa over the guard band: too little to be missed as a tyre
    rig.run(39_000, 40, want=False)
    assert rig.word("seen") == 1
    rig.run(0, 60, want=False)
    assert (rig.word("seen"), rig.word("stood")) == (0, 0)


def test_no_air_while_the_chuck_may_be_coming_off():
    rig = stood(LOW)
    rig.run(LOW, 60, hold=False)
    rig.ready(LOW)
    rig.run(LOW, 300, want=False)
    outs = rig.run(0, 90, want=False)
    assert not any(out & CHUCK_OFF for out in outs) and rig.word("at_ambient") > 0
    assert not rig.tick(0) & GATE


def test_the_self_test_waits_until_the_reading_stands():
    """A chuck just attached: the manifold fills at 40 kPa/s, which is not a stuck element."""
    rig = Rig(flags=A_SEALED)
    rig.run(0, 400, hold=False)
    outs = [rig.tick(80 * n, hold=n > 100, want=False) for n in range(1_000)]
    assert not any(out & (RELAY | GATE) for out in outs) and rig.word("cause") == 0
    assert rig.run(80_000, 300, want=False)[-1] & READY


@pytest.mark.parametrize(
    ("pa", "ceiling", "ran", "runs"),
    [
        (185_000, 400_000, 0, True),
        (195_000, 400_000, 0, False),
        (275_000, 400_000, 1, True),
        (285_000, 400_000, 1, False),
        (27_000, 151_000, 0, True),
        (27_000, 146_000, 0, False),
        (33_000, 240_000, 0, False),
    ],
)
def test_a_first_burst_may_lift_a_hose_by_200_kpa_and_one_that_was_let_down_by_110(
    pa, ceiling, ran, runs
):
    """400 kPa less 10 of guard band and 200 of a burst: 190 kPa; less 110, from under 30 kPa or after a burst that lifted nothing: 280 kPa."""
    rig = Rig(ceiling=ceiling)
    rig.ready(10_000)
    rig.run(pa, 400, want=False)
    rig.g[S["ran"]] = ran
    assert any(out & GATE for out in rig.run(pa, 3)) is runs
    assert runs or rig.word("why") == 2


@pytest.mark.parametrize(("pa", "runs"), [(325_000, True), (335_000, False)])
def test_then_it_is_one_and_a_half_times_the_largest_rise(pa, runs):
    """A rise of 40 kPa that stays: 400 - 10 - 60 = 330 kPa."""
    rig = Rig()
    rig.ready(150_000)
    burst(rig, 150_000, 190_000, 190_000)
    assert rig.word("seen") == 0 and rig.word("lift") == pytest.approx(40_000, abs=1_500)
    rig.g[S["lift"]] = 40_000
    rig.run(190_000, 2, hold=False)
    rig.run(pa, 100, hold=False)
    assert any(out & GATE for out in rig.run(pa, 3)) is runs


def stood(pa=200_000):
    """A rig whose reading has been `pa` for a second with the source off."""
    rig = Rig(flags=A_SEALED)
    rig.run(pa, 500, hold=False)
    return rig


def offs(rig, pa, ticks, hold=False):
    return [n for n, out in enumerate(rig.run(pa, ticks, hold=hold, want=False)) if out & CHUCK_OFF]


def test_chuck_off_after_a_fifth_of_a_second_at_ambient():
    found = offs(stood(LOW), 0, 300)
    assert len(found) == 1 and 99 <= found[0] <= 130, "100 ticks after the filters have fallen"


@pytest.mark.parametrize(
    ("pa", "off"), [(11_000, True), (11_900, True), (12_200, False), (20_000, False)]
)
def test_ambient_means_guard_band_and_two_kilopascal(pa, off):
    assert bool(offs(stood(LOW), pa, 600)) is off


@pytest.mark.parametrize(
    ("before", "after", "off"),
    [
        (300_000, 98_000, True),
        (300_000, 103_000, False),
        (61_500, 19_000, True),
        (58_500, 18_000, False),
    ],
)
def test_a_fall_to_less_than_a_third_is_a_chuck_taken_off_at_once(before, after, off):
    """From 60 kPa on: no tyre on the chuck lets the reading fall so far."""
    found = offs(stood(before), after, 600)
    assert bool(found) is off and (not off or found[0] < 30)


def test_while_air_comes_and_just_after_no_fall_counts():
    rig = stood()
    rig.ready(200_000)
    rig.run(200_000, 30)
    outs = rig.run(0, 40, want=False)  # the valves still shut
    assert not any(out & CHUCK_OFF for out in outs[:39])
    assert any(out & CHUCK_OFF for out in outs[39:] + rig.run(0, 30, want=False))


def test_a_hose_let_down_by_the_vent_is_no_chuck_taken_off():
    """Its level says nothing then; once it stands again it does."""
    rig = stood()
    for pa in range(200_000, 50_000, -5_000):
        rig.vent(pa)
    assert rig.word("stood") == 1
    assert offs(rig, 50_000, 100) == [] and rig.word("stood") == 1
    assert offs(rig, 50_000, 200) == [] and rig.word("stood") > BIAS


@pytest.mark.parametrize(("pa", "off"), [(39_800, False), (40_300, True)])
def test_only_a_reading_that_stood_over_thirty_kilopascal_can_go(pa, off):
    """A nearly empty tyre is not a detached chuck: 30 kPa and the guard band."""
    assert bool(offs(stood(pa), 0, 600)) is off


def test_a_reading_that_did_not_stand_is_no_tyre():
    rig = Rig(flags=A_SEALED)
    rig.ready()
    rig.run(150_000, 100)  # while air comes
    assert offs(rig, 0, 600, hold=True) == [] and rig.word("stood") == 0


def test_the_tyre_is_forgotten_and_run_must_be_released():
    rig = stood()
    rig.run(200_000, 60, hold=False)
    rig.ready(200_000)
    rig.run(200_000, 30)
    rig.run(200_000, 400, want=False)
    assert rig.word("ran") == 1 and rig.word("stood") > BIAS
    found = offs(rig, 0, 400, hold=True)
    assert len(found) == 1
    assert [
        rig.word(name) for name in ("seen", "stood", "lift", "burst_more", "ran", "test", "armed")
    ] == [0] * 7
    assert not any(out & (GATE | READY) for out in rig.run(0, 200)), "held on: nothing runs"
    rig.run(0, 5, hold=False)
    outs = rig.run(0, 250)
    assert outs[0] & 32 and outs[-1] & READY, "the next connection begins with its self-test"


def rising(flags=A_SEALED | LINE, step=9_000, after=100, hold=True, alone=False):
    """Outputs of a rig whose source ran, then rested for `after` ticks, while the reading rises by `step` Pa a tick from 20 kPa, and the rig."""
    rig = Rig(flags=flags)
    rig.ready(20_000)
    while rig.tick(20_000) & GATE == 0:
        pass
    rig.run(20_000, after, hold, want=False)
    level = 20_000 if alone else None
    return [rig.tick(20_000 + step * n, hold, False, level) for n in range(25)], rig


def test_a_valve_stuck_open_or_a_chuck_put_on_a_tyre_ends_a_lines_connection():
    """9 kPa a tick: the relay opens 10 ticks after the rise begins, and the next connection begins with the self-test."""
    outs, rig = rising()
    first = next(n for n, out in enumerate(outs) if out & CHUCK_OFF)
    assert first <= 10 and rig.word("cause") == 0
    assert all(out & RELAY for out in outs[:first]) and not any(out & RELAY for out in outs[first:])
    assert [rig.word(name) for name in ("ran", "test", "armed")] == [0] * 3
    rig.run(20_000, 400, hold=False)
    assert rig.run(20_000, 50, want=False)[-1] & 32, "the self-test"


@pytest.mark.parametrize(
    "how",
    [
        {"flags": A_SEALED},  # a pump has no relay's valve
        {"step": 900},  # 14 kPa in 16 ticks: a person sits down
        {"after": 30, "step": 5_000},  # the valves of the burst still shut
        {"hold": False},  # the relay is open
        {"alone": True},  # a transducer that jumps
    ],
    ids=str,
)
def test_other_rises_end_no_connection(how):
    assert not any(out & CHUCK_OFF for out in rising(**how)[0])


def test_a_new_connection_forgets_as_well():
    rig = Rig()
    rig.ready(20_000)
    burst(rig, 20_000, 120_000, 45_000)
    rig.run(45_000, 40, want=False)
    assert rig.word("seen") == 1
    rig.limits["conn"] = 2
    rig.run(0, 60, hold=False)
    assert rig.word("seen") == 0 and rig.word("conn_g") == 2


def test_bias_is_the_one_of_the_guard():
    assert guard._BIAS == BIAS
