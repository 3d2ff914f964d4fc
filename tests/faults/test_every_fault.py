"""Every fault of the hazard table in drawn sessions: its permitted effect on the tyre, the required record, and the generated page."""

import pytest
from rimward.simulation.plant import line
from rimward.simulation.plant.faults import FAULTS, bound_pa
from rimward_protocol import causes

from tests.faults.fault_table import PAGE, SEED, SESSIONS, drawn, outcome, rows_of, sound
from tests.faults.fault_table import line as table_line

RANGE_LOW_PA, RANGE_HIGH_PA = 500_000, 900_000

# What must be the first thing recorded in at least so many of 100 sessions. Restated from the hazard table, not taken from the kernels.
TOLD = {
    "gate_stuck_on": (55, {causes.GATE_ELEMENT_STUCK, causes.RISING_WHILE_OFF}),
    "relay_stuck_on": (5, {causes.RELAY_STUCK}),
    "both_stuck_on": (
        60,
        {
            causes.RISING_WHILE_OFF,
            causes.OVER_PRESSURE,
            causes.INDEPENDENT_CUTOFF,
            causes.GATE_ELEMENT_STUCK,
        },
    ),
    "hose_pulled_off": (65, {causes.HOSE_OR_TYRE, causes.NOT_RISING, causes.AIR_BUDGET}),
    "fast_puncture": (
        80,
        {
            causes.NOT_RISING,
            causes.HOSE_OR_TYRE,
            causes.LEAKING,
            causes.AIR_BUDGET,
            causes.WRONG_VOLUME,
        },
    ),
    "a_stuck": (85, {causes.SENSOR_A_FROZEN, causes.SENSORS_DISAGREE}),
    "b_stuck": (80, {causes.SENSOR_B_FROZEN, causes.SENSORS_DISAGREE}),
    "a_open": (
        90,
        {causes.SENSOR_A_RANGE},
    ),  # promise T6; the rest end as not-ready, while the fill waits for a person
    "a_shorted": (75, {causes.SENSOR_A_RANGE}),
    "b_open": (90, {causes.SENSOR_B_RANGE}),
    "b_shorted": (75, {causes.SENSOR_B_RANGE}),
    "a_offset": (75, {causes.SENSORS_DISAGREE}),
    "b_offset": (
        70,
        {causes.SENSORS_DISAGREE},
    ),  # more are refused before any air, for a zero that has moved
    "a_tap_blocked": (70, {causes.SENSORS_DISAGREE, causes.SENSOR_A_FROZEN}),
    "b_tap_blocked": (65, {causes.SENSORS_DISAGREE, causes.SENSOR_B_FROZEN}),
    "both_taps_blocked": (60, {causes.NOT_RISING, causes.INDEPENDENT_CUTOFF, causes.AIR_BUDGET}),
    "barometer_dead": (80, {causes.BAROMETER, causes.SENSORS_DISAGREE}),
    "brown_out": (85, {causes.SENSOR_SUPPLY}),
    "timer_late": (30, {causes.TICK_LATE}),
    "timer_skipped": (45, {causes.TICK_LATE}),  # counts only while something is switched on
    "wrong_wheel": (
        10,
        {causes.WRONG_VOLUME, causes.AIR_BUDGET},
    ),  # most are asked about, not stopped
}


# Where the present guard does not hold the ceiling of set D in every session of this world, and in how many of them: a limit that FAULTS.md and
# README state. It has to be held exactly: a change in either direction is a change of the guard or of the world.
NOT_HELD: dict[str, int] = {}


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_outcome_of_fault(name):
    rows = rows_of(name)
    fault = FAULTS[name]
    assert len(rows) == SESSIONS
    over = rows[(rows["set_d"] == 1) & ((rows["exceed"] > 0) | (rows["ratio"] >= 1.0))]
    assert len(over) == NOT_HELD.get(name, 0), (
        f"air went in at or above the ceiling in {over['number'].tolist()} of campaign {SEED}"
    )
    if fault.set == "R":
        assert not rows["set_d"].any()
        high = [drawn(name, *row).high for row in sound()]
        bounds = {is_high: bound_pa(name, line(), is_high) for is_high in (False, True)}
        if fault.bound_by == "range":
            bounds = {False: RANGE_LOW_PA, True: RANGE_HIGH_PA}
        assert all(
            peak <= bounds[is_high] for is_high, peak in zip(high, rows["peak_pa"], strict=True)
        )
    else:
        assert rows["set_d"].all()
    if name in TOLD:
        share, wanted = TOLD[name]
        told = sum(
            count
            for count, word in outcome(name)["causes"]
            if word in {causes.row_of(cause)[1] for cause in wanted}
        )
        assert told * 100 >= share * len(rows), outcome(name)["causes"]


def test_a_session_over_the_ceiling_would_be_seen():
    """The check itself: a wrong profile, which the firmware cannot know of, does pass the wheel's ceiling, and is counted."""
    rows = rows_of("wrong_profile")
    assert (rows["exceed"] > 0).sum() >= 5 and rows["ratio"].max() > 1.02


def test_the_page_is_current():
    shown = {
        text.split(":")[0].strip("| "): text
        for text in PAGE.read_text().splitlines()
        if ": " in text and text.startswith("| ")
    }
    stale = [name for name in FAULTS if shown.get(name) != table_line(outcome(name))]
    assert not stale, "run python -m tests.faults.fault_table --write"
