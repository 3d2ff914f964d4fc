"""A valve counts as stuck where both transducers rise; one that rises alone is a fault of that transducer. Tick by tick, limits as literals."""

from collections.abc import Iterable

import pytest
from rimward_fw.kernels import guard
from rimward_protocol import causes
from rimward_protocol import kernel_slots as slots

from tests.trust.guard_guided import S, code, inputs
from tests.trust.guard_model import KEY_LOW, READY, RUN, TESTING, VENT, WANT

AT = 200_000  # Pa at which everything rests


class Rig:
    """A guard with two transducers that show what the test says, each with a code's noise."""

    def __init__(self) -> None:
        self.g, self.noise, self.conn = [0] * slots.WORDS_G, 0, 1
        guard.boot(self.g)
        self.run([(0, 0)] * 60, sw=KEY_LOW)

    def run(
        self, pairs: Iterable[tuple[float, float]], sw: int = KEY_LOW | RUN, **more: int
    ) -> list[int]:
        """Output of a tick for each pair of pressures."""
        outs = []
        for a, b in pairs:
            self.noise ^= 1  # a code that never changes is a frozen sensor
            codes = {"a": code(int(a)) + self.noise, "b": code(int(b)) + self.noise}
            outs.append(guard.step(self.g, inputs(sw=sw, **codes | more)))
        return outs

    def testing(self) -> None:
        """At rest on a tyre, in the first half of the self-test."""
        self.run([(AT, AT)] * 400, sw=KEY_LOW)
        assert self.run([(AT, AT)] * 20)[-1] & TESTING

    def off(self) -> None:
        """The source has run in this connection and rests for so long that a rise counts."""
        self.testing()
        assert self.run([(AT, AT)] * 250)[-1] & READY
        self.run([(AT, AT)] * 3, sw=KEY_LOW | RUN | WANT)
        self.run([(AT, AT)] * 300)
        assert self.word("ran") == 1 and self.cause == 0

    def word(self, name: str) -> int:
        return self.g[S[name]]

    @property
    def cause(self) -> int:
        return self.word("cause")


def ramp(a: float, b: float, ticks: int) -> list[tuple[float, float]]:
    """Both move from rest by so much in so many ticks, then stand for as long."""
    shares = [min(n / ticks, 1.0) for n in range(1, 2 * ticks + 1)]
    return [(AT + a * share, AT + b * share) for share in shares]


@pytest.mark.parametrize(("a", "b"), [(4_000, 4_000), (4_200, 2_200), (2_200, 4_200)])
def test_in_the_self_test_both_rise_where_an_element_is_stuck(a: int, b: int) -> None:
    rig = Rig()
    rig.testing()
    outs = rig.run(ramp(a, b, 20))
    assert rig.cause == causes.GATE_ELEMENT_STUCK and outs[-1] & VENT


@pytest.mark.parametrize(("a", "b"), [(6_500, 0), (0, 6_500), (6_500, -4_000)])
def test_in_the_self_test_one_that_rises_alone_is_a_sensor(a: int, b: int) -> None:
    rig = Rig()
    rig.testing()
    outs = rig.run(ramp(a, b, 20))
    assert rig.cause == causes.SENSORS_DISAGREE and not outs[-1] & VENT


def test_in_the_self_test_a_little_of_one_alone_is_neither() -> None:
    rig = Rig()
    rig.testing()
    rig.run(ramp(4_500, 0, 20))
    assert rig.cause == 0


@pytest.mark.parametrize(
    ("a", "b", "cause"),
    [
        (7_000, 7_000, causes.RISING_WHILE_OFF),
        (7_000, 3_800, causes.RISING_WHILE_OFF),
        (8_000, 0, causes.SENSORS_DISAGREE),
        (0, 8_000, causes.SENSORS_DISAGREE),
        (6_500, 0, 0),
        (5_500, 5_500, 0),
    ],
)
def test_with_the_source_off(a: int, b: int, cause: int) -> None:
    rig = Rig()
    rig.off()
    outs = rig.run(ramp(a, b, 100))
    assert rig.cause == cause
    assert bool(outs[-1] & VENT) == (cause == causes.RISING_WHILE_OFF)


def test_a_tap_that_lags_is_waited_for() -> None:
    """1 kPa a tick, and B follows with 20 ms: A alone has risen by more than 6 kPa for a while."""
    rig = Rig()
    rig.off()
    a = [AT + 500.0 * n for n in range(60)]
    b, late = AT * 1.0, []
    for pa in a:
        b += (pa - b) / 10
        late.append(b)
    assert max(x - y for x, y in zip(a, late, strict=True)) > 4_000
    seen = []
    for pair in zip(a, late, strict=True):
        rig.run([pair])
        seen.append(rig.cause)
    assert [cause for cause in dict.fromkeys(seen) if cause] == [causes.RISING_WHILE_OFF]


def test_a_stuck_valve_outweighs_a_sensor_that_was_named_first() -> None:
    rig = Rig()
    rig.off()
    rig.run(ramp(8_000, 0, 100))
    assert rig.cause == causes.SENSORS_DISAGREE
    outs = rig.run([(AT + 8_000 + 80 * n, AT + 80 * n) for n in range(100)])
    assert rig.cause == causes.RISING_WHILE_OFF and outs[-1] & VENT


@pytest.mark.parametrize("which", ["a", "b"])
def test_one_shorted_to_its_supply_is_out_of_range_at_once(which: str) -> None:
    rig = Rig()
    rig.testing()
    for _ in range(4):
        codes = {"a": code(AT), "b": code(AT)} | {which: 65_000}
        guard.step(rig.g, inputs(sw=KEY_LOW | RUN, **codes))
    assert rig.cause == (causes.SENSOR_A_RANGE if which == "a" else causes.SENSOR_B_RANGE)


def test_a_dead_barometer_is_named_as_that() -> None:
    """A is sealed: without the barometer it reads 1 bar too much."""
    rig = Rig()
    rig.testing()
    outs = rig.run([(AT, AT)] * 249, ambient=0)
    assert rig.cause == 0 and not any(out & READY for out in outs)
    rig.run([(AT, AT)] * 2, ambient=0)
    assert rig.cause == causes.BAROMETER


def attached(pa: float) -> list[tuple[float, float]]:
    """A hose attached to a tyre through a slow core: it fills in half a second, B follows through its tap with 20 ms."""
    a, b, rows = 0.0, 0.0, []
    for _ in range(300):
        a += (pa - a) / 40
        b += (a - b) / 10
        rows.append((a, b))
    return rows


def test_a_lagging_tap_while_a_hose_fills_is_no_disagreement() -> None:
    rows = attached(440_000)
    assert sum(a - b > 30_000 for a, b in rows) > 50, "for longer than the window"
    rig = Rig()
    rig.run(rows, sw=KEY_LOW)
    assert rig.cause == 0
    rig.run([(440_000, 409_000)] * 200, sw=KEY_LOW)
    assert rig.cause == causes.SENSORS_DISAGREE


@pytest.mark.parametrize(("air", "cause"), [(False, 0), (True, causes.SENSORS_DISAGREE)])
def test_after_air_the_slope_excuses_nothing(air: bool, cause: int) -> None:
    """Both fall by 0.5 kPa a tick, B 35 kPa under A."""
    rig = Rig()
    if air:
        rig.off()
    else:
        rig.testing()
    falls = [(AT - 500 * n, AT - 500 * n - 35_000) for n in range(75)]
    rig.run(falls, sw=KEY_LOW)
    assert rig.cause == cause
