"""Only `profile make` tags; what the register speaks against is not sent; a new profile starts from the ride of the last one."""

from pathlib import Path
from typing import Any

import pytest
from rimward.base.errors import Refusal
from rimward.cli.commands.wheel_options import register as opened
from rimward.formats.records import unpack_profile
from rimward.wheels import keys, profiles

from tests.unit.shopdesk import FRONT, RIDE

MAKE = ("profile", "make", "--wheel", "aspen")


class Sent:
    """In place of an inflator: keeps the bytes sent."""

    def __init__(self) -> None:
        self.data: list[bytes] = []

    def __enter__(self) -> "Sent":
        return self

    def __exit__(self, *_exc: object) -> None:
        pass


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> Sent:
    far = Sent()

    def send(_client: Any, data: bytes) -> dict[str, Any]:
        far.data.append(data)
        return {
            "wheel_id": "",
            "revision": 1,
            "slot": 0,
            "sha256": "0" * 64,
            "waiting_for_person": False,
        }

    monkeypatch.setattr("rimward.device.link.ports.open_client", lambda *_args, **_more: far)
    monkeypatch.setattr("rimward.device.link.verbs.send_profile", send)
    return far


def send(desk: Any, name: str) -> int:
    return int(desk("profile", "send", name, "--port", "here"))


def test_an_untagged_code_never_reaches_an_inflator_and_is_never_tagged(
    desk: Any, sent: Sent, tmp_path: Path
) -> None:
    """The printed code of a known wheel, read back and sent: once it was signed on its way and raised the ceiling."""
    desk.json("wheel", "add", *FRONT)
    desk.json(*MAKE, "--target", "4.6 bar", "-o", "printed.rwp")
    desk.json("key", "new")
    assert send(desk, "printed.rwp") == 1 and "no tag" in desk.err and sent.data == []
    assert (
        profiles.origin((tmp_path / "printed.rwp").read_bytes(), keys.load())["state"] == "untagged"
    )


def test_a_profile_that_the_register_marks_is_not_sent(
    desk: Any, sent: Sent, tmp_path: Path
) -> None:
    desk.json("wheel", "add", *FRONT)
    desk.json("key", "new")
    desk.json(*MAKE, "--target", "4.6 bar", "-o", "one.rwp")
    assert send(desk, "one.rwp") == 0
    desk.json(*MAKE, "--target", "4.1 bar", *RIDE, "-o", "two.rwp")
    assert (
        send(desk, "one.rwp") == 1
        and "The newest is revision 2" in desk.err
        and "profile make" in desk.err
    )
    assert send(desk, "two.rwp") == 0
    desk.json("wheel", "edit", "aspen", "--label", "Aspen race two")
    assert send(desk, "two.rwp") == 1 and "Changed since: label" in desk.err
    desk.json(*MAKE, "--target", "4.1 bar", "-o", "three.rwp")
    desk.json("wheel", "retire", "aspen")
    assert send(desk, "three.rwp") == 1 and "retired" in desk.err
    assert list(sent.data) == [(tmp_path / name).read_bytes() for name in ("one.rwp", "two.rwp")]


def held_row(path: Path) -> dict[str, Any]:
    """A profile as an inflator says that it holds it."""
    data = path.read_bytes()
    fields = unpack_profile(data)
    flags = {"chosen": False, "confirmed": True, "tag_fits": True, "intact": True}
    return {
        "wheel_id": fields["wheel_id"].hex(),
        "revision": fields["revision"],
        "profile": fields,
        "data": data,
        **flags,
    }


def test_the_list_of_an_inflator_shows_the_register_s_marks(
    desk: Any, sent: Sent, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Superseded, retired, changed, refused, held by no wheel of this register: each by its name, the current one by none."""
    desk.json("key", "new")
    for name in ("Current", "Older", "Gone", "Edited", "Unsafe"):
        desk.json("wheel", "add", name, *FRONT[1:])
        desk.json("profile", "make", "--wheel", name, "--target", "4.1 bar", "-o", f"{name}.rwp")
    desk.json("profile", "make", "--wheel", "Older", "--target", "4.0 bar", "-o", "newer.rwp")
    desk.json("wheel", "retire", "Gone")
    desk.json("wheel", "edit", "Edited", "--rim-max", "4.9 bar")
    desk.json("wheel", "edit", "Unsafe", "--approved", "no")
    desk.json("profile", "make", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "28-622", "--tyre-max", "5 bar", "--approved", "yes", "--bead", "folding",
              "--air", "tube", "--label", "Elsewhere", "--target", "4 bar", "-o", "Elsewhere.rwp")  # fmt: skip
    names = ("Current", "Older", "Gone", "Edited", "Unsafe", "Elsewhere")
    monkeypatch.setattr(
        "rimward.device.link.verbs.list_profiles",
        lambda _client: [held_row(tmp_path / f"{name}.rwp") for name in names],
    )
    rows = {row["profile"]["label"]: row for row in desk.json("profile", "list", "--port", "here")}
    assert {name: rows[name]["standing"] for name in names} == {
        "Current": "current", "Older": "superseded", "Gone": "retired", "Edited": "wheel-changed", "Unsafe": "refused", "Elsewhere": "unknown-wheel",
    }  # fmt: skip
    assert (
        "Changed since: rim-max" in rows["Edited"]["says"] and "approve" in rows["Unsafe"]["says"]
    )
    assert desk("profile", "list", "--port", "here") == 0
    for words in (
        "SUPERSEDED",
        "OUT OF DATE",
        "REFUSED",
        "This wheel is retired",
        "is not in the register",
    ):
        assert all(word in desk.out for word in words.split()), (
            words
        )  # a narrow table breaks its cells
    for name in ("Older", "Gone", "Edited", "Unsafe"):
        assert send(desk, f"{name}.rwp") == 1 and sent.data == []


def test_a_wheel_whose_mark_was_taken_back_is_refused(desk: Any, sent: Sent) -> None:
    """By the present register the target is above the ceiling: the message gives both pressures."""
    desk.json("wheel", "add", *FRONT)
    desk.json("key", "new")
    desk.json(*MAKE, "--target", "4.6 bar", "-o", "one.rwp")
    desk.json("wheel", "edit", "aspen", "--rim-max", "4.5 bar")
    assert (
        send(desk, "one.rwp") == 1
        and "REFUSED" in desk.err
        and "4.60 bar" in desk.err
        and "4.50 bar" in desk.err
        and "Changed since: rim-max" in desk.err
    )


def test_a_tag_of_a_wheel_that_this_register_does_not_hold_is_sent_with_those_words(
    desk: Any, sent: Sent
) -> None:
    desk.json("key", "new")
    desk.json("profile", "make", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "28-622", "--tyre-max", "5 bar", "--approved", "yes", "--bead", "folding",
              "--air", "tube", "--label", "Elsewhere", "--target", "4 bar", "-o", "else.rwp")  # fmt: skip
    assert (
        send(desk, "else.rwp") == 0
        and "is not in the register" in desk.err
        and "Tagged by this workshop" in desk.err
    )


def test_a_new_profile_starts_from_the_ride_of_the_last_and_leaving_it_out_is_an_act(
    desk: Any,
) -> None:
    desk.json("wheel", "add", *FRONT)
    first = desk.json(*MAKE, "--target", "4.1 bar", *RIDE)
    assert first["conditions"]["ride_altitude_max_m"] is not None and first["conditions"]["made"]
    again = desk.json(*MAKE, "--target", "4.0 bar")
    assert (
        again["profile"]["ceiling_pa"] == first["profile"]["ceiling_pa"]
        and "ride-stated" in again["profile"]["flags"]
    )
    said = next(note["text"] for note in again["warnings"] if note["id"] == "ride-as-before")
    assert all(words in said for words in ("fill temperature", "highest point", "hottest tyre"))
    told = dict(again["conditions"])
    assert {**told, "made": None} == {**first["conditions"], "made": None}
    without = desk.json(*MAKE, "--target", "4.0 bar", "--without-ride")
    assert (
        without["profile"]["ceiling_pa"] > first["profile"]["ceiling_pa"]
        and "ride-stated" not in without["profile"]["flags"]
    )


def test_the_second_writer_is_shown_what_changed(desk: Any) -> None:
    desk.json("wheel", "add", *FRONT)
    with opened(None) as register:
        wheel = register.get("aspen")
        register.edit(wheel.wheel_id, {"owner": "Ilse Vane"}, "Ida", read=wheel.last_seq)
        with pytest.raises(Refusal, match="changed meanwhile: owner to 'Ilse Vane' by Ida"):
            register.edit(wheel.wheel_id, {"owner": "Somebody else"}, "Jon", read=wheel.last_seq)
        register.edit(wheel.wheel_id, {"rim_max": "4 bar"}, "Ida")
        asked = profiles.Asked(300_000, profiles.Place.of(18, 200))
        with pytest.raises(Refusal, match="changed meanwhile: rim-max"):
            profiles.issue(register, wheel, asked, None)


def test_labels_that_look_alike_on_the_display_are_warned_of(desk: Any) -> None:
    desk.json("wheel", "add", *FRONT)
    desk.json("wheel", "add", *[word.replace("Aspen race", "Äspen race") for word in FRONT])
    told = desk.json("profile", "make", "--wheel", "Äspen race", "--target", "4 bar", "-o", "b.rwp")
    assert {"label-twice", "label-letters"} <= {note["id"] for note in told["warnings"]}
