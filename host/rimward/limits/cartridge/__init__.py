"""Tyre pressure from gas cartridges: just after, settled, and at the hottest of the ride."""

from rimward.limits.cartridge.charge import Charge, Outcome, State, charge_tyre

__all__ = ["Charge", "Outcome", "State", "charge_tyre"]
