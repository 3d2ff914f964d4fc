"""Ceilings of pairs of rim and tyre a second, on one core."""

import time

from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess

from tests.bench.row import Row

PAIRS, LEAST = 1000, 1000.0


def rows(quick: bool) -> list[Row]:
    """Row of the table: as many pairs in the quick run too, since they take a second at most."""
    started = time.process_time()
    for i in range(PAIRS):
        assess(
            Rim.parse("622x23TSS", "5 bar"),
            Tyre.parse("28-622", "4-6 bar", approved="yes"),
            Place.of(18, 200 + i % 7),
            Ride.of(2400, 45),
        )
    found = PAIRS / (time.process_time() - started)
    return [Row("ceilings of pairs a second", [found], [LEAST], {"pairs": PAIRS}, least=True)]
