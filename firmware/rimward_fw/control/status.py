"""State of the inflator as hosts and the service page read it."""

from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control.phases import ARMED, IDLE, OVER
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

    from rimward_fw.control.engine import Engine
    from rimward_fw.shapes import App


def status(app: "App") -> "Record":
    """All fields of STATUS_IS."""
    e, cycle = app.engine, app.cycle
    armed = cycle.phase == ARMED
    ceiling = e.g[slots.G_CEIL] if armed else 0
    values = cycle.values
    pressure_open = values and values["chuck"] == codes.CHUCK_PRESSURE_OPEN
    return {
        "tick": e.head,
        "state": cycle.state(),
        "out": e.out & 127 | (codes.STATUS_PRESSURE_OPEN if pressure_open else 0),
        "cause": e.g[slots.G_CAUSE],
        "stop_cause": why(app, e),
        "range": switch_range(e.x[slots.X_SW], app.BENCH),
        "waiting": app.waiting()[0],
        "connection": cycle.connection,
        "reading_pa": e.g[slots.G_READ] - slots.BIAS_PA,
        "tyre_pa": e.f[slots.F_TYRE_PA] if armed else cycle.tyre_pa,
        "ceiling_pa": ceiling,
        "stop_pa": ceiling - e.g[slots.G_BAND] if ceiling else 0,
        "target_pa": e.y[slots.Y_TARGET_PA] if armed else 0,
        "guard_pa": app.guard_pa(),
        "ambient_pa": app.ambient_pa(),
        "air_ck": app.air_ck(),
        "supply_mv": app.board.pump_mv,
        "tick_max_us": e.longest_us,
        "heap_free": app.heap_free,
        "wheel_id": cycle.wheel,
    }


def why(app: "App", e: "Engine") -> int:
    """Cause for which no air moves: the fill controller's, the cycle's end, the guard's inhibit cause while RUN is held, or the last
    stop.
    """
    cycle = app.cycle
    if e.f[slots.F_REASON] or cycle.phase == OVER:
        return e.f[slots.F_REASON] or cycle.cause
    if cycle.phase == ARMED and e.f[slots.F_STATE] == codes.FILL_DONE:
        # as its record says: the guard's last stop may be that of a pulse
        return causes.TARGET_REACHED
    if app.store.failing and cycle.phase == IDLE:
        return causes.MEMORY
    if cycle.must_let_go():
        return causes.NOT_READY
    held = e.x[slots.X_SW] & buttons.RUN and not e.out & (codes.OUT_READY | codes.OUT_TESTING)
    return e.g[slots.G_WHY] if held else e.g[slots.G_STOP]


def switch_range(word: int, bench: bool) -> int:
    """Range that the contacts of the range key select."""
    low = word & buttons.KEY_LOW
    high = word & buttons.KEY_HIGH
    if bench:
        return codes.RANGE_BENCH if low and high else codes.RANGE_NONE
    if bool(low) == bool(high):
        return codes.RANGE_NONE
    return codes.RANGE_LOW if low else codes.RANGE_HIGH
