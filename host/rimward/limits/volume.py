"""Air volume of a mounted tyre, always as three numbers: low, nominal, high (litres).

low: the nominal section circle cut by the rim's inner width (chord), rotated about the axle; nominal: the full torus, about equal to that
plus the rim well; high: torus plus a large rim well. Air budgets and cartridges use the low value.
"""

import math
from dataclasses import dataclass

from rimward.limits.ceiling.standards import measuring_rim_mm

WELL_L = 0.2  # estimate for a 622 mm rim: 0.1 to 0.2 L; the larger one is the safe side for `high`
WELL_BEAD_SEAT_MM = 622
CASING_MM = 1.0  # of a light tyre's sidewall: estimate; treads and heavy casings are thicker
TUBE_MM = 0.6  # of a common butyl tube stretched into its tyre: estimate, about 115 g of rubber in a 28-622


@dataclass(frozen=True)
class Volumes:
    """Litres."""

    low_l: float
    nominal_l: float
    high_l: float


def torus_l(width_mm: float, bead_seat_mm: float) -> float:
    """Full torus, litres: 2 pi^2 R r^2 with r = w/2 and R = (bead seat + w)/2."""
    return 2 * math.pi**2 * (bead_seat_mm + width_mm) / 2 * (width_mm / 2) ** 2 / 1e6


def chord_l(width_mm: float, bead_seat_mm: float, rim_inner_mm: float) -> float:
    """Circle of the section width on a chord of the rim's inner width at the bead seat, by Pappus, litres.

    Raises ValueError unless the tyre is wider than the rim.
    """
    if not 0 < rim_inner_mm < width_mm:
        raise ValueError("the tyre must be wider than the rim inside")
    radius, half = width_mm / 2, rim_inner_mm / 2
    height = math.sqrt(radius**2 - half**2)  # height of the circle's centre above the chord
    inside = math.pi - math.asin(half / radius)  # half the angle of the arc above the chord
    area = radius**2 * inside + half * height
    above_centre = (
        2 / 3 * half**3 / area
    )  # distance of the centroid from the circle's centre, away from the chord
    return 2 * math.pi * (bead_seat_mm / 2 + height + above_centre) * area / 1e6


def inner_mm(width_mm: float, rim_inner_mm: float | None) -> float:
    """Inner width of the rim where it is known, else of the measuring rim for this width, narrower than the tyre."""
    if rim_inner_mm is not None:
        return rim_inner_mm
    return min(measuring_rim_mm(width_mm), width_mm * 0.9)


def volumes(width_mm: float, bead_seat_mm: float, rim_inner_mm: float | None = None) -> Volumes:
    """Low, nominal and high volume of a tyre, litres; without a rim, on the measuring rim of its width."""
    inner = inner_mm(width_mm, rim_inner_mm)
    torus = torus_l(width_mm, bead_seat_mm)
    return Volumes(
        chord_l(width_mm, bead_seat_mm, inner),
        torus,
        torus + WELL_L * bead_seat_mm / WELL_BEAD_SEAT_MM,
    )


def least_inside(
    width_mm: float, bead_seat_mm: float, rim_inner_mm: float | None = None, *, tube: bool = True
) -> Volumes:
    """Volumes with the least possible gas volume as low value: casing and, with `tube`, the tube's wall are subtracted.

    The section width is an outside width, so 1 mm of casing takes 16 to 20 % off a road tyre's low volume. For gas measured by weight,
    such as a cartridge; an air budget uses `volumes`. ValueError where nothing is left.
    """
    wall = CASING_MM + (TUBE_MM if tube else 0.0)
    outside = volumes(width_mm, bead_seat_mm, rim_inner_mm)
    inner = inner_mm(width_mm, rim_inner_mm)
    hollow = width_mm - 2 * wall
    return Volumes(
        chord_l(hollow, bead_seat_mm, min(inner, hollow * 0.99)), outside.nominal_l, outside.high_l
    )


def stated(volume_l: float) -> Volumes:
    """Volumes from one volume that a person measured and states."""
    return Volumes(volume_l, volume_l, volume_l)


@dataclass(frozen=True)
class LookAlike:
    """Another wheel, and whether a check by volume distinguishes it from the intended wheel."""

    what: str
    told_apart: bool


def wrong_wheel_limits(
    width_mm: float, bead_seat_mm: int, rim_inner_mm: float | None = None
) -> tuple[LookAlike, ...]:
    """Wheels that a check by volume cannot distinguish: the front wheel from the rear, and 584 from 622 where the volume bands overlap."""
    meant = volumes(width_mm, bead_seat_mm, rim_inner_mm)
    found = [LookAlike("the bicycle's other wheel with the same tyre", False)]
    for seat in (584, 622):
        if seat != bead_seat_mm:
            other = volumes(width_mm, seat, rim_inner_mm)
            found.append(
                LookAlike(
                    f"the same tyre width on a {seat} mm rim",
                    other.high_l < meant.low_l or other.low_l > meant.high_l,
                )
            )
    return tuple(found)
