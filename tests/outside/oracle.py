"""Counts of the 40,000 draws against the oracle: `python -m tests.outside.oracle [--write]`; the test itself is `test_ceiling_oracle`."""

import json
import random
import sys
from pathlib import Path

from tests.outside.test_ceiling_oracle import BLOCKS, DRAWS, SEED, draw, engine_pa, oracle_pa

KEPT = Path(__file__).with_name("oracle.json")


def counted() -> dict[str, int]:
    """Draws, those with a ceiling, those of them with a stated ride, and those above the oracle."""
    found = {"draws": 0, "with_ceiling": 0, "with_ride": 0, "above": 0}
    for block in range(BLOCKS):
        rng = random.Random(SEED + block)
        for _ in range(DRAWS // BLOCKS):
            d = draw(rng)
            most, ceiling = oracle_pa(d), engine_pa(d)
            found["draws"] += 1
            if ceiling is not None:
                found["with_ceiling"] += 1
                found["with_ride"] += d["ride_hot"] is not None or d["ride_m"] is not None
                found["above"] += most is None or ceiling > most + 1e-6
    return found


if __name__ == "__main__":
    document = json.dumps(counted(), indent=1) + "\n"
    if "--write" in sys.argv:
        KEPT.write_text(document, encoding="utf-8")
    print(document, end="")
    sys.exit(1 if json.loads(document)["above"] else 0)
