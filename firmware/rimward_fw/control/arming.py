"""Arming: computes the slow words of both kernels from profile, inflator and present air. Pure integer functions.

Run once when a wheel is selected, never in the interrupt. Nothing here can loosen what the guard has compiled in.
"""

from rimward_protocol import codes, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING
from rimward_protocol.profile import CEILING_MIN_PA

from rimward_fw.control import configuration

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

TICKS_S = 500
AIR_TOLERANCE_PERCENT = (
    260  # tolerances: delivery 15 % above nominal, volume 25 % above the low one
)
NORISE_MARGIN = 2
NORISE_PA = 3_000
LINE_STILL_PA = 250_000
NORISE_MIN = 3_500  # longer than the fill controller's longest burst: behind a slow core the manifold does not move while the tyre fills; only a rest shows it
TEST_PA = 6_000  # twice the self-test's threshold
RISE_MIN_PA = 500
VOLUME_TOLERANCE_PERCENT = 25
WATCH_TICKS = 5_000


def zero_low(reading_pa: int, guard_pa: int, class_pa: int, calibrated: int) -> bool:
    """Return True if the higher reading lies so far below ambient pressure that both zeros must have moved: no manifold can be there.

    Threshold: half of the guard band once calibrated, else the class limit. A zero that moved up looks like a nearly empty tyre, and stops
    a fill too early.
    """
    return reading_pa < -(max(guard_pa, class_pa) // 2 if calibrated else class_pa)


def root(n: int) -> int:
    """Integer square root of n >= 0, rounded down."""
    guess = n
    better = (n + 1) // 2
    while better < guess:
        guess = better
        better = (guess + n // guess) // 2
    return guess


def cold_limit_pa(profile: "Record", ambient_pa: int, t0_ck: int) -> int:
    """Highest cold gauge pressure here, Pa, at which the limit still holds on the whole ride; may be negative."""
    limit = profile["limit_pa"]
    flags = profile["flags"]
    if flags & codes.FLAG_RIDE_STATED == 0 or flags & codes.FLAG_LIMIT_AT_FILL:
        return limit
    lowest = min(profile["ambient_min_pa"], ambient_pa)
    hottest = max(profile["temp_max_ck"], t0_ck)
    return (limit + lowest) * t0_ck // hottest - ambient_pa


def ceiling_here_pa(profile: "Record", ambient_pa: int, t0_ck: int) -> int:
    """Return the smaller of F and the profile's ceiling, Pa gauge, rounded down to 1 kPa."""
    return min(cold_limit_pa(profile, ambient_pa, t0_ck), profile["ceiling_pa"]) // 1000 * 1000


def target_here_pa(profile: "Record", ambient_pa: int, t0_ck: int) -> int:
    """Target gauge pressure at the present ambient pressure and temperature, Pa, rounded down; the target is defined at the reference
    temperature.
    """
    return (profile["target_pa"] + ambient_pa) * t0_ck // profile["ref_temp_ck"] - ambient_pa


def loss_1024(rig: "Record", ambient_pa: int, pa: int) -> int:
    """Share of the delivery lost at `pa` gauge, in 1/1024, from the table of the hardware configuration."""
    unit = (rig["supply_pa"] + ambient_pa) // 10 if rig["delivery_per_bar"] else ambient_pa
    at = (pa + ambient_pa) * 64 // unit - 64
    i = min(max(at // 64, 0), 10)
    low, high = rig["loss"][i], rig["loss"][i + 1]
    return low + (high - low) * min(max(at - 64 * i, 0), 64) // 64


def free_air(rig: "Record", ambient_pa: int) -> int:
    """Free air in 1/1024 mL a tick at no back pressure."""
    if rig["delivery_per_bar"]:
        return rig["delivery_per_bar"] * 16 * (rig["supply_pa"] + ambient_pa) // 100 // ambient_pa
    return rig["delivery"] * 16


def straight_loss(rig: "Record", ambient_pa: int, pa: int) -> int:
    """D1 of the guard: straight loss line that is exact at `pa`; below it counts too much air."""
    return (
        (free_air(rig, ambient_pa) >> 4)
        * loss_1024(rig, ambient_pa, pa)
        * 256
        // 1024
        // max(pa >> 8, 1)
    )


def curved_loss(rig: "Record", ambient_pa: int, pa: int) -> tuple[int, int]:
    """Return (D1, D2) of the fill controller: a loss parabola that is exact at half of `pa` and at `pa`."""
    free = free_air(rig, ambient_pa)
    at = max(pa >> 8, 1)
    half = free * loss_1024(rig, ambient_pa, pa // 2)
    whole = free * loss_1024(rig, ambient_pa, pa)
    return (4 * half - whole) // (4 * at), (4 * half - 2 * whole) * 1024 // (at * at)


def rate_at(d0: int, d1: int, pa: int) -> int:
    """Free air a tick at `pa` gauge as the guard counts it, at least an eighth of the full rate."""
    return max(d0 - ((pa >> 8) * d1 >> 8), d0 >> 3, 1)


def gain_ticks(wanted_pa: int, volume_ml: int, ambient_pa: int, rate: int) -> int:
    """Ticks in which `rate` lifts the pressure of `volume_ml` by `wanted_pa`, rounded up."""
    return wanted_pa * 64 * volume_ml // (ambient_pa * rate) + 1


def heat_words(volume_ml: int, t0_ck: int) -> tuple[int, int]:
    """Return (COOL, CASING) of the fill controller: Pa of loss for Pa of excess in 8 ticks times pressure; casing warming in 2^-32 for
    each Pa lost.
    """
    skin = root(
        volume_ml * 10 * 1_000_000 // configuration.HEAT_ML_X10
    )  # thousandths of the reference skin
    ua_uw = configuration.GAS_MW_K * skin  # 1e-6 W/K
    cool = 4 * ua_uw * t0_ck * 16 // (volume_ml * 1_000_000)
    casing = (volume_ml << 30) // (t0_ck * configuration.CASING_J_K * skin // 100) // 100
    return cool, casing


def drop_word(rig: "Record", ambient_pa: int) -> int:
    """Strength of the flow drop: proportional to the square of the mass flow, so to the square of the ambient pressure."""
    share = ambient_pa * 1024 // 101_325
    return rig["drop"] * share // 1024 * share // 1024


def limits(profile: "Record", rig: "Record", here: "Record") -> tuple[int, list[int], list[int]]:
    """Return (reply code, x[6:24], y[6:31]), the slow words of guard and fill controller; all words are zero unless the code is OK.

    `profile`: fields of PROFILE; `rig`: a row of configuration.HARDWARE; `here`: ambient_pa, t0_ck, guard_pa (0: class bound), conn, job, and where set
    calibration: gain_a, off_a, gain_b, off_b.
    """
    ambient, t0 = here["ambient_pa"], here["t0_ck"]
    ceiling = ceiling_here_pa(profile, ambient, t0)
    target = target_here_pa(profile, ambient, t0)
    band = max(here["guard_pa"], configuration.GUARD_BAND_PA)
    code = replies.OK
    if ceiling < CEILING_MIN_PA:
        code = replies.PROFILE_CEILING_LOW
    else:
        rise = rise_pa(profile, rig, ambient, ceiling - band)
        spring = rig["crack_pa"] if profile["chuck"] == codes.CHUCK_PRESSURE_OPEN else 0
        if target + spring + rise > ceiling - band:
            code = replies.TARGET_ABOVE_STOP
    if code != replies.OK:
        return code, [0] * 18, [0] * 25
    x = guard_words(profile, rig, here, ceiling, band, rise)
    return code, x, fill_words(profile, rig, here, target, ceiling - band, rise)


def rise_pa(profile: "Record", rig: "Record", ambient_pa: int, stop_pa: int) -> int:
    """Pressure that the lowest volume can still gain after a stop near the stop reading, hot, source at its strongest. Pa.

    A line is choked up to near its supply: no loss is counted for it.
    """
    rate = free_air(rig, ambient_pa) >> 4
    if not rig["delivery_per_bar"]:
        rate = rate_at(rate, straight_loss(rig, ambient_pa, stop_pa), stop_pa)
    after = rate * rig["overrun"] * (100 + rig["delivery_percent"]) // 100
    return max(after * ambient_pa // (64 * profile["volume_low_ml"]) * 3 // 2, RISE_MIN_PA)


def guard_words(
    profile: "Record", rig: "Record", here: "Record", ceiling: int, band: int, rise: int
) -> list[int]:
    """Return x[6:24], check word included."""
    d0, d1 = free_air(rig, here["ambient_pa"]) >> 4, straight_loss(rig, here["ambient_pa"], ceiling)
    ambient = here["ambient_pa"]
    low, nominal = profile["volume_low_ml"], profile["volume_ml"]
    air = (
        (low + rig["manifold_ml"])
        * 64
        * (ceiling // 256)
        // (ambient // 256)
        * rig.get("air_percent", AIR_TOLERANCE_PERCENT)
        // 100
    )
    slow = rate_at(d0, d1, ceiling)
    norise = gain_ticks(NORISE_PA * NORISE_MARGIN, nominal * 5 // 4, ambient, slow)
    if rig[
        "delivery_per_bar"
    ]:  # choked on both sides, the manifold pressure is constant until the tyre comes near it
        norise = max(norise, gain_ticks(LINE_STILL_PA, nominal * 5 // 4, ambient, d0))
    test = gain_ticks(TEST_PA, nominal, ambient, slow)
    straight = profile["rim_class"] < codes.RIM_HB or profile["rim_class"] > codes.RIM_TC
    x = [
        ambient,
        ceiling,
        band,
        rise,
        air,
        profile["time_budget_s"] * TICKS_S,
        min(max(norise, NORISE_MIN), 32767),
        min(max(test, 50), 4095),
    ]
    flags = slots.A_SEALED
    if straight:
        flags |= slots.STRAIGHT_SIDE
    if rig["kind"] == configuration.LINE and profile["chuck"] == codes.CHUCK_PRESSURE_OPEN:
        flags |= slots.LINE
    x += [here["conn"], 0, flags]
    x += [
        here.get("gain_a", configuration.GAIN),
        here.get("off_a", configuration.OFF_SEALED),
        here.get("gain_b", configuration.GAIN),
        here.get("off_b", configuration.OFF_VENTED),
    ]
    x += [d0, d1, rig["horizon"]]
    x[slots.X_CHK - slots.FAST_INPUTS] = slots.CHECK - sum(x[1:])
    return x


def fill_words(
    profile: "Record", rig: "Record", here: "Record", target: int, stop: int, rise: int
) -> list[int]:
    """Return y[6:31]."""
    d0 = free_air(rig, here["ambient_pa"])
    d1, d2 = curved_loss(rig, here["ambient_pa"], min(target + 20_000, stop))
    nominal = profile["volume_ml"]
    cool, casing = heat_words(nominal, here["t0_ck"])
    y = [
        here["job"],
        target,
        profile["seat_pause_pa"],
        nominal,
        VOLUME_TOLERANCE_PERCENT + rig["delivery_percent"],
        profile["chuck"] - codes.CHUCK_PIN_OPEN,
    ]
    y += [
        here["ambient_pa"],
        d0,
        d1,
        rig["kind"],
        stop,
        rig["coast"],
        here["conn"],
        here["t0_ck"],
        here.get("watch_ticks", WATCH_TICKS),
    ]
    return y + [
        rig["crack_pa"],
        cool,
        casing,
        rig["spin"],
        d2,
        drop_word(rig, here["ambient_pa"]),
        rise,
        rig["manifold_ml"],
        rig["path"] * 1_000 // (here["ambient_pa"] // 100),
        0,  # the wheel's spring: `start.loaded` knows it
    ]
