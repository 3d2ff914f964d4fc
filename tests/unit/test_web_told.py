"""What pages receive from the device worker: words of the page in place of commands, a record with its figures, ages in every message."""

from types import SimpleNamespace

from rimward.web.age import Ages
from rimward.web.hold import Hold
from rimward.web.live import ages, describe_state, kept

ROW = {
    "name": "virtual0-000001-00000000", "session": 1, "unix_s": 0, "added_s": 1_773_000_000, "label": "Teasel rear", "cause": "target-reached",
    "tyre_pa": 391_000, "ceiling_pa": 447_000, "target_pa": 390_000, "wheel_id": "00" * 8,
}  # fmt: skip


def desk(**state: object) -> SimpleNamespace:
    row = {
        "line": "lost",
        "port": None,
        "why": "",
        "about": None,
        "status": None,
        "kept": None,
        "pull": None,
        "instrument": None,
        **state,
    }
    trial = SimpleNamespace(
        facts={
            "phase": "refused",
            "refused": "This computer has no bench key. Make one: rimward key new --purpose bench.",
        }
    )
    return SimpleNamespace(
        state=lambda: dict(row), hold=Hold(), trial=trial, ages=Ages(lambda: 10.0)
    )


def test_no_command_reaches_a_page() -> None:
    said = describe_state(
        desk(
            why="No inflator is connected. Plug one in, start one with `rimward virtual`, or name its port with --port."
        )
    )  # type: ignore[arg-type]
    assert "rimward" not in said["why"] and "--" not in said["why"] and "Set-up page" in said["why"]
    assert said["trial"]["refused"].endswith(
        "Give the bench its key on the Set-up page; its workshop button confirms it."
    )
    assert said["trial"]["phase"] == "refused"


def test_a_record_comes_with_the_figures_of_its_fill() -> None:
    said = kept(ROW)
    assert (
        said is not None
        and said["tyre_both"] == ["3.91", "56.7"]
        and said["ceiling"] == "4.47 bar (64.8 psi)"
        and said["unix_s"] == 1_773_000_000
    )
    unknown = kept({**ROW, "tyre_pa": None, "ceiling_pa": None, "target_pa": None})
    assert (
        unknown is not None
        and unknown["tyre_both"] is None
        and unknown["tyre"] == "not known"
        and unknown["ceiling"] == ""
    )


def test_dates_are_days_of_the_place_where_the_page_is_read() -> None:
    from rimward.sessions.report.archive import Query
    from rimward.web.log_page import found, zone_of

    at = [
        {"unix_s": 1_772_920_800, "added_s": 0},
        {"unix_s": 0, "added_s": 1_772_931_600},
        {"unix_s": 1_773_010_800, "added_s": 0},
    ]
    asked = []
    archive = SimpleNamespace(
        find=lambda query: asked.append((query.first, query.last)) or at
    )  # 2026-03-07 22:00, 2026-03-08 01:00, 23:00 UTC
    day = Query(first="2026-03-08", last="2026-03-08")
    assert found(archive, day, 0) == at[1:]  # type: ignore[arg-type]
    assert found(archive, day, zone_of("-120")) == at[:2], (
        "two hours ahead of UTC the first is on that day, the last on the next"
    )  # type: ignore[arg-type]
    assert found(archive, day, zone_of("300")) == at[2:]  # type: ignore[arg-type]
    assert set(asked) == {("2026-03-07", "2026-03-09")}, (
        "the archive's days are UTC: those beside are asked for too"
    )
    assert found(archive, Query(), 300) == at and zone_of("x") == zone_of("99999") == 0  # type: ignore[arg-type]


def test_ages_are_milliseconds_or_not_known() -> None:
    held = desk()
    assert ages(held) == [None, None]  # type: ignore[arg-type]
    held.ages.status(100, "ready", 9.6)
    assert ages(held) == [None, 400]  # type: ignore[arg-type]
