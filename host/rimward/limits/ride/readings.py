"""Readings of one fill across temperature and altitude: a closed rigid volume of ideal gas, gauge against the standard atmosphere."""

from dataclasses import dataclass

from rimward.base.units import celsius, centikelvin_up, exceeds
from rimward.limits.ceiling.envelope import highest_gauge
from rimward.limits.ceiling.model import Place, Ride


@dataclass(frozen=True)
class Readings:
    """`gauge_pa[i][j]` is the reading at `altitudes_m[i]` and `temps_c[j]`, gauge pascal."""

    fill_pa: int
    place: Place
    temps_c: tuple[float, ...]
    altitudes_m: tuple[float, ...]
    gauge_pa: tuple[tuple[float, ...], ...]
    limit_pa: int | None = None
    tyre_min_pa: int | None = None

    @property
    def lowest(self) -> tuple[float, float, float]:
        """Return (gauge pascal, altitude m, Celsius) of the lowest reading."""
        return min(
            (pa, altitude, temp)
            for altitude, row in zip(self.altitudes_m, self.gauge_pa)
            for temp, pa in zip(self.temps_c, row)
        )

    @property
    def under_minimum(self) -> bool | None:
        """True if any reading is below the tyre's printed minimum; None if that is not stated."""
        return None if self.tyre_min_pa is None else exceeds(self.tyre_min_pa, self.lowest[0])

    @property
    def highest(self) -> tuple[float, float, float]:
        """Return (gauge pascal, altitude m, Celsius) of the highest reading."""
        return max(
            (pa, altitude, temp)
            for altitude, row in zip(self.altitudes_m, self.gauge_pa)
            for temp, pa in zip(self.temps_c, row)
        )

    @property
    def over_limit(self) -> bool | None:
        """True if any reading is above the limit; None without a limit."""
        return None if self.limit_pa is None else exceeds(self.highest[0], self.limit_pa)


def reading(fill_pa: int, fill: Place, altitude_m: float, temp_c: float) -> float:
    """Return (P + ambient0) T / T0 - ambient, gauge pascal. `fill` must state its temperature."""
    if fill.temp_ck is None:
        raise ValueError("the fill's temperature is needed")
    return (fill_pa + fill.ambient_pa) * centikelvin_up(temp_c) / fill.temp_ck - Place(
        None, altitude_m
    ).ambient_pa


def steps(low: float, high: float, count: int) -> tuple[float, ...]:
    """Return `count` evenly spaced values, both ends exact; one where low equals high."""
    if high <= low:
        return (low,)
    return (*(low + (high - low) * i / (count - 1) for i in range(count - 1)), high)


def readings(
    fill_pa: int,
    fill: Place,
    ride: Ride,
    limit_pa: int | None = None,
    *,
    tyre_min_pa: int | None = None,
    count: int = 7,
) -> Readings:
    """Return a grid over the ride's temperatures and from the place of the fill to the highest, both and all ends included."""
    if fill.temp_ck is None:
        raise ValueError("the fill's temperature is needed")
    hottest = max(fill.temp_ck, ride.temp_max_ck or fill.temp_ck)
    coldest = min(fill.temp_ck, ride.temp_min_ck if ride.temp_min_ck is not None else fill.temp_ck)
    top = max(
        fill.altitude_m, ride.altitude_max_m if ride.altitude_max_m is not None else fill.altitude_m
    )
    temps = steps(celsius(coldest), celsius(hottest), count)
    altitudes = steps(fill.altitude_m, top, count)
    grid = tuple(
        tuple(reading(fill_pa, fill, altitude, temp) for temp in temps) for altitude in altitudes
    )
    return Readings(fill_pa, fill, temps, altitudes, grid, limit_pa, tyre_min_pa)


def worst(fill_pa: int, fill: Place, ride: Ride) -> float:
    """Highest reading of the ride, gauge pascal."""
    return highest_gauge(fill_pa, fill, ride)
