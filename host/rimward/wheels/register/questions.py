"""Open questions of a wheel that prevent a ceiling: text, instructions, and the fields for their answers."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rimward.limits.ceiling.model import Rim
from rimward.limits.ceiling.pairs import UNKNOWN, allows


@dataclass(frozen=True)
class OpenQuestion:
    """One question. `field`: register field for the answer; without `answers` it takes the printed text.

    `command`: the command that leads to the answer where one question is not enough.
    """

    field: str
    asks: str
    how: str
    answers: tuple[tuple[str, str], ...] = ()
    command: str = ""


RIM_TYPE = OpenQuestion(
    "rim",
    "Of which type is the rim?",
    "It is marked on many rims (TSS, SS, TC, C). Otherwise questions, a fingernail and a caliper may identify it.",
    command="rimward rim-type --wheel {wheel_id}",
)
# factor of the pair table -> its question
FACTORS = {
    "approved": OpenQuestion(
        "approved",
        "Does the tyre's maker approve it for straight-side (hookless) rims?",
        "See the maker's list or page for exactly this tyre and width; some print it on the sidewall. A shop's statement is not enough.",
        (("yes", "yes, the maker says so"), ("no", "no"), ("unknown", "not found")),
    ),
    "bead": OpenQuestion(
        "bead",
        "Does the tyre's bead fold?",
        "Read the sidewall or the label. Off the rim, a rigid bead springs back to a ring; a folding one does not.",
        (
            ("rigid", "rigid: it springs back to a ring"),
            ("folding", "it folds"),
            ("unknown", "not certain"),
        ),
    ),
    "air": OpenQuestion(
        "air",
        "Is there a tube in the tyre?",
        "A valve that moves when its nut is loosened usually belongs to a tube. Look inside if in doubt.",
        (("tube", "yes"), ("tubeless", "no"), ("unknown", "not certain")),
    ),
}
MARKINGS = (
    OpenQuestion(
        "tyre_range",
        "What pressure is printed on the tyre's sidewall?",
        "As it is printed, with its unit: 4-6 bar, 5 BAR MAX, 60-85 PSI.",
    ),
    OpenQuestion(
        "rim_max",
        "What maximum pressure is marked on the rim?",
        "As it is marked, with its unit: 5 bar, 72.5 psi. Many rims have none.",
    ),
)
PRINTED_ON_TYRE = ("tyre_range", "tyre_min", "tyre_max")


def open_questions(values: Mapping[str, Any]) -> list[OpenQuestion]:
    """Return the questions of a wheel's values, those that prevent a ceiling first."""
    rim_type = Rim.parse(values["rim"]).type
    found = [RIM_TYPE] if rim_type == UNKNOWN else []
    found += [
        question
        for factor, question in FACTORS.items()
        if values.get(factor, UNKNOWN) == UNKNOWN and not allows(rim_type, factor, UNKNOWN)
    ]
    tyre_mark, rim_mark = MARKINGS
    if not any(name in values for name in PRINTED_ON_TYRE):
        found.append(tyre_mark)
    if "rim_max" not in values:
        found.append(rim_mark)
    return found
