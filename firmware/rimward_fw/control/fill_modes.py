"""Daily use at the inflator: another target before the fill, and seating tubeless beads at a low limit of its own. Main loop only."""

from rimward_protocol import codes

from rimward_fw.control import arming, configuration

TARGET_STEP_PA = 5_000
TARGET_MIN_PA = 20_000
SEAT_LIMIT_PA = codes.SEAT_PAUSE_MAX_PA  # 275 kPa: California Title 8, section 3325, has beads seated at no more than 40 psi
SEAT_PA = 200_000
SEAT_MARGIN_PA = 2_000
SEAT_VOLUME_TOLERANCE = 255  # percent: a bead that is not seated yet lets the volume be anything
_SEAT_TOLERANCE_AT = 4  # of the words `arming.limits` gives for the fill


def target_after(target_pa, step_pa, highest_pa):
    """The target one step up or down: whole steps, never above the highest, never under what a reading can be trusted at."""
    return max(min((target_pa // TARGET_STEP_PA) * TARGET_STEP_PA + step_pa, highest_pa // TARGET_STEP_PA * TARGET_STEP_PA), TARGET_MIN_PA)


def highest_target_pa(values, source, here):
    """The highest target that arming takes here and now: under the stop reading by the core's spring and the rise after a stop. Pa gauge."""
    ceiling = arming.ceiling_here_pa(values, here["ambient_pa"], here["t0_ck"])
    stop = ceiling - max(here["guard_pa"], configuration.GUARD_BAND_PA)
    spring = source["crack_pa"] if values["chuck"] == codes.CHUCK_PRESSURE_OPEN else 0
    return stop - spring - arming.rise_pa(values, source, here["ambient_pa"], stop)


def seat_values(values, source, here):
    """The profile's fields for seating: limit and ceiling no higher than the low limit, the pause's pressure as target, no pause."""
    row = dict(values)
    row["limit_pa"] = min(values["limit_pa"], SEAT_LIMIT_PA)
    row["ceiling_pa"] = min(values["ceiling_pa"], SEAT_LIMIT_PA)
    row["ref_temp_ck"] = here["t0_ck"]
    row["target_pa"] = max(min(values["seat_pause_pa"] or SEAT_PA, highest_target_pa(row, source, here) - SEAT_MARGIN_PA), TARGET_MIN_PA)
    row["seat_pause_pa"] = 0
    return row


def measure_values(values, here):
    """The profile's fields for reading a tyre whose air came from elsewhere: the lowest target, so that what is there already is enough."""
    row = dict(values)
    row["ref_temp_ck"] = here["t0_ck"]
    row["target_pa"] = TARGET_MIN_PA
    row["seat_pause_pa"] = 0
    return row


def limits(values, source, here, seating, duty_s):
    """As `arming.limits`, for an ordinary fill or for seating, within what the compressor may still run."""
    row = seat_values(values, source, here) if seating else dict(values)
    if source["kind"] == configuration.COMPRESSOR:
        row["time_budget_s"] = min(row["time_budget_s"], duty_s)
    code, x, y = arming.limits(row, source, here)
    if seating and not code:
        y[_SEAT_TOLERANCE_AT] = SEAT_VOLUME_TOLERANCE
    return code, x, y
