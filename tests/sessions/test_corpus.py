"""Every recorded session replays: as recorded, and to the decisions that were committed."""

import json

import pytest
from rimward.sessions import read_session, replay
from rimward.sessions.decisions import compare, decisions
from rimward.sessions.visit import cold_pa

from tests.sessions.cases import CASES
from tests.sessions.record import load, reference_path

NAMES = [case.name for case in CASES]


def test_there_are_at_least_sixty_different_cases():
    assert len(set(NAMES)) == len(NAMES) >= 60


@pytest.mark.parametrize("name", NAMES)
def test_recorded_session_replays_to_its_reference(name):
    log = read_session(load(name))
    assert log.spans, "a session without a full-rate span shows nothing"
    differences = compare(json.loads(reference_path(name).read_text()), decisions(log))
    assert not differences, "\n".join(differences)


@pytest.mark.parametrize("name", NAMES)
def test_inflator_decided_what_the_replay_decides(name):
    result = replay(read_session(load(name)))
    assert result.identical, "\n".join(row.line() for row in result.differences)
    assert (
        result.ticks > 1500
    )  # three seconds: the shortest ends with a trip soon after its self-test


def test_a_changed_decision_is_told_with_tick_state_cause_and_pressure():
    name = NAMES[0]
    reference = json.loads(reference_path(name).read_text())
    reference[3][1] = "GATE"
    (line,) = compare(reference, decisions(read_session(load(name))))
    for part in (f"tick {reference[3][0]}", "GATE", "bar", "cause"):
        assert part in line


def test_a_filled_tyre_is_known_cold_and_one_that_was_left_half_filled_is_not():
    """The controller's cold pressure is the target within its tolerance, 0.04 bar, though the tyre reads more while its air is warm."""
    log = read_session(load("road-28"))
    assert abs(cold_pa(log) - log.profile["target_pa"]) < 4_000
    assert log.end["tyre_pa"] > cold_pa(log)
    assert cold_pa(read_session(load("walks-away"))) is None
