"""Quiet minutes of the simulated plant: a tyre that only holds, read with the transducer's noise. `python -m tests.bench.quiet [MINUTES] [--write]` prints one JSON document."""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from rimward.proof.events import find_events
from rimward.simulation.plant import Plant, compressor
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.compiled import plant_tick
from rimward.simulation.plant.jit import OPTIONS
from rimward_protocol.kernel_slots import X_A

from tests.unit.test_proof_plant_events import FIXTURE, STEP

KEPT = Path(__file__).with_name("quiet.json")
MINUTES = 10_000
RUN_MINUTES = 10
SETTLE_MINUTES = 1  # the hose fills and the air settles: a fall of its own, no quiet
LEVELS_PA = (250e3, 400e3, 550e3, 700e3, 850e3)


@njit(**OPTIONS | {"cache": False})
def held(s, p, fault, x, w, codes):
    """Let the plant of state `s` hold with everything off; transducer A's word every STEP ticks into `codes`."""
    for n in range(codes.size * STEP):
        plant_tick(s, p, fault, 0, k.RANGE_HIGH | k.ATTACHED, x, w)
        if (n + 1) % STEP == 0:
            codes[n // STEP] = x[X_A]


def trace(seed: int, level_pa: float, seconds: int) -> tuple[Any, Any]:
    """Times in ms and readings of transducer A, Pa gauge, of a tyre that holds `level_pa`: those of `test_proof_plant_events.trace`."""
    params = compressor(tyre_pa=level_pa, **FIXTURE)
    plant, codes = Plant(params, seed=seed, compiled=True), np.zeros(seconds * 500 // STEP)
    held(plant.S, plant.P, plant.F, plant.x, plant.w, codes)
    read_pa = (codes / 65536 - 0.1) / 0.8 * 1e6 + 101325 - params.ambient_abs_pa
    return np.arange(1, codes.size + 1) * STEP * 2, read_pa


def quiet(minutes: int, first_seed: int = 1) -> dict[str, Any]:
    """Look for events in at least `minutes` of quiet, ten at a time, each run with its own noise and one of five levels."""
    runs, events = -(-minutes // RUN_MINUTES), []
    for seed in range(first_seed, first_seed + runs):
        level_pa = LEVELS_PA[seed % len(LEVELS_PA)]
        t, read = trace(seed, level_pa, (RUN_MINUTES + SETTLE_MINUTES) * 60)
        rest = t > t[-1] - RUN_MINUTES * 60_000
        events += [
            {"seed": seed, "level_pa": level_pa, **event.as_json()}
            for event in find_events(t[rest], read[rest])
        ]
    return {
        "quiet_minutes": runs * RUN_MINUTES,
        "samples": runs * RUN_MINUTES * 60 * 50,
        "events": events,
    }


if __name__ == "__main__":
    given = [word for word in sys.argv[1:] if word != "--write"]
    found = quiet(int(given[0]) if given else MINUTES)
    document = json.dumps(found, indent=1) + "\n"
    if "--write" in sys.argv:
        KEPT.write_text(document, encoding="utf-8")
    print(document, end="")
    sys.exit(1 if found["events"] else 0)
