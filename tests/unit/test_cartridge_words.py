"""A cartridge's verdict in words and as JSON: every line and key of given states, which notes end it and which only warn."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from rimward.limits.cartridge import verdict as module
from rimward.limits.cartridge.charge import Charge, Outcome, State
from rimward.limits.cartridge.verdict import Verdict, answer, assess_cartridge, sentences
from rimward.limits.ceiling import Note, Ride, Rim, Tyre
from rimward.limits.volume import Volumes, least_inside, stated

OUT = Outcome(
    just_after=State(-10.4, 400_000.4, 390_000.6, 380_000.4), just_after_band_pa=(350_000.4, 449_999.6),
    settled=State(20.4, 500_000.4, 480_000.6, 460_000.4), hottest=State(45.4, 599_999.6, 570_000.4, 550_000.6), ideal_pa=520_000.4,
    over_ceiling=True, largest_grams=11.25, may_be_liquid=False, past_validity=False,
)  # fmt: skip
CHARGE = Charge(16.5, Volumes(1.234, 1.456, 1.678), ride_altitude_max_m=2_400)
FULL = Verdict(CHARGE, OUT, 450_000, 490_000, (), (Note("some-id", "Some words."),))
LINES = """\
volume    1.23 L used (lowest); nominal 1.46 L, highest 1.68 L
at first  4.00 bar (58.0 psi) gauge with the gas at -10 °C, cold from the cartridge
          (from 3.50 bar (50.8 psi) to 4.50 bar (65.3 psi) for a gas of -20 to 0 °C)
settled   5.00 bar (72.5 psi) gauge at 20 °C
hottest   6.00 bar (87.0 psi) gauge at 45 °C and 2400 m
          (an ideal gas would settle at 5.20 bar (75.4 psi); the largest volume at 4.60 bar (66.7 psi))
ceiling   4.50 bar (65.2 psi) gauge where it settles, limit 4.90 bar (71.0 psi) on the ride; at most 11.25 g keep within both
OVER THE CEILING: do not use this cartridge on this wheel.
overnight estimate: 10 to 60 % of the gauge pressure is lost. Carbon dioxide leaks through rubber much faster than air: refill with air.
warning   some-id: Some words.""".splitlines()


def test_every_line_of_a_verdict() -> None:
    assert list(sentences(FULL)) == LINES
    inside = list(sentences(replace(FULL, outcome=replace(OUT, over_ceiling=False))))
    assert inside == [*LINES[:7], "within the ceiling", *LINES[8:]]


@pytest.mark.parametrize("known", [{"ceiling_pa": None}, {"limit_pa": None}])
def test_without_ceiling_or_limit_both_are_asked_for(known: dict[str, None]) -> None:
    lines = list(sentences(replace(FULL, **known)))
    assert lines[6] == "ceiling   unknown: give --rim and the pressures marked on rim and tyre"
    assert [line.split()[0] for line in lines[5:]] == ["(an", "ceiling", "overnight", "warning"]


def test_a_refusal_is_all_that_is_shown() -> None:
    refused = Verdict(None, None, None, None, (Note("some-id", "Some words."),), ())
    assert list(sentences(refused)) == ["REFUSED   some-id: Some words."]
    found = answer(refused)
    assert (found["status"], found["refusals"]) == (
        "refused",
        [{"id": "some-id", "text": "Some words."}],
    )
    given = {"status", "refusals", "warnings", "overnight_loss"}
    assert found["warnings"] == [] and {found[key] for key in found.keys() - given} == {None}


def test_every_key_of_an_answer() -> None:
    """Pascal to the nearest whole one, of the lowest volume where no other is named."""
    assert answer(FULL) == {
        "status": "ok", "gauge_pa": 500_000, "ideal_gauge_pa": 520_000,
        "states": {
            "just_after": {"gauge_pa": 400_000, "temp_c": -10.4, "nominal_volume_gauge_pa": 390_001, "high_volume_gauge_pa": 380_000, "band_pa": [350_000, 450_000]},
            "settled": {"gauge_pa": 500_000, "temp_c": 20.4, "nominal_volume_gauge_pa": 480_001, "high_volume_gauge_pa": 460_000},
            "hottest": {"gauge_pa": 600_000, "temp_c": 45.4, "nominal_volume_gauge_pa": 570_000, "high_volume_gauge_pa": 550_001},
        },
        "ceiling_pa": 450_000, "limit_pa": 490_000, "over_ceiling": True, "largest_grams_within_ceiling": 11.25, "grams": 16.5, "start": "seated",
        "volume_l": {"low": 1.234, "nominal": 1.456, "high": 1.678},
        "overnight_loss": {"low_percent": 10, "high_percent": 60, "basis": "estimate", "advice": module.LOSS_ADVICE},
        "refusals": [], "warnings": [{"id": "some-id", "text": "Some words."}],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "ceiling", "limit", "ids"),
    [
        ({}, 450_000, 490_000, ["over-ceiling"]), ({"over_ceiling": False}, 450_000, 490_000, []), ({"over_ceiling": None}, None, None, []),
        ({}, None, 490_000, []), ({}, 450_000, None, []), ({"over_ceiling": False, "may_be_liquid": True}, 1, 1, ["may-be-liquid"]),
        ({"past_validity": True}, 450_000, 490_000, ["over-ceiling", "past-validity"]),
    ],
)  # fmt: skip
def test_what_the_gas_is_warned_of(
    changed: dict[str, bool], ceiling: int | None, limit: int | None, ids: list[str]
) -> None:
    notes = list(module._warnings(replace(OUT, **changed), CHARGE, ceiling, limit, None))
    assert [note.id for note in notes] == ids
    for note in notes:
        if note.id == "over-ceiling":
            assert note.text == (
                "This settles at 5.00 bar (72.5 psi) with a ceiling of 4.50 bar (65.2 psi), and reads 6.00 bar (87.0 psi) at 45 °C and 2400 m with "
                "a limit of 4.90 bar (71.0 psi). Do not use it on this wheel."
            )


def test_the_pair_s_own_notes_follow_but_for_two_that_say_nothing_of_gas() -> None:
    ids = ("ride-not-stated", "iso-minimum-pressure", "other")
    pair: Any = SimpleNamespace(
        refusals=[Note("refused", "Why.")], warnings=[Note(one, "Words.") for one in ids]
    )
    notes = list(module._warnings(OUT, CHARGE, None, None, pair))
    assert notes == [
        Note("refused", "`rimward ceiling` refuses this pair: Why."),
        Note("other", "Words."),
    ]


def test_which_refusals_of_a_pair_end_it() -> None:
    assert {
        "bead-seat-mismatch", "bead-seat-unknown", "tyre-not-wider-than-rim", "pressure-implausible", "minimum-above-maximum",
        "fill-temperature-implausible", "fill-hotter-than-ride",
    } == module.FATAL  # fmt: skip
    notes = [Note(one, "Why.") for one in (*sorted(module.FATAL), "straight-side-needs-approval")]
    pair: Any = SimpleNamespace(refusals=notes)
    assert module._fatal(pair, None, None) == notes[:-1]


@pytest.mark.parametrize(
    ("size", "volume_l", "ids"),
    [("28-?", None, ["bead-seat-unknown"]), ("28-?", 1.5, []), ("28-622", None, []), (None, 1.5, [])],
)  # fmt: skip
def test_a_volume_is_needed_from_somewhere(
    size: str | None, volume_l: float | None, ids: list[str]
) -> None:
    tyre = Tyre.parse(size) if size else None
    assert [note.id for note in module._fatal(None, tyre, volume_l)] == ids


def test_a_stated_volume_is_taken_before_the_tyre_s() -> None:
    tyre, rim = Tyre.parse("30-622"), Rim.parse("622x23TSS")
    assert module._volumes(tyre, rim, 1.5) == stated(1.5)
    assert module._volumes(tyre, rim, None) == least_inside(30, 622, 23, tube=True)
    assert module._volumes(tyre, None, None) == least_inside(30, 622, None, tube=True)
    bare = Tyre.parse("30-622", air="tubeless")
    assert module._volumes(bare, rim, None) == least_inside(30, 622, 23, tube=False)


def test_a_ride_colder_than_the_fill_is_named_once_and_without_a_rim_too() -> None:
    """Inputs that could not be read come first; the place's own refusals only where no pair has named them."""
    unread = Note("unit-missing", "Which?")
    tyre, rim, ride = Tyre.parse("30-622"), Rim.parse("622x23TSS"), Ride.of(0, 30)
    for parts, more in (((rim, tyre), ()), ((None, tyre), ()), ((None, tyre), (unread,))):
        found = assess_cartridge(8, *parts, more, temp_c=40, ride=ride)
        assert found.outcome is None and found.warnings == ()
        assert [one.id for one in found.refusals] == [
            *(n.id for n in more),
            "fill-hotter-than-ride",
        ]
