"""Sessions on this computer: pulling keeps, files are taken in, the list finds them, a torn record does not replay as whole."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest
from rimward.cli.commands import session_kept
from rimward.sessions import read_session
from rimward.sessions.report.archive import Archive
from rimward.web import desk as desk_module

from tests.unit.linkbench import Inflator, Shop
from tests.web.record import recorded


@pytest.fixture
def fill(tmp_path):
    path = tmp_path / "fill.rws"
    path.write_bytes(recorded())
    return path


def test_files_are_kept_once_listed_and_named_instead_of_a_path(desk, fill):
    (row,) = desk.json("session", "keep", fill, "--by", "Ida Quill")["kept"]
    assert desk.json("session", "keep", fill)["kept"][0]["name"] == row["name"]
    (listed,) = desk.json("session", "list")["sessions"]
    assert listed["name"] == row["name"] and listed["who"] == "Ida Quill"
    assert desk("session", "list") == 0 and row["name"] in desk.out and "Ida Quill" in desk.out
    assert desk.json("session", "list", listed["label"].split()[0])["sessions"] == [listed]
    assert desk.json("session", "list", "--wheel", listed["wheel_id"])["sessions"] == [listed]
    assert (
        desk.json("session", "list", "nosuchword")["sessions"] == []
        and desk.json("session", "list", "--from", "2099-01-01")["sessions"] == []
    )
    assert (
        desk.json("session", "show", row["name"])["figures"]
        == desk.json("session", "show", fill)["figures"]
    )
    assert desk.json("replay", row["name"])["whole"]


def test_a_file_that_is_no_session_is_not_kept(desk, tmp_path):
    (tmp_path / "notes.rws").write_text("nothing")
    assert (
        desk("session", "keep", "notes.rws") == 1
        and "notes.rws: This file is not a session" in desk.err
    )
    assert desk.json("session", "list")["sessions"] == []


def test_a_torn_or_damaged_record_ends_with_1_unless_the_good_part_is_asked_for(
    desk, fill, tmp_path
):
    whole = fill.read_bytes()
    assert desk("replay", fill) == 0
    for name, data in (
        ("torn.rws", whole[: len(whole) * 3 // 4]),
        ("edited.rws", whole[:-100] + bytes([whole[-100] ^ 1]) + whole[-99:]),
    ):
        (tmp_path / name).write_bytes(data)
        assert desk("replay", name, "--json") == 1
        told = json.loads(desk.out)
        assert told["identical"] and not told["whole"] and told["damage"]
        assert desk("replay", name, "--good-part") == 0


def test_a_record_of_other_kernels_is_reported_as_such(desk, fill, tmp_path):
    """As a record of an earlier version: one word more in the guard's state, its header's check code right again."""
    from rimward_protocol import session

    data = bytearray(fill.read_bytes())
    header = read_session(bytes(data)).header
    place = bytes(data[: header["header_bytes"]]).index(
        bytes([header["words_g"], header["words_x"], header["words_f"], header["words_y"]])
    )
    data[place] += 1
    end = header["header_bytes"] - 4
    data[end : end + 4] = session.crc32(bytes(data[:end])).to_bytes(4, "little")
    (tmp_path / "older.rws").write_bytes(bytes(data))
    assert desk("replay", "older.rws") == 1 and "recorded by other kernels: firmware " in desk.err


def test_what_is_pulled_is_kept_with_who_filled(tmp_path):
    shop = Shop(tmp_path)
    shop.env["RIMWARD_USER"] = "Maren Holt"
    inflator = Inflator(shop, "--interpreter", "cpython")
    try:
        inflator.choose(bytes(8))
        inflator.answer()
        inflator.wait(lambda status: status["ceiling_pa"] > 0)
        inflator.say("hold")
        inflator.wait(lambda status: status["reading_pa"] > 60000)
        inflator.say("let-go")
        inflator.choose(bytes(8))
        told = shop.json("session", "pull")
        assert Path(told["file"]).read_bytes() and told["damage"] == ""
        everything = shop.json("session", "pull", "--all")["brought"]
        assert all(row["name"] != told["name"] for row in everything)
        assert shop.json("session", "pull", "--all")["brought"] == []
    finally:
        inflator.close()
    kept = shop.json("session", "list")["sessions"]
    assert {row["name"] for row in kept} == {told["name"], *(row["name"] for row in everything)}
    assert {row["who"] for row in kept} == {"Maren Holt"}
    folder = shop.folder / "data" / "sessions"
    assert sorted(p.name for p in folder.glob("*.rws")) == sorted(
        f"{row['name']}.rws" for row in kept
    )
    assert (
        Archive(folder).find()
        and not list(folder.glob(".*part"))
        and not list(shop.folder.glob("*.rws"))
    )


class Terminal:
    """What is typed, and what was asked."""

    def __init__(self, monkeypatch, typed):
        self.asked = []
        monkeypatch.setattr(
            "click.prompt", lambda text, default, err: self.asked.append((text, default)) or typed
        )


def record(session, person=b""):
    return SimpleNamespace(header={"session": session}, meta={"person": person} if person else {})


def test_who_filled_is_asked_once_where_the_record_does_not_say(monkeypatch):
    terminal = Terminal(monkeypatch, "Ida Quill")
    filled = session_kept.WhoFilled("", "Maren Holt", asks=True)
    assert filled.of(record(3, b"Otto Lind")) == "" and terminal.asked == [], (
        "the record says it itself"
    )
    assert [filled.of(record(n)) for n in (4, 5)] == ["Ida Quill", "Ida Quill"]
    assert (
        len(terminal.asked) == 1
        and "session 4" in terminal.asked[0][0]
        and terminal.asked[0][1] == "Maren Holt"
    )
    assert session_kept.WhoFilled("Otto Lind", "Maren Holt", asks=True).of(record(6)) == "Otto Lind"
    assert session_kept.WhoFilled("", "Maren Holt", asks=False).of(record(7)) == "Maren Holt", (
        "nobody is asked where nobody can answer"
    )
    assert len(terminal.asked) == 1


@pytest.mark.parametrize(
    ("whole", "state", "brought"),
    [(True, "idle", [9, 7, 6]), (False, "idle", [9]), (True, "filling", [7, 6])],
)
def test_a_host_that_starts_later_brings_home_what_the_inflator_still_holds(
    monkeypatch, whole, state, brought
):
    """At the start all that is not kept here, later only the newest; a fill that still runs is left until it has ended."""
    pulled = []
    rows = [{"session": n, "ended": n != 9} for n in (9, 8, 7, 6)]
    monkeypatch.setattr("rimward.web.desk._listed", lambda _client: rows)
    here = SimpleNamespace(
        archive=SimpleNamespace(holds=lambda _device, row: row["session"] == 8),
        _device="one",
        _pull=lambda _client, row, _who: pulled.append(row["session"]),
    )
    desk_module.DeviceWorker._bring_home(here, None, state, whole, "Maren Holt")
    assert pulled == brought
