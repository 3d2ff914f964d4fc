"""Range of a tyre's pressure behind a closed core."""

from rimward_protocol.codes import CHUCK_PRESSURE_OPEN
from rimward_protocol.interval import ABOVE_PA, BELOW_PA


def tyre_between(pa: int, chuck: int) -> tuple[int, int]:
    """Return least and highest pressure (gauge Pa) of a tyre that is shown as `pa`: twice `pa` where a held-open core shows it."""
    if chuck != CHUCK_PRESSURE_OPEN:
        return pa, pa
    return max(pa - BELOW_PA, 0), pa + ABOVE_PA
