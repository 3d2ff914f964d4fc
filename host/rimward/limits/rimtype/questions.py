"""Questions of the rim type check as a table. Type names are those of ISO 5775-2:2021 (SS, TSS, HB, C, TC); instructions are common
practice.
"""

from dataclasses import dataclass

# Our choice: two hooks of at least half a millimetre each; below 0.3 mm a workshop caliper (0.1 mm) finds no hook.
HOOK_MM = 1.0
NO_HOOK_MM = 0.3
PLACES_MIN = 3


@dataclass(frozen=True)
class Question:
    """One step: question, instructions, and the answers with their texts."""

    name: str
    asks: str
    how: str
    answers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Answers:
    """Answers of a person; every default means unknown. Gaps in mm, one pair a place: (at the lips, 2-3 mm below them)."""

    marking: str = ""
    marking_at: str = "other"
    words: str = "none"
    edge: str = "unsure"
    gaps_mm: tuple[tuple[float, float], ...] = ()
    tubeless: str = "unknown"


QUESTIONS: tuple[Question, ...] = (
    Question(
        "marking",
        "Which size is marked on the rim?",
        "Look on the outside wall, near the valve hole, and on the tyre bed under the tape: like 622x23TSS or 622x19TC. Empty if there is none.",
    ),
    Question(
        "marking_at",
        "Where did you read that size?",
        "A shop page, memory or the tyre is no evidence for this rim.",
        (
            ("rim", "on this rim"),
            ("document", "in the maker's document for this very model and year"),
            ("other", "elsewhere, or there is none"),
        ),
    ),
    Question(
        "words",
        "Which words are on the rim or in the maker's document for it?",
        "A low printed maximum pressure is no evidence: wide crochet rims have one too. The C in 700C is a diameter, not a crochet.",
        (
            ("straight-side", "hookless, straight-side, TSS or SS"),
            ("crochet", "crochet, hooked, TC"),
            ("none", "none of these"),
        ),
    ),
    Question(
        "edge",
        "With the tyre off: does a fingernail drawn up the inner wall catch under a lip at the edge?",
        "Try both walls and several places round the rim, away from the joint. A bead bump at the tyre bed is not a lip.",
        (
            ("catches", "it catches under a lip, all round, on both sides"),
            ("slides", "it slides straight off the edge"),
            ("unsure", "not certain"),
        ),
    ),
    Question(
        "gaps_mm",
        "With a caliper's inside jaws: the gap between the lips, then the gap 2 to 3 mm below them, in mm, at three places.",
        f"Hooks narrow the gap at the lips by {HOOK_MM} mm or more (our choice); straight sides by less than {NO_HOOK_MM} mm. Empty without a caliper.",
    ),
    Question(
        "tubeless",
        "Does the rim's marking or the maker's document say that it accepts tyres without a tube?",
        "Fitted tape and a tubeless valve are no evidence.",
        (("yes", "yes"), ("no", "no, or tube only"), ("unknown", "neither")),
    ),
)

CANNOT_BE_SEEN: tuple[str, ...] = (
    "whether the rim accepts tyres without a tube: only its marking or its maker's document shows that",
    "its maximum pressure: only a marked maximum shows that, and a straight-side rim never more than 5.00 bar / 72.5 psi gauge",
    "very small hooks, or hooks worn down by levers or hidden by dried sealant: then the type stays unknown",
)
