"""Telling rim types apart: crochet only on signs that agree; anything uncertain stays unknown."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.limits.rimtype import QUESTIONS, Answers, identify_rim_type

from tests.unit.shopdesk import FRONT

HOOKS = ((21.0, 22.4), (21.1, 22.3), (21.0, 22.5))
STRAIGHT = ((23.0, 23.1), (23.1, 23.0), (23.0, 23.0))
BETWEEN = ((23.0, 23.5), (23.0, 23.6), (23.0, 23.5))


@pytest.mark.parametrize("answers, rim_class, certainty", [
    (Answers(), "unknown", "unknown"),
    (Answers(marking="622x23TSS", marking_at="rim"), "TSS", "marked"),
    (Answers(marking="622x23TSS", marking_at="document"), "TSS", "marked"),
    (Answers(marking="622x23TSS", marking_at="other"), "unknown", "unknown"),
    (Answers(marking="622x19C", marking_at="rim"), "C", "marked"),
    (Answers(marking="622x19TC", marking_at="rim"), "TC", "marked"),
    (Answers(marking="622x19HB", marking_at="rim"), "HB", "marked"),
    (Answers(marking="622x19SS", marking_at="rim", tubeless="yes"), "SS", "marked"),
    (Answers(marking="19-622", marking_at="rim"), "unknown", "unknown"),
    (Answers(marking="700x23C", marking_at="rim"), "unknown", "unknown"),
    (Answers(marking="700C", marking_at="rim"), "unknown", "unknown"),
    (Answers(marking="650B", marking_at="rim"), "unknown", "unknown"),
    (Answers(words="straight-side"), "SS", "marked"),
    (Answers(words="straight-side", tubeless="yes"), "TSS", "marked"),
    (Answers(words="crochet"), "C", "marked"),
    (Answers(words="crochet", tubeless="yes"), "TC", "marked"),
    (Answers(edge="slides"), "unknown", "unknown"),
    (Answers(edge="catches"), "unknown", "unknown"),
    (Answers(gaps_mm=HOOKS), "unknown", "unknown"),
    (Answers(gaps_mm=HOOKS, edge="catches"), "C", "measured"),
    (Answers(gaps_mm=HOOKS[:2], edge="catches"), "unknown", "unknown"),
    (Answers(gaps_mm=BETWEEN, edge="catches"), "unknown", "unknown"),
    (Answers(gaps_mm=STRAIGHT), "SS", "measured"),
    (Answers(gaps_mm=STRAIGHT, edge="slides", tubeless="yes"), "TSS", "measured"),
    (Answers(gaps_mm=STRAIGHT, edge="catches"), "unknown", "unknown"),
    (Answers(gaps_mm=HOOKS, edge="slides"), "unknown", "unknown"),
    (Answers(marking="622x19TC", marking_at="rim", edge="slides"), "unknown", "unknown"),
    (Answers(marking="622x19TC", marking_at="rim", gaps_mm=STRAIGHT), "unknown", "unknown"),
    (Answers(marking="622x23TSS", marking_at="rim", words="crochet"), "unknown", "unknown"),
    (Answers(marking="622x23TSS", marking_at="rim", edge="catches"), "unknown", "unknown"),
])  # fmt: skip
def test_combined_answers_give_the_rim_type(answers, rim_class, certainty):
    found = identify_rim_type(answers)
    assert (found.rim_class, found.certainty) == (rim_class, certainty)
    assert (found.shape == "unknown") == (rim_class == "unknown")
    assert found.why


@pytest.mark.parametrize(
    "step_mm, shape",
    [
        (0.29, "straight-side"),
        (0.3, "unknown"),
        (0.99, "unknown"),
        (1.0, "crochet"),
        (-0.31, "unknown"),
    ],
)
def test_the_caliper_bounds(step_mm, shape):
    gaps = tuple((22.0, 22.0 + step_mm) for _ in range(3))
    seen = [sign.shape for sign in identify_rim_type(Answers(gaps_mm=gaps)).signs]
    assert seen == ([] if shape == "unknown" else [shape])


def test_one_differing_place_of_three_decides_nothing():
    assert (
        identify_rim_type(Answers(gaps_mm=(*HOOKS[:2], STRAIGHT[0]), edge="catches")).rim_class
        == "unknown"
    )


@pytest.mark.parametrize("gap", [(8.0, 8.1), (130.0, 129.9)])
def test_range_of_plausible_caliper_readings(gap):
    assert identify_rim_type(Answers(gaps_mm=(gap,) * 3)).rim_class == "SS"


@pytest.mark.parametrize(
    "gap", [(7.9, 8.0), (130.0, 130.1), (0.0, 22.0), (22.0, 500.0), (-22.0, 22.0)]
)
def test_a_slip_of_the_caliper_is_refused(gap):
    with pytest.raises(Refusal, match="millimetres"):
        identify_rim_type(Answers(gaps_mm=(gap,) * 3))


MARKINGS = ("", "622x23TSS", "622x19C", "622x19TC", "622x19HB", "19-622", "700x23C")
ALL = st.builds(
    Answers,
    marking=st.sampled_from(MARKINGS),
    marking_at=st.sampled_from(["rim", "document", "other"]),
    words=st.sampled_from(["straight-side", "crochet", "none"]),
    edge=st.sampled_from(["catches", "slides", "unsure"]),
    gaps_mm=st.sampled_from([(), HOOKS, STRAIGHT, BETWEEN]),
    tubeless=st.sampled_from(["yes", "no", "unknown"]),
)
STRAIGHT_SIGNS = (
    lambda a: a.marking == "622x23TSS" and a.marking_at != "other",
    lambda a: a.words == "straight-side",
    lambda a: a.edge == "slides",
    lambda a: a.gaps_mm == STRAIGHT,
)


@given(ALL)
def test_no_sign_of_a_straight_side_is_ever_overruled(answers):
    found = identify_rim_type(answers)
    if any(sign(answers) for sign in STRAIGHT_SIGNS):
        assert found.rim_class in ("SS", "TSS", "unknown")
    if found.rim_class in ("C", "TC", "HB"):
        assert found.certainty == "marked" or (
            answers.edge == "catches" and answers.gaps_mm == HOOKS
        )


@given(ALL)
def test_tubeless_is_only_what_a_marking_or_document_says(answers):
    found = identify_rim_type(answers)
    if found.rim_class in ("TSS", "TC"):
        assert answers.tubeless == "yes" or answers.marking.endswith(found.rim_class)


@given(ALL)
def test_a_straight_side_rim_in_the_register_never_becomes_crochet(answers):
    if answers.marking in ("", "622x23TSS"):
        assert identify_rim_type(answers, "622x23TSS").rim_class in ("TSS", "SS", "unknown")


def test_another_size_than_the_register_says_is_refused():
    with pytest.raises(Refusal, match="622x25"):
        identify_rim_type(Answers(marking="622x25TSS", marking_at="rim"), "622x23TSS")


def test_every_answer_of_the_table_is_understood():
    tables = {q.name: [answer for answer, _ in q.answers] for q in QUESTIONS if q.answers}
    for combination in itertools.product(*tables.values()):
        identify_rim_type(Answers(**dict(zip(tables, combination, strict=True))))


def test_the_command_records_the_answer_on_the_wheel(desk):
    desk.json("wheel", "add", *[word if word != "622x23TSS" else "622x23?" for word in FRONT])
    told = desk.json(
        "rim-type",
        "--marking",
        "622x23TSS",
        "--marking-at",
        "rim",
        "--edge",
        "slides",
        "--wheel",
        "aspen",
        "--by",
        "Tove Lind",
    )
    assert (told["rim_class"], told["certainty"], told["rim"]) == ("TSS", "marked", "622x23TSS")
    wheel = desk.json("wheel", "show", "aspen")
    assert (
        wheel["rim"] == "622x23TSS"
        and wheel["rim_max"] == "5 bar"
        and wheel["rim_type"]["certainty"] == "marked"
    )
    assert wheel["entries"]["rim_type"]["who"] == "Tove Lind"
    told = desk.json("rim-type", "--words", "crochet", "--wheel", "aspen")
    assert (
        told["rim_class"] == "unknown" and desk.json("wheel", "show", "aspen")["rim"] == "622x23?"
    )
    assert desk("wheel", "show", "aspen") == 0 and "rim type unknown" in desk.out


def test_repeated_questions_never_turn_a_straight_side_into_crochet(desk):
    desk.json("wheel", "add", *[word if word != "622x23TSS" else "622x23?" for word in FRONT])
    assert desk.json("rim-type", "--edge", "slides", "--wheel", "aspen")["rim_class"] == "unknown"
    for _ in range(3):
        assert (
            desk.json("rim-type", "--words", "crochet", "--wheel", "aspen")["rim_class"]
            == "unknown"
        )
    desk.json("wheel", "edit", "aspen", "--rim", "622x23TC", "--note", "another rim laced in")
    assert desk.json("rim-type", "--words", "crochet", "--wheel", "aspen")["rim_class"] == "TC"


def test_the_command_without_a_wheel_and_for_people(desk):
    assert desk("rim-type", "--gaps", "21.0/22.4, 21.1/22.4; 21.0/22.5", "--edge", "catches") == 0
    assert (
        "Rim type: C (measured)" in desk.out
        and "What no eye can tell" in desk.out
        and "5.00 bar / 72.5 psi" in desk.out
    )
    assert desk("rim-type", "--gaps", "21,0/22,4") == 2 and "21.0/22.4" in desk.err
    assert desk("rim-type", "--edge", "perhaps") == 2


def test_the_walk_asks_every_question_and_enter_means_not_known(desk, monkeypatch):
    import io

    answers = "622x23TSS\n1\n3\n2\n23.0/23.1,23.1/23.0,23.0/23.0\n3\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    told = desk.json("rim-type")
    assert told["rim_class"] == "TSS" and len(told["signs"]) == 3
    assert all(q.asks in desk.err for q in QUESTIONS)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 6))
    assert desk.json("rim-type")["rim_class"] == "unknown"


@pytest.mark.parametrize("tubeless, shown", [("yes", True), ("unknown", False), ("no", True)])
def test_tubeless_use_without_proof_is_reported(tubeless, shown):
    said = " ".join(identify_rim_type(Answers(words="straight-side", tubeless=tubeless)).why)
    assert ("tubeless use is not shown, so it is recorded as SS" in said) is not shown


@pytest.mark.parametrize("marking", ["", "  "])
def test_a_rim_without_a_marking_gets_no_remark_about_it(marking):
    found = identify_rim_type(Answers(marking=marking))
    assert found.signs == () and found.size is None and len(found.why) == 2
    assert not any("names no rim type" in line for line in found.why)
