"""Reports: facts of a session in words, HTML and PDF that need nothing else, the archive and its index, a wheel's history."""

import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from PIL import Image
from rimward.base.errors import Refusal
from rimward.sessions import read_session
from rimward.sessions.facts import CAUTIONS, facts, sections, target_text
from rimward.sessions.report.archive import Archive, Query
from rimward.sessions.report.build import history_of, report_of, session_report
from rimward.sessions.report.html import session_html
from rimward.sessions.report.pdf import history_pdf, session_pdf
from rimward.simulation.scenario import KEY, Scenario

from tests.unit.shopdesk import FRONT, RIDE, Desk
from tests.web.record import WHEN_S, recorded

PROMISED_S = 5 + 10  # at full rate: the begin, and the time before each stop


@pytest.fixture
def data(desk: Desk) -> bytes:
    return recorded()


def shown(data: bytes, who: str = "") -> dict[str, str]:
    return {
        key: text
        for _heading, rows in sections(facts(data, data, who))
        for key, _name, text in rows
    }


def test_facts_are_the_figures_of_the_record(data: bytes) -> None:
    f, log = facts(data, data, "Maren Holt", keys=[KEY]), read_session(data)
    assert (f.label, f.limit_pa, f.profile_ceiling_pa, f.asked_target_pa) == (
        "Larkspur front",
        500_000,
        447_000,
        390_000,
    )
    assert f.ceiling_pa == log.conditions["ceiling_pa"] and f.stop_pa == log.conditions["stop_pa"]
    assert f.guard_pa == f.ceiling_pa - f.stop_pa
    assert f.highest_pa >= log.end["peak_pa"] and f.highest_pa >= int(log.trace["a_pa"].max())
    assert f.unix_s >= WHEN_S and f.wheel_id == Scenario().wheel_id().hex()
    length = int(log.trace["tick"][-1] - log.trace["tick"][0])
    assert f.verification.holds
    assert f.verification.replay_ticks >= min(PROMISED_S * 500, length)  # a short fill: all of it
    assert f.verification.replay_share == pytest.approx(
        f.verification.replay_ticks / length, abs=0.01
    )


def test_a_highest_reading_over_the_ceiling_is_never_shown_as_the_ceiling(data: bytes) -> None:
    from dataclasses import replace

    f = facts(data, data, check=False)
    over = replace(f, highest_pa=f.ceiling_pa + 1)
    texts = [
        {key: text for _h, rows in sections(one) for key, _n, text in rows} for one in (f, over)
    ]
    assert texts[1]["highest"].split(" gauge")[0] != texts[1]["ceiling"].split(" gauge")[0]
    assert float(texts[1]["highest"].split()[0]) > float(texts[1]["ceiling"].split()[0])


@pytest.mark.parametrize("at", [0.3, 0.6, 0.95])
def test_a_damaged_or_torn_record_is_never_called_verified(data: bytes, at: float) -> None:
    place = int(len(data) * at)
    flipped = data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
    for bad in (flipped, data[:place]):
        assert not facts(bad, bad).verification.holds
        assert shown(bad)["verified"].startswith("NOT VERIFIED")
    assert "NOT VERIFIED" in session_html(report_of(bad))


def test_a_record_with_another_kernels_words_is_reported_as_such(data: bytes) -> None:
    from dataclasses import replace

    log = read_session(data)
    f = facts(replace(log, header={**log.header, "words_f": log.header["words_f"] - 1}), data)
    assert not f.verification.holds and not f.verification.same_kernels


def test_a_chained_record_is_checked_with_the_key(data: bytes) -> None:
    assert facts(data, data, keys=(KEY,)).verification.chain is True
    assert facts(data, data, keys=(bytes(32),)).verification.holds is False
    assert facts(data, data).verification.chain is None


class Outside(HTMLParser):
    """Collect everything that a page would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        if tag in ("script", "link", "iframe", "img", "object", "embed"):
            self.found.append(tag)
        self.found += [
            value
            for name, value in attrs
            if name in ("src", "href", "xlink:href") and value and not value.startswith("#")
        ]


def test_the_html_is_self_contained_and_complete(data: bytes) -> None:
    page = session_html(report_of(data, "Maren Holt"))
    reader = Outside()
    reader.feed(page)
    assert [one for one in reader.found if not one.startswith("data:")] == []
    assert not re.search(r"url\((?!#|\"?data:)", page)
    for text in [*shown(data, "Maren Holt").values(), *CAUTIONS]:
        assert text in page.replace("&#39;", "'").replace("&amp;", "&")


def test_a_name_is_text_and_never_markup(data: bytes) -> None:
    page = session_html(report_of(data, "<script>alert(1)</script>"))
    assert "<script>" not in page and "&lt;script&gt;" in page


def test_the_pdf_has_the_same_content(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "r.pdf"
    path.write_bytes(session_pdf(report_of(data, "Maren Holt")))
    document = pypdfium2.PdfDocument(str(path))
    text = " ".join(
        " ".join(document[i].get_textpage().get_text_range() for i in range(len(document))).split()
    )
    for line in [*shown(data, "Maren Holt").values(), *CAUTIONS]:
        assert line in text


def test_the_command_writes_the_file_and_reports_it(
    desk: Desk, data: bytes, tmp_path: Path
) -> None:
    (tmp_path / "s.rws").write_bytes(data)
    told = desk.json("report", "s.rws")
    assert told["verified"] is False and told["shown"] == shown(data), (
        "this desk has no key to check the chain with"
    )
    assert told["shown"]["verified"].startswith("RECORDED WITH ANOTHER KEY, the demo's")
    assert (
        desk("report", "s.rws", "-o", "r.html") == 0
        and "Larkspur front" in (tmp_path / "r.html").read_text()
    )
    assert desk("report", "s.rws", "-o", "r.html") == 1 and "--overwrite" in desk.err
    assert desk("report", "s.rws", "-o", "r.doc") == 2
    assert desk("report") == 2 and desk("report", "s.rws", "--wheel", "x") == 2
    assert desk("report", "nowhere.rws") == 1 and "Use a session file" in desk.err
    (tmp_path / "junk.rws").write_bytes(b"junk")
    assert desk("report", "junk.rws") == 1 and "not a session" in desk.err


def test_the_archive_keeps_each_once_and_finds_it_again(data: bytes) -> None:
    archive = Archive()
    name = archive.add(data, "Maren Holt")
    assert archive.add(data, "somebody else") == name and len(archive.find()) == 1
    assert archive.read(name) == data
    row = archive.row(name)
    assert (
        row["who"] == "Maren Holt"
        and row["label"] == "Larkspur front"
        and row["cause"] == facts(data, data, check=False).cause
    )
    day = "2026-03-08"
    for query, fits in (
        (Query("lark"), 1), (Query("LARKSPUR 622"), 1), (Query("holt"), 1), (Query("foxglove"), 0), (Query("%"), 0), (Query(first=day, last=day), 1),
        (Query(first="2026-03-09"), 0), (Query(last="2026-03-07"), 0), (Query(wheel_id=Scenario().wheel_id().hex()), 1), (Query(cause="leaking"), 0),
    ):  # fmt: skip
        assert len(archive.find(query)) == fits, query
    with pytest.raises(Refusal, match="not a date"):
        archive.find(Query(first="yesterday"))


def test_the_index_is_made_again_from_the_files(data: bytes) -> None:
    archive = Archive()
    name = archive.add(data)
    (archive.folder / "index.db").unlink()
    (archive.folder / "not-a-session.rws").write_bytes(b"junk")
    again = Archive()
    assert [row["name"] for row in again.find()] == [name]
    device = again.row(name)["device"]
    held = {"session": 1, "unix_s": again.row(name)["unix_s"], "bytes": len(data)}
    assert (
        again.holds(device, held)
        and not again.holds(device, {**held, "bytes": 1})
        and not again.holds("other", held)
    )


@pytest.mark.parametrize(
    "name", ["../secret", "virtual0-000001-zzzzzzzz", "", "virtual0-000001-0000000g", "a" * 99]
)
def test_an_invalid_name_reads_no_file(data: bytes, name: str) -> None:
    with pytest.raises(Refusal):
        Archive().read(name)


def test_bytes_that_are_no_session_are_not_kept(desk: Desk) -> None:
    archive = Archive()
    with pytest.raises(Refusal):
        archive.add(b"junk")
    assert list(archive.folder.glob("*.rws")) == []


def test_a_wheels_history_holds_its_profiles_and_fills(
    desk: Desk, data: bytes, tmp_path: Path
) -> None:
    assert desk("wheel", "add", "--label", *FRONT) == 0 or desk("wheel", "add", *FRONT) == 0, (
        desk.err
    )
    wheel = desk.json("wheel", "find", "aspen")
    wheel_id = (wheel["wheels"] if isinstance(wheel, dict) else wheel)[0]["wheel_id"]
    desk.json(
        "profile",
        "make",
        "--wheel",
        "aspen",
        "--target",
        "4.0 bar",
        "--untagged",
        *RIDE,
        "-o",
        "a.rwp",
    )
    told = desk.json("report", "--wheel", "aspen", "-o", "h.html")
    assert (
        told["wheel_id"] == wheel_id
        and told["fills"] == []
        and told["profiles"][0]["target_pa"] == 400_000
    )
    page = (tmp_path / "h.html").read_text()
    assert "No fill of this wheel is kept here." in page and "4.00 bar (58.0 psi)" in page
    assert desk("report", "--wheel", "aspen", "-o", "h.pdf") == 0
    assert json.dumps(told)


def test_a_wheel_known_from_kept_fills_only_has_a_history_too(data: bytes) -> None:
    name = Archive().add(data, "Maren Holt")
    history = history_of(Archive().row(name)["wheel_id"])
    assert (
        history.label == facts(data, data, "").label
        and len(history.fills) >= 1
        and not history.profiles
    )
    with pytest.raises(Refusal, match="No wheel matches"):
        history_of("0123456789abcdef")
    page = pypdfium2.PdfDocument(history_pdf(history))[0].render().to_pil().convert("L")
    dark = sum(page.histogram()[:128]) / (page.size[0] * page.size[1])
    assert dark < 0.05, "ink on paper, no black boxes"


def test_a_target_that_differs_from_the_request_is_explained(data: bytes) -> None:
    """3.90 bar asked for at 20 °C is (3.9 + 1.01325) x 295.15 / 293.15 - 1.01325 = 3.9335 bar at 22 °C."""
    f = replace(
        facts(data, data, ""),
        target_pa=393_352,
        asked_target_pa=390_000,
        ref_temp_ck=29315,
        tyre_ck=29515,
        ambient_pa=101_325,
    )
    assert "3.90 bar" in target_text(f) and "at 20.0 °C for 22.0 °C" in target_text(f)
    assert "does not show why" in target_text(replace(f, target_pa=380_000))
    changed = target_text(replace(f, target_pa=380_000, targets_pa=(393_352, 400_000, 380_000)))
    assert (
        changed
        == "3.80 bar (55.1 psi) gauge, changed at the inflator from 3.93 bar (57.0 psi) gauge, then 4.00 bar (58.0 psi) gauge"
    )
    assert target_text(replace(f, target_pa=390_000)) == "3.90 bar (56.5 psi) gauge"
    assert target_text(replace(f, tyre_ck=None)) == "3.93 bar (57.0 psi) gauge"


@pytest.mark.parametrize(("paper", "size_pt"), [("a4", (595.28, 841.89)), ("letter", (612, 792))])
def test_an_ordinary_fill_is_one_page_with_workshop_customer_person_and_signature(
    data: bytes, monkeypatch: pytest.MonkeyPatch, paper: str, size_pt: Any
) -> None:
    monkeypatch.setenv("RIMWARD_WORKSHOP", "Fernhollow Wheels")
    with pypdfium2.PdfDocument(
        session_pdf(report_of(data, "Maren Holt", "Ida Quill"), paper)
    ) as document:
        assert len(document) == 1 and document[0].get_size() == pytest.approx(size_pt, abs=0.1)
        text = " ".join(document[0].get_textpage().get_text_range().split())
    for words in (
        "Workshop: Fernhollow Wheels",
        "Customer: Ida Quill",
        "Filled by: Maren Holt",
        "Signature",
        "Date",
        "armed: ceiling ",
        "page 1 of 1",
    ):
        assert words in text


def test_a_fill_with_many_events_takes_more_pages_and_stays_complete(data: bytes) -> None:
    report = report_of(data, "Maren Holt")
    report.log.events.extend(
        {**report.log.events[0], "event": f"event-{n:04d}"} for n in range(900)
    )
    with pypdfium2.PdfDocument(session_pdf(report)) as document:
        assert len(document) > 1
        text = " ".join(document[i].get_textpage().get_text_range() for i in range(len(document)))
    assert all(f"event {n:04d}" in text for n in range(900)) and "Signature" in text


def test_a_file_that_is_kept_here_names_who_filled(
    data: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`session pull -o` writes the same bytes as it keeps; the person is asked there, once."""
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "elsewhere"))
    path = tmp_path / "fill.rws"
    path.write_bytes(data)
    assert session_report(str(path)).facts.who == ""
    assert not (tmp_path / "elsewhere" / "sessions").exists(), "a report keeps nothing"
    Archive().add(data, "Maren Holt")
    assert session_report(str(path)).facts.who == "Maren Holt"


def test_the_customer_is_the_wheels_owner_unless_stated(
    desk: Desk, data: bytes, tmp_path: Path
) -> None:
    (tmp_path / "s.rws").write_bytes(data)
    wheel_id = report_of(data).facts.wheel_id
    (tmp_path / "w.csv").write_text(
        f"label,rim,tyre,owner,wheel_id\nHazel,622x23TSS,28-622,Ida Quill,{wheel_id}\n"
    )
    assert desk.json("report", "s.rws")["customer"] == ""
    desk.json("wheel", "import", "w.csv")
    assert desk.json("report", "s.rws")["customer"] == "Ida Quill"
    assert (
        desk.json("report", "s.rws", "--customer", "Otto Lind", "-o", "r.pdf", "--paper", "letter")[
            "customer"
        ]
        == "Otto Lind"
    )


def test_no_label_of_the_picture_is_on_a_curve(data: bytes) -> None:
    """Every word of the picture is drawn outside the axes, and none covers another."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from rimward.sessions.drawing import paint

    for height in (5.2, 4.6, 3.2):
        figure = Figure(figsize=(10, height), dpi=120)
        canvas = FigureCanvasAgg(figure)
        axes = figure.subplots()
        paint(axes, report_of(data).log)
        figure.tight_layout()
        canvas.draw()
        inside = axes.get_window_extent()
        limits = [text for text in axes.texts if "bar" in text.get_text()]
        assert len(limits) == 3
        for text in axes.texts:
            box = text.get_window_extent()
            assert box.x0 >= inside.x1 or box.y0 >= inside.y1 - 1, text.get_text()
        boxes = sorted((text.get_window_extent() for text in limits), key=lambda box: box.y0)
        assert all(low.y1 <= high.y0 + 1 for low, high in zip(boxes, boxes[1:]))


def test_a_certificate_is_made_of_parts() -> None:
    from rimward.paper.sheet import document

    picture_png = io.BytesIO()
    Image.new("RGB", (40, 20), (200, 0, 0)).save(picture_png, "PNG")
    parts = [
        ("text", "Reference: gauge 7."), ("cautions", CAUTIONS[:1]), ("rows", ("Fit", [("gain", "1.00012")])),
        ("table", ("Points", ("way", "reading"), [("rising", "1.00 bar")])), ("picture", (picture_png.getvalue(), "deviation")), ("signature", ("Signature", "Date")),
    ]  # fmt: skip
    with pypdfium2.PdfDocument(document("Calibration of inflator a1", parts, "letter")) as made:
        text = " ".join(made[0].get_textpage().get_text_range().split())
        assert made[0].get_size() == pytest.approx((612, 792), abs=0.1)
    for words in (
        "Calibration of inflator a1",
        "gauge 7",
        CAUTIONS[0],
        "Fit",
        "gain 1.00012",
        "rising",
        "1.00 bar",
        "Signature",
    ):
        assert words in text
