"""Register of wheels: one append-only table of changes, with the current state as a view.

Every figure keeps who entered it, when, and the marking it was read from. Nothing is overwritten.
"""

from rimward.wheels.register.store import Change, Entry, Register, Wheel, open_register

__all__ = ["Change", "Entry", "Register", "Wheel", "open_register"]
