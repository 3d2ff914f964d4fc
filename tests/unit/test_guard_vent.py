"""The vent and the guard's watch for flow (G10): a fall that the vent makes is no flow into a tyre, and no air comes while it is open."""

import pytest
from rimward_fw.kernels import guard, order
from rimward_protocol import kernel_slots as slots

from tests.trust.guard_guided import code, inputs
from tests.trust.guard_model import FILL_VENT, KEY_LOW, RUN, WANT
from tests.unit.test_guard_tyre import A_SEALED, GATE, Rig, burst


class Vented(Rig):
    """A guard whose fill controller may open the vent."""

    vent = False

    def tick(self, pa, hold=True, want=True):
        self.noise ^= 1
        bits = KEY_LOW | RUN * hold | WANT * want | FILL_VENT * self.vent
        same = code(pa) + self.noise
        return guard.step(self.g, inputs(**{"conn": 1} | self.limits, sw=bits, a=same, b=same))

    def open(self, pa, ticks=3):
        self.vent = True
        outs = self.run(pa, ticks)
        self.vent = False
        return outs


def lifted():
    """A burst into a closed manifold that stays: 100 kPa."""
    rig = Vented()
    rig.ready(20_000)
    assert burst(rig, 20_000, 120_000, 120_000) == 3
    return rig


@pytest.mark.parametrize("wait", [0, 1, 20, 100])
def test_a_fall_that_the_vent_makes_is_no_flow(wait):
    rig = lifted()
    rig.run(120_000, wait, want=False)
    rig.open(120_000)
    rig.run(60_000, 400, want=False)
    assert rig.word("seen") == 0


@pytest.mark.parametrize("wait", [0, 1, 20, 100])
def test_the_same_fall_without_the_vent_is(wait):
    rig = lifted()
    rig.run(120_000, wait, want=False)
    rig.run(60_000, 400, want=False)
    assert rig.word("seen") == 1


def test_a_burst_with_the_vent_open_meanwhile_teaches_nothing():
    """It let in 100 kPa, but the vent let them out before they were read: bursts get no longer, and the bound stays."""
    rig = Vented()
    rig.ready()
    rig.run(0, 3)
    rig.open(0)
    rig.run(1_000, 200, want=False)
    assert (rig.word("burst_more"), rig.word("lift"), rig.word("seen")) == (0, 0, 0)


def test_the_next_burst_waits_until_the_vent_has_shut_and_the_reading_shows_it():
    rig = Vented()
    rig.ready()
    assert not any(out & GATE for out in rig.open(0, 5))
    outs = rig.run(0, 70)
    assert [out & GATE for out in outs].index(GATE) == 59  # 120 ms after the last open tick


def test_the_vent_stops_a_running_source_of_either_kind():
    for flags in (A_SEALED, A_SEALED | 8):
        rig = Vented(flags=flags)
        rig.ready()
        assert rig.tick(0) & GATE
        assert not rig.open(0, 1)[0] & GATE


def test_after_a_burst_of_its_own_the_watch_goes_on():
    rig = lifted()
    rig.open(100_000)
    rig.run(40_000, 300, want=False)
    assert burst(rig, 40_000, 140_000, 80_000) == 3
    assert rig.word("seen") == 1


def test_the_guard_gets_the_vent_from_the_fill_controllers_bit():
    """Handed over like WANT, fresh in every tick."""
    seen = []

    def fill(_f, _y):
        return bits

    def keep(_g, x):
        seen.append(x[slots.X_SW])
        return 0

    for bits in range(8):
        x = [0, 0, 0xFFFF if bits & 1 else 5, *[0] * 21]
        order.couple(keep, fill, [0] * slots.WORDS_G, x, [0] * 67, [0] * 30)
    assert [s & (WANT | FILL_VENT) for s in seen] == [
        WANT * (b & 1) | FILL_VENT * (b >> 1 & 1) for b in range(8)
    ]
