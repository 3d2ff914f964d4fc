"""The live panel says which target it shows: the wheel's, worked out for the air where the inflator is."""

from rimward.instrument import Instrument
from rimward.link.live import Watcher

ROW = {
    "reading_pa": 250_000, "tyre_pa": None, "ceiling_pa": 447_000, "stop_pa": 437_000, "target_pa": 393_352, "state": "filling", "air_on": True,
    "cause": "none", "stop_cause": "none", "waiting": "nothing", "age_s": 0.1, "old": False, "status_old": False,
}  # fmt: skip


def watcher() -> Watcher:
    made = Watcher.__new__(Watcher)
    made.status, made.instrument = {"guard_pa": 10_000}, Instrument(None, None, None)
    return made


def test_the_target_shown_is_named_as_that_of_the_air_here() -> None:
    text = watcher().panel(ROW).renderable.plain
    assert "target for the air here 3.93 bar (57.0 psi)" in text and "in the tyre unknown" in text


def test_at_the_seat_pause_it_says_what_it_waits_for() -> None:
    row = {**ROW, "state": "seat-pause", "waiting": "bead-seated", "stop_cause": "target-reached"}
    text = watcher().panel(row).renderable.plain
    assert "waits: look round both sides of the tyre" in text and "target" not in text.partition("ceiling")[2]


def test_a_latched_cause_is_shown_with_its_reason_while_it_waits_to_be_cleared() -> None:
    text = watcher().panel({**ROW, "state": "tripped", "waiting": "clear", "cause": "not-rising"}).renderable.plain
    assert "not-rising:" in text and "next: check hose and chuck" in text


def test_the_age_of_the_calibration_is_shown() -> None:
    seen = watcher()
    for days, words in ((10, "due 2022-"), (340, "DUE SOON"), (366, "OVERDUE"), (731, "LOCKED")):
        seen.instrument = Instrument(400, 12_000, days)
        assert words in seen.panel(ROW).renderable.plain
