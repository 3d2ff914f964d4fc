"""Payload layouts of the link messages: rows of (field, code, unit, meaning), as in `tables`.

No message can start the pump, raise a ceiling or confirm a bead: only the person at the inflator can.
A device takes what it needs through `messages` and does not keep this module.
"""

from . import codes

HELLO = (
    ("protocol", "B", "", "protocol version the host speaks"),
    ("layout_hash", "8s", "", "hash of the host's layouts"),
    ("what", "B", "", "0 read only, 1 hold this inflator"),
    ("host_id", "I", "", "random; distinguishes two hosts"),
)
HELLO_IS = (
    ("protocol", "B", "", "protocol version the inflator speaks"),
    ("profile", "B", "", "profile version"),
    ("session", "B", "", "session version"),
    (
        "flags",
        "B",
        "",
        "bit 0 key enrolled, bit 1 bench, bit 2 simulated, bit 3 held by this host, bit 4 clock set, bit 5 latched",
    ),
    ("layout_hash", "8s", "", "hash of the inflator's layouts"),
    ("device_id", "8s", "", "id of this inflator"),
    ("board", "16s", "", "UTF-8, zero padded"),
    ("firmware", "16s", "", "firmware version, UTF-8, zero padded"),
    ("interpreter", "32s", "", "UTF-8, zero padded"),
    ("boot", "I", "", "number of starts"),
    ("max_payload", "H", "byte", "longest accepted payload"),
)
NOTHING = ()
STATUS_IS = (
    ("tick", "I", "tick", "since start"),
    ("state", "B", "", "FILL_STATES"),
    ("out", "B", "", "GUARD_OUTS; bit 7: the chosen wheel's chuck is pressure-open"),
    ("cause", "B", "", "latched cause; 0 none"),
    ("stop_cause", "B", "", "cause of the last stop"),
    ("range", "B", "", "RANGES: state of the range key"),
    ("waiting", "B", "", "WAITINGS"),
    ("connection", "H", "", "count of connections"),
    ("reading_pa", "i", "Pa gauge", "at the hose"),
    ("tyre_pa", "i", "Pa gauge", "in the tyre; -1 unknown in this connection"),
    ("ceiling_pa", "i", "Pa gauge", "ceiling in force; 0 none"),
    (
        "stop_pa",
        "i",
        "Pa gauge",
        "stop reading: ceiling in force less this inflator's guard band; 0 none",
    ),
    ("target_pa", "i", "Pa gauge", "target in force; 0 none"),
    ("guard_pa", "i", "Pa", "this inflator's guard band"),
    ("ambient_pa", "i", "Pa absolute", "barometer"),
    ("air_ck", "H", "0.01 K", "air temperature"),
    ("supply_mv", "H", "mV", "battery or supply"),
    ("tick_max_us", "H", "us", "longest tick since start"),
    ("heap_free", "I", "byte", "free heap"),
    ("wheel_id", "8s", "", "wheel chosen; zeros none"),
)
PROFILE_BYTES = (("profile", "*", "", "a whole profile"),)
PROFILE_STORED = (
    ("code", "B", "", "REPLIES: done or waiting-for-person"),
    ("slot", "B", "", "copy that is now current, 0 or 1"),
    ("sha256", "32s", "", "digest of the bytes read back from the store"),
)
INDEX = (("index", "H", "", "counted from 0"),)
WHEEL = (("wheel_id", "8s", "", "wheel id; zeros: the unregistered wheel as last entered"),)
PROFILE_IS = (
    ("index", "H", "", "as in the request; 65535 for a request by wheel"),
    ("count", "H", "", "profiles stored"),
    ("slot", "B", "", "which of the two copies"),
    ("flags", "B", "", "bit 0 tag fits the key, bit 1 confirmed by a person, bit 2 chosen"),
    ("profile", "*", "", "a whole profile, or nothing past the end"),
)
WATCH = (
    ("what", "B", "", "bit 0 LIVE, bit 1 TICKS"),
    ("rate_hz", "B", "Hz", "samples a second in LIVE: 1 to 50"),
)
SESSION_IS = (
    ("index", "H", "", "as in the request"),
    ("count", "H", "", "sessions stored"),
    ("session", "I", "", "session number; 0 past the end"),
    ("bytes", "I", "byte", "length"),
    ("unix_s", "I", "s", "start, UTC; 0 not known"),
    ("cause", "B", "", "CAUSES"),
    ("flags", "B", "", "bit 0 ended properly"),
    ("wheel_id", "8s", "", "wheel id"),
)
SESSION_READ = (
    ("session", "I", "", "session number"),
    ("offset", "I", "byte", "offset of the first byte"),
    (
        "bytes",
        "I",
        "byte",
        "number of bytes, sent as SESSION_DATA one after the other under the request's sequence number",
    ),
)
SESSION_DATA = (
    ("session", "I", "", "session number"),
    ("offset", "I", "byte", "offset of these bytes"),
    ("data", "*", "", "the bytes"),
)
SETTING = (("number", "H", "", "SETTINGS"),)
SETTING_PUT = (("number", "H", "", "SETTINGS"), ("value", "*", "", "as SETTINGS says"))
SETTING_IS = (
    ("number", "H", "", "SETTINGS"),
    ("revision", "I", "", "higher with every change; 0 unset"),
    ("value", "*", "", "as SETTINGS says, read back from the store; empty if unset"),
)
FAULT_IS = (
    ("index", "H", "", "0 the latest"),
    ("count", "H", "", "faults kept"),
    ("cause", "B", "", "CAUSES; 0 past the end"),
    ("state", "B", "", "FILL_STATES when it tripped"),
    ("boot", "I", "", "number of the start"),
    ("tick", "I", "tick", "since that start"),
    ("session", "I", "", "session number; 0 none"),
    ("unix_s", "I", "s", "UTC; 0 not known"),
    ("value", "i", "", "as event `tripped`, value2"),
)
TIME = (
    ("unix_s", "I", "s", "UTC; 0 reads the clock only"),
    ("zone_min", "h", "min", "local time less UTC"),
)
KEY_ENROL = (
    (
        "key",
        "32s",
        "",
        "workshop key; enrolled once the person has confirmed it with the workshop button",
    ),
)
KEY_IS = (
    ("code", "B", "", "REPLIES: done or waiting-for-person"),
    ("check", "8s", "", "first 8 bytes of SHA-256 over the key in force; zeros none"),
    ("wrong_tags", "I", "", "wrong tags since the key was enrolled"),
)
WAITING_IS = (
    ("waiting", "B", "", "WAITINGS"),
    ("wheel_id", "8s", "", "wheel id of the question; zeros none"),
    (
        "value",
        "i",
        "",
        "bead: reading, Pa; stood: T0, 0.01 K; clear: CAUSES; setting: SETTINGS; printed maximum and target: Pa; else 0",
    ),
)
BENCH_BEAT = (
    ("beat", "I", "", "higher with each heartbeat"),
    ("lease_ms", "H", "ms", "the air stops if the next heartbeat takes longer; at most 500"),
    ("from_tick", "I", "tick", "first and last live sample of the newest stretch without a gap"),
    ("to_tick", "I", "tick", "that the host has on its disk; both 0: none"),
)
CUTOFF_IS = (
    (
        "flags",
        "B",
        "",
        "bit 0 the figures are fresh, bit 1 its contact is closed, bit 2 the test button lowers its threshold, bit 3 the run control is held",
    ),
    ("c_pa", "i", "Pa gauge", "transducer C"),
    ("a_pa", "i", "Pa gauge", "transducer A"),
    ("b_pa", "i", "Pa gauge", "transducer B"),
    ("supply_mv", "H", "mV", "supply of the independent cutoff"),
    ("threshold_milli", "H", "1/1000", "its threshold, share of that supply"),
    ("coil_mv", "H", "mV", "voltage that it supplies to the relay's coil"),
    (
        "cause",
        "B",
        "",
        "CAUSES: cause for which these figures or the last daily test refuse a fill; 0 none",
    ),
    ("opened_pa", "i", "Pa gauge", "last daily test: reading at which it opened; -1 none"),
    ("fall_ms", "H", "ms", "last daily test: fall of the reading through the vent; 0 none"),
    ("baseline_ms", "H", "ms", "the same at the bring-up; 0 none"),
)
SCREEN = (("part", "B", "", "0 to 3: a quarter of the picture; 4: its texts"),)
SCREEN_IS = (
    ("part", "B", "", "as in the request"),
    (
        "drawn",
        "H",
        "",
        "counts the pictures drawn, so that parts of two are never joined; 0: none yet, or this interpreter draws none",
    ),
    ("name", "16s", "", "the screen's name, zero padded"),
    (
        "data",
        "*",
        "",
        "256 bytes: two rows of 128 columns of eight points, the upper in the lowest bit; or UTF-8 lines",
    ),
)
PRESET_BYTES = (("preset", "*", "", "a whole preset"),)
PRESET_STORED = (
    ("code", "B", "", "REPLIES: done"),
    ("sha256", "32s", "", "digest of the bytes read back from the store"),
)
PRESET_IS = (
    ("index", "H", "", "as in the request"),
    ("count", "H", "", "presets stored"),
    ("flags", "B", "", "bit 0 tag fits the key"),
    ("preset", "*", "", "a whole preset, or nothing past the end"),
)
PRESET = (("preset_id", "8s", "", "preset id"),)
PERSON = (
    (
        "name",
        "24s",
        "",
        "who fills, UTF-8, zero padded; all zero: unknown. Kept until the host leaves and written into every record",
    ),
)
DONE = (
    ("asked", "B", "", "the request this answers"),
    ("code", "B", "", "REPLIES: done or waiting-for-person"),
)
ERROR = (
    ("asked", "B", "", "the request this answers; 0 for a frame without a valid request"),
    ("code", "B", "", "REPLIES"),
    ("detail", "i", "", "the refused value, or this side's version"),
)
SESSION_BLOCK = (("block", "*", "", "one session block, header to check code"),)

# number, word, payload, numbers of the replies (ERROR may always come instead)
PAYLOADS = (
    (codes.HELLO, "HELLO", HELLO, (codes.HELLO_IS,)),
    (codes.STATUS, "STATUS", NOTHING, (codes.STATUS_IS,)),
    (codes.PROFILE_PUT, "PROFILE_PUT", PROFILE_BYTES, (codes.PROFILE_STORED,)),
    (codes.PROFILE_LIST, "PROFILE_LIST", INDEX, (codes.PROFILE_IS,)),
    (codes.PROFILE_GET, "PROFILE_GET", WHEEL, (codes.PROFILE_IS,)),
    (codes.PROFILE_DELETE, "PROFILE_DELETE", WHEEL, (codes.DONE,)),
    (codes.SELECT, "SELECT", WHEEL, (codes.DONE,)),
    (codes.WATCH, "WATCH", WATCH, (codes.DONE,)),
    (codes.SESSION_LIST, "SESSION_LIST", INDEX, (codes.SESSION_IS,)),
    (codes.SESSION_READ, "SESSION_READ", SESSION_READ, (codes.SESSION_DATA,)),
    (codes.SETTING_GET, "SETTING_GET", SETTING, (codes.SETTING_IS,)),
    (codes.SETTING_PUT, "SETTING_PUT", SETTING_PUT, (codes.SETTING_IS, codes.DONE)),
    (codes.FAULTS, "FAULTS", INDEX, (codes.FAULT_IS,)),
    (codes.TIME, "TIME", TIME, (codes.TIME_IS,)),
    (codes.KEY_ENROL, "KEY_ENROL", KEY_ENROL, (codes.KEY_IS,)),
    (codes.WAITING, "WAITING", NOTHING, (codes.WAITING_IS,)),
    (codes.BYE, "BYE", NOTHING, (codes.DONE,)),
    (codes.BENCH_BEAT, "BENCH_BEAT", BENCH_BEAT, (codes.DONE,)),
    (codes.PRESET_PUT, "PRESET_PUT", PRESET_BYTES, (codes.PRESET_STORED,)),
    (codes.PRESET_LIST, "PRESET_LIST", INDEX, (codes.PRESET_IS,)),
    (codes.PRESET_DELETE, "PRESET_DELETE", PRESET, (codes.DONE,)),
    (codes.KEY_ASK, "KEY_ASK", NOTHING, (codes.KEY_IS,)),
    (codes.PERSON, "PERSON", PERSON, (codes.DONE,)),
    (codes.CUTOFF, "CUTOFF", NOTHING, (codes.CUTOFF_IS,)),
    (codes.SCREEN, "SCREEN", SCREEN, (codes.SCREEN_IS,)),
    (codes.HELLO_IS, "HELLO_IS", HELLO_IS, ()),
    (codes.STATUS_IS, "STATUS_IS", STATUS_IS, ()),
    (codes.PROFILE_STORED, "PROFILE_STORED", PROFILE_STORED, ()),
    (codes.PROFILE_IS, "PROFILE_IS", PROFILE_IS, ()),
    (codes.SESSION_IS, "SESSION_IS", SESSION_IS, ()),
    (codes.SESSION_DATA, "SESSION_DATA", SESSION_DATA, ()),
    (codes.SETTING_IS, "SETTING_IS", SETTING_IS, ()),
    (codes.FAULT_IS, "FAULT_IS", FAULT_IS, ()),
    (codes.TIME_IS, "TIME_IS", TIME, ()),
    (codes.KEY_IS, "KEY_IS", KEY_IS, ()),
    (codes.WAITING_IS, "WAITING_IS", WAITING_IS, ()),
    (codes.PRESET_STORED, "PRESET_STORED", PRESET_STORED, ()),
    (codes.PRESET_IS, "PRESET_IS", PRESET_IS, ()),
    (codes.CUTOFF_IS, "CUTOFF_IS", CUTOFF_IS, ()),
    (codes.SCREEN_IS, "SCREEN_IS", SCREEN_IS, ()),
    (codes.DONE, "DONE", DONE, ()),
    (codes.ERROR, "ERROR", ERROR, ()),
    (codes.LIVE, "LIVE", SESSION_BLOCK, ()),
    (codes.TICKS, "TICKS", SESSION_BLOCK, ()),
    (codes.HAPPENED, "HAPPENED", SESSION_BLOCK, ()),
)
