"""Rim type identification, straight-side or crochet: questions, the evidence of each answer, and the verdict.

The dangerous error is to take a straight-side rim for a crochet one, since that lifts its 500 kPa class limit. So a crochet rim needs a
marking, or a measurement and a fingernail test that agree; with disagreeing or uncertain evidence the type stays unknown.
"""

from rimward.limits.rimtype.questions import CANNOT_BE_SEEN, QUESTIONS, Answers, Question
from rimward.limits.rimtype.verdict import Sign, Verdict, identify_rim_type, with_class

__all__ = [
    "CANNOT_BE_SEEN",
    "QUESTIONS",
    "Answers",
    "Question",
    "Sign",
    "Verdict",
    "identify_rim_type",
    "with_class",
]
