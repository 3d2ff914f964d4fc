"""Profiles as files, field by field: what JSON keeps, which values it refuses by name, sizes of files and their kinds."""

import json
from pathlib import Path
from typing import Any

import pytest
from rimward.base.errors import Refusal
from rimward.formats.records import pack_profile, unpack_profile
from rimward.limits.ceiling import Place, Ride
from rimward.wheels import profile_files
from rimward.wheels.keys import Key, Ring
from rimward.wheels.profile_files import day_number, day_text, exact_hex, from_json, to_json, whole
from rimward.wheels.profiles import Asked, build, tagged
from rimward.wheels.tag.code import to_text
from rimward_protocol import codes

from tests.unit.test_profiles import WHEEL, WHEEL_ID

DATA = build(WHEEL, WHEEL_ID, 3, Asked(400_000, Place.of(18, 200), Ride.of(2_400, 45)), issue=77)
TAGGED = tagged(DATA, Ring((Key(bytes(range(32)), "2026-01-01"),), "here"))
FLAGS = {1: "tubeless", 2: "ride-stated", 8: "supersedes", 16: "limit-at-fill"}


def test_json_of_a_profile() -> None:
    held = unpack_profile(TAGGED)
    plain = to_json(TAGGED)
    assert plain["form"] == "rimward-profile-2" and plain["wheel_id"] == "0102030405060708"
    assert (plain["label"], plain["revision"], plain["issue"]) == ("Aspen race", 3, 77)
    assert (plain["rim_class"], plain["position"], plain["chuck"], plain["limit_source"]) == (
        "TSS", "front", "pressure-open", "rim-marked"
    )  # fmt: skip
    assert plain["flags"] == ["tubeless", "ride-stated", "supersedes"]
    assert plain["tag"] == held["tag"].hex() and len(plain["tag"]) == 32
    assert to_json(DATA)["tag"] is None
    assert from_json(plain) == TAGGED and from_json(to_json(DATA)) == DATA


@pytest.mark.parametrize("flags", [0, 1, 2, 3, 8, 18, 27])
def test_each_flag_is_a_word(flags: int) -> None:
    data = pack_profile(unpack_profile(DATA) | {"flags": flags})
    plain = to_json(data)
    assert plain["flags"] == [word for bit, word in FLAGS.items() if flags & bit]
    assert from_json(plain | {"flags": plain["flags"] * 2}) == data, "a word twice is one flag"


@pytest.mark.parametrize(
    ("days", "text"), [(0, "2020-01-01"), (1, "2020-01-02"), (366, "2021-01-01"), (2_500, "2026-11-05")]
)  # fmt: skip
def test_days_are_counted_from_the_first_of_2020(days: int, text: str) -> None:
    assert (day_text(days), day_number(text)) == (text, days)
    assert from_json(to_json(DATA) | {"made": text})[:100] == pack_profile(
        unpack_profile(DATA) | {"made_days": days}
    )[:100]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("revision", (True, -1, 1.0, "1", None)), ("wheel_id", ("01" * 7, "01" * 9, "0G" * 8, "AB" * 8, 8)),
        ("label", (3, None)), ("made", ("", "2026-02-30", 5)), ("tag", ("00" * 15, "00" * 17, 1)), ("flags", (["other"], 3, [1])),
        ("rim_class", ("hookless", 1, None)), ("position", ("left",)), ("chuck", ("open",)), ("limit_source", ("guess",)),
    ],
)  # fmt: skip
def test_a_wrong_value_is_refused_by_name(name: str, values: tuple[Any, ...]) -> None:
    for value in values:
        with pytest.raises(Refusal) as refused:
            from_json(to_json(DATA) | {name: value})
        assert f"has a wrong {name}." in refused.value.text


@pytest.mark.parametrize("changed", [{"revision": 2**32}, {"label": "x" * 25}])
def test_a_value_that_no_record_holds_is_refused(changed: dict[str, Any]) -> None:
    with pytest.raises(Refusal):
        from_json(to_json(DATA) | changed)


@pytest.mark.parametrize("name", ["form", "tag", "label", "flags", "target_pa"])
def test_missing_and_unknown_fields_are_named(name: str) -> None:
    less = {key: value for key, value in to_json(DATA).items() if key != name}
    with pytest.raises(
        Refusal, match="is not a profile" if name == "form" else f"fields: {name}. "
    ):
        from_json(less)
    with pytest.raises(Refusal, match="unknown fields: colour"):
        from_json(to_json(DATA) | {"colour": 1})


def test_numbers_and_hex() -> None:
    assert (whole(0), whole(5), exact_hex("00ff", 2)) == (0, 5, b"\x00\xff")
    for wrong in (-1, 1.5, True, "5", None):
        with pytest.raises(ValueError):
            whole(wrong)
    for text in ("00f", "00ff0", "00fF", "00ff\n", ""):
        with pytest.raises(ValueError):
            exact_hex(text, 2)


def test_each_kind_of_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.rwp"
    for content in (
        DATA,
        json.dumps(to_json(DATA)).encode(),
        b"\n  " + json.dumps({"profile": to_json(DATA), "standing": "current"}).encode(),
        to_text(DATA).encode(),
        to_text(DATA).encode() + b"\r\n",
    ):
        path.write_bytes(content)
        assert profile_files.read(path) == DATA
    for wrong in (DATA[:-1], DATA + b"\0", b"X" + DATA[1:], DATA[:50] + b"?" + DATA[51:]):
        path.write_bytes(wrong)
        with pytest.raises(Refusal):
            profile_files.read(path)
    with pytest.raises(Refusal, match="cannot be read: No such file"):
        profile_files.read(tmp_path / "none")


def test_a_file_of_64_kib_is_opened_and_one_byte_more_is_not(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text(json.dumps(to_json(DATA)).ljust(65_536))
    assert profile_files.read(path) == DATA
    path.write_text(json.dumps(to_json(DATA)).ljust(65_537))
    with pytest.raises(Refusal) as refused:
        profile_files.read(path)
    assert str(refused.value) == "a.json is too large for a profile. A profile file has 108 bytes."


def test_the_ending_of_a_name_decides_how_it_is_written(tmp_path: Path) -> None:
    profile_files.write(tmp_path / "a.rwp", TAGGED)
    profile_files.write(tmp_path / "a.json", TAGGED)
    assert (tmp_path / "a.rwp").read_bytes() == TAGGED
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    assert text == json.dumps(to_json(TAGGED), indent=2, ensure_ascii=False) + "\n"
    with pytest.raises(Refusal, match="cannot be written"):
        profile_files.write(tmp_path / "none" / "a.rwp", TAGGED)
    assert codes.EPOCH_DAY_UNIX_S == 1_577_836_800
