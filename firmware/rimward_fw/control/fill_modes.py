"""Fill modes: changed target, seating of tubeless beads at a low limit, measuring only. Main loop only."""

from rimward_protocol import codes
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import arming, configuration

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

TARGET_STEP_PA = 5_000
TARGET_MIN_PA = 20_000
SEAT_LIMIT_PA = (
    codes.SEAT_PAUSE_MAX_PA
)  # 275 kPa: California Title 8, section 3325, has beads seated at no more than 40 psi
SEAT_PA = 200_000
SEAT_MARGIN_PA = 2_000
SEAT_VOLUME_TOLERANCE = 255  # percent: before seating the volume is unknown
_SEAT_TOLERANCE_AT = 4  # index into the words that `arming.limits` returns for the fill controller


def target_after(target_pa: int, step_pa: int, highest_pa: int) -> int:
    """Return the target one step up or down: whole steps, at most the highest, at least the lowest reliable reading."""
    return max(
        min(
            (target_pa // TARGET_STEP_PA) * TARGET_STEP_PA + step_pa,
            highest_pa // TARGET_STEP_PA * TARGET_STEP_PA,
        ),
        TARGET_MIN_PA,
    )


def highest_target_pa(values: "Record", source: "Record", here: "Record") -> int:
    """Highest target that arming accepts here: below the stop reading by the core's spring and the rise after a stop. Pa gauge."""
    ceiling = arming.ceiling_here_pa(values, here["ambient_pa"], here["t0_ck"])
    stop = ceiling - max(here["guard_pa"], configuration.GUARD_BAND_PA)
    spring = source["crack_pa"] if values["chuck"] == codes.CHUCK_PRESSURE_OPEN else 0
    return stop - spring - arming.rise_pa(values, source, here["ambient_pa"], stop)


def seat_values(values: "Record", source: "Record", here: "Record") -> "Record":
    """Profile fields for seating: limit and ceiling at most the low limit, pause pressure as target, no pause."""
    row = dict(values)
    row["limit_pa"] = min(values["limit_pa"], SEAT_LIMIT_PA)
    row["ceiling_pa"] = min(values["ceiling_pa"], SEAT_LIMIT_PA)
    row["ref_temp_ck"] = here["t0_ck"]
    row["target_pa"] = max(
        min(
            values["seat_pause_pa"] or SEAT_PA,
            highest_target_pa(row, source, here) - SEAT_MARGIN_PA,
        ),
        TARGET_MIN_PA,
    )
    row["seat_pause_pa"] = 0
    return row


def measure_values(values: "Record", here: "Record") -> "Record":
    """Profile fields for measuring a tyre filled from another source: the lowest target, so that present air suffices."""
    row = dict(values)
    row["ref_temp_ck"] = here["t0_ck"]
    row["target_pa"] = TARGET_MIN_PA
    row["seat_pause_pa"] = 0
    return row


def limits(
    values: "Record", source: "Record", here: "Record", seating: bool, duty_s: int
) -> tuple[int, list[int], list[int]]:
    """Limits as `arming.limits`, for an ordinary fill or for seating, within the compressor's remaining duty."""
    row = seat_values(values, source, here) if seating else dict(values)
    if source["kind"] == configuration.COMPRESSOR:
        row["time_budget_s"] = min(row["time_budget_s"], duty_s)
    code, x, y = arming.limits(row, source, here)
    if seating and not code:
        y[_SEAT_TOLERANCE_AT] = SEAT_VOLUME_TOLERANCE
    return code, x, y
