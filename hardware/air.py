"""Flows of vent, restrictor, regulator and relief by ISO 6358, balanced in the manifold with every part at its worst end.

Flow q = C p1 rho0 psi with psi = 1 up to p2/p1 = b, above it sqrt(1 - ((r - b)/(1 - b))^2). Volumes are free air at 100 kPa, 20 degC.
"""

from math import sqrt
from typing import Any

from hardware.params import LOW_CEILING_PA, PARAMS

AMBIENT_PA = 101_325.0
HIGH_PLACE_PA = 70_100.0  # about 3000 m, ISO 2533
C_UNIT = 1e-8  # 1 dm3/(s bar) in m3/(s Pa)
RHO0 = 1.185
FACTOR = 1.5


def psi(ratio: float, b: float) -> float:
    """ISO 6358 flow function of p2/p1 (absolute)."""
    if ratio >= 1:
        return 0.0
    return 1.0 if ratio <= b else sqrt(1 - ((ratio - b) / (1 - b)) ** 2)


def flow(c: float, b: float, up_pa: float, down_pa: float) -> float:
    """Free air in m3/s from `up_pa` to `down_pa` (absolute) through C in dm3/(s bar); 0 when there is no fall. Air at 20 degC."""
    if up_pa <= down_pa:
        return 0.0
    return c * C_UNIT * up_pa * psi(down_pa / up_pa, b)


def mass_flow(c: float, b: float, up_pa: float, down_pa: float) -> float:
    """Mass flow in kg/s, arguments as in `flow`."""
    return RHO0 * flow(c, b, up_pa, down_pa)


def relief_lift(gauge_pa: float, set_pa: float) -> float:
    """Return the opening 0..1 of a relief valve: shut at its set pressure, fully open at its stated overpressure."""
    over = set_pa * PARAMS["relief_over"].high
    return min(max((gauge_pa - set_pa) / over, 0.0), 1.0)


def settle(inflow: Any, outflow: Any, ceiling_abs_pa: float, ambient_pa: float) -> float:
    """Absolute pressure in Pa at which inflow(p) equals outflow(p), by bisection; inflow falls and outflow rises with p."""
    low, high = ambient_pa, ceiling_abs_pa
    for _ in range(80):
        mid = 0.5 * (low + high)
        if inflow(mid) > outflow(mid):
            low = mid
        else:
            high = mid
    return high


def source_flow(line: bool, ambient_pa: float) -> tuple[Any, float]:
    """Return (flow into the manifold as a function of its absolute pressure, highest absolute supply) with every part at its worst end."""
    if line:
        supply = PARAMS["supply_line"].high + ambient_pa
        return (lambda p: flow(PARAMS["inlet_c"].high, PARAMS["b_ratio"].high, supply, p)), supply
    supply = PARAMS["supply_compressor"].high + ambient_pa
    free = PARAMS["fad_l_min"].high / 60_000 * ambient_pa / 1e5
    return (lambda p: free), supply


def vented_gauge_pa(
    line: bool, ambient_pa: float = AMBIENT_PA, vent_c: float | None = None
) -> float:
    """Gauge pressure of the manifold, Pa, with the inlet stuck open at the highest supply and the vent open."""
    feed, supply = source_flow(line, ambient_pa)
    c = PARAMS["vent_c"].low if vent_c is None else vent_c
    return (
        settle(feed, lambda p: flow(c, PARAMS["b_ratio"].low, p, ambient_pa), supply, ambient_pa)
        - ambient_pa
    )


def relieved_gauge_pa(line: bool, high: bool, ambient_pa: float = AMBIENT_PA) -> float:
    """Gauge pressure of the manifold, Pa, with the vent stuck closed and only the range's relief valve, set at its upper end."""
    feed, supply = source_flow(line, ambient_pa)
    set_pa = PARAMS["relief_high" if high else "relief_low"].high

    def out(p: float) -> float:
        return flow(
            PARAMS["relief_c"].low * relief_lift(p - ambient_pa, set_pa),
            PARAMS["b_ratio"].low,
            p,
            ambient_pa,
        )

    return settle(feed, out, supply, ambient_pa) - ambient_pa


def capacity_factor(line: bool, ambient_pa: float = AMBIENT_PA) -> float:
    """Ratio of vent flow to inlet flow with the manifold at the lowest compiled ceiling."""
    feed, _ = source_flow(line, ambient_pa)
    at = LOW_CEILING_PA + ambient_pa
    return flow(PARAMS["vent_c"].low, PARAMS["b_ratio"].low, at, ambient_pa) / feed(at)


def empty_ms(from_pa: float, to_pa: float) -> float:
    """Time in ms in which the open vent lowers the closed-off manifold from one gauge pressure to another (isothermal, largest volume)."""
    volume = PARAMS["manifold_ml"].high * 1e-6
    p, time_s, step_s = from_pa + AMBIENT_PA, 0.0, 1e-5
    while p > to_pa + AMBIENT_PA:
        p -= (
            flow(PARAMS["vent_c"].low, PARAMS["b_ratio"].low, p, AMBIENT_PA) * 1e5 / volume * step_s
        )
        time_s += step_s
    return time_s * 1000


TEST_FROM_PA, TEST_TO_PA = 200_000.0, 30_000.0  # the daily test's fall, starting at its trip
VENT_LIMIT = 1.35  # factor on the unit's own baseline


def vent_fall_ms(vent_c: float, manifold_ml: float) -> float:
    """Time in ms in which the open vent lowers the manifold, hose closed, from TEST_FROM_PA to TEST_TO_PA (isothermal)."""
    p, end, time_s, step_s = TEST_FROM_PA + AMBIENT_PA, TEST_TO_PA + AMBIENT_PA, 0.0, 1e-4
    while p > end:
        p -= (
            flow(vent_c, PARAMS["b_ratio"].nom, p, AMBIENT_PA) * 1e5 / (manifold_ml * 1e-6) * step_s
        )
        time_s += step_s
    return time_s * 1000


def clogged_gauge_pa(line: bool) -> float:
    """Gauge pressure of the manifold behind an open cutoff with the weakest sound vent, clogged as far as the daily test allows."""
    return vented_gauge_pa(line, vent_c=PARAMS["vent_c"].low / VENT_LIMIT)


def report() -> list[dict[str, Any]]:
    """Return every case with its margin; `ok` where the design's promise holds."""
    rows: list[dict[str, Any]] = []
    for line in (False, True):
        for place, ambient in (("sea level", AMBIENT_PA), ("3000 m", HIGH_PLACE_PA)):
            held = vented_gauge_pa(line, ambient)
            rows.append(
                {
                    "source": "workshop line" if line else "compressor",
                    "place": place,
                    "case": "inlet stuck open, vent open",
                    "gauge_pa": held,
                    "allowed_pa": LOW_CEILING_PA / FACTOR,
                    "ok": held * FACTOR <= LOW_CEILING_PA,
                }
            )
        for high in (False, True):
            held = relieved_gauge_pa(line, high)
            cap = PARAMS["relief_high" if high else "relief_low"].high * (
                1 + PARAMS["relief_over"].high
            )
            rows.append(
                {
                    "source": "workshop line" if line else "compressor",
                    "place": "sea level",
                    "case": f"inlet stuck open, vent stuck shut, {'high' if high else 'low'} relief valve alone",
                    "gauge_pa": held,
                    "allowed_pa": cap,
                    "ok": held <= cap,
                }
            )
    return rows
