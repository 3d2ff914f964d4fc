"""Layouts of the profile and the session log: rows of (field, code, unit, meaning), little-endian, without gaps.

A code is one of `struct` (B b H h I i, or Ns for N bytes); `*` as the last one means: the rest of the record.
A device takes what it needs through `layout` and does not keep this module.
"""

PROFILE = (
    ("magic", "3s", "", "`RWP`"),
    ("version", "B", "", "layout version, 2"),
    (
        "revision",
        "I",
        "",
        "1 to 2^30-1, higher with every change of this wheel's profile, for people",
    ),
    (
        "issue",
        "I",
        "",
        "1 to 2^30-1, higher with every profile or preset that is tagged with a key; an inflator takes no lower one of a wheel",
    ),
    ("wheel_id", "8s", "", "wheel id; not all zero"),
    (
        "label",
        "24s",
        "",
        "the wheel's name for people: at most 16 letters in 24 bytes of UTF-8, padded with zeros",
    ),
    ("rim_class", "B", "", "RIM_CLASSES; unknown counts as straight-side"),
    ("position", "B", "", "POSITIONS"),
    ("chuck", "B", "", "CHUCKS"),
    ("limit_source", "B", "", "LIMIT_SOURCES: source of the governing limit"),
    ("tyre_width_dmm", "H", "0.1 mm", "nominal tyre width"),
    ("bead_seat_mm", "H", "mm", "bead seat diameter"),
    ("rim_width_dmm", "H", "0.1 mm", "rim inner width; 0 not known"),
    ("flags", "H", "", "PROFILE_FLAGS; all other bits zero"),
    ("volume_low_ml", "H", "mL", "lowest air volume: air budgets use it"),
    ("volume_ml", "H", "mL", "nominal air volume: the wrong-wheel check uses it"),
    ("limit_pa", "I", "Pa gauge", "the governing limit"),
    (
        "ceiling_pa",
        "I",
        "Pa gauge",
        "highest true gauge pressure at the stated place of the fill; without instrument term",
    ),
    ("target_pa", "I", "Pa gauge", "the person's target at the reference temperature"),
    ("seat_pause_pa", "I", "Pa gauge", "pressure of the pause until the bead is confirmed"),
    ("ambient_min_pa", "I", "Pa absolute", "lowest ambient pressure of use"),
    ("temp_max_ck", "H", "0.01 K", "highest tyre temperature of use"),
    ("ref_temp_ck", "H", "0.01 K", "temperature to which the target refers"),
    ("time_budget_s", "H", "s", "longest time with the pump on in one fill"),
    ("made_days", "H", "d", "day it was made, counted from 2020-01-01"),
    ("crc", "I", "", "CRC-32 over all bytes before it"),
    ("tag", "16s", "", "first 16 bytes of HMAC-SHA-256 over all bytes before it; zeros: untagged"),
)

PRESET = (
    ("magic", "3s", "", "`RWR`"),
    ("version", "B", "", "layout version, 1"),
    ("issue", "I", "", "as in a profile"),
    ("preset_id", "8s", "", "preset id; not all zero"),
    ("rider", "24s", "", "the rider's name, as a profile's label"),
    ("flags", "H", "", "PRESET_FLAGS; all other bits zero"),
    ("temp_max_ck", "H", "0.01 K", "highest tyre temperature of the ride"),
    ("ambient_min_pa", "I", "Pa absolute", "lowest ambient pressure of the ride"),
    ("front_wheel", "8s", "", "wheel id; not all zero, not the rear's"),
    ("front_issue", "I", "", "issue number of the profile that the target was checked against"),
    (
        "front_target_pa",
        "I",
        "Pa gauge",
        "the rider's front target at the reference temperature of that profile",
    ),
    ("rear_wheel", "8s", "", "wheel id; not all zero, not the front's"),
    ("rear_issue", "I", "", "as front_issue"),
    ("rear_target_pa", "I", "Pa gauge", "as front_target_pa"),
    ("made_days", "H", "d", "day it was made, counted from 2020-01-01"),
    ("crc", "I", "", "CRC-32 over all bytes before it"),
    ("tag", "16s", "", "as in a profile"),
)

SESSION_HEADER = (
    ("magic", "3s", "", "`RWS`"),
    ("version", "B", "", "session version, 1"),
    ("header_bytes", "H", "byte", "length of this header"),
    ("tick_us", "H", "us", "tick period"),
    ("layout_hash", "8s", "", "hash of the layouts the writer used"),
    (
        "kernel_hash",
        "8s",
        "",
        "first 8 bytes of SHA-256 over the guard and the fill controller as `kernelhash` says; zeros: unknown",
    ),
    ("device_id", "8s", "", "id of the inflator"),
    ("session", "I", "", "session number on this inflator"),
    ("boot", "I", "", "number of its starts"),
    ("unix_s", "I", "s", "start, UTC; 0 if the clock was not set"),
    ("words_g", "B", "", "words of guard state"),
    ("words_x", "B", "", "words of guard input"),
    ("words_f", "B", "", "words of fill state"),
    ("words_y", "B", "", "words of fill input"),
    ("reserved", "8s", "", "zeros"),
    ("crc", "I", "", "CRC-32 over all bytes before it"),
)

BLOCK_HEADER = (
    ("kind", "B", "", "BLOCKS"),
    ("flags", "B", "", "bit 0: a 16-byte MAC follows the check code"),
    ("length", "H", "byte", "payload length"),
    (
        "sequence",
        "I",
        "",
        "consecutive; the first: session number modulo 16384, times 65536, or 0 where a host wrote the log",
    ),
)

SNAPSHOT = (
    ("tick", "I", "tick", "state just before this tick's step"),
    ("array", "B", "", "0 g, 1 x, 2 f, 3 y"),
    ("first", "B", "", "index of the first word here"),
    ("count", "B", "", "words here, at most 118"),
    ("total", "B", "", "words of the whole array"),
    ("words", "*", "i32", "the words"),
)

FAST = (
    ("tick", "I", "tick", "first tick of this block"),
    ("n", "B", "tick", "consecutive ticks, 1 to 64"),
    ("changes", "B", "", "change records at the end"),
    (
        "coding",
        "H",
        "",
        "four bits a column, A lowest, then B, LOAD, GAP: 0 constant, 1 i4, 2 i8, 3 i16 deltas, 4 i32 values",
    ),
    ("a", "i", "Q16", "A at the first tick"),
    ("b", "i", "Q16", "B at the first tick"),
    ("load", "i", "128 us", "LOAD at the first tick"),
    ("gap", "i", "128 us", "GAP at the first tick"),
    ("columns", "*", "", "A, B, LOAD, GAP for ticks 2 to n; then the change records"),
)

CHANGE = (
    ("offset", "B", "tick", "from the first tick of the block"),
    ("field", "B", "", "0-63 x, 64-127 y, 128 guard's bits, 129 fill's bits"),
    ("value", "i", "", "from this tick on"),
)

TRACE = (
    ("tick", "I", "tick", "tick of the first record"),
    ("step", "B", "tick", "ticks between records (10 at 50 Hz)"),
    ("n", "B", "", "records, 1 to 58"),
    ("ceiling_hpa", "h", "100 Pa", "ceiling in force, rounded down"),
    ("stop_hpa", "h", "100 Pa", "stop reading, rounded down"),
    ("target_hpa", "h", "100 Pa", "target in force"),
    ("records", "*", "", "TRACE_RECORD, n times"),
)

TRACE_RECORD = (
    ("a_hpa", "h", "100 Pa", "gauge reading of transducer A"),
    ("b_hpa", "h", "100 Pa", "gauge reading of transducer B"),
    ("tyre_hpa", "h", "100 Pa", "tyre pressure; -32768 unknown"),
    ("out", "B", "", "GUARD_OUTS"),
    ("state", "B", "", "FILL_STATES"),
)

EVENT = (
    ("tick", "I", "tick", "when"),
    ("event", "B", "", "EVENTS"),
    ("cause", "B", "", "CAUSES; 0 none"),
    ("state", "B", "", "FILL_STATES"),
    ("out", "B", "", "GUARD_OUTS after it"),
    ("value", "i", "", "as EVENTS says"),
    ("value2", "i", "", "as EVENTS says"),
)

META = (("key", "B", "", "META_KEYS"), ("data", "*", "", "as META_KEYS says"))

END = (
    ("tick", "I", "tick", "last tick"),
    ("cause", "B", "", "cause of the stop"),
    ("state", "B", "", "FILL_STATES"),
    ("flags", "H", "", "bit 0: memory was short, full-rate spans are missing"),
    ("peak_pa", "i", "Pa gauge", "highest reading"),
    ("tyre_pa", "i", "Pa gauge", "tyre pressure at the end; -1 unknown"),
    ("pump_ticks", "I", "tick", "ticks with the air on"),
)

META_KEYS = (
    (1, "profile", "the profile in force, as stored"),
    (2, "calibration-a", "as the setting"),
    (3, "calibration-b", "as the setting"),
    (4, "guard-band", "as the setting"),
    (5, "board", "UTF-8"),
    (6, "firmware", "UTF-8"),
    (7, "interpreter", "UTF-8"),
    (
        8,
        "conditions",
        "ambient Pa, air 0.01 K, T0 0.01 K, ceiling in force Pa, stop reading Pa: five i32",
    ),
    (9, "person", "UTF-8, name of the person who filled, if the host sent it"),
    (
        10,
        "unregistered",
        "entries confirmed for an unregistered wheel: the tyre's printed maximum Pa u32, its approval u8 (1 yes)",
    ),
    (
        11,
        "preset",
        "preset_id 8 bytes, number of the preset's run u32, 1 front or 2 rear u8, then the preset as stored",
    ),
    (
        12,
        "specimen",
        "UTF-8, columns of a proof test's row that the profile does not hold, one `name=value` a line; added by the host that ran the test",
    ),
)

# number, word, layout of the payload
BLOCKS = (
    (1, "SNAPSHOT", SNAPSHOT),
    (2, "FAST", FAST),
    (3, "TRACE", TRACE),
    (4, "EVENT", EVENT),
    (5, "META", META),
    (6, "END", END),
)
