"""The fault table: every name of the requirement is there, every plant fault does something, every residual one stays in its bound."""

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.faults import FAULTS, bound_pa, events

# The requirement's list, restated here so that a row lost from the table is noticed.
REQUIRED = [
    "gate_stuck_on",
    "relay_stuck_on",
    "both_stuck_on",
    "solenoid_leaking",
    "vent_blocked",
    "hose_kinked",
    "hose_pulled_off",
    "hose_cracked",
    "hose_attached",
    "hose_detached",
    "core_stuck_shut",
    "core_stuck_open",
    "slow_puncture",
    "fast_puncture",
    "blow_off",
    "a_stuck",
    "a_open",
    "a_shorted",
    "a_offset",
    "a_drift",
    "a_noisy",
    "a_late",
    "a_tap_blocked",
    "b_stuck",
    "b_open",
    "b_shorted",
    "b_offset",
    "b_drift",
    "b_noisy",
    "b_late",
    "b_tap_blocked",
    "both_drift",
    "both_taps_blocked",
    "barometer_dead",
    "barometer_wrong",
    "air_sensor_dead",
    "timer_late",
    "timer_skipped",
    "processor_halted",
    "reset_mid_fill",
    "brown_out",
    "tyre_over_full",
    "wrong_wheel",
    "wrong_profile",
    "line_pressure_high",
    "operator_hammering",
    "link_flooded",
    "neck_blocked",
    "pump_runs_on",
    "valve_shuts_late",
]
RESIDUAL = {
    "both_stuck_on",
    "both_drift",
    "both_taps_blocked",
    "neck_blocked",
    "pump_runs_on",
    "wrong_wheel",
    "wrong_profile",
}
SCHEDULED = sorted(name for name, fault in FAULTS.items() if fault.effects)


def session(name=None, severity=0.7, ticks=3000):
    """Words and true bits of a fill on the line in the high range, a rest, a vent, the second valve alone; a fault comes at tick 400."""
    rows = events(name, 400, severity) if name else ()
    make = compressor if name and FAULTS[name].compressor_only else line
    plant = Plant(make(tyre_pa=150e3), seed=2, faults=rows, compiled=True)
    detached = name == "hose_attached"
    out = []
    for i in range(ticks):
        drive = 3 if i < 900 else k.VENT if 2000 < i < 2500 else k.RELAY if i > 2600 else 0
        controls = k.RUN | k.RANGE_HIGH | (0 if detached else k.ATTACHED)
        out.append((*plant.tick(drive, controls), round(plant.tyre_pa, 3)))
    return out


def test_every_required_fault_is_in_the_table_and_no_other():
    assert sorted(FAULTS) == sorted(REQUIRED)


def test_sets_layers_and_reasons():
    for name, fault in FAULTS.items():
        assert fault.name == name
        assert fault.set == ("R" if name in RESIDUAL else "D")
        assert fault.text and fault.reason
        assert (fault.bound_by in ("cutoff", "range")) == (fault.set == "R")
        assert fault.layer in ("plant", "processor", "operator", "link")
        assert fault.effects or fault.flags or name == "processor_halted"
        assert not (fault.effects and fault.layer != "plant")


def test_bounds_are_the_top_of_the_cutoff_band():
    for name, fault in FAULTS.items():
        low, high = bound_pa(name, line()), bound_pa(name, line(), high_range=True)
        assert (low, high) == (
            (550e3, 990e3) if fault.bound_by in ("cutoff", "range") else (None, None)
        )


@pytest.fixture(scope="module")
def healthy():
    return session()


@pytest.mark.parametrize("name", SCHEDULED)
def test_fault_changes_the_world_and_not_before_its_time(name, healthy):
    faulty = session(name)
    if name == "hose_attached":
        assert (
            faulty[-1][-1] > faulty[399][-1] + 1000.0
        )  # a hose that was off lets the tyre fill once attached
        return
    assert (
        FAULTS[name].compressor_only or faulty != healthy
    )  # the healthy one is a line: see test_plant_parts
    if not FAULTS[name].from_start:
        assert faulty[:400] == healthy[:400]


@pytest.mark.parametrize("name", SCHEDULED)
def test_fault_given_an_end_leaves_all_fields_healthy(name):
    plant = Plant(compressor(), seed=1, faults=events(name, 5, 0.5, 10))
    for _ in range(7):
        plant.tick(0, 0)
    assert tuple(plant.F) != k.HEALTHY
    for _ in range(20):
        plant.tick(0, 0)
    assert tuple(plant.F) == k.HEALTHY


def test_severity_runs_from_low_to_high_and_both_signs():
    kink = [events("hose_kinked", 0, s)[0][2] for s in (0.0, 0.5, 1.0)]
    assert kink == pytest.approx([0.01, 0.0547723, 0.3], rel=1e-6)
    offset = [events("a_offset", 0, s)[0][2] for s in (0.0, 0.49, 0.5, 1.0)]
    assert offset[0] == -200e3 and offset[3] == 200e3
    assert offset[1] < 0.0 < offset[2]
    assert FAULTS["timer_late"].flag("late_us", 0.0) == 500.0
    assert FAULTS["timer_late"].flag("late_us", 1.0) == pytest.approx(20000.0)


def test_brown_out_passes_by_itself():
    rows = events("brown_out", 100, 1.0)
    assert [row[0] for row in rows] == [100, 350]
    assert rows[1][2] == 1.0


def test_faults_there_from_the_start_ignore_the_tick():
    assert events("line_pressure_high", 700, 1.0)[0][0] == 0


@pytest.mark.parametrize("make", [compressor, line])
@pytest.mark.parametrize("severity", [0.1, 0.9])
@pytest.mark.parametrize("name", sorted(n for n in RESIDUAL if FAULTS[n].effects))
def test_residual_faults_stay_in_their_bound_without_any_guard(name, severity, make):
    """A board that simply keeps filling in the low range: the independent cutoff alone holds the tyre under its bound."""
    plant = Plant(make(tyre_pa=400e3), seed=3, faults=events(name, 10, severity), compiled=True)
    for _ in range(15_000):
        plant.tick(3, k.RUN | k.ATTACHED)
    assert plant.peak_pa < bound_pa(name, plant.params)
    assert plant.S[k.S_IN_KG] > 0.0
