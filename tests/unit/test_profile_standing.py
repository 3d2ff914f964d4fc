"""Only `profile make` tags; what the register speaks against is not sent; a new profile starts from the ride of the last one."""

from pathlib import Path
from typing import Any

import pytest
from rimward import keys, profiles
from rimward.commands.wheel import register as opened
from rimward.errors import Refusal

from tests.unit.shopdesk import FRONT, RIDE, desk  # noqa: F401

MAKE = ("profile", "make", "--wheel", "aspen")


class Sent:
    """Stands for an inflator: keeps what would have been sent."""

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
        return {"wheel_id": "", "revision": 1, "slot": 0, "sha256": "0" * 64, "waiting_for_person": False}

    monkeypatch.setattr("rimward.link.ports.open_client", lambda *_args, **_more: far)
    monkeypatch.setattr("rimward.link.verbs.send_profile", send)
    return far


def send(desk: Any, name: str) -> int:  # noqa: F811
    return int(desk("profile", "send", name, "--port", "here"))


def test_an_untagged_code_never_reaches_an_inflator_and_is_never_tagged(desk: Any, sent: Sent, tmp_path: Path) -> None:  # noqa: F811
    """The printed code of a known wheel, read back and sent: once it was signed on its way and raised the ceiling."""
    desk.json("wheel", "add", *FRONT)
    desk.json(*MAKE, "--target", "4.6 bar", "-o", "printed.rwp")
    desk.json("key", "new")
    assert send(desk, "printed.rwp") == 1 and "no tag" in desk.err and sent.data == []
    assert profiles.origin((tmp_path / "printed.rwp").read_bytes(), keys.load())["state"] == "untagged"


def test_what_the_register_speaks_against_is_not_sent(desk: Any, sent: Sent, tmp_path: Path) -> None:  # noqa: F811
    desk.json("wheel", "add", *FRONT)
    desk.json("key", "new")
    desk.json(*MAKE, "--target", "4.6 bar", "-o", "one.rwp")
    assert send(desk, "one.rwp") == 0
    desk.json(*MAKE, "--target", "4.1 bar", *RIDE, "-o", "two.rwp")
    assert send(desk, "one.rwp") == 1 and "The newest is revision 2" in desk.err and "profile make" in desk.err
    assert send(desk, "two.rwp") == 0
    desk.json("wheel", "edit", "aspen", "--label", "Aspen race two")
    assert send(desk, "two.rwp") == 1 and "Changed since: label" in desk.err
    desk.json(*MAKE, "--target", "4.1 bar", "-o", "three.rwp")
    desk.json("wheel", "retire", "aspen")
    assert send(desk, "three.rwp") == 1 and "retired" in desk.err
    assert [data for data in sent.data] == [(tmp_path / name).read_bytes() for name in ("one.rwp", "two.rwp")]


def test_a_tag_of_a_wheel_that_this_register_does_not_hold_is_sent_with_those_words(desk: Any, sent: Sent) -> None:  # noqa: F811
    desk.json("key", "new")
    desk.json("profile", "make", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "28-622", "--tyre-max", "5 bar", "--approved", "yes", "--bead", "folding",
              "--air", "tube", "--label", "Elsewhere", "--target", "4 bar", "-o", "else.rwp")  # fmt: skip
    assert send(desk, "else.rwp") == 0 and "holds no such wheel" in desk.err and "Tagged by this workshop" in desk.err


def test_a_new_profile_starts_from_the_ride_of_the_last_and_leaving_it_out_is_an_act(desk: Any) -> None:  # noqa: F811
    desk.json("wheel", "add", *FRONT)
    first = desk.json(*MAKE, "--target", "4.1 bar", *RIDE)
    assert first["conditions"]["ride_altitude_max_m"] is not None and first["conditions"]["made"]
    again = desk.json(*MAKE, "--target", "4.0 bar")
    assert again["profile"]["ceiling_pa"] == first["profile"]["ceiling_pa"] and "ride-stated" in again["profile"]["flags"]
    assert "ride-as-before" in {note["id"] for note in again["warnings"]}
    told = dict(again["conditions"])
    assert {**told, "made": None} == {**first["conditions"], "made": None}
    without = desk.json(*MAKE, "--target", "4.0 bar", "--without-ride")
    assert without["profile"]["ceiling_pa"] > first["profile"]["ceiling_pa"] and "ride-stated" not in without["profile"]["flags"]


def test_the_second_writer_is_shown_what_changed(desk: Any) -> None:  # noqa: F811
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


def test_labels_that_look_alike_on_the_display_are_warned_of(desk: Any) -> None:  # noqa: F811
    desk.json("wheel", "add", *FRONT)
    desk.json("wheel", "add", *[word.replace("Aspen race", "Äspen race") for word in FRONT])
    told = desk.json("profile", "make", "--wheel", "Äspen race", "--target", "4 bar", "-o", "b.rwp")
    assert {"label-twice", "label-letters"} <= {note["id"] for note in told["warnings"]}
