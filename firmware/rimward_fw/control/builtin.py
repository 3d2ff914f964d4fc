"""The profile of a wheel nobody registered: an unknown rim counts as straight-side, so the class limit holds."""

from rimward_protocol import codes, layout

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
    "limit_pa": 500000,
    "ceiling_pa": 420000,  # 5 bar held on a warm day and a high road: what a fill at 18 degrees C, 200 m keeps to 45 degrees C, 2,400 m
    "target_pa": 300000,
    "seat_pause_pa": 200000,
    "ambient_min_pa": 75000,
    "temp_max_ck": 31815,
    "ref_temp_ck": 29315,
    "time_budget_s": 180,
    "made_days": 0,
}


def profile():
    """Its bytes."""
    return layout.seal_profile(BUILT_IN)
