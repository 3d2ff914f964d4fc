"""The check-out done in simulation: each step passes on the sound unit and detects each of its faults."""

import pytest
from rimward.simulation.plant import Plant, line
from rimward.simulation.plant import layout as k

from hardware import air, checkout_unit, cutoff, hazards, sheets
from hardware.checkout_sim import passes, trials
from hardware.checkout_unit import Unit

TRIALS = trials()
FAULTY = [(key, name) for key, t in TRIALS.items() for name in t.faults]


@pytest.mark.parametrize("key", TRIALS)
def test_step_passes_on_the_sound_unit(key):
    assert passes(key, Unit()), TRIALS[key].measure(Unit())


@pytest.mark.parametrize("key,name", FAULTY, ids=[f"{key}: {name}" for key, name in FAULTY])
def test_step_tells_the_fault_from_the_sound_unit(key, name):
    assert not passes(key, TRIALS[key].faults[name]), TRIALS[key].measure(TRIALS[key].faults[name])


def test_a_hazard_row_that_rests_on_a_step_is_there_and_names_this_test():
    rows = {row.id: row for row in hazards.load()}
    here = "tests/unit/test_hardware_checkout.py::test_step_tells_the_fault_from_the_sound_unit"
    resting = {row for t in TRIALS.values() for row in t.rows}
    assert resting <= set(rows)
    assert [
        row
        for row in ("H06", "H14", "H18", "H19")
        if here not in rows[row].tests or row not in resting
    ] == []


def test_printed_limits_are_those_of_the_trial():
    printed = {step.key: step.limit for step in sheets.checkout() if step.key}
    for key in ("trip_low", "trip_high", "test_button", "relief_low", "relief_high"):
        low, high = TRIALS[key].low, TRIALS[key].high
        assert sheets.both(low, up=True) in printed[key] and sheets.both(high) in printed[key]
    assert (
        f"{air.VENT_LIMIT:g} times" in printed["vent_flow"]
        and "0.3 V" in printed["coupling"]
        and "38 to 55 V" in printed["fly_back"]
    )
    assert TRIALS["coupling"].high == 0.3 and (TRIALS["fly_back"].low, TRIALS["fly_back"].high) == (
        38.0,
        55.0,
    )


def test_no_step_needs_more_air_than_its_source_gives():
    assert max(t.high for key, t in TRIALS.items() if t.unit == "Pa") < checkout_unit.HAND_PUMP_PA
    assert cutoff.test_band()[2] < 300_000


def test_what_the_steps_of_old_did_not_tell():
    """Release time with a slow limit passes a shorted clamp; drop-out passes a shorted capacitor; the vent opens before RV1 does."""
    assert not passes("relief_low", Unit(vent_fed=False))
    shorted = checkout_unit.with_value("C10", "150u")  # as good as a wire for one pulse
    assert passes("drop_out", shorted) or checkout_unit.drop_out_ms(shorted) < 10
    assert not passes("coupling", TRIALS["coupling"].faults["C10 joined through"])


def fall_ms(blocked, manifold_ml=60.0):
    """The daily test's fall in the simulated plant, hose shut, read by transducer B's true pressure."""
    plant = Plant(line(manifold_ml=manifold_ml, jitter_s=0.0), seed=3)
    plant.F[k.F_VENT_BLOCK] = blocked
    for _ in range(4000):
        plant.tick(k.GATE | k.RELAY, k.RUN | k.ATTACHED | k.LOCKNUT_SHUT)
        if plant.manifold_pa >= air.TEST_FROM_PA + 20_000:
            break
    times = []
    for _ in range(2000):
        plant.tick(k.VENT, k.RUN | k.ATTACHED | k.LOCKNUT_SHUT)
        times.append(plant.manifold_pa)
        if plant.manifold_pa < air.TEST_TO_PA:
            break
    begin = next(i for i, pa in enumerate(times) if pa < air.TEST_FROM_PA)
    return (len(times) - begin) * 2.0


@pytest.mark.parametrize("manifold_ml", [40.0, 90.0])
def test_half_clogged_vent_in_the_plant_takes_longer_than_the_limit(manifold_ml):
    sound = fall_ms(0.0, manifold_ml)
    assert fall_ms(0.5, manifold_ml) > air.VENT_LIMIT * sound
    assert fall_ms(0.1, manifold_ml) < air.VENT_LIMIT * sound


def test_a_vent_at_the_limit_still_holds_the_worst_supply_under_the_ceiling():
    assert max(air.clogged_gauge_pa(source) for source in (False, True)) < 400_000
    assert air.vented_gauge_pa(True, vent_c=0.34) > 550_000  # half clogged, which nothing measured
