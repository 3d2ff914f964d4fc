"""Fixtures of the fault tests."""

from tests.faults.consentbench import inflator

__all__ = ["inflator"]
