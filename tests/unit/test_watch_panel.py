"""The live panel says which target it shows: the wheel's, worked out for the air where the inflator is."""

from rimward.base.instrument import Instrument
from rimward.cli.commands import watch
from rimward.device.link.live import Watcher

ROW = {
    "reading_pa": 250_000, "tyre_pa": None, "tyre_low_pa": None, "tyre_high_pa": None, "ceiling_pa": 447_000, "stop_pa": 437_000, "target_pa": 393_352, "state": "filling", "air_on": True,
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
    assert (
        "waits: look round both sides of the tyre" in text
        and "target" not in text.partition("ceiling")[2]
    )


def test_a_run_control_held_too_early_is_to_be_let_go_first() -> None:
    early = {**ROW, "state": "asking", "waiting": "hold-to-run"}
    assert "waits: let go of the run control" in watcher().panel(early).renderable.plain
    assert "waits: hold the run control" in watcher().line({**early, "state": "ready"}).replace(
        "; ", "\n"
    )


def test_a_latched_cause_is_shown_with_its_reason_while_it_waits_to_be_cleared() -> None:
    text = (
        watcher()
        .panel({**ROW, "state": "tripped", "waiting": "clear", "cause": "not-rising"})
        .renderable.plain
    )
    assert "not-rising:" in text and "next: check hose and chuck" in text


def test_the_age_of_the_calibration_is_shown() -> None:
    seen = watcher()
    for days, words in ((10, "due 2022-"), (340, "DUE SOON"), (366, "OVERDUE"), (731, "LOCKED")):
        seen.instrument = Instrument(400, 12_000, days)
        assert words in seen.panel(ROW).renderable.plain


def test_a_line_for_a_pipe_says_all_of_it_without_a_frame() -> None:
    line = watcher().line({**ROW, "state": "tripped", "waiting": "clear", "cause": "not-rising"})
    assert line.startswith(
        "at the hose 2.50 bar (36.3 psi), in the tyre unknown, tripped, air on, target 3.93"
    )
    assert "ceiling 4.47 bar (64.8 psi); not-rising: " in line and "; next: check hose" in line
    assert "\n" not in line and not set(line) & set("╭│╰─")
    old = watcher().line({**ROW, "old": True, "age_s": 3.2})
    assert old.startswith("OLD (3.2 s old): at the hose 2.50") and "next" not in old


def test_behind_a_closed_core_at_rest_the_tyre_is_a_range() -> None:
    seen = watcher()
    seen.status["pressure_open"] = True
    for state, words in (
        ("done", "in the tyre between 3.65 bar (52.9 psi) and 4.06 bar (58.9 psi)"),
        ("filling", "in the tyre 3.90 bar (56.6 psi)"),
    ):
        row = {**ROW, "tyre_pa": 390_000, "state": state}
        row.update(seen._range(row))
        assert words in seen.line(row) and words in seen.panel(row).renderable.plain


def test_a_line_for_a_pipe_comes_each_second_and_at_each_change(capsys, monkeypatch) -> None:
    moments = iter((0.0, 0.2, 0.4, 0.6, 1.7, 1.8))
    monkeypatch.setattr(watch.time, "monotonic", lambda: next(moments))
    rows = [ROW, ROW, {**ROW, "state": "settling", "air_on": False}] * 2
    watch._plain(watcher(), iter(rows))
    lines = capsys.readouterr().out.splitlines()
    states = [line.partition("unknown, ")[2].partition(",")[0] for line in lines]
    assert states == ["filling", "settling", "filling", "filling", "settling"]
