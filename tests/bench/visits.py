"""Whole virtual fills of tyres with known air: how far a record's found and left pressures are from the truth.

python -m tests.bench.visits [--count N] [--write]     # --write keeps the errors in tests/unit/visits.json
"""

import argparse
import json
import random
import statistics
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from rimward.device.link import verbs
from rimward.sessions import read_session
from rimward.sessions.visit import visit_of
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator, Where

FILE = Path(__file__).parents[1] / "unit" / "visits.json"
TARGETS = {"28-622": 3.9, "32-622": 3.2, "40-622": 2.6}
CLOCK = Where(unix_s=1_750_000_000)


def drawn(number: int) -> tuple[Scenario, dict[str, float]]:
    """A wheel, its chuck and source, and what is drawn of plant and instrument."""
    draw = random.Random(number)
    tyre = draw.choice(sorted(TARGETS))
    scenario = Scenario(
        chuck=draw.choice(["pin-open", "pressure-open"]),
        tyre=tyre,
        target=f"{TARGETS[tyre]} bar",
        fill_temp_c=round(draw.uniform(8, 28), 1),
    )
    over = {
        "tyre_pa": draw.choice([0.6, 0.8, 0.9, 0.95, 0.98]) * TARGETS[tyre] * 1e5 + draw.uniform(-4e3, 4e3),
        "crack_pa": draw.uniform(10e3, 30e3), "core_c": draw.uniform(0.15, 0.4), "a_offset_pa": draw.uniform(-2e3, 2e3),
        "b_offset_pa": draw.uniform(-2e3, 2e3), "baro_error_pa": draw.uniform(-80, 80), "air_error_k": draw.uniform(-0.4, 0.4),
        "fad_l_min": draw.uniform(26, 34), "tyre_ml": plant_of(scenario).tyre_ml * draw.uniform(0.95, 1.05),
    }  # fmt: skip
    return scenario, over


def visited(
    scenario: Scenario,
    over: dict[str, float],
    seed: int,
    folder: Path,
    clock: Where = CLOCK,
    at_end: Callable[[Person], None] = lambda _person: None,
) -> tuple[float, float, Path] | None:
    """(true pressure found, true settled pressure left, session file) of one fill; None where no session was recorded. `at_end` sees the display."""
    with VirtualInflator(replace(plant_of(scenario), **over), seed=seed, where=clock) as inflator:
        inflator.hands.attached = False
        person = Person(inflator)
        if not verbs.list_profiles(person.client):  # a flash of an earlier visit has it
            person.bring(profile_of(scenario))
        inflator.advance(1.0)
        inflator.hands.attached = True
        inflator.advance(2.0)
        person.choose(scenario.wheel_id())
        inflator.advance(2.0)
        person.fill()
        person.let_settle(3.0)
        at_end(person)
        person.choose(bytes(8))
        left = inflator.plant.settled_pa
        mine = [
            row
            for row in verbs.list_sessions(person.client)
            if row["wheel_id"] == scenario.wheel_id().hex()
        ]
        if not mine:
            return None
        path = folder / f"{seed}.rws"
        verbs.pull_session(person.client, mine[0]["session"], path)
    return over["tyre_pa"], left, path


def main() -> None:
    """Run the fills and print bias and spread by chuck."""
    import tempfile

    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--count", type=int, default=40)
    words.add_argument("--write", action="store_true")
    asked = words.parse_args()
    errors: dict[str, list[tuple[int, int]]] = {"pin-open": [], "pressure-open": []}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(asked.count):
            scenario, over = drawn(number)
            seen = visited(scenario, over, number, Path(folder))
            visit = visit_of(read_session(seen[2])) if seen else None
            if seen is None or visit is None or visit.found_pa is None or visit.left_pa is None:
                print(f"{number}: {scenario.chuck}: the record does not show both")
                continue
            errors[scenario.chuck].append(
                (round(visit.found_pa - seen[0]), round(visit.left_pa - seen[1]))
            )
    for chuck, rows in errors.items():
        between = [left - found for found, left in rows]
        print(
            f"{chuck}: {len(rows)} visits, loss read too large by {statistics.mean(between):+.0f} Pa on average, spread {statistics.stdev(between):.0f} Pa"
        )
    if asked.write:
        FILE.write_text(json.dumps(errors) + "\n")


if __name__ == "__main__":
    main()
