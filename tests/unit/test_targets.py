"""A target that a person changes during a fill: record, report, picture, PDF and table show the one really in force, and when it was."""

import functools
import io
import struct
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from matplotlib.figure import Figure
from rimward.device.link import verbs
from rimward.formats import records
from rimward.sessions import export, read_session
from rimward.sessions.drawing import paint
from rimward.sessions.facts import facts, sections
from rimward.sessions.report.build import picture_says, report_of
from rimward.sessions.report.html import session_html
from rimward.sessions.report.pdf import session_pdf
from rimward.sessions.targets import Asked, asked_of, target_at, targets_of
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes

BAR = 1e5


@functools.cache
def changed_twice() -> tuple[bytes, list[int]]:
    """A record in which the target is raised before the fill and lowered in it, and the target that the display showed each time."""
    import tempfile

    scenario = Scenario()
    with VirtualInflator(replace(plant_of(scenario), tyre_pa=320_000.0)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        shown = [person.status()["target_pa"]]
        for buttons in (("up", "up"), ("down", "down", "down")):
            for button in buttons:
                inflator.press(button)
                inflator.advance(0.3)
                shown.append(person.status()["target_pa"])
            person.hold(1.5)
            inflator.advance(1.0)
        person.fill()
        person.let_settle()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "session.rws"
            verbs.pull_session(person.client, 0, path)
            return path.read_bytes(), shown


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[bytes]:
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path))
    monkeypatch.setenv("RIMWARD_KEYSTORE", "file")
    yield changed_twice()[0]


def test_each_change_is_recorded_with_both_values(data: bytes) -> None:
    shown = changed_twice()[1]
    assert len(set(shown)) > 3 and shown[2] > shown[0] > shown[-1], "raised first, then lowered"
    assert [pa for _tick, pa in targets_of(read_session(data))] == shown
    assert {row["event"] for row in read_session(data).events} >= {
        "target-chosen",
        "run-held",
        "run-released",
    }
    assert "target-lowered" not in str(read_session(data).events)


def test_figures_report_and_pdf_show_the_target_in_force_and_the_ones_before(data: bytes) -> None:
    shown = changed_twice()[1]
    found = facts(data, data)
    assert (
        found.target_pa == shown[-1]
        and found.asked_target_pa == 390_000
        and list(found.targets_pa) == shown
    )
    row = {key: text for _heading, rows in sections(found) for key, _name, text in rows}["target"]
    assert (
        row.startswith(f"{shown[-1] / BAR:.2f} bar")
        and f"changed at the inflator from {int(shown[0] / 1000) / 100:.2f} bar" in row
    )
    report = report_of(data, "Maren Holt")
    assert row in session_html(report) and row in picture_says(found)
    with pypdfium2.PdfDocument(io.BytesIO(session_pdf(report))) as document:
        text = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in document)
    assert (
        f"Target in force {shown[-1] / BAR:.2f} bar" in text and "changed at the inflator" in text
    )


def test_the_picture_s_target_line_steps_where_it_was_changed(data: bytes) -> None:
    log, shown = read_session(data), changed_twice()[1]
    axes = Figure(figsize=(10, 5)).subplots()
    paint(axes, log)
    line = next(line for line in axes.lines if line.get_gid() == "target")
    drawn = [round(pa * BAR) for pa in line.get_ydata()]
    assert list(dict.fromkeys(drawn)) == list(dict.fromkeys(shown)) and drawn[-1] == shown[
        -1
    ] < max(drawn)
    names = [text.get_text() for text in axes.texts if text.get_text().startswith("target\n")]
    assert names == [
        f"target\n{shown[-1] / BAR:.2f} bar ({int(shown[-1] / 6894.757 * 10) / 10:.1f} psi)"
    ]


def test_the_table_has_each_reading_s_target(data: bytes) -> None:
    shown = changed_twice()[1]
    rows = export.readings(read_session(data))
    assert list(dict.fromkeys(row["target_pa"] for row in rows)) == list(dict.fromkeys(shown))
    assert rows[0]["target_pa"] == shown[0] and rows[-1]["target_pa"] == shown[-1]


def test_a_target_holds_from_its_tick_on() -> None:
    assert target_at([(10, 300), (20, 250)], np.array([5, 10, 19, 20, 99])).tolist() == [
        300,
        300,
        300,
        250,
        250,
    ]
    assert target_at([], np.array([1, 2])).tolist() == [0, 0]


def with_preset(data: bytes, side: int, flags: int) -> Asked:
    log = read_session(data)
    preset = records.pack_preset(
        {"issue": 9, "preset_id": b"rider---", "rider": b"Tilda Brook", "flags": flags, "temp_max_ck": 32_815, "ambient_min_pa": 70_000, "made_days": 2_200,
         "front_wheel": b"wheel-01", "front_issue": 3, "front_target_pa": 350_000, "rear_wheel": b"wheel-02", "rear_issue": 4, "rear_target_pa": 370_000}
    )  # fmt: skip
    log.meta["preset"] = struct.pack("<8sIB", b"rider---", 7, side) + preset
    return asked_of(log)


def test_what_a_preset_asked_for_is_not_taken_for_a_change_at_the_inflator(data: bytes) -> None:
    own = asked_of(read_session(data))
    assert own.pa == 390_000 and own.rider == "" and own.ride_stated
    front, rear = with_preset(data, 1, 0), with_preset(data, 2, codes.PRESET_RIDE_STATED)
    assert (front.pa, front.rider, front.temp_max_ck) == (350_000, "Tilda Brook", own.temp_max_ck)
    assert (rear.pa, rear.temp_max_ck, rear.ambient_min_pa) == (370_000, 32_815, 70_000), (
        "the stricter ride, as the inflator took it"
    )
    assert with_preset(data, 3, 0) == own
