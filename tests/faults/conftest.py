"""Fixtures of the fault tests."""

from tests.faults.consentbench import inflator
from tests.faults.cyclebench import armed, visit

__all__ = ["armed", "inflator", "visit"]
