"""Proof bench as a variant of the inflator's circuit and pneumatics: changed parts and its own order of limits.

Everything not listed is as in `circuit.csv` and `air_parts.py`. Electrical rules, latch of the cutoff and trip band are computed on
the changed
circuit by the same code. Pressures gauge pascal.
"""

from dataclasses import replace
from functools import cache
from itertools import product
from typing import Any

from hardware import air, cutoff
from hardware.air_parts import AirPart
from hardware.circuit import Part, load, ohms
from hardware.params import OURS, PARAMS, Param

FULL_SCALE_PA = 1_600_000
CEILING_PA = 1_000_000  # compiled into the bench's guard
BAND_TOP_PA = 1_100_000  # 110 % of it

# Reference -> change: value, pins, reason.
VARIED: dict[str, tuple[str, dict[str, str], str]] = {
    "J5": ("C 0 to 16 bar gauge", {}, "own sensing element on its own tap, range of the bench"),
    "J6": ("A 0 to 16 bar sealed", {}, "transducer A, range of the bench"),
    "J7": ("B 0 to 16 bar gauge", {}, "transducer B, range of the bench"),
    "R36": (
        "4.99k",
        {},
        "threshold, bottom: without the key in the bench position the cutoff opens near 4.9 bar",
    ),
    "R38": (
        "4.42k",
        {},
        "raises the threshold in the bench position; an open contact is the low threshold",
    ),
    "R32": ("2.00k", {}, "threshold of the daily test: some 4 bar in the bench position"),
    "S3": (
        "range key, three positions",
        {
            "A_COM": "V5_CUT",
            "A_BENCH": "KEY_REF",
            "B_COM": "FEED",
            "B_BENCH": "KEY_LOW_W",
            "C_COM": "FEED",
            "C_BENCH": "KEY_HIGH_W",
        },
        "third position: closes all three poles; both range contacts closed is what ordinary firmware takes for a broken key, and all that "
        "the bench's takes for its own",
    ),
    "J10": (
        "id plug, both bench contacts bridged",
        {},
        "tells firmware that these are the bench's transducers",
    ),
}

PARAMS_BENCH: dict[str, Param] = {
    "supply": Param(
        0.0,
        1_200e3,
        1_300e3,
        "Pa gauge",
        OURS + ": booster or cylinder behind a regulator set to 12 bar",
    ),
    "inlet_c": Param(0.016, 0.020, 0.022, "dm3/(s bar)", OURS + ": restrictor 0.020, +10 % -20 %"),
    "relief": Param(
        1_115.5e3,
        1_150e3,
        1_184.5e3,
        "Pa gauge",
        "set 11.5 bar; ISO 4126-1, seen: 3 % of set or 0.1 bar, the greater",
    ),
    "air_ml": Param(
        100.0,
        250.0,
        6_000.0,
        "mL",
        OURS + ": transfer bottle with most of its water, to a tyre full of air",
    ),
}

AIR_PARTS = (
    AirPart(
        "RV3",
        "relief",
        "relief valve of the bench, always connected, set and sealed at 11.5 bar",
        "11.5 bar +-3 % (ISO 4126-1), C 1.2 or more fully open",
        ("sealed relief valve G1/4, flow diameter 4 mm", "the same of a second maker"),
        "in place of RV2; last stop of the bench",
    ),
    AirPart(
        "RO1",
        "restrictor",
        "fixed restrictor",
        "C 0.020 dm3/(s bar), +10 % -20 %",
        ("drilled jet 0.4 mm", "needle valve, locked and sealed"),
        "slow rise: a pulse is small beside a step of the ramp",
    ),
    AirPart(
        "RG1",
        "regulator",
        "pressure regulator with gauge",
        "25 bar in, set 12 bar",
        ("G1/4 regulator", "G1/4 filter regulator"),
        "supply to 12 bar",
    ),
    AirPart(
        "TB1",
        "bottle",
        "transfer bottle 0.25 L, upright: air above, water below to the specimen",
        "25 bar working, proof 38 bar",
        ("steel sampling cylinder", "the same of a second maker"),
        "keeps water out of valves and taps, and almost all air out of the specimen",
    ),
    AirPart(
        "FX1",
        "fixture",
        "fixture that holds rim and axle, inside SC1",
        "no part comes loose when the tyre blows off",
        ("by figures only",),
        "holds the wheel",
    ),
    AirPart(
        "SC1",
        "screen",
        "screen round the fixture on all sides and above",
        "withstands a separation at 150 % of the highest pressure of the plan",
        ("by figures only",),
        "between the specimen and everybody (29 CFR 1910.177(d)(3), by analogy)",
    ),
    AirPart(
        "S1P",
        "switch-run",
        "run control on a post behind SC1, reached only from there",
        "as S1, in its place",
        ("foot pedal with guard", "two-hand control"),
        "held for the whole test; letting go stops the air and vents",
    ),
    AirPart(
        "V6",
        "valve-2-2-hand",
        "bleed at the specimen's highest point",
        "25 bar",
        ("needle valve",),
        "lets all air out before a water test",
    ),
)
REMOVED = (
    "P1",
    "NR1",
    "RV1",
    "RV2",
    "V5",
    "CH1",
)  # one source, one range; the fixture's connector has no valve core


@cache
def parts() -> dict[str, Part]:
    """Parts of the bench's circuit. KeyError for a reference that the inflator lacks."""
    found = dict(load())
    for ref, (value, pins, why) in VARIED.items():
        found[ref] = replace(found[ref], value=value, why=why, pins=pins or found[ref].pins)
    return found


def pressure(fraction: float) -> float:
    """Gauge pressure in Pa at a fraction of supply of a 16 bar transducer."""
    return (fraction - 0.1) / 0.8 * FULL_SCALE_PA


def trip_pa(errors: dict[str, float], key: bool, falling: bool = False) -> float:
    """Trip pressure for given errors, Pa, as `cutoff.trip_pa`; `key`: the bench position."""
    r35, r36, r37, r38 = (
        ohms(parts()[name].value) * (1 + errors[name]) for name in ("R35", "R36", "R37", "R38")
    )
    out = 0.0 if falling else 1 - errors["comparator_output_drop"] / cutoff.SUPPLY_V
    signal = (
        cutoff.threshold(r35, r36, r37, 1 / r38 if key else 0.0, out, cutoff.monitor_s())
        + errors["comparator_offset"] / cutoff.SUPPLY_V
    )
    return pressure(signal) - (errors["c_error_fs"] + errors["c_drift_fs"]) * FULL_SCALE_PA


@cache
def band(key: bool = True) -> tuple[float, float, float]:
    """Return (lowest, nominal, highest) trip pressure by worst case over all corners."""
    trips = [
        trip_pa(dict(zip(cutoff.TERMS, corner)), key)
        for corner in product(*(cutoff.ends(term) for term in cutoff.TERMS))
    ]
    return min(trips), trip_pa(dict.fromkeys(cutoff.TERMS, 0.0), key), max(trips)


def overshoot_pa() -> float:
    """Largest overshoot of the smallest fixture past the trip until the air stops, without the vent, Pa."""
    volume = (PARAMS_BENCH["air_ml"].low + PARAMS["manifold_ml"].low) * 1e-6
    flow = (
        PARAMS_BENCH["inlet_c"].high * air.C_UNIT * (PARAMS_BENCH["supply"].high + air.AMBIENT_PA)
    )
    return (
        cutoff.GAMMA
        * flow
        * 1e5
        / volume
        * (cutoff.response_ms()[1] + PARAMS["line_valve_shut"].high)
        / 1000
    )


def ladder() -> list[cutoff.Rung]:
    """Limits of the bench from the lowest to the highest."""
    low, _, high = band()
    relief, over = PARAMS_BENCH["relief"], PARAMS["relief_over"]
    return [
        cutoff.Rung(
            "bench ceiling compiled in (stop reading lies below it by the guard band)",
            CEILING_PA,
            CEILING_PA,
        ),
        cutoff.Rung("independent cutoff, whole band", low, high),
        cutoff.Rung("110 % of the ceiling", BAND_TOP_PA, BAND_TOP_PA),
        cutoff.Rung("relief valve RV3 begins to open", relief.low, relief.high),
        cutoff.Rung(
            "relief valve RV3 fully open",
            relief.low * (1 + over.low),
            relief.high * (1 + over.high),
        ),
    ]


def margins() -> list[dict[str, Any]]:
    """Margin in Pa between each limit's upper end and the next one's lower end."""
    rungs = ladder()[:4]
    return [
        {"below": a.name, "above": b.name, "margin_pa": b.low_pa - a.high_pa}
        for a, b in zip(rungs, rungs[1:])
    ]


def stuck_pa(vent: bool) -> float:
    """Pressure of the manifold with both valves stuck open at the highest supply: with the open vent, or with RV3 alone."""
    supply = PARAMS_BENCH["supply"].high + air.AMBIENT_PA
    b = PARAMS["b_ratio"]

    def feed(p: float) -> float:
        return air.flow(PARAMS_BENCH["inlet_c"].high, b.high, supply, p)

    def out(p: float) -> float:
        lift = 1.0 if vent else air.relief_lift(p - air.AMBIENT_PA, PARAMS_BENCH["relief"].high)
        return air.flow(
            (PARAMS["vent_c"].low if vent else PARAMS["relief_c"].low) * lift,
            b.low,
            p,
            air.AMBIENT_PA,
        )

    return air.settle(feed, out, supply, air.AMBIENT_PA) - air.AMBIENT_PA


def energy_j(air_ml: float, pa: float = CEILING_PA) -> float:
    """Isentropic energy in J of air at a gauge pressure, against the surroundings (gamma 1.4)."""
    p, a, v = pa + air.AMBIENT_PA, air.AMBIENT_PA, air_ml * 1e-6
    return p * v / 0.4 * (1 - (a / p) ** (0.4 / 1.4))


def water_j(ml: float, pa: float = CEILING_PA) -> float:
    """Energy in J of compressed water: p^2 V / 2K with K = 2.2 GPa, from memory."""
    return pa**2 * ml * 1e-6 / (2 * 2.2e9)
