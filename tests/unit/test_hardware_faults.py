"""Opens and shorts in operation: every one has a verdict, none is left unseen, and a sample of the runs is done again here.

The whole survey is run by `python -m tests.rig` and `python -m hardware.opinion --write`; the file that it wrote is compared with the circuit here.
"""

from dataclasses import replace

import pytest

from hardware import chain, gate_faults, opinion, single_faults
from hardware.chain import Fault
from hardware.circuit import load
from hardware.single_faults import DAILY, HOLDS, NEXT_FILL, RESIDUAL, STOPS
from hardware.spice import GATE_REFS

PARTS = load()
KEPT = opinion.kept()


def run_fault(fault):
    return gate_faults.run_fault(fault) if fault in GATE else single_faults.run_fault(fault)


CHAIN = single_faults.opens(PARTS) + single_faults.shorts(PARTS) + single_faults.high_range(PARTS)
GATE = gate_faults.faults(PARTS)


def test_every_part_is_in_a_deck_or_has_a_rule():
    decks = set(chain.in_deck(PARTS)) | set(GATE_REFS) | {"R2", "M1"}
    ruled = gate_faults.by_rule()
    assert decks | set(ruled) == set(PARTS)
    assert decks & set(ruled) == {
        "K1",
        "U9",
    }  # coil and inputs in the deck; contact and bus by rule
    assert len([ref for refs, _, _ in gate_faults.BY_RULE for ref in refs]) == len(ruled)


def test_the_file_has_every_open_and_short_of_the_circuit_and_none_is_left_unseen():
    """A file of another circuit would lack some of them: `python -m hardware.opinion --write`."""
    assert {f.name for f in CHAIN + GATE} == set(KEPT)
    assert len(CHAIN) > 450 and len(GATE) > 45
    assert [name for name, row in KEPT.items() if row[0] == RESIDUAL] == []
    assert {row[0] for row in KEPT.values()} == {STOPS, HOLDS, NEXT_FILL, DAILY}


def test_a_fault_that_takes_a_way_to_stop_away_is_shown_by_something():
    for name, (verdict, lost, shown) in KEPT.items():
        if verdict in (NEXT_FILL, DAILY):
            assert lost and shown, name
        if verdict == HOLDS:
            assert not lost, name


@pytest.mark.parametrize("fault", CHAIN[::23] + GATE[::7], ids=lambda f: f.name)
def test_a_sample_comes_out_as_in_the_file(fault):
    found = run_fault(fault)
    assert opinion.fault_rows((found,))[0][1:] == KEPT[fault.name]


NAMED = [
    (
        "collector and base of Q4 joined: the vent still opens, the daily test sees the coil",
        Fault(nets=("Q4_B", "Q5_PULL")),
        DAILY,
        ("coil", "latch"),
    ),
    (
        "collector and base of Q13 joined: the coil still drops",
        Fault(nets=("Q13_B", "Q8_PULL")),
        DAILY,
        ("bleed", "latch"),
    ),
    (
        "one filter resistor breaks in use: no charge is left behind",
        Fault(pin=("R34", "1")),
        HOLDS,
        (),
    ),
    ("the wire of C breaks in use", Fault(pin=("J5", "2")), STOPS, None),
    ("C's return breaks in use", Fault(pin=("J5", "3")), STOPS, None),
    (
        "Q5 joined through: seen the same day",
        Fault(nets=("COIL_P", "V12_RUN")),
        DAILY,
        ("coil", "latch"),
    ),
    ("Q8 joined through", Fault(nets=("V12_COIL", "VENT_P")), DAILY, ("bleed", "latch")),
    ("the comparator's inputs bridged", Fault(nets=("REF", "SIG_C")), NEXT_FILL, None),
    (
        "the threshold pulled to 12 V",
        Fault(nets=("REF", "V12_CUT")),
        NEXT_FILL,
        ("coil", "bleed", "latch"),
    ),
    ("R36 breaks in use", Fault(pin=("R36", "1")), NEXT_FILL, ("coil", "bleed", "latch")),
    (
        "U5 joined through: everything still works, and the supply is seen",
        Fault(nets=("V12_REG", "V5_CUT")),
        HOLDS,
        (),
    ),
    (
        "an input of the comparator loses its wire and keeps its charge",
        Fault(pin=("U4", "INA-")),
        DAILY,
        ("coil", "bleed", "latch"),
    ),
    (
        "the key's resistor shorted, high range: the threshold is the supply",
        Fault(nets=("KEY_REF", "REF"), high=True),
        NEXT_FILL,
        ("coil", "bleed", "latch"),
    ),
    ("R36 breaks in use, high range", Fault(pin=("R36", "1"), high=True), NEXT_FILL, None),
    (
        "one resistor of the processor's view shorted",
        Fault(nets=("MON_C_1", "SIG_C_RAW")),
        HOLDS,
        (),
    ),
]


@pytest.mark.parametrize(
    "fault,verdict,lost", [row[1:] for row in NAMED], ids=[row[0] for row in NAMED]
)
def test_faults_that_once_silenced_the_cutoff(fault, verdict, lost):
    found = single_faults.run_fault(fault)
    assert found.verdict == verdict, found
    assert lost is None or found.lost == lost


def test_u5_joined_through_shows_at_the_next_fill():
    assert "c_supply_v" in single_faults.run_fault(Fault(nets=("V12_REG", "V5_CUT"))).shown


def test_the_sound_circuit_loses_nothing_and_shows_nothing():
    sound = single_faults.run_fault(chain.SOUND)
    assert sound.verdict == HOLDS and sound.lost == () == sound.shown
    high = single_faults.run_fault(Fault(high=True))
    assert high.verdict == HOLDS and high.lost == () == high.shown
    assert single_faults.daily_fails(PARTS, chain.SOUND) == ()


def test_survey_can_find_a_silent_fault(monkeypatch):
    """With one transistor for coil and vent and a processor that does not look, a short of it stays unseen until the daily test, and without that for good."""
    one = {
        **PARTS,
        "Q13": replace(PARTS["Q13"], pins={**PARTS["Q13"].pins, "C": "NOWHERE"}),
        "R18": replace(PARTS["R18"], pins={"1": "Q8_G", "2": "Q5_PULL"}),
    }
    monkeypatch.setattr(single_faults, "load", lambda: one)
    found = single_faults.run_fault(Fault(nets=("Q4_B", "Q5_PULL")))
    assert found.verdict == DAILY and {"coil", "bleed"} <= set(found.lost)
    monkeypatch.setattr(single_faults, "daily_fails", lambda *_: ())
    assert single_faults.run_fault(Fault(nets=("Q4_B", "Q5_PULL"))).verdict == RESIDUAL


def test_the_gate_of_m1_open_keeps_it_on_until_the_self_test():
    found = gate_faults.run_fault(Fault(pin=("M1", "G")))
    assert found.verdict == NEXT_FILL and "self-test: gate" in found.shown


def test_one_bleed_resistor_open_still_ends_within_the_limit():
    assert gate_faults.run_fault(Fault(pin=("R3", "1"))).verdict == HOLDS
