"""Ten typical wheels, full and limp, on both sources, filled by the whole firmware on its interpreter: `python -m tests.bench.typical`.

The person holds, answers the bead question, and does nothing else. Every effect of the real world is at the middle of its range, the limp share
at 0 or 0.4. Prints each fill with its end, settled error and time; exit 0 if all were done.
"""

import argparse
import json
import sys
from dataclasses import asdict, dataclass

from rimward.base.units import parse_pressure
from rimward.formats import records
from rimward.simulation.campaign import effects
from rimward.simulation.cool import cooled
from rimward.simulation.person import Person
from rimward.simulation.scenario import TYPICAL, Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes

LIMP = 0.4
FILL_S = 180.0
SOURCES = ("compressor", "line")


@dataclass(frozen=True)
class End:
    """How one fill ended; `error_kpa` settled less target, true pressure."""

    wheel: str
    source: str
    limp: float
    state: str
    cause: str
    error_kpa: float
    peak_over_ceiling: float
    seconds: float

    def line(self) -> str:
        """The fill for people."""
        return (
            f"{self.wheel:16s} {self.source:10s} limp {self.limp:.1f}  {self.state:8s} {self.cause:16s} "
            f"{self.error_kpa:+7.1f} kPa  peak {self.peak_over_ceiling:.3f} of the ceiling  {self.seconds:5.1f} s"
        )


def fill(scenario: Scenario, source: str, limp: float, seed: int = 1) -> End:
    """One fill from empty."""
    middle = effects.over([effects.STEPS // 2] * len(effects.EFFECTS), 0.0)
    real = middle | {"tyre_limp": limp, "sealant_ml": scenario.sealant_ml}
    with VirtualInflator(plant_of(scenario, source == "line", **real), seed=seed) as inflator:
        person = Person(inflator)
        inflator.hands.range_high = (
            records.unpack_profile(profile_of(scenario))["ceiling_pa"] > codes.RIG_LOW_CEILING_PA
        )
        person.set_source()
        profile = profile_of(scenario)
        ceiling = records.unpack_profile(profile)["ceiling_pa"]
        fields = person.bring(profile)
        person.choose(bytes.fromhex(fields["wheel_id"]))
        start = inflator.now_s
        last = person.fill(FILL_S)
        settled = cooled(inflator.plant.S, inflator.plant.P)
        cause = (
            "-"
            if last["state"] == "done"
            else last["cause"]
            if last["cause"] != "none"
            else last["stop_cause"]
        )
        error = (settled - parse_pressure(scenario.target)) / 1e3
        return End(
            scenario.label,
            source,
            limp,
            last["state"],
            cause,
            error,
            inflator.plant.peak_pa / ceiling,
            inflator.now_s - start,
        )


def main(arguments: list[str]) -> int:
    """Fill them all, or the wheels named."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.typical", description="Typical wheels on the whole firmware."
    )
    parser.add_argument("--wheel", action="append", help="a part of a label; may be repeated")
    parser.add_argument("--source", choices=SOURCES, action="append")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    wheels = [
        one
        for one in TYPICAL
        if not chosen.wheel or any(part.lower() in one.label.lower() for part in chosen.wheel)
    ]
    ends = []
    for source in chosen.source or SOURCES:
        for limp in (0.0, LIMP):
            for scenario in wheels:
                ends.append(fill(scenario, source, limp))
                print(ends[-1].line(), file=sys.stderr if chosen.json else sys.stdout, flush=True)
    done = sum(end.state == "done" for end in ends)
    if chosen.json:
        print(json.dumps({"fills": len(ends), "done": done, "ends": [asdict(end) for end in ends]}))
    else:
        print(f"{done} of {len(ends)} done.")
    return 0 if done == len(ends) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
