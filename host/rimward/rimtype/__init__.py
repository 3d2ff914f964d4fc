"""Telling a straight-side rim from a crochet one: questions, the signs that answers give, and what they add up to.

The dangerous mistake is to call a straight-side rim crochet, since that lifts its 500 kPa class limit. So a crochet rim
needs a marking, or a measurement and a fingernail that agree; signs that disagree, and whatever is uncertain, stay unknown.
"""

from rimward.rimtype.questions import CANNOT_BE_SEEN, QUESTIONS, Answers, Question
from rimward.rimtype.verdict import Sign, Verdict, judge, with_class

__all__ = ["CANNOT_BE_SEEN", "QUESTIONS", "Answers", "Question", "Sign", "Verdict", "judge", "with_class"]
