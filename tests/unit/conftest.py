"""Fixtures of the unit tests."""

from tests.unit.shopdesk import desk

__all__ = ["desk"]
