"""40,000 random rims, tyres, places and rides against an oracle written independently of the ceiling engine: no ceiling lies above it.

The oracle shares no code with `rimward`; it works from the texts and from physics:

- ETRTO since the 2020/21 manual, as a tyre maker's technical page quotes it: 500 kPa on straight-side rims, whatever the tyre prints;
- the lower of the maxima marked on rim and tyre counts: the same page; ISO 4210-2, 4.10.3 (from memory);
- BS ISO 5775-2:2015: straight-side rims that are not tubeless take rigid-bead tyres only; ISO 5775-2:2021: TSS and TC are the tubeless types;
- ETRTO 2023 by a rim maker's statement: tyres of 29 mm and more on straight-side rims of 25 mm inside and more;
- no rim maximum on a straight-side rim: no more casing tension (p x width) than 500 kPa gives a 28 mm tyre (our choice);
- a closed rigid volume of ideal gas keeps p V / T; gauge is against the ambient pressure of the US Standard Atmosphere 1976;
- a fill temperature that is missing, implausible or hotter than the whole ride gives no ceiling (our choice).

A value that is not known is taken for each value that it could be, and the worst counts.
"""

import random
from fractions import Fraction
from itertools import product

import pytest
from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess

DRAWS, BLOCKS, SEED = 40_000, 8, 20261128
PASCALS = {  # exact, by definition: 1 psi = 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)^2
    "bar": Fraction(100_000), "kPa": Fraction(1_000), "MPa": Fraction(1_000_000),
    "psi": Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2,
}  # fmt: skip
DIGITS = {"bar": 2, "kPa": 0, "MPa": 3, "psi": 1}
TYPES = ("SS", "TSS", "HB", "C", "TC")
UNKNOWN = "unknown"
ZERO_C_K = 273.15


def standard_pa(geometric_m: float) -> float:
    """US Standard Atmosphere 1976: 101325 Pa, 288.15 K, -6.5 K/km of geopotential, R* = 8314.32, M = 28.9644, g = 9.80665, r = 6356766 m."""
    km = 6356.766 * (geometric_m / 1000) / (6356.766 + geometric_m / 1000)
    return 101325.0 * (288.15 / (288.15 - 6.5 * km)) ** (-9.80665 * 28.9644 / (8314.32 * 0.0065))


def could_be(value: str, values: tuple[str, ...]) -> tuple[str, ...]:
    return values if value == UNKNOWN else (value,)


def belongs(rim: str, approved: str, bead: str, air: str) -> bool:
    """Whether a tyre belongs on a rim of this known type."""
    if rim.endswith("SS") and approved == "no":
        return False
    if rim == "SS" and bead == "folding":
        return False
    return air == "tube" or rim.startswith("T")


def limit_pa(d: dict) -> Fraction | None:
    """The smallest limit of the pair, worst over what the rim's type could be; None where nothing limits it."""
    marks = [d[name] for name in ("rim_max", "tyre_max") if d[name] is not None]
    worst: list[Fraction] = []
    for rim in could_be(d["rim"], TYPES):
        found = list(marks)
        if rim.endswith("SS"):
            found.append(Fraction(500_000))
            if d["rim_max"] is None and d["width"] > 28:
                found.append(Fraction(500_000) * 28 / Fraction(d["width"]))
        if not found:
            return None
        worst.append(min(found))
    return min(worst)


def fits(d: dict) -> bool:
    if d["seat"] != d["tyre_seat"] or d["width"] <= d["inner"]:
        return False
    kinds = (
        could_be(d["rim"], TYPES),
        could_be(d["approved"], ("yes", "no")),
        could_be(d["bead"], ("rigid", "folding")),
        could_be(d["air"], ("tube", "tubeless")),
    )
    if not all(belongs(*kind) for kind in product(*kinds)):
        return False
    straight = any(rim.endswith("SS") for rim in kinds[0])
    return not (straight and d["inner"] >= 25 and d["width"] < 29)


def oracle_pa(d: dict) -> float | None:
    """Highest fill that violates no limit, gauge pascal; None where there is none."""
    limit = limit_pa(d)
    if not fits(d) or limit is None:
        return None
    if d["tyre_min"] is not None and d["tyre_max"] is not None and d["tyre_min"] > d["tyre_max"]:
        return None
    hot, t0 = d["ride_hot"], d["fill_c"]
    if hot is not None and (t0 is None or t0 > hot):
        return None
    if t0 is not None and not -20 <= t0 <= 45:
        return None
    here = standard_pa(d["fill_m"])
    heights = [d["fill_m"]] + ([d["ride_m"]] if d["ride_m"] is not None else [])
    temps = [t0] + ([hot] if hot is not None else [])
    start_k = None if t0 is None else t0 + ZERO_C_K
    most = float("inf")
    for height, celsius in product(heights, temps):
        ratio = 1.0 if celsius is None or start_k is None else start_k / (celsius + ZERO_C_K)
        most = min(most, (float(limit) + standard_pa(height)) * ratio - here)
    if most < 1000 or (
        d["tyre_min"] is not None and float(d["tyre_min"]) > most + 1e-6
    ):  # the error of double arithmetic
        return None
    return most


def pressure(rng: random.Random, low_bar: float, high_bar: float) -> tuple[Fraction, str]:
    """A marking: its exact pascals, and how it is printed."""
    unit = rng.choice(tuple(PASCALS))
    number = round(Fraction(rng.uniform(low_bar, high_bar) * 1e5) / PASCALS[unit], DIGITS[unit])
    text = f"{float(number):.{DIGITS[unit]}f}"
    return Fraction(text) * PASCALS[unit], rng.choice(
        (
            f"{text} {unit}",
            f"{text}{unit}",
            f"max {text} {unit}",
            f"{text} {unit.upper() if unit != 'MPa' else unit} MAX",
        )
    )


def draw(rng: random.Random) -> dict:
    def maybe(share: float, make):
        return make() if rng.random() < share else None

    seat = rng.choice((622, 622, 622, 584, 559, 406))
    rim_max = maybe(0.6, lambda: pressure(rng, 1.0, 9.0))
    tyre_max = maybe(0.8, lambda: pressure(rng, 2.0, 9.0))
    tyre_min = maybe(0.5, lambda: pressure(rng, 0.8, 4.0))
    t0 = maybe(
        0.85,
        lambda: rng.choice(
            (rng.uniform(-20, 45), rng.uniform(10, 25), rng.uniform(10, 25), rng.uniform(-40, 120))
        ),
    )
    fill_m = rng.choice((0.0, rng.uniform(-400, 3000)))
    return {
        "rim": rng.choice((*TYPES, "TSS", "TC", UNKNOWN)),
        "approved": rng.choice(("yes", "yes", "yes", "no", UNKNOWN)),
        "bead": rng.choice(("rigid", "rigid", "folding", UNKNOWN)),
        "air": rng.choice(("tube", "tube", "tubeless", UNKNOWN)),
        "seat": seat,
        "tyre_seat": seat if rng.random() < 0.97 else 590,
        "inner": rng.choice((13, 15, 17, 19, 21, 22.5, 23, 24.9, 25, 27, 30)),
        "width": rng.choice((23, 25, 28, 28.5, 29, 30, 32, 35, 40, 47, 57, 62)),
        "rim_max": rim_max and rim_max[0], "rim_text": rim_max and rim_max[1],
        "tyre_max": tyre_max and tyre_max[0], "tyre_max_text": tyre_max and tyre_max[1],
        "tyre_min": tyre_min and tyre_min[0], "tyre_min_text": tyre_min and tyre_min[1].lower().replace("max", "min").replace("mpa", "MPa"),
        "fill_c": None if t0 is None else round(t0, 1), "fill_m": fill_m,  # as people read thermometers
        "ride_m": maybe(0.6, lambda: rng.uniform(-400, 5000)), "ride_hot": maybe(0.6, lambda: round(rng.uniform(-10, 75), 1)),
    }  # fmt: skip


def engine_pa(d: dict) -> int | None:
    """The same question asked of the engine, from what is printed."""
    rim = Rim.parse(
        f"{d['seat']}x{d['inner']:g}{'?' if d['rim'] == UNKNOWN else d['rim']}", d["rim_text"]
    )
    tyre = Tyre.parse(
        f"{d['width']:g}-{d['tyre_seat']}",
        min_text=d["tyre_min_text"],
        max_text=d["tyre_max_text"],
        approved=d["approved"],
        bead=d["bead"],
        air=d["air"],
    )
    return assess(
        rim, tyre, Place.of(d["fill_c"], d["fill_m"]), Ride.of(d["ride_m"], d["ride_hot"])
    ).ceiling_pa


@pytest.mark.parametrize("block", range(BLOCKS))
def test_no_ceiling_above_the_oracle(block: int) -> None:
    rng = random.Random(SEED + block)
    ceilings = rides = 0
    for _ in range(DRAWS // BLOCKS):
        d = draw(rng)
        most, found = oracle_pa(d), engine_pa(d)
        if found is not None:
            assert most is not None, f"the engine allows {found} Pa, the oracle nothing: {d}"
            assert found <= most + 1e-6, f"{found} Pa lies above the oracle's {most}: {d}"
            ceilings += 1
            rides += d["ride_hot"] is not None or d["ride_m"] is not None
        if (
            most is not None
        ):  # nor needlessly below: 1 kPa of rounding, 1 kPa of the rounded tension cap, 0.01 K up and down
            lowest = most - 2_060
            assert (
                found is not None
                or (d["tyre_min"] is not None and float(d["tyre_min"]) > lowest)
                or lowest < 1000
            ), f"refused, the oracle has {most}: {d}"
            assert found is None or found >= lowest, (
                f"{found} Pa is far below the oracle's {most}: {d}"
            )
    assert ceilings > 400 and rides > 200, "the draws must reach what they are for"


def test_the_oracle_by_hand() -> None:
    """500 kPa, 18 °C and 200 m to 45 °C and 2,400 m: (500000 + 75634.3) x 291.15 / 318.15 - 98945.4 = 427837 Pa."""
    d = {
        "rim": "TSS", "approved": "yes", "bead": "folding", "air": "tubeless", "seat": 622, "tyre_seat": 622, "inner": 23, "width": 28,
        "rim_max": None, "tyre_max": Fraction(600_000), "tyre_min": None, "fill_c": 18.0, "fill_m": 200.0, "ride_m": 2400.0, "ride_hot": 45.0,
    }  # fmt: skip
    assert oracle_pa(d) == pytest.approx(427_837, abs=1)
    assert oracle_pa(d | {"approved": UNKNOWN}) is None and oracle_pa(d | {"rim": UNKNOWN}) is None
    assert oracle_pa(d | {"width": 40}) == pytest.approx(
        (350_000 + 75_634.3) * 291.15 / 318.15 - 98_945.4, abs=1
    )


@pytest.mark.parametrize(
    ("change", "worse"),
    [({"rim_max": Fraction(510_000)}, 1), ({"tyre_max": Fraction(450_000)}, 40_000)],
)
def test_the_comparison_can_fail(change: dict, worse: int) -> None:
    """An engine that took the higher of two limits, or left the class limit out, would lie above the oracle."""
    d = {
        "rim": "TSS", "approved": "yes", "bead": "rigid", "air": "tube", "seat": 622, "tyre_seat": 622, "inner": 23, "width": 28, "rim_max": Fraction(500_000),
        "tyre_max": Fraction(600_000), "tyre_min": None, "fill_c": 18.0, "fill_m": 0.0, "ride_m": None, "ride_hot": None,
    } | change  # fmt: skip
    wrong = max(float(value) for value in (d["rim_max"], d["tyre_max"]))
    assert wrong > (oracle_pa(d) or 0) + worse
