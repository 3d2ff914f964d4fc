"""Reading of a tag: what a picture may hold, and the state of a profile by the register, each state at its edges."""

import hashlib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image
from rimward.base.errors import Refusal
from rimward.wheels.tag import reading

PROFILE = b"profile"
SHA = hashlib.sha256(PROFILE).hexdigest()


def picture(path: Path, wide: int, high: int) -> Path:
    Image.new("L", (wide, high), 255).save(path)
    return path


def test_limits_of_a_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The words name them: 40 MB, 60 million pixels."""
    assert (reading.IMAGE_MAX_BYTES, reading.IMAGE_MAX_PIXELS) == (40_000_000, 60_000_000)
    monkeypatch.setattr(reading, "IMAGE_MAX_PIXELS", 600)
    assert reading.code_texts(picture(tmp_path / "a.png", 20, 30)) == []
    with pytest.raises(Refusal, match="a.png has more than 60 million pixels"):
        reading.code_texts(picture(tmp_path / "a.png", 20, 31))
    size = picture(tmp_path / "a.png", 20, 30).stat().st_size
    monkeypatch.setattr(reading, "IMAGE_MAX_BYTES", size)
    assert reading.code_texts(tmp_path / "a.png") == []
    monkeypatch.setattr(reading, "IMAGE_MAX_BYTES", size - 1)
    with pytest.raises(Refusal, match="a.png is larger than 40 MB"):
        reading.code_texts(tmp_path / "a.png")


def test_what_is_no_picture(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(b"no picture")
    with pytest.raises(Refusal, match="not a readable picture"):
        reading.code_texts(path)
    with pytest.raises(Refusal, match="cannot be read: No such file"):
        reading.code_texts(tmp_path / "b.png")


def test_one_tag_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other codes beside it do not matter, nor the same tag twice."""
    found: list[str] = []
    monkeypatch.setattr(reading, "code_texts", lambda _path: found)
    monkeypatch.setattr(reading, "from_text", lambda text: text.encode())
    path = Path("a.png")
    one, two = reading.PREFIX + "1", reading.PREFIX + "2"
    for texts in ([], ["other"]):
        found[:] = texts
        with pytest.raises(Refusal, match="No wheel tag was found in a.png"):
            reading.read(path)
    for texts in ([one], [one, one], ["other", one]):
        found[:] = texts
        assert reading.read(path) == one.encode()
    for texts, count in (([one, two], 2), ([one, two, reading.PREFIX], 3)):
        found[:] = texts
        with pytest.raises(Refusal, match=f"shows {count} different wheel tags"):
            reading.read(path)


def wheel(*, revision: int = 5, sha256: str = SHA, retired: bool = False, **seqs: int) -> Any:
    entries = {name: SimpleNamespace(seq=seq) for name, seq in {"profile": 10, **seqs}.items()}
    values = {"profile": {"revision": revision, "sha256": sha256}}
    return SimpleNamespace(values=values, entries=entries, retired=retired)


@pytest.fixture(autouse=True)
def now(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Refusal by the present entries."""
    said = {"refusal": ""}
    monkeypatch.setattr(reading.profiles, "refusal_now", lambda _values: said["refusal"])
    return said


@pytest.mark.parametrize(
    ("one", "revision", "state"),
    [
        (wheel(), 5, "current"),
        (wheel(), 4, "superseded"),
        (wheel(), 6, "newer-than-register"),
        (wheel(retired=True), 5, "retired"),
        (wheel(retired=True), 4, "superseded"),
        (wheel(retired=True), 6, "newer-than-register"),
        (wheel(sha256="other"), 5, "differs"),
        (wheel(sha256="other", retired=True), 5, "retired"),
        (wheel(sha256="other", label=11), 5, "differs"),
        (wheel(label=11), 5, "wheel-changed"),
        (wheel(label=10), 5, "current"),
        (wheel(rim_max=11), 5, "wheel-changed"),
        (wheel(rim_max=9), 5, "current"),
        (wheel(notes=11), 5, "current"),  # not of the profile
    ],
)
def test_state_of_a_profile(one: Any, revision: int, state: str) -> None:
    assert reading.standing_of(one, PROFILE, revision) == state
    register = SimpleNamespace(by_id={"0102": one}.get)
    fields = {"wheel_id": b"\1\2", "revision": revision}
    assert reading.standing(register, PROFILE, fields) == state
    assert reading.standing(register, PROFILE, fields | {"wheel_id": b"\1"}) == "unknown-wheel"


def test_a_wheel_that_is_refused_by_now(now: dict[str, str]) -> None:
    now["refusal"] = "The rim's maximum is missing."
    assert reading.standing_of(wheel(label=11), PROFILE, 5) == "refused"
    assert reading.standing_of(wheel(sha256="x"), PROFILE, 5) == "differs"
    assert reading.says(wheel(), "refused").startswith(
        "REFUSED: by its present register entries this wheel has no such ceiling. The rim's maximum is missing. Do not use it"
    )
    assert " Changed since: label, rim-max. Do not" in reading.says(
        wheel(label=11, rim_max=12), "refused"
    ).replace("rim-max, label", "label, rim-max")


def test_a_wheel_without_a_profile_has_none_that_is_current() -> None:
    one = SimpleNamespace(values={}, entries={}, retired=False)
    assert reading.standing_of(one, PROFILE, 1) == "newer-than-register"
    assert "newest is revision" not in reading.says(one, "superseded")


@pytest.mark.parametrize("state", reading.STATES)
def test_words_of_a_state(state: str) -> None:
    what, fix = reading.STATES[state]
    more = {
        "superseded": " The newest is revision 5.",
        "differs": " The newest is revision 5.",
        "wheel-changed": " Changed since: label.",
        "refused": "  Changed since: label.",  # after what refuses it
    }
    assert reading.says(wheel(label=11), state) == f"{what}{more.get(state, '')} {fix}".strip()
    assert reading.says(None, state) == f"{what} {fix}".strip()
