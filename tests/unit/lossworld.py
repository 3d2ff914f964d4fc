"""Wheels that lose air by the plant's own law, over months, visited by an inflator whose errors are those of simulated visits.

The errors of `found` and `left` are drawn from `tests/unit/visits.json`: whole virtual fills with known truth, made by
`python -m tests.bench.visits`. They are not the uncertainties that `rimward.sessions.visit` states; those are what is checked.
"""

import json
import math
import random
from dataclasses import dataclass
from pathlib import Path

from rimward.sessions.visit import U_LEFT_PA, U_TEMPERATURE_K, Visit
from rimward.simulation.plant.gas import R_AIR, mass_flow
from rimward.simulation.plant.params import PlantParams

ERRORS = json.loads((Path(__file__).parent / "visits.json").read_text())
STEP_S = 1800.0
DAY_S = 86_400.0
START_S = 1_750_000_000
VISIT_PA = 700.0  # what a visit's errors differ by from visit to visit of one wheel, ours
CLASS_B = PlantParams().outlet_b


@dataclass
class World:
    """Weather of one workshop: ambient pressure and temperature at any time, smooth over hours, different from week to week."""

    seed: int

    def __post_init__(self) -> None:
        draw = random.Random(self.seed)
        self.phases = [draw.uniform(0, 2 * math.pi) for _ in range(4)]

    def temp_k(self, t_s: float) -> float:
        day = t_s / DAY_S
        return (
            290.0
            + 7 * math.sin(day / 29 + self.phases[0])
            + 3 * math.sin(day / 2.3 + self.phases[1])
            + 2 * math.sin(2 * math.pi * day)
        )

    def ambient_pa(self, t_s: float) -> float:
        day = t_s / DAY_S
        return (
            99_500
            + 900 * math.sin(day / 3.1 + self.phases[2])
            + 500 * math.sin(day / 1.3 + self.phases[3])
        )


@dataclass
class Ride:
    """One simulated wheel: its visits as the records give them, and for each interval the true loss at 20 degrees C, Pa."""

    visits: list[Visit]
    lost_pa: list[float]


def wheel(number: int, months: int = 6, grows: float = 1.0) -> Ride:
    """A wheel with a leak of its own, visited every 4 to 21 days and filled to its target each time.

    `grows`: factor of the leak from half-way on. Valve core, volume and instrument stay a wheel's own: its visits share one
    draw of their errors, and each has some of its own.
    """
    draw = random.Random(number)
    world = World(number + 10_000)
    chuck = draw.choice(["pin-open", "pressure-open"])
    volume = draw.uniform(0.9e-3, 2.6e-3)
    target = draw.uniform(220e3, 480e3)
    # 0.5 to 8 kPa a day at the start, as a sonic conductance of the plant: dp/dt = mass flow * R * T / V
    flow = draw.uniform(500, 8000) / DAY_S * volume / (R_AIR * 293.0)
    leak_c = flow / mass_flow(1.0, CLASS_B, target + 1e5, 1e5, 293.0)
    mine = draw.choice(ERRORS[chuck])
    visits, lost = [], []
    t, end = 0.0, months * 30 * DAY_S
    mass = _mass(target - draw.uniform(0, 40e3), world, t, volume)
    left_mass = None
    while t < end:
        found_error, left_error = mine
        kelvin = world.temp_k(t) + draw.gauss(0, 0.6)  # the tyre, against the air that is measured
        ambient = world.ambient_pa(t)
        found = mass * R_AIR * kelvin / volume - ambient
        if left_mass is not None:
            lost.append((left_mass - mass) * R_AIR * 293.15 / volume)
        mass = _mass(target, world, t, volume, kelvin)
        visits.append(
            Visit(
                name=f"visit-{len(visits)}", wheel_id=f"{number:016x}", device="d0", calibration="", chuck=chuck,
                start_s=round(START_S + t), end_s=round(START_S + t + 60),
                found_pa=found + found_error + draw.gauss(0, VISIT_PA), u_found_pa=_stated(chuck), left_pa=target + left_error + draw.gauss(0, VISIT_PA), u_left_pa=U_LEFT_PA[chuck],
                ambient_pa=ambient + draw.gauss(0, 60), temp_k=world.temp_k(t) + draw.gauss(0, 0.3), u_temp_k=U_TEMPERATURE_K, u_instrument_pa=5_000.0,
            )
        )  # fmt: skip
        left_mass = mass
        gap = draw.uniform(4, 21) * DAY_S
        for _ in range(round(gap / STEP_S)):
            now = leak_c * (grows if t > end / 2 else 1.0)
            mass -= STEP_S * mass_flow(
                now,
                CLASS_B,
                mass * R_AIR * world.temp_k(t) / volume,
                world.ambient_pa(t),
                world.temp_k(t),
            )
            t += STEP_S
    return Ride(visits, lost)


def _stated(chuck: str) -> float:
    from rimward.sessions.visit import U_FOUND_PA

    return U_FOUND_PA[chuck]


def _mass(pa: float, world: World, t_s: float, volume: float, kelvin: float | None = None) -> float:
    return (pa + world.ambient_pa(t_s)) * volume / (R_AIR * (kelvin or world.temp_k(t_s)))
