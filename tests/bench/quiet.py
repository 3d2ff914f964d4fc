"""Quiet minutes of the simulated plant: a tyre that only holds, read with the transducer's noise. `python -m tests.bench.quiet [MINUTES]` prints one JSON document."""

import json
import sys
from typing import Any

from rimward.proof.events import find_events

from tests.unit.test_proof_plant_events import trace

MINUTES = 10_000
RUN_MINUTES = 10
SETTLE_MINUTES = 1  # the hose fills and the air settles: a fall of its own, no quiet
LEVELS_PA = (250e3, 400e3, 550e3, 700e3, 850e3)


def quiet(minutes: int, first_seed: int = 1) -> dict[str, Any]:
    """Looks for events in at least `minutes` of quiet, ten at a time, each run with its own noise and one of five levels."""
    runs, events = -(-minutes // RUN_MINUTES), []
    for seed in range(first_seed, first_seed + runs):
        level_pa = LEVELS_PA[seed % len(LEVELS_PA)]
        t, read, _true = trace(seed, level_pa, level_pa, (RUN_MINUTES + SETTLE_MINUTES) * 60)
        rest = t > t[-1] - RUN_MINUTES * 60_000
        events += [{"seed": seed, "level_pa": level_pa, **event.as_json()} for event in find_events(t[rest], read[rest])]
    return {"quiet_minutes": runs * RUN_MINUTES, "samples": runs * RUN_MINUTES * 60 * 50, "events": events}


if __name__ == "__main__":
    found = quiet(int(sys.argv[1]) if len(sys.argv) > 1 else MINUTES)
    print(json.dumps(found, indent=1))
    sys.exit(1 if found["events"] else 0)
