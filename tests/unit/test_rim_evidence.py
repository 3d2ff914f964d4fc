"""Evidence of the rim type piece by piece: what each answer counts as, which row of the table decides, and the words that give the reason."""

from typing import Any

import pytest
from rimward.base.errors import Refusal
from rimward.limits.rimtype import Answers, identify_rim_type
from rimward.limits.rimtype.verdict import (
    Sign,
    class_of,
    collect,
    consequences,
    gap_signs,
    marking_signs,
    split_size,
    weigh,
    with_class,
)

LETTER, NO_TYPE = ": its letter is a diameter code", "gives the size but not the type"


@pytest.mark.parametrize(
    ("text", "where", "shape", "kind", "size", "remark"),
    [
        ("622x23TSS", "rim", "straight-side", "TSS", "622x23", ""),
        (" 622x19C ", "document", "crochet", "C", "622x19", ""),
        ("622x22.5HB", "rim", "crochet", "HB", "622x22.5", ""),
        ("23TSS", "rim", "straight-side", "TSS", None, ""),
        ("19-622", "rim", "", "", "622x19", f"'19-622' {NO_TYPE}"),
        ("?x23", "rim", "", "", None, f"'?x23' {NO_TYPE}"),
        ("622x23TSS", "other", "", "", "622x23", "'622x23TSS' was not read from this rim"),
        ("23TSS", "other", "", "", None, "so its letters do not count"),
        ("700x23C", "rim", "", "", None, f"'700x23C' names no rim type{LETTER}"),
        ("650B", "rim", "", "", None, f"'650B' names no rim type{LETTER}"),
        ("600 a", "rim", "", "", None, f"'600 a' names no rim type{LETTER}"),
        ("650X25", "rim", "", "", None, f"'650X25' names no rim type{LETTER}"),
        ("maker", "rim", "", "", None, "'maker' names no rim type"),
        ("", "rim", "", "", None, ""),
    ],
)
def test_what_a_marking_counts_as(
    text: str, where: Any, shape: str, kind: str, size: str | None, remark: str
) -> None:
    signs, letters, plain, remarks = marking_signs(Answers(marking=text, marking_at=where))
    assert signs == ([Sign("marking", text.strip(), shape, "marked")] if shape else [])
    assert (letters, plain, len(remarks)) == (kind, size, int(bool(remark)))
    assert remark in "".join(remarks) and (LETTER in "".join(remarks)) == (LETTER in remark)


def pairs(*steps: float) -> tuple[tuple[float, float], ...]:
    return tuple((22.0, 22.0 + step) for step in steps)


@pytest.mark.parametrize(
    ("gaps", "shape", "shown", "remark"),
    [
        (pairs(1, 1, 1), "crochet", "+1.0, +1.0, +1.0 mm", ""),
        (pairs(1.5, 1, 2, 1), "crochet", "+1.5, +1.0, +2.0, +1.0 mm", ""),
        (pairs(0, 0.29, -0.29), "straight-side", "+0.0, +0.3, -0.3 mm", ""),
        (pairs(0, 0.3, 0), "", "", "steps of +0.0, +0.3, +0.0 mm fit neither shape all round"),
        (pairs(1, 1, 0.99), "", "", "fit neither shape all round: measure again with the tape off"),
        (pairs(-1, -1, -1), "", "", "fit neither shape"),
        (pairs(1, 1), "", "", "2 of 3 places measured: too few (+1.0, +1.0 mm)"),
        (pairs(0), "", "", "1 of 3 places measured: too few (+0.0 mm)"),
        ((), "", "", ""),
    ],
)
def test_what_the_caliper_counts_as(gaps: Any, shape: str, shown: str, remark: str) -> None:
    signs, remarks = gap_signs(Answers(gaps_mm=gaps))
    assert signs == ([Sign("gaps_mm", shown, shape, "measured")] if shape else [])
    assert len(remarks) == int(bool(remark)) and remark in "".join(remarks)


@pytest.mark.parametrize("slip", [(7.99, 8.0), (8.0, 130.01), (130.01, 22.0), (22.0, 7.99)])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_reading_out_of_range_is_refused_at_each_place(
    slip: tuple[float, float], place: int
) -> None:
    gaps = [(8.0, 8.0), (130.0, 130.0), (22.0, 22.0)]
    assert gap_signs(Answers(gaps_mm=tuple(gaps)))[0]
    gaps[place] = slip
    with pytest.raises(Refusal, match="Give millimetres between 8 and 130"):
        gap_signs(Answers(gaps_mm=tuple(gaps)))


def test_all_evidence_is_collected_in_its_order() -> None:
    answers = Answers(
        marking="19-622", marking_at="rim", words="crochet", edge="slides", gaps_mm=pairs(1, 1)
    )
    signs, kind, size, remarks = collect(answers)
    assert [(s.question, s.answer, s.shape, s.strength) for s in signs] == [
        ("words", "crochet", "crochet", "marked"), ("edge", "slides", "straight-side", "seen"),
    ]  # fmt: skip
    assert (kind, size) == ("", "622x19") and [line[:8] for line in remarks] == [
        "'19-622'", "2 of 3 p"
    ]  # fmt: skip
    (catches,) = collect(Answers(edge="catches"))[0]
    assert (catches.shape, catches.strength) == ("crochet", "seen")
    assert collect(Answers()) == ([], "", None, [])


def signs_of(*words: str) -> list[Sign]:
    """Signs as "shape strength", s or c and marked, measured or seen."""
    shapes = {"s": "straight-side", "c": "crochet"}
    return [Sign(f"q{i}", "", shapes[one[0]], one[2:]) for i, one in enumerate(words)]


@pytest.mark.parametrize(
    ("signs", "shape", "certainty", "reason"),
    [
        ([], "unknown", "unknown", "there is no evidence of the shape"),
        (["s seen", "c seen"], "unknown", "unknown", "the evidence disagrees: q0 says straight-side; q1 says crochet"),
        (["s marked", "c marked"], "unknown", "unknown", "disagrees"),
        (["s marked"], "straight-side", "marked", "it is marked or documented, and no evidence disagrees"),
        (["c seen", "c marked"], "crochet", "marked", "it is marked or documented"),
        (["s measured"], "straight-side", "measured", "as wide at the lips as below"),
        (["s seen", "s measured"], "straight-side", "measured", "as wide at the lips as below"),
        (["c measured", "c seen"], "crochet", "measured", "caliper and fingernail both find hooks"),
        (["c measured"], "unknown", "unknown", "one piece of evidence for hooks without a marking is not enough"),
        (["c seen"], "unknown", "unknown", "one piece of evidence for hooks"),
        (["s seen"], "unknown", "unknown", "a fingernail alone is not enough"),
    ],
)  # fmt: skip
def test_the_row_that_decides(signs: list[str], shape: str, certainty: str, reason: str) -> None:
    found = weigh(signs_of(*signs))
    assert found[:2] == (shape, certainty) and reason in found[2]


@pytest.mark.parametrize(
    ("shape", "kind", "tubeless", "found"),
    [
        ("unknown", "TSS", "yes", "unknown"), ("straight-side", "TSS", "no", "TSS"), ("crochet", "HB", "yes", "HB"),
        ("straight-side", "", "yes", "TSS"), ("straight-side", "", "no", "SS"), ("straight-side", "", "unknown", "SS"),
        ("crochet", "", "yes", "TC"), ("crochet", "", "unknown", "C"),
    ],
)  # fmt: skip
def test_the_type_of_a_shape(shape: str, kind: str, tubeless: str, found: str) -> None:
    assert class_of(shape, kind, tubeless) == found


@pytest.mark.parametrize(
    ("answers", "recorded", "tubeless", "size", "lines"),
    [
        (Answers(words="crochet", tubeless="yes"), "", "yes", None, 1),
        (Answers(words="crochet", tubeless="no"), "622x19?", "no", "622x19C", 1),
        (Answers(words="crochet"), "622x19?", "unknown", "622x19C", 2),
        (Answers(tubeless="yes"), "622x19?", "unknown", "622x19?", 2),
        (Answers(tubeless="no"), "", "no", None, 2),
        (Answers(marking="622x19TC", marking_at="rim", tubeless="no"), "", "yes", "622x19TC", 1),
        (Answers(marking="19-622", marking_at="rim"), "622x19TC", "yes", "622x19TC", 2),
        (Answers(marking="23TSS", marking_at="rim"), "622x23?", "yes", "622x23TSS", 1),
    ],
)  # fmt: skip
def test_what_is_recorded_of_a_rim(
    answers: Answers, recorded: str, tubeless: str, size: str | None, lines: int
) -> None:
    """The reason, a remark of a marking without a type, and the consequence where something stays unknown."""
    found = identify_rim_type(answers, recorded)
    assert (found.tubeless, found.size, len(found.why)) == (tubeless, size, lines)


def test_evidence_of_the_register_and_of_an_earlier_check() -> None:
    earlier = [
        {"answer": "slides", "shape": "straight-side"},
        {"answer": "catches", "shape": "crochet"},
    ]
    found = identify_rim_type(Answers(edge="slides"), "622x23TSS", earlier)
    assert found.signs == (
        Sign("edge", "slides", "straight-side", "seen"),
        Sign("register", "622x23TSS", "straight-side", "marked"),
        Sign("earlier check", "slides", "straight-side", "seen"),
    )
    assert (found.shape, found.certainty) == ("straight-side", "marked")
    against = identify_rim_type(Answers(words="crochet"), "", earlier)
    assert (against.rim_class, against.shape) == ("unknown", "unknown")
    with pytest.raises(Refusal, match="The rim says 622x25, the register 622x23TSS"):
        identify_rim_type(Answers(marking="25-622", marking_at="other"), "622x23TSS")


def test_sizes_and_types_apart() -> None:
    assert split_size("622x23TSS") == ("622x23", "TSS") and split_size("?x23") == ("", "")
    assert split_size("") is None and split_size("700C") is None
    assert (with_class("622x23", "unknown"), with_class("622x23", "TC")) == ("622x23?", "622x23TC")
    assert ["at most 5.00 bar" in line for line in consequences("unknown", "unknown")] == [True]
    assert consequences("TC", "yes") == [] and "recorded as C" in consequences("C", "unknown")[0]
