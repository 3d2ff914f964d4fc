"""Ride envelope: how much lower a fill must be so that the limit holds on the whole ride.

A fill of gauge P at (T0, ambient0) reads (P + ambient0) T / T0 - ambient elsewhere: a closed rigid volume of ideal gas. The place of the
fill is itself a point of the ride. A fill stated hotter than the ride's hottest counts as that hottest, since a hot fill would raise the
ceiling.
"""

from rimward.base.units import exceeds
from rimward.limits.ceiling.model import UNSTATED_FILL_CK, Envelope, Place, Ride


def conditions(place: Place, ride: Ride | None) -> tuple[int, int, float, float]:
    """Return (T0, highest T, ambient at the fill, lowest ambient): centikelvin and absolute pascal."""
    fill_ck = place.temp_ck if place.temp_ck is not None else UNSTATED_FILL_CK
    ambient = place.ambient_pa
    if ride is None:
        return fill_ck, fill_ck, ambient, ambient
    hottest = ride.temp_max_ck if ride.temp_max_ck is not None else fill_ck
    lowest = (
        min(ambient, Place(None, ride.altitude_max_m).ambient_pa)
        if ride.altitude_max_m is not None
        else ambient
    )
    return min(fill_ck, hottest), hottest, ambient, lowest


def fill_ceiling(limit_pa: int, place: Place, ride: Ride | None) -> int:
    """Highest fill, gauge pascal rounded down, that keeps `limit_pa` on the whole ride; none if zero or less."""
    fill_ck, hottest_ck, ambient, lowest = conditions(place, ride)
    if hottest_ck == fill_ck and lowest == ambient:
        return limit_pa
    return min(limit_pa, int(((limit_pa + lowest) * fill_ck / hottest_ck - ambient) // 1))


def highest_gauge(fill_pa: int, place: Place, ride: Ride | None) -> float:
    """Highest gauge pressure of a fill anywhere on the ride, pascal."""
    fill_ck, hottest_ck, ambient, lowest = conditions(place, ride)
    if hottest_ck == fill_ck and lowest == ambient:
        return float(fill_pa)
    return (fill_pa + ambient) * hottest_ck / fill_ck - lowest


def whole_above(pa: float, limit_pa: int) -> int:
    """Round `pa` to the nearest pascal, but never to `limit_pa` when it is above."""
    return max(round(pa), limit_pa + 1) if exceeds(pa, limit_pa) else min(round(pa), limit_pa)


def envelope(limit_pa: int, ceiling_pa: int | None, place: Place, ride: Ride | None) -> Envelope:
    """Compute the envelope of a limit, and of a ceiling where there is one."""
    fill_ck, hottest_ck, ambient, lowest = conditions(place, ride)
    cold = ride.temp_min_ck if ride is not None else None
    coldest_ck = None if cold is None else min(cold, fill_ck)
    return Envelope(
        fill_ceiling(limit_pa, place, ride),
        whole_above(highest_gauge(limit_pa, place, ride), limit_pa),
        None
        if ceiling_pa is None
        else whole_above(highest_gauge(ceiling_pa, place, ride), limit_pa),
        fill_ck,
        hottest_ck,
        ambient,
        lowest,
        coldest_ck,
        None
        if ceiling_pa is None or coldest_ck is None
        else int(((ceiling_pa + ambient) * coldest_ck / fill_ck - ambient) // 1),
    )
