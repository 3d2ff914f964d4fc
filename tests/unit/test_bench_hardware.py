"""The bench as a variant of the circuit: its band, its order of limits, its rules. Limits are literals here."""

import pytest
from rimward_fw.bench import app as firmware

from hardware import bench, cutoff, hazards, rules
from hardware.circuit import load, ohms
from hardware.params import PARAMS

PARTS = bench.parts()


def test_the_whole_band_lies_between_10_and_11_bar():
    low, nominal, high = bench.band()
    assert 1_000_000 < low < nominal < high <= 1_100_000


def test_limits_come_in_their_order():
    assert len(bench.margins()) == 3
    assert all(m["margin_pa"] > 10_000 for m in bench.margins())


def test_an_open_key_contact_or_another_position_trips_far_lower():
    assert bench.band(False)[2] < 550_000


def test_the_smallest_fixture_stays_under_110_percent_after_a_trip():
    assert bench.band()[2] + bench.overshoot_pa() < 1_100_000


def test_vent_and_relief_hold_the_highest_supply_with_both_valves_stuck_open():
    assert bench.stuck_pa(vent=True) < 50_000
    assert bench.stuck_pa(vent=False) < 1_184_500 * 1.1


def test_pressure_parts_are_rated_for_it():
    """16 bar valves and 20 bar plenum of the inflator against the highest the bench's relief valve lets through."""
    assert bench.ladder()[-1].high_pa * 1.2 < 1_600_000


@pytest.mark.parametrize(
    "rule",
    [
        r
        for r in rules.RULES
        if r not in (rules.off_with_any_wire_broken, rules.off_when_stuck_high)
    ],
    ids=lambda r: r.__name__,
)
def test_electrical_rules_hold_on_the_varied_circuit(rule):
    check = rule(PARTS)
    assert check.ok, check.found


def test_what_the_two_slow_rules_look_at_is_not_varied():
    """Broken wires at the gate and the coils: the bench changes only values of the cutoff, transducers, key and plug."""
    touched = {ref for ref in PARTS if PARTS[ref].pins != load()[ref].pins}
    assert touched == {"S3"}
    assert {PARTS[ref].sheet for ref in bench.VARIED} <= {"cutoff", "sense", "panel"}


def test_third_key_position_closes_all_three_poles_and_no_other_contact_is_wired():
    pins = PARTS["S3"].pins
    assert {net for pin, net in pins.items() if pin.endswith("_BENCH")} == {
        "KEY_REF",
        "KEY_LOW_W",
        "KEY_HIGH_W",
    }
    assert len(pins) == 6


def test_latch_holds_with_the_bench_s_key_contact():
    v = cutoff.latch(PARTS)
    assert v["drive"] > 1.5 and v["threshold_v"] < v["empty_signal_v"] / 2


def test_daily_button_lowers_the_threshold_to_what_the_bench_reaches():
    r = {ref: ohms(PARTS[ref].value) for ref in ("R35", "R36", "R37", "R38", "R32")}
    held = bench.pressure(
        cutoff.threshold(
            r["R35"], r["R36"], r["R37"], 1 / r["R38"], 1.0, cutoff.monitor_s() + 1 / r["R32"]
        )
    )
    assert 200_000 < held < bench.band(False)[0]


def test_firmware_and_hardware_state_the_same_figures():
    assert firmware.CEILING_PA == bench.CEILING_PA
    assert firmware.RIG["supply_pa"] == bench.PARAMS_BENCH["supply"].nom
    # 1/100 of 1/64 mL of free air a tick for each bar of absolute supply, as in the rows of `rig`
    assert firmware.RIG["delivery_per_bar"] == pytest.approx(
        bench.PARAMS_BENCH["inlet_c"].nom * 1000 * 0.002 * 64 * 100, rel=0.01
    )
    scale = firmware.GAIN * 65536 * 0.8 / 512
    assert scale == pytest.approx(bench.FULL_SCALE_PA, rel=1e-3)
    assert firmware.GAIN * round(0.1 * 65536) / 512 + firmware.OFF_VENTED == pytest.approx(
        0, abs=100
    )
    assert firmware.BAND_PA == 0.01 * bench.FULL_SCALE_PA


def test_virtual_bench_lies_within_the_hardware_s_worst_ends():
    from rimward.proof.bench import Test, plant_of

    plant = plant_of(Test(500_000))
    params = bench.PARAMS_BENCH
    assert params["inlet_c"].low <= plant.line_c <= params["inlet_c"].high
    assert params["supply"].low <= plant.line_pa <= params["supply"].high
    assert params["relief"].low <= plant.relief_high_pa <= params["relief"].high
    assert params["air_ml"].low <= plant.tyre_ml <= params["air_ml"].high
    assert plant.cutoff_high_pa == pytest.approx(bench.band()[1], abs=500)
    assert plant.vent_c <= PARAMS["vent_c"].high


def test_water_stores_thousands_of_times_less_than_air():
    air, water = bench.energy_j(1_150), bench.water_j(1_150)
    assert air == pytest.approx(1_565, rel=0.01) and air / water > 1_000


def test_hazards_of_the_bench_are_in_the_table():
    rows = [row for row in hazards.load() if row.part.startswith("Proof bench")]
    assert len(rows) >= 6
    assert all(hazards.test_exists(test) for row in rows for test in row.tests)
