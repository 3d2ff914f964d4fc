"""The processor stopped dead (SIGSTOP) at many moments of a fill: the pulses end, power is off within 20 ms of plant time, and stays off."""

from collections.abc import Iterator

import pytest
from rimward.simulation.person import Person
from rimward.simulation.plant import layout as k
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator

from tests.unit.linkbench import profile

POWER_OFF_S = 0.020
COAST_S = 0.100  # the pump's own inertia, after its power is off
WHILE = 250  # ticks halted, half a second with the run control held


@pytest.fixture
def filling() -> Iterator[VirtualInflator]:
    """A fill under way, air going in."""
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        person.bring(profile())
        person.choose(Scenario().wheel_id())
        inflator.hands.run = True
        assert inflator.until(lambda v: v.powered and v.plant.tyre_pa > 20000, 60.0)
        yield inflator


def halt(inflator: VirtualInflator) -> tuple[float, float]:
    """Stop the firmware for half a second: (seconds until the last moment with power, rise of the tyre after the coast)."""
    assert inflator.firmware is not None
    inflator.firmware.halt()
    start = inflator.now_s
    last, coasted = 0.0, 0.0
    for _ in range(WHILE):
        inflator.tick()
        if inflator.powered:
            last = inflator.now_s - start
        if inflator.now_s - start <= POWER_OFF_S + COAST_S:
            coasted = inflator.plant.manifold_pa
    rise = inflator.plant.manifold_pa - coasted
    inflator.firmware.go_on()
    return last, rise


@pytest.mark.parametrize("moment", range(8))
def test_power_is_off_within_20_ms(filling: VirtualInflator, moment: int) -> None:
    filling.advance(
        0.002 * moment + 0.1 * (moment // 4)
    )  # both edges of the pulse and moments between
    assert filling.drive & k.GATE
    took, rise = halt(filling)
    assert 0 < took <= POWER_OFF_S
    assert rise <= 0
    assert filling.firmware is not None and filling.firmware.halted_ticks >= WHILE - 1


def test_it_does_not_go_on_by_itself(filling: VirtualInflator) -> None:
    """The run control is held throughout; the guard detects the gap and latches."""
    halt(filling)
    filling.advance(0.05)
    powered = 0
    for _ in range(1000):
        filling.tick()
        powered += filling.powered
    assert powered == 0
    status = Person(filling).status()
    assert status["cause"] == "tick-late" and status["state"] == "tripped"


def test_halted_again_and_again(filling: VirtualInflator) -> None:
    """At any rhythm each halt switches off within the time, and the ceiling is never passed."""
    worst = 0.0
    for _ in range(5):
        if filling.drive & k.GATE:
            worst = max(worst, halt(filling)[0])
        filling.advance(0.3)
    assert 0 < worst <= POWER_OFF_S
    assert filling.plant.peak_pa < 440000


def test_dead_for_good_and_started_again(filling: VirtualInflator) -> None:
    """A dead processor switches the air off at once; after its reset it is idle, with no known tyre and no fill."""
    filling.power_cycle()
    off = 0.0
    start = filling.now_s
    for _ in range(1500):
        filling.tick()
        if filling.powered:
            off = filling.now_s - start
    assert off <= POWER_OFF_S
    status = Person(filling).status()
    assert status["state"] == "idle" and status["tyre_pa"] is None and status["ceiling_pa"] == 0
