"""Many wheels at once: CSV and JSON in and out, all or none; backup; registers that can only be read."""

import contextlib
import csv
import json
import os
import shutil
import tempfile
from pathlib import Path

import pytest
from rimward.base.errors import Refusal
from rimward.base.units import show_limit  # noqa: F401  loaded before rights are given up
from rimward.wheels.register import exchange, open_register

from tests.unit.shopdesk import FRONT, REAR, RIDE

HEAD = "label,position,rim,rim-max,tyre,tyre-range,approved,tags"


def rows(count):
    return (
        "\n".join(
            [
                HEAD,
                *(
                    f'Hazel {n},front,622x23TSS,5 bar,{28 + n % 5}-622,4-6 bar,yes,"race,wet"'
                    for n in range(count)
                ),
            ]
        )
        + "\n"
    )


def test_two_hundred_wheels_are_added_by_csv_in_one_transaction(desk, tmp_path):
    (tmp_path / "many.csv").write_text(rows(200))
    assert desk.json("wheel", "import", "many.csv")["add"] == 200
    with contextlib.closing(open_register()) as register:
        wheels = register.all()
        stamps = {c.at_ms for w in wheels for c in w.entries.values()}
    assert (
        len(wheels) == 200
        and wheels[0].values["tags"] == ["race", "wet"]
        and wheels[0].entries["rim"].who == "Maren Holt"
    )
    assert max(stamps) - min(stamps) < 60_000
    assert desk.json("wheel", "import", "many.csv") | {"wheels": [], "file": ""} == {
        "file": "",
        "dry_run": False,
        "add": 0,
        "change": 0,
        "same": 200,
        "wheels": [],
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (rows(3).replace("Hazel 1,front,622x23TSS", "Hazel 1,front,nonsense"), "line 3: rim:"),
        (rows(3).replace("tyre-range", "tyre-rnage"), "Did you mean 'tyre_range'?"),
        (rows(2) + rows(1).splitlines()[1] + "\n", "line 4: this wheel is in the file twice"),
        ("label,rim\nA,622x23TSS\n", "line 2: missing tyre"),
        ("label,rim,tyre\nA,622x23TSS,28-622,x\n", "line 2 has 4 cells"),
        ("label,label\n", "appears twice"),
        ("label,rim,tyre,wheel_id\nA,622x23TSS,28-622,xyz\n", "'xyz' is not a wheel id"),
    ],
)
def test_a_wrong_row_is_named_and_nothing_is_entered(desk, tmp_path, text, says):
    (tmp_path / "wrong.csv").write_text(text)
    assert desk("wheel", "import", "wrong.csv") == 1 and says in desk.err, desk.err
    assert desk.json("wheel", "list")["wheels"] == []


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators_and_a_byte_order_mark_are_read(separator):
    found = exchange.read_csv(
        "\ufefflabel,rim,tyre,rim_read_from\n".replace(",", separator)
        + f"A{separator}622x23TSS{separator}28-622{separator}sticker\n"
    )
    assert found[0].values == {"label": "A", "rim": "622x23TSS", "tyre": "28-622"} and found[
        0
    ].markings == {"rim": "sticker"}


@pytest.mark.parametrize("form", ["csv", "json"])
def test_what_is_exported_comes_back_on_another_computer(desk, tmp_path, monkeypatch, form):
    desk.json("key", "new")
    front = desk.json(
        "wheel", "add", *FRONT, "--rim-read-from", "drive-side sticker", "--tags", "race,wet"
    )
    desk.json("wheel", "add", *REAR)
    desk.json(
        "profile", "make", "--wheel", front["wheel_id"], "--target", "4.2 bar", *RIDE, "-o", "a.rwp"
    )
    monkeypatch.setenv("RIMWARD_PASSPHRASE", "larks over heather")
    desk.json("key", "export", "key.json")
    assert desk.json("wheel", "export", "-o", f"all.{form}")["wheels"] == 2
    first = desk.json("wheel", "list")["wheels"]
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "second"))
    desk.json("key", "import", "key.json")
    assert (
        desk.json("wheel", "import", f"all.{form}", "--dry-run")["add"] == 2
        and desk.json("wheel", "list")["wheels"] == []
    )
    assert desk.json("wheel", "import", f"all.{form}")["add"] == 2
    second = desk.json("wheel", "list")["wheels"]
    entered = list(exchange.ENTERED) + ["wheel_id"]
    assert [[w[n] for n in entered] for w in first] == [[w[n] for n in entered] for w in second]
    again = next(w for w in second if w["wheel_id"] == front["wheel_id"])
    assert again["entries"]["rim"]["marking"] == "drive-side sticker"
    assert (again["profile"] or {}).get("revision") == (1 if form == "json" else None)


def test_a_profile_of_another_workshop_is_not_taken_over(desk, tmp_path, monkeypatch):
    desk.json("key", "new")
    desk.json("wheel", "add", *FRONT)
    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.2 bar", *RIDE, "-o", "a.rwp")
    desk.json("wheel", "export", "-o", "all.json")
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "stranger"))
    desk.json("key", "new")
    desk.json("wheel", "import", "all.json")
    assert desk.json("wheel", "show", "aspen")["profile"] is None


def test_a_changed_row_needs_update_and_forgets_what_the_old_part_said(desk, tmp_path):
    (tmp_path / "one.csv").write_text(rows(1))
    desk.json("wheel", "import", "one.csv")
    (tmp_path / "two.csv").write_text("label,position,tyre\nHazel 0,front,32-622\n")
    assert desk("wheel", "import", "two.csv") == 1 and "--update" in desk.err
    assert desk.json("wheel", "import", "two.csv", "--update")["change"] == 1
    wheel = desk.json("wheel", "show", "hazel")
    assert wheel["tyre"] == "32-622" and wheel["tyre_range"] is None and wheel["rim_max"] == "5 bar"


def test_an_empty_export_is_a_head_to_fill_in(desk):
    assert desk("wheel", "export", "--empty") == 0
    (head,) = csv.reader(desk.out.splitlines())
    assert tuple(head) == exchange.COLUMNS
    assert desk("wheel", "export", "--json") == 0 and json.loads(desk.out) == {
        "form": exchange.FORM,
        "wheels": [],
    }


@pytest.mark.parametrize("text", ["", ",".join(exchange.COLUMNS), "label,rim\n\n"])
def test_a_file_without_a_wheel_is_refused(desk, tmp_path, text):
    (tmp_path / "none.csv").write_text(text)
    assert desk("wheel", "import", "none.csv") == 1
    assert "contains no wheel" in desk.err and "export --empty" in desk.err


def test_a_backup_is_a_register_with_its_history(desk, tmp_path):
    desk.json("wheel", "add", *FRONT)
    desk.json("wheel", "edit", "aspen", "--tags", "race")
    assert desk.json("wheel", "backup", "copy.db")["bytes"] > 0
    assert desk("wheel", "backup", "copy.db") == 1 and "exists already" in desk.err
    assert "-o" not in desk.err.split() and "another name" in desk.err
    desk.json("wheel", "edit", "aspen", "--tags", "wet")
    assert desk.json("wheel", "show", "aspen", "--database", "copy.db")["tags"] == ["race"]
    assert (
        len(desk.json("wheel", "show", "aspen", "--history", "--database", "copy.db")["changes"])
        == 9
    )


def test_the_label_letter_by_letter_wins(desk):
    desk.json("wheel", "add", "Zoë", *FRONT[1:])
    plain = desk.json("wheel", "add", "Zoe", *FRONT[1:])
    desk.json("wheel", "add", "Zoe rear", *REAR[1:])
    assert desk.json("wheel", "show", "Zoe")["wheel_id"] == plain["wheel_id"]
    assert desk("wheel", "show", "zoe") == 1 and "matches 2 wheels" in desk.err


@contextlib.contextmanager
def no_rights(folder: Path):
    """A folder and its files that this process may only read; as root it becomes another user meanwhile."""
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)


@pytest.fixture
def shelf():
    folder = Path(tempfile.mkdtemp(prefix="rimward-shelf-"))
    yield folder
    shutil.rmtree(folder)


def test_a_register_that_may_only_be_read_is_read_and_not_written(shelf):
    path = shelf / "register.db"
    with contextlib.closing(open_register(str(path), create=True)) as register:
        register.add({"label": "Aspen race", "rim": "622x23TSS", "tyre": "28-622"})
    with no_rights(shelf), contextlib.closing(open_register(str(path))) as register:
        (wheel,) = register.all()
        assert wheel.label == "Aspen race" and register.history(wheel.wheel_id)
        for write in (
            lambda: register.add({"label": "B", "rim": "622x23TSS", "tyre": "28-622"}),
            lambda: register.edit(wheel.wheel_id, {"owner": "x"}),
        ):
            with pytest.raises(Refusal, match="read access only"):
                write()
    with contextlib.closing(open_register(str(path))) as register:
        assert len(register.all()) == 1
