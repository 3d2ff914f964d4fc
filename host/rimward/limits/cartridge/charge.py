"""Filling a tyre from one or more cartridges. All CO2 counts as gas in the tyre; gauge pressure refers to the ambient of the altitude."""

import math
from dataclasses import dataclass

from rimward.base.atmosphere import ambient_pa
from rimward.base.units import exceeds
from rimward.limits.cartridge.gas import (
    CO2_G_PER_MOL,
    VALID_TO_PA,
    air_mol,
    ideal_pressure_pa,
    is_liquid,
    pressure_pa,
)
from rimward.limits.volume import Volumes

STARTS = ("seated", "flat-tube")
JUST_AFTER_C, JUST_AFTER_BAND_C = (
    -10.0,
    (-20.0, 0.0),
)  # temperature of the gas just after: our choice, shown with its band
OVERNIGHT_LOSS_PERCENT = (10, 60)  # estimate; not tested
ZERO_C_K = 273.15
_SEARCH_STEPS = 60


@dataclass(frozen=True)
class Charge:
    """Cartridges, tyre and place. `start_pa` is gauge and only for a seated tyre; `temp_c` is the tyre's temperature when settled."""

    grams: float
    volumes: Volumes
    start: str = "seated"
    start_pa: int = 0
    temp_c: float = 20.0
    altitude_m: float = 0.0
    ride_temp_max_c: float | None = None
    ride_altitude_max_m: float | None = None

    def __post_init__(self) -> None:
        if self.start not in STARTS:
            raise ValueError(f"start must be one of {', '.join(STARTS)}")
        if self.start == "flat-tube" and self.start_pa:
            raise ValueError("a flat tube has no start pressure")

    @property
    def ambient_pa(self) -> float:
        """Absolute ambient pressure, pascal."""
        return ambient_pa(self.altitude_m)

    @property
    def top_m(self) -> float:
        """Higher altitude of ride and place, metres."""
        return max(
            self.altitude_m,
            self.ride_altitude_max_m if self.ride_altitude_max_m is not None else self.altitude_m,
        )

    @property
    def hottest_c(self) -> float:
        """Higher temperature of ride and place, Celsius."""
        return max(
            self.temp_c, self.ride_temp_max_c if self.ride_temp_max_c is not None else self.temp_c
        )


@dataclass(frozen=True)
class State:
    """One state: gas temperature and gauge pressure (pascal) at the low, nominal and high volume."""

    temp_c: float
    low_volume_pa: float
    nominal_volume_pa: float
    high_volume_pa: float


@dataclass(frozen=True)
class Outcome:
    """States after the charge, gauge pascal; `hottest` is at the ride's hottest and highest. Without a limit the last figures are None."""

    just_after: State
    just_after_band_pa: tuple[float, float]
    settled: State
    hottest: State
    ideal_pa: float
    over_ceiling: bool | None
    largest_grams: float | None
    may_be_liquid: bool
    past_validity: bool


def charge_tyre(
    charge: Charge, limit_pa: int | None = None, *, ceiling_pa: int | None = None
) -> Outcome:
    """Compute the states of a charge; at the low volume compared with a limit (gauge pascal) at the hottest and highest of the ride.

    `ceiling_pa`: ceiling of a fill where the tyre settles; the settled state is compared with it as well.
    """
    hottest = _state(charge, charge.hottest_c, charge.top_m)
    settled = _state(charge, charge.temp_c)
    cold = [min(t, charge.temp_c) for t in (JUST_AFTER_C, *JUST_AFTER_BAND_C)]
    low_m3 = charge.volumes.low_l / 1000
    over = None if limit_pa is None else _over(charge, charge.grams, limit_pa, ceiling_pa)
    return Outcome(
        just_after=_state(charge, cold[0]),
        just_after_band_pa=(
            _gauge(charge, charge.grams, low_m3, cold[1]),
            _gauge(charge, charge.grams, low_m3, cold[2]),
        ),
        settled=settled,
        hottest=hottest,
        ideal_pa=_ideal(charge, low_m3),
        over_ceiling=over,
        largest_grams=None if limit_pa is None else largest_grams(charge, limit_pa, ceiling_pa),
        may_be_liquid=is_liquid(charge.grams / CO2_G_PER_MOL, low_m3, cold[1] + ZERO_C_K),
        past_validity=max(hottest.low_volume_pa, settled.low_volume_pa) + charge.ambient_pa
        > VALID_TO_PA,
    )


def largest_grams(charge: Charge, limit_pa: int, ceiling_pa: int | None = None) -> float:
    """Largest CO2 mass, grams rounded down to 0.01, that stays within limit and ceiling at the low volume (see `charge_tyre`)."""

    def over(grams: float) -> bool:
        return _over(charge, grams, limit_pa, ceiling_pa)

    low, high = 0.0, 1.0
    while not over(high) and high < 1e5:
        low, high = high, high * 2
    for _ in range(_SEARCH_STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if over(middle) else (middle, high)
    return math.floor(low * 100) / 100


def _over(charge: Charge, grams: float, limit_pa: int, ceiling_pa: int | None) -> bool:
    volume = charge.volumes.low_l / 1000
    hot = exceeds(_gauge(charge, grams, volume, charge.hottest_c, charge.top_m), limit_pa)
    return hot or (
        ceiling_pa is not None and exceeds(_gauge(charge, grams, volume, charge.temp_c), ceiling_pa)
    )


def _state(charge: Charge, temp_c: float, altitude_m: float | None = None) -> State:
    v = charge.volumes
    return State(
        temp_c,
        *(
            _gauge(charge, charge.grams, litres / 1000, temp_c, altitude_m)
            for litres in (v.low_l, v.nominal_l, v.high_l)
        ),
    )


def _air(charge: Charge, volume_m3: float) -> float:
    return (
        air_mol(charge.ambient_pa + charge.start_pa, volume_m3, charge.temp_c + ZERO_C_K)
        if charge.start == "seated"
        else 0.0
    )


def _gauge(
    charge: Charge, grams: float, volume_m3: float, temp_c: float, altitude_m: float | None = None
) -> float:
    """Gauge pascal; 0 for a tyre that would hold less than the ambient air, since it collapses."""
    ambient = charge.ambient_pa if altitude_m is None else ambient_pa(altitude_m)
    return max(
        0.0,
        pressure_pa(grams / CO2_G_PER_MOL, _air(charge, volume_m3), volume_m3, temp_c + ZERO_C_K)
        - ambient,
    )


def _ideal(charge: Charge, volume_m3: float) -> float:
    kelvin = charge.temp_c + ZERO_C_K
    air = (
        (charge.ambient_pa + charge.start_pa) * volume_m3 / (8.31446261815324 * kelvin)
        if charge.start == "seated"
        else 0.0
    )
    return max(
        0.0,
        ideal_pressure_pa(charge.grams / CO2_G_PER_MOL, air, volume_m3, kelvin) - charge.ambient_pa,
    )
