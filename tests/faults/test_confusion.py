"""The confusion matrix: its page is current, and its figures are those of the records."""

import numpy as np
import pytest
from rimward.simulation.campaign import diagnosis
from rimward.simulation.campaign.play import RECORD
from rimward.simulation.plant.faults import FAULTS
from rimward_protocol import causes, codes, enumerations

from tests.faults.confusion import PAGE, SESSIONS, figures, line


@pytest.mark.parametrize("name", ["a_noisy", "hose_pulled_off", "valve_shuts_late"])
def test_the_page_is_current(name):
    assert line(figures(name)) in PAGE.read_text().splitlines(), (
        "run python -m tests.faults.confusion --write"
    )


def test_the_page_has_every_fault():
    shown = [
        text.split("|")[1].strip()
        for text in PAGE.read_text().splitlines()
        if f"(of {SESSIONS})" not in text and text.count("|") == 8
    ]
    assert [name for name in shown if name in FAULTS] == list(FAULTS)


def test_right_causes_are_causes_of_faults_that_exist_and_at_most_six_pairs():
    words = {row[1] for row in enumerations.CAUSES}
    for fault, right in diagnosis.RIGHT.items():
        assert fault.removesuffix(diagnosis.LINE) in FAULTS and set(right) <= words
        assert len(right) == 1 or diagnosis.pair_of(right) in diagnosis.PAIRS
    assert len(diagnosis.PAIRS) <= 6 and all(len(pair) == 2 for pair in diagnosis.PAIRS)


def planted(*first):
    rows = np.zeros(len(first), RECORD)
    for row, (cause, at) in zip(rows, first, strict=True):
        row["cause"], row["cause_at"], row["at"] = cause, at, 100
    return rows


def test_a_leaking_valve_lets_air_back_through_a_pump_and_in_from_a_line():
    for on_line, fault in ((False, "solenoid_leaking"), (True, "solenoid_leaking (line)")):
        assert diagnosis.name_of("solenoid_leaking", on_line) == fault
        assert diagnosis.is_right(fault, "hose-or-tyre") is not on_line
        assert diagnosis.is_right(fault, "rising-while-off") is on_line
    assert diagnosis.name_of("a_noisy", True) == "a_noisy"


def test_nothing_reported_is_harmless_only_where_the_tyre_is_as_shown():
    rows = np.zeros(8, RECORD)
    rows["state"], rows["target_pa"] = codes.FILL_DONE, 300_000
    rows["pin"] = (1, 1, 1, 0, 0, 0, 0, 1)
    rows["settled_pa"] = 300_000 + 1_000 * np.array((9.0, 11, -11, 25, 27, -34, -36, 0))
    rows["state"][7] = codes.STOPPED
    assert diagnosis.harmless(rows).tolist() == [
        True,
        False,
        False,
        True,
        False,
        True,
        False,
        False,
    ]
    one = diagnosis.figures(rows, "air_sensor_dead", np.full(8, 0.5))
    assert one["reported"] == 0.0 and one["reported_or_harmless"] == pytest.approx(3 / 8)


def test_figures_count_what_the_records_say():
    frozen, disagree = causes.SENSOR_A_FROZEN, causes.SENSORS_DISAGREE
    rows = planted((frozen, 200), (frozen, 150), (disagree, 120), (frozen, 50), (0, 0))
    one = diagnosis.figures(rows, "a_stuck", np.full(5, 0.5))
    assert one["words"] == {
        "sensor-a-frozen": 2,
        "nothing": 2,
        "sensors-disagree": 1,
    }  # what came before the fault is not the fault's
    assert one["reported"] == pytest.approx(0.6) and one["right_of_reported"] == pytest.approx(
        2 / 3
    )
    other = diagnosis.figures(
        planted((frozen, 200), (disagree, 200)), "a_offset", np.array([0.0, 1.0])
    )
    assert diagnosis.precision([one, other]) == {
        "sensor-a-frozen": pytest.approx(2 / 3),
        "sensors-disagree": pytest.approx(1 / 2),
    }


def test_the_size_from_which_a_fault_is_reported():
    sizes = np.linspace(0.0, 1.0, 101)
    assert diagnosis.reported_from(sizes, sizes >= 0.5) == pytest.approx(0.47, abs=0.02)
    assert diagnosis.reported_from(sizes, sizes > 2.0) is None
    assert diagnosis.reported_from(sizes, sizes >= 0.0) == 0.0
