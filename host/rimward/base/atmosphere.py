"""Troposphere of the standard atmosphere (US Standard Atmosphere 1976): absolute pressure at an altitude."""

SEA_LEVEL_PA = 101_325.0
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = -0.0065
GRAVITY = 9.80665
EARTH_RADIUS_M = 6_356_766.0
GAS_CONSTANT_1976 = 8314.32  # J/(kmol K): the value of that standard, not today's
MOLAR_MASS = 28.9644  # kg/kmol
EXPONENT = GRAVITY * MOLAR_MASS / (GAS_CONSTANT_1976 * -LAPSE_K_PER_M)

LOWEST_M, HIGHEST_M = -500.0, 9000.0


def geopotential_m(altitude_m: float) -> float:
    """Geopotential height of a geometric altitude, both in metres above mean sea level."""
    return EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)


def temperature_k(geopotential: float) -> float:
    """Return the standard air temperature in kelvin at a geopotential height in metres."""
    return SEA_LEVEL_K + LAPSE_K_PER_M * geopotential


def pressure_at_geopotential_pa(geopotential: float) -> float:
    """Return the standard absolute pressure in pascal at a geopotential height in metres."""
    return float(SEA_LEVEL_PA * (temperature_k(geopotential) / SEA_LEVEL_K) ** EXPONENT)


def ambient_pa(altitude_m: float) -> float:
    """Return the standard absolute pressure in pascal at a geometric altitude in metres. ValueError outside -500..9000 m."""
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise ValueError(f"altitude {altitude_m} m is outside {LOWEST_M:.0f} to {HIGHEST_M:.0f} m")
    return pressure_at_geopotential_pa(geopotential_m(altitude_m))
