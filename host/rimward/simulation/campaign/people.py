"""Acts of people at an inflator: one table, and each as rows of the plant's schedule and fields of the session's `H`.

Times in ticks of 2 ms. The firmware is informed of none of them: a chuck moved to another tyre, removed and reconnected, or half seated,
a person sitting on the wheel, a second wheel on a tee, gas added by a cartridge.
"""

from dataclasses import dataclass

import numpy as np

from rimward.simulation import faulted as loop
from rimward.simulation.plant import layout as k

C = 1e-8  # 1 dm3/(s bar)
GRACE_TICKS = 75  # stated delay: after 150 ms a reading has shown the tyre's behaviour, and the source has stopped
AGAIN_TICKS = 6_000  # shortest hold of a person who has just connected a chuck


@dataclass(frozen=True)
class Person:
    """One row: the act, and its frequency in a campaign."""

    name: str
    text: str
    weight: float
    tries: int = 1  # retries after a stopped fill


PEOPLE = (
    Person("patient", "holds until asked to stop, answers within 5 s, tries once more", 0.46),
    Person("lets-go", "releases and holds again at any moment", 0.10, 0),
    Person("slow", "takes long to answer", 0.08, 0),
    Person("stubborn", "tries again twice", 0.08, 2),
    Person("moves-to-empty", "moves the chuck to an empty tyre during a fill", 0.03),
    Person("moves-to-part-full", "moves the chuck to a part-full tyre during a fill", 0.04),
    Person("moves-to-full", "moves the chuck to a tyre at 0.97 to 1.0 of its ceiling", 0.06),
    Person("off-and-on", "takes the chuck off and puts it on again", 0.03),
    Person("half-seats", "half seats the chuck: it leaks, temporarily or permanently", 0.03),
    Person("sits-on-wheel", "sits on the wheel meanwhile", 0.03),
    Person("second-wheel", "fills two wheels on a tee", 0.03),
    Person("adds-cartridge", "adds gas from a cartridge meanwhile", 0.03),
)
NAMES = tuple(person.name for person in PEOPLE)
BY_NAME = {person.name: person for person in PEOPLE}
PLAIN = NAMES[:4]  # people who do not touch chuck and wheel
MOVED = ("moves-to-empty", "moves-to-part-full", "moves-to-full")
BY_OTHERS = ("sits-on-wheel", "adds-cartridge")  # pressure from another source

Rows = list[tuple[int, int, float]]


def pick(part: float, wanted: tuple[str, ...]) -> Person:
    """Person at `part` 0..1 of the people in `wanted`, by weight."""
    rows = [BY_NAME[name] for name in wanted]
    edges = np.cumsum([row.weight for row in rows])
    return rows[int(np.searchsorted(edges, part * edges[-1], side="right").clip(0, len(rows) - 1))]


def acts(name: str, at: int, ceiling_pa: int, u: np.ndarray) -> tuple[Rows, dict[int, float]]:
    """Schedule rows and `H` values of a person who acts at tick `at`. `u`: six numbers of 0..1 that set the act."""
    if name in MOVED or name == "off-and-on":
        return _off_and_on(name, at, ceiling_pa, u)
    rows: Rows = []
    if name == "half-seats":
        rows.append((at, k.F_SEAT, 0.02 * C * 10.0 ** u[0]))
        if u[1] < 0.5:
            rows.append((at + int(500 + 4500 * u[2]), k.F_SEAT, 0.0))
    elif name == "sits-on-wheel":
        rows += [
            (at, k.F_SQUEEZE, 0.005 + 0.025 * u[0]),
            (at + int(500 + 9500 * u[1]), k.F_SQUEEZE, 0.0),
        ]
    elif name == "adds-cartridge":
        rows += [(at, k.F_GAS, 0.5e-3 + 2.5e-3 * u[0]), (at + int(500 + 3500 * u[1]), k.F_GAS, 0.0)]
    return rows, {loop.H_GRACE: float(GRACE_TICKS)} if name in BY_OTHERS else {}


def _off_and_on(
    name: str, at: int, ceiling_pa: int, u: np.ndarray
) -> tuple[Rows, dict[int, float]]:
    """Chuck off at `at`, on again within four seconds, on another tyre or the same; RUN is released meanwhile, or not."""
    on = at + int(150 + 1850 * u[0])
    rows: Rows = [(at, k.F_HOSE, 1.0), (on, k.F_HOSE, 0.0)]
    if name in MOVED:
        share = {
            "moves-to-empty": 0.02 * u[1],
            "moves-to-part-full": 0.1 + 0.87 * u[1],
            "moves-to-full": 0.97 + 0.03 * u[1],
        }[name]
        rows += [
            (on, k.F_WHEEL_PA, share * ceiling_pa),
            (on, k.F_WHEEL_RATIO, 0.5 * 3.2 ** u[2]),
            (on, k.F_WHEEL, 1.0),
        ]
    values: dict[int, float] = {loop.H_UNTIL: on + AGAIN_TICKS}
    if u[3] < 0.7:
        away = max(at - int(50 + 450 * u[4]), 1)
        values |= {loop.H_AWAY_AT: away, loop.H_AWAY_N: on + int(50 + 950 * u[5]) - away}
    return rows, values
