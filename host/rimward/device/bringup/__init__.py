"""Bring-up of a new board: one step after the other, first those without air; its figures are the baseline of the yearly check."""

from rimward.device.bringup.run import Person, Result, bring_up, compare
from rimward.device.bringup.steps import STEPS, Step

__all__ = ["STEPS", "Person", "Result", "Step", "bring_up", "compare"]
