"""Long texts lie in files on the chip: what is read from a file equals what memory holds."""

from pathlib import Path

import pytest
from rimward.device.install import longtexts, plan
from rimward_fw.ui import screens
from rimward_protocol import longtext, reasons

from tests import made


@pytest.fixture(scope="module")
def installed() -> tuple[dict[str, str], dict[str, bytes]]:
    """Products of an install: modules and text files."""
    return made.ready()


@pytest.fixture
def files(installed: tuple[dict[str, str], dict[str, bytes]], tmp_path: Path) -> dict[str, bytes]:
    """Names of the files that an install puts beside the modules, as `longtext` takes them."""
    found = {}
    for name, data in installed[1].items():
        path = tmp_path / name.rpartition("/")[2]
        path.write_bytes(data)
        found[path.stem] = str(path).encode()
    return found


@pytest.mark.parametrize("piece", [1, 7, 512, 100_000])
def test_every_screen_and_reason_from_its_file(
    files: dict[str, bytes], piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows, turns = reasons.rows(), {name: screens.turns(name) for name in screens.SCREENS}
    monkeypatch.setattr(longtext, "PIECE", piece)
    monkeypatch.setattr(screens, "SCREENS", files["screens"])
    monkeypatch.setattr(reasons, "TEXT", files["reasons"])
    assert {name: screens.turns(name) for name in turns} == turns and len(turns) > 20
    assert [reasons.row_of(row[0]) for row in rows] == list(rows) and len(rows) > 30
    assert reasons.row_of(999) is None and screens.turns("none such") == [[("0", "i", "none such")]]


def test_a_missing_file_gives_no_text_and_no_exception(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    missing = str(tmp_path / "gone.txt").encode()
    monkeypatch.setattr(screens, "SCREENS", missing)
    monkeypatch.setattr(reasons, "TEXT", missing)
    assert reasons.row_of(1) is None and screens.turns("choose") == [[("0", "i", "choose")]]


def test_the_modules_name_their_files(installed: tuple[dict[str, str], dict[str, bytes]]) -> None:
    ready, apart = installed
    joined = [f"{name.replace('.', '/')}.mpy" for name in (*plan.JOINS, "rimward_fw.app")]
    for path in apart:
        module = path.removeprefix("/lib/").removesuffix(".txt")
        assert any(
            f"((__file__[:-{len(own)}] + '{module}.mpy')[:-3] + 'txt').encode()"
            in ready["/lib/" + own.removesuffix("mpy") + "py"]
            for own in joined
        )
    whole = made.ready(frozen=True)
    assert not whole[1] and "CHOOSE A WHEEL" in whole[0]["/lib/rimward_fw/ui/screens.py"], (
        "frozen modules keep their texts"
    )
    assert not any("CHOOSE A WHEEL" in text for text in ready.values())


def test_a_long_text_that_is_no_longer_there_is_an_error() -> None:
    with pytest.raises(ValueError, match="SCREENS"):
        longtexts.taken_out({"rimward_fw.ui.screens": "TABLES = {}"})
