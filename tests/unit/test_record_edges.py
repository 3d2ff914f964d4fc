"""Records with something missing: no trace, no wheel, no calibration, no end; what each place says then."""

import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rimward.base.errors import Refusal
from rimward.sessions import beat, read_session, targets
from rimward.sessions.drawing import _marks, draw_session
from rimward.sessions.export import readings, to_csv
from rimward.sessions.facts import facts, sections
from rimward.sessions.log import SessionLog
from rimward.sessions.report import archive
from rimward.sessions.report.archive import Archive
from rimward.sessions.report.build import owner_of, picture, session_report
from rimward.sessions.report.losses import wheel_loss
from rimward.sessions.visit import visit_of
from rimward.simulation.scenario import Scenario
from rimward.wheels.register.store import Wheel
from rimward_protocol import layout

from tests.unit.shopdesk import Desk
from tests.web.record import recorded


@pytest.fixture
def data(desk: Desk) -> bytes:
    return recorded()


@pytest.fixture
def log(data: bytes) -> SessionLog:
    return read_session(data)


def without_trace(log: SessionLog) -> SessionLog:
    return replace(log, trace=log.trace[:0], spans=[])


def shown(log: SessionLog, data: bytes) -> dict[str, str]:
    return {k: text for _head, rows in sections(facts(log, data)) for k, _name, text in rows}


def test_a_record_without_a_trace_is_not_drawn(log: SessionLog, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="holds no trace to draw"):
        draw_session(without_trace(log), tmp_path / "a.png")
    assert draw_session(log, tmp_path / "b.png").read_bytes().startswith(b"\x89PNG")
    assert picture(without_trace(log), "svg") == b"" and picture(log, "svg")


def test_a_csv_has_a_row_a_reading(log: SessionLog) -> None:
    head, *rows = to_csv(log, every_tick=True).splitlines()
    assert head.split(",")[0] == "time_s"
    assert len(rows) == len(list(readings(log, every_tick=True))) > len(log.series())
    assert float(rows[-1].split(",")[0]) > float(rows[0].split(",")[0]) == 0.0


def test_events_too_close_to_be_read_share_one_mark(log: SessionLog) -> None:
    marked = next(row for _at, names in _marks(log, 0, 0.0) for row in names)
    rows = [{"event": marked, "tick": tick} for tick in (500, 600, 5_000)]
    assert _marks(replace(log, events=rows), 0, 0.5) == [(1.0, [marked] * 2), (10.0, [marked])]


def test_a_target_without_an_event_is_the_fill_controllers_then_the_traces(log: SessionLog) -> None:
    plain = replace(log, events=[])
    assert [pa for _tick, pa in targets.targets_of(plain)] == [390_000]
    assert targets.targets_of(replace(plain, spans=[]))[0][1] == pytest.approx(390_000, abs=100)
    assert targets.targets_of(without_trace(plain)) == []
    assert targets.target_at([], np.arange(3)).tolist() == [0, 0, 0]


def test_what_is_not_recorded_is_named_as_such(log: SessionLog, data: bytes) -> None:
    meta = {key: value for key, value in log.meta.items() if key != "profile"}
    said = shown(replace(log, meta=meta), data)
    assert said["label"] == "no wheel recorded" and "wheel_id" not in said
    assert visit_of(replace(log, meta=meta)) is None and visit_of(replace(log, end=None)) is None
    calibrated = struct.pack("<iiIiH", 66_000, -120, 2_400, 300, 7)
    meta = log.meta | {"calibration-a": calibrated, "guard-band": struct.pack("<iI", 6_000, 2_400)}
    found = facts(replace(log, meta=meta), data)
    assert found.calibration_a == (
        "2026-07-28, certificate 7: gain 1.00708, offset -120 Pa, hysteresis 300 Pa"
    )
    assert found.guard_set == "0.06 bar (0.9 psi), found on 2026-07-28"
    assert facts(log, data).calibration_a == "never calibrated"


def test_a_kept_record_is_reported_by_its_name(
    data: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = Archive()
    name = kept.add(data, "Maren Holt")
    assert session_report(name).facts.who == "Maren Holt" and owner_of(None) == ""
    with pytest.raises(Refusal, match="no stored session"):
        kept.row("virtual0-000001-00000000")
    monkeypatch.setattr(archive, "LARGEST_BYTES", 1_000)
    with pytest.raises(Refusal, match="This file is larger than"):
        kept.add(data)


def test_a_head_that_cannot_be_read_is_refused_with_its_reason(data: bytes) -> None:
    def changed(at: int, to: int) -> bytes:
        return data[:at] + bytes([to]) + data[at + 1 :]

    version = layout.offset(layout.SESSION_HEADER, "version")
    boot = layout.offset(layout.SESSION_HEADER, "device_id")
    for changed_bytes, message in (
        (changed(version, 9), "of a version that this host does not read"),
        (changed(0, 0), "is not a session file"),
        (changed(boot, data[boot] ^ 1), "header of This file is damaged"),
    ):
        with pytest.raises(Refusal, match=message):
            read_session(changed_bytes)


def test_before_its_wheel_is_armed_the_fill_controller_has_no_target(log: SessionLog) -> None:
    idle = replace(log.spans[0], y=log.spans[0].y.copy())
    idle.y[:, targets.JOB] = 0
    plain = replace(log, events=[], spans=[idle], trace=log.trace[:0])
    assert targets.targets_of(plain) == []


def test_a_benchs_record_that_was_not_closed_names_the_way_to_complete_it(log: SessionLog) -> None:
    word, reason, step = beat.words_of(replace(log, end=None))
    assert word == "not closed" and "ends before the test was closed" in reason
    assert "rimward proof finish" in step


def test_a_file_that_is_gone_is_skipped_in_a_wheels_loss(data: bytes, desk: Desk) -> None:
    kept = Archive()
    name = kept.add(data)
    (kept.folder / f"{name}.rws").write_bytes(data[:40])
    kept.add(data[: len(data) // 2])  # torn: no end, so no visit
    wheel = Wheel(Scenario().wheel_id().hex(), {"label": "Larkspur front"}, {})
    assert wheel_loss(wheel, kept).intervals == ()
