"""Start of a fill: the ceiling for the present air, the record, the words for the kernels. Main loop only, never with the air on."""

from rimward_protocol import causes, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import rooms
from rimward_fw.control import arming, events, fill_modes
from rimward_fw.control.phases import LOADING, OVER

if TYPE_CHECKING:
    from rimward_fw.control.cycle import FillCycle

JOB_FILL = 1
REFUSED = {
    replies.TARGET_ABOVE_STOP: causes.TARGET_ABOVE_STOP,
    replies.SETTING_LOCKED: causes.INSTRUMENT_OVERDUE,
}


def arm(cycle: "FillCycle", t0_ck: int, seating: bool) -> int:
    """Compute the ceiling for the present air, open the session and load the guard. Return a reply code."""
    app = cycle.app
    if app.recorder.active:
        cycle.to_arm = (t0_ck, seating)
        cycle.phase = LOADING
        return replies.OK
    cause, question = hindrance(cycle, t0_ck, seating)
    if cause or question:
        cycle.phase = OVER
        if cause:
            cycle.cause = cause
        if question:
            cycle.question = question
        return replies.OK
    cycle.cause = 0
    cycle.t0_ck = t0_ck
    cycle.connection = (cycle.connection + 1) & 0x7FFF or 1
    here = {
        "ambient_pa": app.ambient_pa(),
        "t0_ck": t0_ck,
        "guard_pa": app.guard_pa(),
        "conn": cycle.connection,
        "job": JOB_FILL,
    }
    here.update(app.transducers)
    code, x, y = cycle.limits_here(here, seating)
    if app.locked_out():
        code = replies.SETTING_LOCKED
    app.refusal = code
    if code:
        cycle.cause = REFUSED.get(code, causes.NO_PROFILE)
        app.note(events.REFUSED, cycle.cause, code)
        cycle.phase = OVER
        return code
    begin(cycle, x, y, fill_modes.highest_target_pa(cycle.values, app.hardware, here))
    return replies.OK


def hindrance(cycle: "FillCycle", t0_ck: int, seating: bool) -> tuple[int, str]:
    """Return (cause, question) for which no fill starts now; 0 and an empty text if there is none."""
    app = cycle.app
    if not cycle.recordless and not app.store.keeps_records():
        cycle.asked_arm = (t0_ck, seating)
        return causes.MEMORY, "no-record"
    cycle.seating = seating
    cycle.measuring = cycle.added and not seating
    if app.hardware["kind"] == 0 and app.interface.duty.wait_s():
        return 0, "rest"
    if app.ambient_pa() == 0:  # without it there is no gauge pressure and no ceiling
        return causes.BAROMETER, ""
    reading = app.engine.g[slots.G_READ] - slots.BIAS_PA
    if arming.zero_low(reading, app.guard_pa(), app.BAND_PA, app.calibrated_day()):
        return causes.ZERO_LOW, ""
    return app.no_air(cycle.wheel), ""


def begin(cycle: "FillCycle", x: list[int], y: list[int], highest_pa: int) -> None:
    """Queue the record's opening, one step a turn of the main loop, then the slow words of the guard (`x`) and of the fill controller (`y`)."""
    first = slots.FAST_INPUTS
    cycle.ceiling_pa = x[slots.X_CEIL_PA - first]
    cycle.stop_pa = cycle.ceiling_pa - x[slots.X_BAND_PA - first]
    cycle.highest_pa = highest_pa
    cycle.ran = False
    cycle.queue = []
    cycle.steps = [
        lambda: rooms.ready(rooms.LEFT),
        lambda: cycle.losses.begin(cycle),
        rooms.drop,  # their memory becomes the record's
        lambda: cycle.app.open_session(cycle),  # puts its steps here
        lambda: loaded(cycle, x, y),
    ]
    cycle.phase = LOADING
    cycle.tripped = 0
    cycle.cause = 0


def loaded(cycle: "FillCycle", x: list[int], y: list[int]) -> None:
    """Queue the slow words, those that put the ceiling and the job in force last."""
    app, first = cycle.app, slots.FAST_INPUTS
    y[-1] = cycle.losses.spring
    cycle.queue = [(first + i, x[i]) for i in range(len(x)) if first + i != slots.X_CHK]
    cycle.queue += [(slots.FIRST_Y_SLOT + slots.FILL_SLOW + i, y[i]) for i in range(1, len(y))]
    cycle.queue += [
        (slots.X_CHK, x[slots.X_CHK - first]),
        (slots.FIRST_Y_SLOT + slots.Y_JOB, y[slots.Y_JOB - slots.FILL_SLOW]),
    ]
    app.note(events.ARMED, 0, cycle.ceiling_pa, cycle.stop_pa)
    app.cutoff.began()
