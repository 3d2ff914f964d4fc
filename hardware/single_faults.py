"""Single faults of the stop chain and the transducers: every open pin and every short between two pins, applied in operation, with the
result.

Verdicts, from the ngspice runs of `chain`:
  stops      the air stops by itself at the fault
  holds      every way to stop the air still works
  next fill  a way to stop is lost or changed, and what the processor sees at the next fill, or its self-test, shows it
  daily      the daily test shows it
  residual   nothing shows it (none may be left)
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Any

from hardware import chain
from hardware.chain import FED_V, Fault
from hardware.circuit import GROUNDS, Part, load
from hardware.pintypes import SYMMETRIC

STOPS, HOLDS, NEXT_FILL, DAILY, RESIDUAL = "stops", "holds", "next fill", "daily", "residual"
WAYS = {
    "relay": "firmware drops the relay",
    "vent": "firmware opens the vent",
    "hand": "the run control is released",
    "coil": "the cutoff drops the relay",
    "bleed": "the cutoff opens the vent",
    "latch": "the cutoff stays open",
}

# Comparisons of the processor at every fill, with the air at rest: name -> (least, most) of a figure of `seen`.
LIMITS = {
    "c_pa": (-25_000.0, 25_000.0),
    "c_supply_v": (4.75, 5.25),
    "threshold": (0.495, 0.545),
    "coil_v": (6.0, 13.0),
    "a_pa": (-25_000.0, 25_000.0),
    "b_pa": (-25_000.0, 25_000.0),
    "supply_v": (4.75, 5.25),
    "cutoff": (1.8, 3.6),
    "run": (1.8, 3.6),
}


@dataclass(frozen=True)
class Found:
    """Result of one fault: verdict, lost ways to stop, detection."""

    fault: Fault
    verdict: str
    lost: tuple[str, ...]
    shown: tuple[str, ...]


def seen(r: dict[str, float], moment: str) -> dict[str, float]:
    """Figures that the processor derives from its readings, pressures as errors in Pa."""

    def pa(ratio: float) -> float:
        return (ratio - 0.1) / 0.8 * 1e6

    truth = chain.REST_PA if moment == "faulty" else chain.LOW_TEST_PA
    c_supply = max(r[f"{moment}_mon_v"], 0.05)
    sens = max(r[f"{moment}_supply"], 0.05)
    reference = max(r[f"{moment}_sens"], 0.05)
    return {
        "c_pa": pa(r[f"{moment}_mon_c"] / c_supply) - truth,
        "c_supply_v": c_supply / 0.6005,
        "threshold": r[f"{moment}_mon_ref"] / 0.579 / (c_supply / 0.6005),
        "coil_v": r[f"{moment}_mon_coil"] / 0.204,
        "a_pa": pa(r[f"{moment}_a"] / reference) - truth,
        "b_pa": pa(r[f"{moment}_b"] / sens) - truth,
        "supply_v": sens / 0.6,
        "cutoff": r[f"{moment}_cutoff"],
        "run": r[f"{moment}_run"],
    }


def off(r: dict[str, float], moment: str, what: str) -> bool:
    """Return True if a coil is without current at a moment."""
    return abs(r[f"{moment}_{what}"]) < FED_V


def lost_ways(r: dict[str, float]) -> tuple[str, ...]:
    """Ways to stop that no longer work."""
    works = {
        "relay": off(r, "relay", "coil"),
        "vent": off(r, "vent", "vent"),
        "hand": off(r, "hand", "coil"),
        "coil": off(r, "over", "coil"),
        "bleed": off(r, "over", "vent"),
        "latch": off(r, "back", "coil") and off(r, "back", "vent"),
    }
    return tuple(way for way, ok in works.items() if not ok)


HIGH_THRESHOLD = (0.830, 0.885)  # in place of LIMITS["threshold"] with the key at high


def out_of_limits(values: dict[str, float], high_range: bool = False) -> tuple[str, ...]:
    """Figures outside their limits."""
    limits = {**LIMITS, "threshold": HIGH_THRESHOLD} if high_range else LIMITS
    return tuple(name for name, (low, high) in limits.items() if not low <= values[name] <= high)


def self_test(lost: tuple[str, ...]) -> tuple[str, ...]:
    """Return the findings of the self-test before every fill: relay dropped under pulses, vent opened, run control seen open."""
    return tuple(
        {
            "relay": "self-test: relay",
            "vent": "self-test: vent",
            "hand": "run control never seen open",
        }[way]
        for way in lost
        if way in ("relay", "vent", "hand")
    )


def daily_fails(parts: dict[str, Part], fault: Fault) -> tuple[str, ...]:
    """Return the steps of the daily test that show the fault."""
    r = chain.daily_test(parts, fault)
    wrong = []
    if (
        off(r, "armed", "coil")
        or off(r, "armed", "vent")
        or off(r, "low", "coil")
        or off(r, "low", "vent")
    ):
        wrong.append("daily: opens too soon")
    if not off(r, "test", "coil") or r["test_mon_coil"] / 0.204 > 1.0:
        wrong.append("daily: coil stays fed")
    if not off(r, "test", "vent") or r["test_cutoff"] > 0.8:
        wrong.append("daily: vent stays shut")
    if not off(r, "after", "coil") or not off(r, "after", "vent"):
        wrong.append("daily: closes again")
    return tuple(wrong)


def run_fault(fault: Fault) -> Found:
    """Run one fault; the daily test only where needed. A deck without convergence is a residual that says so."""
    parts = load()
    try:
        r = chain.working(parts, fault)
    except RuntimeError:
        return Found(fault, RESIDUAL, ("not computed",), ())
    lost = lost_ways(r)
    if (off(r, "faulty", "coil") or off(r, "faulty", "vent")) and not {"coil", "bleed"} <= set(
        lost
    ):
        return Found(fault, STOPS, lost, ())
    shown = out_of_limits(seen(r, "faulty"), fault.high) + self_test(lost)
    if not lost:
        return Found(fault, HOLDS, lost, shown)
    if shown:
        return Found(fault, NEXT_FILL, lost, shown)
    try:
        shown = daily_fails(parts, fault)
    except RuntimeError:
        return Found(fault, RESIDUAL, (*lost, "not computed"), ())
    return Found(fault, DAILY if shown else RESIDUAL, lost, shown)


def opens(parts: dict[str, Part]) -> list[Fault]:
    """Every pin of the chain off its net; a part of two equal pins once."""
    found = []
    for p in chain.in_deck(parts).values():
        pins = [pin for pin, net in p.pins.items() if net != "NC" and (p.ref, pin) not in NOT_HERE]
        found += [
            Fault(pin=(p.ref, pin))
            for pin in (pins[:1] if p.kind in SYMMETRIC or len(pins) == 2 else pins)
            if p.kind != "adc-i2c" or pin.startswith("AIN")
        ]
    return found


NOT_HERE = (("K1", "11"), ("K1", "14"))  # the contact: gate_faults.BY_RULE


def same(a: str, b: str) -> bool:
    """Return True if both nets are the same, or both a return."""
    return a == b or (a in GROUNDS and b in GROUNDS)


def shorts(parts: dict[str, Part]) -> list[Fault]:
    """Every pair of pins of every part of the chain joined, and every pair of the cutoff's own nets; each pair of nets once."""
    pairs = {
        tuple(sorted(pair))
        for p in chain.in_deck(parts).values()
        for pair in combinations(set(p.pins.values()) - {"NC", parts["K1"].pins["14"]}, 2)
    }
    own = sorted(
        {
            net
            for p in parts.values()
            if p.sheet == "cutoff"
            for net in p.pins.values()
            if net not in GROUNDS
        }
        | {"V12_CUT", "V12_REG", "GND"}
    )
    pairs |= {tuple(sorted(pair)) for pair in combinations(own, 2)}
    return [Fault(nets=(a, b)) for a, b in sorted(pairs) if not same(a, b)]


def high_range(parts: dict[str, Part]) -> list[Fault]:
    """Return the opens and shorts of the threshold with the key at high; everything else is the same in both ranges."""
    refs = ("R35", "R36", "R37", "R38", "C22", "R85")
    own = sorted({net for ref in refs for net in parts[ref].pins.values()} | {"SIG_C", "TEST_R"})
    shorted = [
        Fault(nets=(a, b), high=True)
        for a, b in combinations(own, 2)
        if not same(a, b) and {a, b} != {"KEY_REF", "V5_CUT"}
    ]
    return (
        [Fault(pin=(ref, "1"), high=True) for ref in refs]
        + [Fault(pin=("U4", "INA+"), high=True)]
        + shorted
    )


@cache
def survey() -> tuple[Found, ...]:
    """Run all of them, two at a time."""
    parts = load()
    faults = opens(parts) + shorts(parts) + high_range(parts)
    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(run_fault, faults))


def counts() -> dict[str, int]:
    """Count of faults by verdict."""
    found = survey()
    return {
        "opens": sum(bool(f.fault.pin[0]) for f in found),
        "shorts": sum(bool(f.fault.nets[0]) for f in found),
        **{
            v: sum(f.verdict == v for f in found)
            for v in (STOPS, HOLDS, NEXT_FILL, DAILY, RESIDUAL)
        },
    }


def table() -> list[dict[str, Any]]:
    """Return one row for each fault."""
    return [
        {
            "fault": f.fault.name,
            "verdict": f.verdict,
            "lost": [WAYS.get(w, w) for w in f.lost],
            "shown by": list(f.shown),
        }
        for f in survey()
    ]
