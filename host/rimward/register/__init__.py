"""The register of wheels: one append-only table of changes, the current state a view of it.

Every figure keeps who entered it, when, and which marking it was read from. Nothing is overwritten.
"""

from rimward.register.store import Change, Entry, Register, Wheel, open_register

__all__ = ["Change", "Entry", "Register", "Wheel", "open_register"]
