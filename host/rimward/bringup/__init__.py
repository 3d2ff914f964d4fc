"""Bring-up of a new board: one step after the other, without air first; its own figures are the baseline of the yearly check."""

from rimward.bringup.run import Person, Result, bring_up, compare
from rimward.bringup.steps import STEPS, Step

__all__ = ["STEPS", "Person", "Result", "Step", "bring_up", "compare"]
