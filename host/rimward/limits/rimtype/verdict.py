"""Verdict on the rim type: the evidence of each answer, weighed by a table, with reasons as text."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rimward.base.errors import Refusal
from rimward.base.units import Refused
from rimward.limits.ceiling.sizes import read_rim_size
from rimward.limits.rimtype.questions import HOOK_MM, NO_HOOK_MM, PLACES_MIN, Answers

SHAPE_OF_CLASS = {
    "SS": "straight-side",
    "TSS": "straight-side",
    "C": "crochet",
    "TC": "crochet",
    "HB": "crochet",
}
DIAMETER_CODE = re.compile(r"^(700|650|600)\s*[A-D]|^(700|650)\s*[x×X]", re.IGNORECASE)
GAP_RANGE_MM = (8.0, 130.0)


@dataclass(frozen=True)
class Sign:
    """Evidence of one answer: `shape` straight-side or crochet, `strength` marked, measured or seen."""

    question: str
    answer: str
    shape: str
    strength: str


@dataclass(frozen=True)
class Verdict:
    """Result. `rim_class` is an ISO 5775-2 type or `unknown`; `certainty` is marked, measured or unknown."""

    rim_class: str
    shape: str
    tubeless: str
    certainty: str
    size: str | None
    signs: tuple[Sign, ...]
    why: tuple[str, ...]


def split_size(text: str) -> tuple[str, str] | None:
    """Split a rim's size string into (size without type, type or ''); None for another text. The size is '' without a bead seat."""

    try:
        size = read_rim_size(text)
    except Refused:
        return None
    plain = f"{size.bead_seat_mm}x{size.width_mm:g}" if size.bead_seat_mm else ""
    return plain, "" if size.type == "unknown" else size.type


def with_class(size: str, rim_class: str) -> str:
    """Append this type to a size without type; `?` for unknown."""
    return size + ("?" if rim_class == "unknown" else rim_class)


def marking_signs(answers: Answers) -> tuple[list[Sign], str, str | None, list[str]]:
    """Evidence, type letters, size string and remarks from the marking."""
    text = answers.marking.strip()
    if not text:
        return [], "", None, []
    parts = split_size(text)
    if parts is None or DIAMETER_CODE.match(text):
        remark = f"'{text}' names no rim type" + (
            ": its letter is a diameter code" if DIAMETER_CODE.match(text) else ""
        )
        return [], "", None, [remark]
    size, kind = parts
    if answers.marking_at == "other":
        return (
            [],
            "",
            size or None,
            [
                f"'{text}' was not read from this rim or its maker's document, so its letters do not count"
            ],
        )
    if not kind:
        return [], "", size or None, [f"'{text}' gives the size but not the type"]
    return [Sign("marking", text, SHAPE_OF_CLASS[kind], "marked")], kind, size or None, []


def gap_signs(answers: Answers) -> tuple[list[Sign], list[str]]:
    """Evidence of the gaps, only when at least three places agree."""
    pairs = answers.gaps_mm
    if not pairs:
        return [], []
    if any(not GAP_RANGE_MM[0] <= mm <= GAP_RANGE_MM[1] for pair in pairs for mm in pair):
        raise Refusal(
            "A caliper reading is out of range.",
            f"Give millimetres between {GAP_RANGE_MM[0]:g} and {GAP_RANGE_MM[1]:g}.",
        )
    steps = [below - lips for lips, below in pairs]
    shown = ", ".join(f"{step:+.1f}" for step in steps)
    if len(pairs) < PLACES_MIN:
        return [], [f"{len(pairs)} of {PLACES_MIN} places measured: too few ({shown} mm)"]
    if all(step >= HOOK_MM - 1e-9 for step in steps):
        return [Sign("gaps_mm", f"{shown} mm", "crochet", "measured")], []
    if all(abs(step) < NO_HOOK_MM - 1e-9 for step in steps):
        return [Sign("gaps_mm", f"{shown} mm", "straight-side", "measured")], []
    return [], [
        f"the caliper's steps of {shown} mm fit neither shape all round: measure again with the tape off"
    ]


def collect(answers: Answers) -> tuple[list[Sign], str, str | None, list[str]]:
    """Collect all evidence, the marked type letters, the size string, the remarks."""
    signs, kind, size, remarks = marking_signs(answers)
    if answers.words != "none":
        signs.append(Sign("words", answers.words, answers.words, "marked"))
    if answers.edge != "unsure":
        signs.append(
            Sign(
                "edge",
                answers.edge,
                "crochet" if answers.edge == "catches" else "straight-side",
                "seen",
            )
        )
    measured, more = gap_signs(answers)
    return signs + measured, kind, size, remarks + more


def weigh(signs: list[Sign]) -> tuple[str, str, str]:
    """Return (shape, certainty, reason) of the first matching row."""
    shapes = {s.shape for s in signs}
    strengths = {s.strength for s in signs}
    rows = (
        (not signs, "unknown", "unknown", "there is no evidence of the shape"),
        (
            len(shapes) == 2,
            "unknown",
            "unknown",
            "the evidence disagrees: " + "; ".join(f"{s.question} says {s.shape}" for s in signs),
        ),
        (
            "marked" in strengths,
            "",
            "marked",
            "it is marked or documented, and no evidence disagrees",
        ),
        (
            shapes == {"straight-side"} and "measured" in strengths,
            "straight-side",
            "measured",
            "the gap is as wide at the lips as below them",
        ),
        (
            {"measured", "seen"} <= strengths,
            "crochet",
            "measured",
            "caliper and fingernail both find hooks",
        ),
        (
            shapes == {"crochet"},
            "unknown",
            "unknown",
            "one piece of evidence for hooks without a marking is not enough: fingernail and caliper must agree",
        ),
        (True, "unknown", "unknown", "a fingernail alone is not enough to be certain"),
    )
    _, shape, certainty, reason = next(row for row in rows if row[0])
    return shape or next(iter(shapes)), certainty, reason


def class_of(shape: str, kind: str, tubeless: str) -> str:
    """ISO 5775-2 type. Where tubeless use is not shown, the stricter type without it."""
    if shape == "unknown":
        return "unknown"
    if kind:
        return kind
    plain = {"straight-side": "SS", "crochet": "C"}[shape]
    return f"T{plain}" if tubeless == "yes" else plain


def identify_rim_type(
    answers: Answers, recorded: str = "", earlier: Sequence[Mapping[str, str]] = ()
) -> Verdict:
    """Combine the answers. `recorded` is the rim size in the register: a type in it counts as a marking.

    `earlier`: evidence of the previous check; straight-side evidence still counts, so that repeating the check cannot remove it.
    """
    signs, kind, size, remarks = collect(answers)
    held_size, held_kind = split_size(recorded) or ("", "")
    if held_size and size and size != held_size:
        raise Refusal(
            f"The rim says {size}, the register {recorded}.",
            "Correct the register first: rimward wheel edit WHEEL --rim SIZE.",
        )
    if held_kind:
        signs.append(Sign("register", recorded, SHAPE_OF_CLASS[held_kind], "marked"))
    signs += [
        Sign("earlier check", str(s["answer"]), "straight-side", "seen")
        for s in earlier
        if s["shape"] == "straight-side"
    ]
    shape, certainty, reason = weigh(signs)
    rim_class = class_of(shape, kind or held_kind, answers.tubeless)
    tubeless = (
        "yes" if rim_class in ("TSS", "TC") else "no" if answers.tubeless == "no" else "unknown"
    )
    why = [reason, *remarks, *consequences(rim_class, tubeless)]
    base = size or held_size
    return Verdict(
        rim_class,
        shape,
        tubeless,
        certainty,
        with_class(base, rim_class) if base else None,
        tuple(signs),
        tuple(why),
    )


def consequences(rim_class: str, tubeless: str) -> list[str]:
    """Consequences for the ceiling, as text."""
    if rim_class == "unknown":
        return [
            "an unknown rim is treated as straight-side and not tubeless: at most 5.00 bar / 72.5 psi gauge, "
            "and only an approved tyre with a rigid bead and a tube"
        ]
    if tubeless == "unknown":
        return [f"tubeless use is not shown, so it is recorded as {rim_class}, the stricter type"]
    return []
