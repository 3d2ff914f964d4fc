"""What is not known of a wheel is asked, and the answer is kept with person and date; a wheel without a marking gets no tag."""

import io

import pytest
from rimward.wheels.register.questions import open_questions

UNKNOWN = ("Birch city", "--rim", "622x19?", "--tyre", "37-622")


def fields(values: dict) -> list[str]:
    return [question.field for question in open_questions(values)]


@pytest.mark.parametrize(("values", "open_fields"), [
    ({"rim": "622x19?", "tyre": "37-622"}, ["rim", "approved", "bead", "air", "tyre_range", "rim_max"]),
    ({"rim": "622x19SS", "tyre": "37-622", "tyre_max": "4 bar"}, ["approved", "bead", "air", "rim_max"]),
    ({"rim": "622x23TSS", "tyre": "28-622", "tyre_range": "3-5 bar", "rim_max": "5 bar"}, ["approved"]),
    ({"rim": "622x19C", "tyre": "28-622", "tyre_range": "3-5 bar", "rim_max": "5 bar"}, ["air"]),
    ({"rim": "622x19TC", "tyre": "28-622", "tyre_range": "3-5 bar", "rim_max": "5 bar"}, []),
    ({"rim": "622x19C", "tyre": "28-622", "tyre_range": "3-5 bar", "rim_max": "5 bar", "air": "unknown"}, ["air"]),
])  # fmt: skip
def test_only_what_the_table_needs_is_asked(values, open_fields):
    assert fields(values) == open_fields


def test_an_owner_who_does_not_know_the_rim_is_led_to_a_ceiling(desk, monkeypatch):
    desk.json("wheel", "add", *UNKNOWN)
    assert [q["field"] for q in desk.json("wheel", "ask", "birch")["open"]] == [
        "rim",
        "approved",
        "bead",
        "air",
        "tyre_range",
        "rim_max",
    ]
    command = desk.json("wheel", "ask", "birch")["open"][0]["command"]
    assert (
        desk("wheel", "show", "birch") == 0
        and "not known: rim, approved, bead, air, tyre-range, rim-max; rimward wheel ask"
        in desk.out
    )
    desk("key", "new")
    assert desk("profile", "make", "--wheel", "birch", "--target", "3 bar") == 1
    # the answers: approved yes, rigid, tube, a slip of the sidewall and then its print, no mark on the rim
    monkeypatch.setattr("sys.stdin", io.StringIO("1\n1\n1\n5\nMAX 4 BAR\n\n"))
    assert (
        desk("wheel", "ask", "birch", "--by", "Tove Lind", "--read-from", "maker's list of March")
        == 0
    )
    assert command in desk.err and "no unit" in desk.err and "still open: rim, rim-max" in desk.out
    wheel = desk.json("wheel", "show", "birch")
    assert (wheel["approved"], wheel["bead"], wheel["air"], wheel["tyre_range"]) == (
        "yes",
        "rigid",
        "tube",
        "MAX 4 BAR",
    )
    for name in ("approved", "bead", "air", "tyre_range"):
        assert wheel["entries"][name]["who"] == "Tove Lind" and wheel["entries"][name]["at"]
        assert wheel["entries"][name]["marking"] == "maker's list of March"
    assert (
        desk("profile", "make", "--wheel", "birch", "--target", "3 bar") == 0
    )  # an unknown rim, by the strictest row of the table
    assert desk(*command.split()[1:], "--words", "crochet", "--by", "Tove Lind") == 0
    assert desk.json("wheel", "show", "birch")["rim"] == "622x19C"


def test_a_wheel_without_any_marking_gets_no_tagged_profile(desk):
    desk("key", "new")
    plain = ("--rim", "622x23TSS", "--tyre", "28-622", "--approved", "yes")
    desk.json("wheel", "add", "Birch race", *plain)
    for words in (("--wheel", "birch"), ("--label", "x", *plain)):
        assert (
            desk("profile", "make", *words, "--target", "4 bar", "-o", "a.rwp", "--overwrite") == 1
        )
        assert "marked on rim or tyre" in desk.err and "wheel ask" in desk.err
        assert (
            desk(
                "profile",
                "make",
                *words,
                "--target",
                "4 bar",
                "--untagged",
                "-o",
                "a.rwp",
                "--overwrite",
            )
            == 0
        )
    desk.json("wheel", "edit", "birch", "--tyre-range", "3-6 bar")
    assert desk("profile", "make", "--wheel", "birch", "--target", "4 bar", "-o", "b.rwp") == 0


def test_another_tyre_takes_the_answers_about_the_old_one_away(desk):
    desk.json(
        "wheel",
        "add",
        "Birch",
        "--rim",
        "622x19C",
        "--tyre",
        "28-622",
        "--air",
        "tube",
        "--tyre-range",
        "4-6 bar",
    )
    assert desk.json("wheel", "edit", "birch", "--tyre", "30-622")["air"] is None
