"""What a gas cartridge leaves in a tyre: just after, settled, and at the hottest of the ride."""

from rimward.cartridge.charge import Charge, Outcome, State, charge_tyre

__all__ = ["Charge", "Outcome", "State", "charge_tyre"]
