"""Range of a tyre's pressure behind a closed core."""

from rimward_protocol.codes import CHUCK_PRESSURE_OPEN
from rimward_protocol.interval import ABOVE_PA, BELOW_PA

from rimward.base.units import show_limit, show_minimum

AT_REST = ("ready", "done", "stopped")  # states in which the inflator's display gives the range


def tyre_between(pa: int, chuck: int) -> tuple[int, int]:
    """Return least and highest pressure (gauge Pa) of a tyre that is shown as `pa`: twice `pa` where a held-open core shows it."""
    if chuck != CHUCK_PRESSURE_OPEN:
        return pa, pa
    return max(pa - BELOW_PA, 0), pa + ABOVE_PA


def live_between(pa: int | None, state: str, pressure_open: bool) -> tuple[int, int] | None:
    """Return the range of a live figure where the display gives one; None elsewhere. `pressure_open` as in `verbs.status_row`."""
    if pa is None or not pressure_open or state not in AT_REST:
        return None
    return tyre_between(pa, CHUCK_PRESSURE_OPEN)


def show_between(ends: tuple[int, int]) -> str:
    """Format a range in both units, rounded outwards: 'between 3.65 bar (52.9 psi) and 4.06 bar (58.9 psi)'."""
    return f"between {show_limit(ends[0])} and {show_minimum(ends[1])}"
