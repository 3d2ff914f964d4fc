"""Shared by the tests of the plant: inputs, places and runs of ticks."""

from rimward.simulation.plant import layout as k

ON = k.GATE | k.RELAY
HOLD = k.RUN | k.ATTACHED
HIGH = HOLD | k.RANGE_HIGH
CALM = {"jitter_s": 0.0}
STILL = {"jitter_s": 0.0, "tyre_ua": 0.0, "tyre_growth_per_pa": 0.0}
AMB = 101325.0
ROOM = 293.15


def run(plant, ticks, drive=ON, controls=HIGH):
    for _ in range(ticks):
        last = plant.tick(drive, controls)
    return last


def ticks_until(plant, wanted, drive, controls=HIGH, most=5000):
    for i in range(1, most + 1):
        plant.tick(drive, controls)
        if wanted(plant):
            return i
    raise AssertionError("it never happened")
