"""Unregistered wheel: ceiling from the maximum printed on the tyre, target from the person; nothing is built in.

An unknown rim counts as straight-side, so only tyres that fit every rim are filled (`CONFIRMED`), to at most 4.20 bar.
"""

from rimward_protocol import codes, layout
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record


STEP_UP_PA, STEP_DOWN_PA = 50_000, 10_000  # UP adds half a bar, DOWN takes a tenth
PRINTED_MIN_PA, PRINTED_MAX_PA = 100_000, 1_000_000

# Facts of rim and tyre that the person confirms: the only values accepted for a rim of unknown type.
CONFIRMED = {"approved": "yes", "bead": "rigid", "air": "tube"}

BUILT_IN = {
    "revision": 1,
    "issue": 1,
    "wheel_id": b"builtin0",
    "label": b"unregistered",
    "rim_class": codes.RIM_UNKNOWN,
    "position": codes.POSITION_ANY,
    "chuck": codes.CHUCK_PIN_OPEN,
    "limit_source": codes.LIMIT_BUILT_IN,
    "tyre_width_dmm": 280,
    "bead_seat_mm": 622,
    "rim_width_dmm": 0,
    "flags": 0,
    "volume_low_ml": 800,
    "volume_ml": 1250,
    "limit_pa": codes.STRAIGHT_SIDE_LIMIT_PA,
    "ceiling_pa": codes.UNREGISTERED_CEILING_PA,  # 5 bar on a warm day at altitude: the limit that a fill at 18 °C, 200 m keeps to 45 °C, 2,400 m
    "target_pa": 0,
    "seat_pause_pa": 200_000,
    "ambient_min_pa": 75_000,
    "temp_max_ck": 31_815,
    "ref_temp_ck": 29_315,
    "time_budget_s": 180,
    "made_days": 0,
}


def values_of(printed_pa: int, target_pa: int = 0, ref_temp_ck: int = 29_315) -> "Record":
    """Return the fields of its profile. `printed_pa`: maximum printed on the tyre; `target_pa`: target at `ref_temp_ck`."""
    row: Record = dict(BUILT_IN)
    row["limit_pa"] = min(printed_pa, codes.STRAIGHT_SIDE_LIMIT_PA)
    row["ceiling_pa"] = min(printed_pa // 1000 * 1000, codes.UNREGISTERED_CEILING_PA)
    row["target_pa"] = target_pa
    row["seat_pause_pa"] = min(row["seat_pause_pa"], row["ceiling_pa"])
    row["ref_temp_ck"] = min(max(ref_temp_ck, 23_315), 33_315)
    return row


def profile(printed_pa: int, target_pa: int, ref_temp_ck: int = 29_315) -> bytes:
    """Return the profile's bytes."""
    return layout.seal_profile(values_of(printed_pa, target_pa, ref_temp_ck))


def entered(value_pa: int, is_up: int, lowest_pa: int, highest_pa: int) -> int:
    """Return a pressure after one button press; 0: nothing is entered yet."""
    wanted = value_pa + STEP_UP_PA if is_up else value_pa - STEP_DOWN_PA
    return min(max(wanted, lowest_pa), highest_pa // STEP_DOWN_PA * STEP_DOWN_PA)
