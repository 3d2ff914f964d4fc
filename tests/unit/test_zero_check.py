"""Zero check at every arming: with the manifold open both readings far below the ambient pressure mean that both zeros have moved."""

import struct

import pytest
from rimward.simulation.person import Person
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator
from rimward_fw.control import arming
from rimward_protocol import codes

GUARD_BAND = 3


@pytest.mark.parametrize(
    ("reading_pa", "guard_pa", "calibrated", "low"),
    [
        (-10_000, 10_000, 0, False),
        (-10_001, 10_000, 0, True),
        (-5_000, 10_000, 2_000, False),
        (-5_001, 10_000, 2_000, True),
        (-7_000, 14_000, 2_000, False),
        (-7_001, 14_000, 2_000, True),
        (-5_001, 1_000, 2_000, True),  # never a narrower limit than half the class
        (-4_999, 1_000, 2_000, False),
        (12_000, 10_000, 2_000, False),
    ],
)
def test_the_limit_of_the_zero(reading_pa, guard_pa, calibrated, low):
    assert arming.zero_low(reading_pa, guard_pa, 10_000, calibrated) is low


@pytest.mark.parametrize(
    ("shift_pa", "day", "armed"),
    [(-8_000.0, 0, True), (-13_000.0, 0, False), (-3_000.0, 2_400, True), (-8_000.0, 2_400, False)],
)
def test_an_inflator_whose_zeros_have_moved_together_does_not_arm(shift_pa, day, armed):
    """Transducers that read low together are the one fault that their comparison cannot see."""
    with VirtualInflator(
        compressor(a_offset_pa=shift_pa, b_offset_pa=shift_pa), compiled=False
    ) as inflator:
        person = Person(inflator)
        if day:
            person.put(GUARD_BAND, struct.pack("<iI", 10_000, day))
        person.choose(bytes(8))
        status = person.status()
        assert (status["ceiling_pa"] > 0) is armed
        assert armed or (
            status["stop_cause"] == "zero-low" and "calibrate" in status["stop_cause_next"]
        )
        inflator.hands.run = True
        inflator.advance(1.5)
        assert armed or not inflator.out & codes.OUT_GATE
