"""The shipped machine code, and guided ticks for it, once for all tests here."""

import pytest

from tests.interpreter import identical
from tests.machine import measure, shipped, whole

TICKS = 2000
FILLING = "road-30", 2500  # a recorded session, its first ticks: self-test and the first bursts


@pytest.fixture(scope="package")
def code() -> whole.Codes:
    return whole.Codes(shipped.kernel("tick"), shipped.kernel("guard"), shipped.kernel("fill"))


@pytest.fixture(scope="package")
def kept():
    """Guided ticks by CPython: records, and what the kernels alone leave."""
    return identical.guided(measure.SEED, TICKS)


@pytest.fixture(scope="package")
def rows(kept):
    return measure.rows_of(kept.records.tobytes())


@pytest.fixture(scope="package")
def filling():
    """(memory at its start, rows) of a recorded session's beginning."""
    start, records = identical.corpus(FILLING[0])[0]
    return start if len(start) == measure.WORDS else None, measure.rows_of(records)[: FILLING[1]]
