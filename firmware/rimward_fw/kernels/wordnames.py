"""Names of the kernels' words, in order. Tools, tests and logs read these; a device has only the places that `words` names."""

from rimward_fw.kernels import words

GUARD_STATE = (
    "cause", "cause_n", "stop", "why", "ceil", "ceil_n", "band", "conn_g", "fa", "fb", "sl", "last_a", "fref_a", "last_b", "fref_b",
    "nr_ref", "off_ref", "test_ref", "time", "air", "range_a", "range_b", "disagree", "frz_a", "frz_b", "on_ticks", "nr_cnt", "off_cnt",
    "test", "over", "key_cnt", "cut_cnt", "sup_cnt", "baro_cnt", "rest", "warm", "on", "ran", "armed", "read",
)  # fmt: skip
GUARD_INPUT = (
    "a", "b", "sw", "load", "gap", "supply", "ambient", "ceil_pa", "band_pa", "rise_pa", "air_max", "time_max", "norise", "test_len",
    "conn", "chk", "flags", "gain_a", "off_a", "gain_b", "off_b", "d0", "d1", "horizon",
)  # fmt: skip
FILL_STATE = (
    "state", "reason", "tyre_pa", "conn_f", "job_f", "cnt", "pt", "pt_old", "eg", "thc", "cold", "slow", "flow", "speed", "air", "air_0",
    "air_ref", "cold_ref", "gain", "goal", "stage", "drop_k", "drop", "snap", "snap_flow", "snap_air", "on", "off", "seen", "knee",
    "seated", "tops", "learnt", "beat", "chop", "probed", "volume", "run_f", "bleed_n", "watch_ref", "base", "peak", "ref_ok", "calm", "pulse", "eg_ref",
    "pt_ref", "eg_start", "eg_old", "pt_start", "supplied", "supplied_ref", "supplied_0", "gain_s", "skin", "sens", "look", "lost", "lift",
)  # fmt: skip
FILL_INPUT = (
    "read", "mean", "out", "sw", "why", "cause", "job", "target_pa", "seat_pa", "vol_ml", "vol_tol_pct", "chuck", "ambient_pa", "d0",
    "d1", "kind", "stop_pa", "coast_ticks", "conn", "t0_ck", "watch_ticks", "crack_pa", "cool", "casing", "spin", "d2", "drop_0", "rise_pa", "manifold_ml",
    "path",
)  # fmt: skip


def check_word(x):
    """The word that makes a set of slow inputs whole: all of them and it add up to CHECK."""
    total = 0
    for i in range(7, 24):
        if i != 15:
            total += x[i]
    return words.CHECK - total
