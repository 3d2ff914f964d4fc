"""Layouts as a device keeps them, names and codes. Written by `python -m tests.interpreter.make_spec` from the tables."""

PROFILE = (
    "magic 3s version B revision I issue I wheel_id 8s label 24s rim_class B position B chuck B limit_source B tyre_width_dmm"
    " H bead_seat_mm H rim_width_dmm H flags H volume_low_ml H volume_ml H limit_pa I ceiling_pa I target_pa I seat_pause_pa "
    "I ambient_min_pa I temp_max_ck H ref_temp_ck H time_budget_s H made_days H crc I tag 16s "
)

PRESET = (
    "magic 3s version B issue I preset_id 8s rider 24s flags H temp_max_ck H ambient_min_pa I front_wheel 8s front_issue I "
    "front_target_pa I rear_wheel 8s rear_issue I rear_target_pa I made_days H crc I tag 16s "
)

SESSION_HEADER = (
    "magic 3s version B header_bytes H tick_us H layout_hash 8s kernel_hash 8s device_id 8s session I boot I unix_s I words_g"
    " B words_x B words_f B words_y B reserved 8s crc I "
)

TRACE = (
    "tick I step B n B ceiling_hpa h stop_hpa h target_hpa h records * "
)

TRACE_RECORD = (
    "a_hpa h b_hpa h tyre_hpa h out B state B "
)

EVENT = (
    "tick I event B cause B state B out B value i value2 i "
)

END = (
    "tick I cause B state B flags H peak_pa i tyre_pa i pump_ticks I "
)
