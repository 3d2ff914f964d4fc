"""Energy stored in compressed gas, and the stand-off that two editions of one standard derive from it.

Pressures are absolute pascals unless a name says gauge, volumes cubic metres, energies joules, distances metres. The methods
do not agree, and no single one is "the" energy: callers show them side by side. For air, Brode's is the highest up to 9.3 times ambient
(8.4 bar gauge at sea level) and isothermal work above; availability is the lowest up to 6.6 times ambient (5.7 bar gauge) and the
isentropic form above. A tyre holds 0.1 to 3 kJ.
"""

from dataclasses import dataclass
from math import isfinite, log

AMBIENT_PA = 101_325
PCC2_AMBIENT_PA = 101_000
PCC2_EXPONENT = 0.286
PCC2_TNT_J_PER_KG = 4_266_920
TNT_J_PER_KG = 4_184_000
SCALED_DISTANCE_M = 20.0
# (energy up to this many joules, stand-off in metres): the tiers of the later PCC-2 editions, before the scaled form takes over.
PCC2_TIERS = ((135_500_000, 30.0), (271_000_000, 60.0))
HIGHLY_HAZARDOUS_J = 100_000


def isentropic_j(
    pressure_pa: float, volume_m3: float, ambient_pa: float = AMBIENT_PA, k: float = 1.4
) -> float:
    """Work of an adiabatic reversible expansion to ambient (Baker; the form of LLNL's ES&H manual)."""
    _check(pressure_pa, volume_m3, ambient_pa)
    return float(
        pressure_pa * volume_m3 / (k - 1) * (1 - (ambient_pa / pressure_pa) ** ((k - 1) / k))
    )


def brode_j(
    pressure_pa: float, volume_m3: float, ambient_pa: float = AMBIENT_PA, k: float = 1.4
) -> float:
    """Energy to bring the gas to pressure at constant volume (Brode)."""
    _check(pressure_pa, volume_m3, ambient_pa)
    return (pressure_pa - ambient_pa) * volume_m3 / (k - 1)


def isothermal_j(pressure_pa: float, volume_m3: float, ambient_pa: float = AMBIENT_PA) -> float:
    """Work of a reversible expansion at constant temperature."""
    _check(pressure_pa, volume_m3, ambient_pa)
    return pressure_pa * volume_m3 * log(pressure_pa / ambient_pa)


def availability_j(pressure_pa: float, volume_m3: float, ambient_pa: float = AMBIENT_PA) -> float:
    """Isothermal work minus the work done on the atmosphere."""
    _check(pressure_pa, volume_m3, ambient_pa)
    ratio = pressure_pa / ambient_pa
    return ambient_pa * volume_m3 * (ratio * log(ratio) - ratio + 1)


def pcc2_j(pressure_pa: float, volume_m3: float) -> float:
    """ASME PCC-2-2008, Article 5.1, equation II-2, for air and nitrogen (with its own ambient of 101 000 Pa)."""
    _check(pressure_pa, volume_m3, PCC2_AMBIENT_PA)
    return float(
        2.5 * pressure_pa * volume_m3 * (1 - (PCC2_AMBIENT_PA / pressure_pa) ** PCC2_EXPONENT)
    )


def tnt_kg(energy_j: float, j_per_kg: float = PCC2_TNT_J_PER_KG) -> float:
    """TNT of the same energy; PCC-2 counts 4 266 920 J/kg, the common convention is 4 184 000."""
    return energy_j / j_per_kg


def pcc2_scaled_distance_m(energy_j: float, factor: int = 2) -> float:
    """R = 20 m/kg^(1/3) · (factor · TNT)^(1/3): factor 2 in later editions, 1 in the 2008 edition and the 2005 draft."""
    if factor not in (1, 2):
        raise ValueError("the published forms have a factor of 1 or 2")
    return float(SCALED_DISTANCE_M * (factor * tnt_kg(energy_j)) ** (1 / 3))


def pcc2_distance_m(energy_j: float) -> float:
    """Stand-off by the later PCC-2 editions: 30 m, then 60 m, then the scaled distance with factor 2."""
    for energy_max_j, distance_m in PCC2_TIERS:
        if energy_j <= energy_max_j:
            return distance_m
    return pcc2_scaled_distance_m(energy_j, 2)


@dataclass(frozen=True)
class Method:
    """One published method for the energy: key, name, source, and a function of (absolute Pa, m³)."""

    id: str
    name: str
    source: str
    energy_j: float


def stored_energy(
    gauge_pa: float, volume_m3: float, ambient_pa: float = AMBIENT_PA
) -> tuple[Method, ...]:
    """Return the four methods and PCC-2's own equation at one gauge pressure.

    At or below ambient nothing is compressed and every energy is 0; so is PCC-2's where its fixed ambient of 101 000 Pa lies above the
    gas, as for a soft tyre at altitude. ValueError for a gauge pressure below vacuum (-ambient).
    """
    if gauge_pa < -ambient_pa:
        raise ValueError(
            "a gauge pressure cannot lie below vacuum: correct the reading or the ambient pressure"
        )
    absolute_pa = max(gauge_pa, 0.0) + ambient_pa
    return (
        Method(
            "isentropic",
            "isentropic (Baker)",
            "LLNL ES&H manual form; ASME PCC-2 II-1",
            isentropic_j(absolute_pa, volume_m3, ambient_pa),
        ),
        Method(
            "brode", "Brode", "textbook, from memory", brode_j(absolute_pa, volume_m3, ambient_pa)
        ),
        Method(
            "isothermal", "isothermal", "textbook", isothermal_j(absolute_pa, volume_m3, ambient_pa)
        ),
        Method(
            "availability",
            "availability",
            "textbook, from memory",
            availability_j(absolute_pa, volume_m3, ambient_pa),
        ),
        Method(
            "pcc2",
            "ASME PCC-2 II-2",
            "ASME PCC-2-2008 Article 5.1, Mandatory Appendix II",
            pcc2_j(
                max(absolute_pa, PCC2_AMBIENT_PA) if gauge_pa > 0 else PCC2_AMBIENT_PA, volume_m3
            ),
        ),
    )


def _check(pressure_pa: float, volume_m3: float, ambient_pa: float) -> None:
    if not all(map(isfinite, (pressure_pa, volume_m3, ambient_pa))):
        raise ValueError("pressure, volume and ambient must be finite")
    if volume_m3 < 0 or ambient_pa <= 0 or pressure_pa < ambient_pa:
        raise ValueError(
            "the absolute pressure must not lie below ambient, nor the volume below zero"
        )
