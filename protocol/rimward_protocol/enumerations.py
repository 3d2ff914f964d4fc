"""Numbers of `codes` with their words and meanings: one table each, rows of (number, word, meaning). For hosts."""

from . import reasons

MESSAGES = (
    (0x01, "HELLO"),
    (0x02, "STATUS"),
    (0x03, "PROFILE_PUT"),
    (0x04, "PROFILE_LIST"),
    (0x05, "PROFILE_GET"),
    (0x06, "PROFILE_DELETE"),
    (0x07, "SELECT"),
    (0x08, "WATCH"),
    (0x09, "SESSION_LIST"),
    (0x0A, "SESSION_READ"),
    (0x0B, "SETTING_GET"),
    (0x0C, "SETTING_PUT"),
    (0x0D, "FAULTS"),
    (0x0E, "TIME"),
    (0x0F, "KEY_ENROL"),
    (0x10, "WAITING"),
    (0x11, "BYE"),
    (0x12, "BENCH_BEAT"),
    (0x13, "PRESET_PUT"),
    (0x14, "PRESET_LIST"),
    (0x15, "PRESET_DELETE"),
    (0x16, "KEY_ASK"),
    (0x17, "PERSON"),
    (0x18, "CUTOFF"),
    (0x1F, "SCREEN"),
    (0x41, "HELLO_IS"),
    (0x42, "STATUS_IS"),
    (0x43, "PROFILE_STORED"),
    (0x44, "PROFILE_IS"),
    (0x49, "SESSION_IS"),
    (0x4A, "SESSION_DATA"),
    (0x4B, "SETTING_IS"),
    (0x4D, "FAULT_IS"),
    (0x4E, "TIME_IS"),
    (0x4F, "KEY_IS"),
    (0x50, "WAITING_IS"),
    (0x53, "PRESET_STORED"),
    (0x54, "PRESET_IS"),
    (0x58, "CUTOFF_IS"),
    (0x5F, "SCREEN_IS"),
    (0x7E, "DONE"),
    (0x7F, "ERROR"),
    (0x80, "LIVE"),
    (0x81, "TICKS"),
    (0x82, "HAPPENED"),
)

RIM_CLASSES = (
    (0, "unknown", "unknown: treated as straight-side"),
    (1, "SS", "straight-side"),
    (2, "TSS", "tubeless straight-side"),
    (3, "HB", "hooked bead"),
    (4, "C", "crochet"),
    (5, "TC", "tubeless crochet"),
)

POSITIONS = ((0, "any"), (1, "front"), (2, "rear"))

CHUCKS = (
    (1, "pin-open", "the chuck holds the core open: the tyre's pressure can be read and lowered"),
    (
        2,
        "pressure-open",
        "only incoming air opens the core: the tyre's pressure can be read just after the flow stops",
    ),
)

LIMIT_SOURCES = (
    (1, "rim-marked", "the maximum marked on the rim"),
    (2, "tyre-printed", "the maximum printed on the tyre"),
    (3, "straight-side-class", "the class limit of straight-side rims, 500 kPa"),
    (4, "careful-cap", "our own cap for a wide tyre on a rim with no marked maximum"),
    (5, "maker-table", "a maker's document"),
    (6, "built-in", "the inflator's own profile for an unregistered wheel"),
)

PROFILE_FLAGS = (
    (1, "tubeless", "no inner tube"),
    (2, "ride-stated", "the limit is kept on the stated ride; else only at the place of the fill"),
    (4, "bench", "for a proof bench; ordinary firmware refuses it"),
    (8, "supersedes", "replaces an earlier profile of this wheel"),
    (
        16,
        "limit-at-fill",
        "by the person's explicit choice the limit is kept at the place of the fill only",
    ),
)

PRESET_FLAGS = (
    (1, "ride-stated", "a ride is stated; the stricter of it and the profile's applies"),
)

RANGES = ((0, "not-known"), (1, "low"), (2, "high"), (3, "bench"))

GUARD_OUTS = (
    (1, "GATE", "the pulse train runs"),
    (2, "RELAY", "the relay contact is closed"),
    (4, "VENT", "the vent is open"),
    (8, "LATCHED", "a cause is latched"),
    (16, "READY", "all conditions are met except RUN and the fill controller's request"),
    (32, "TESTING", "the self-test runs"),
    (64, "CHUCK_OFF", "the chuck is considered off; data of the tyre are cleared"),
)

FILL_STATES = (
    (0, "idle", "no wheel chosen"),
    (1, "ready", "a wheel is selected, no air moves"),
    (2, "asking", "waiting for the person's answer: an hour at this place, size and rim correct"),
    (3, "self-test", "each switching element is tested alone"),
    (4, "purge", "hose blown through, chuck checked"),
    (5, "measuring", "finding the tyre's pressure"),
    (6, "filling", "air goes in"),
    (7, "seat-pause", "waiting until the person has seen the bead seated all round"),
    (8, "settling", "no flow; the reading settles"),
    (9, "probing", "a short pulse finds where flow starts"),
    (10, "topping-up", "short pulses towards the target"),
    (11, "bleeding", "air is let out towards the target"),
    (12, "leak-watch", "the target is reached; watching for a leak"),
    (13, "done", "the target is reached and held"),
    (14, "stopped", "stopped by the person or by a cause that does not latch"),
    (15, "tripped", "stopped by a latched cause"),
)

# Questions that wait for a person; each is answered on the device, never over the link.
WAITINGS = (
    (0, "nothing", "nothing"),
    (1, "bead-seated", "look round both sides of the tyre and confirm that the bead is seated"),
    (2, "stood-an-hour", "answer whether this wheel has stood here for an hour"),
    (3, "new-wheel", "compare tyre size, rim class and date with the wheel, then confirm"),
    (4, "delete", "press the workshop button to delete what the display names"),
    (
        5,
        "take-key",
        "press the workshop button to take the key whose fingerprint the display shows",
    ),
    (6, "hold-to-run", "hold the run control"),
    (7, "clear", "read the cause and clear it"),
    (8, "take-setting", "press the workshop button to take the setting that the display names"),
    (
        9,
        "which-wheel",
        "the tyre takes another volume of air than the wheel chosen has: confirm that it is this wheel, or release the run control",
    ),
    (10, "printed-maximum", "enter the maximum printed on the tyre of the unregistered wheel"),
    (11, "approval", "confirm that the tyre's maker approves it for straight-side (hookless) rims"),
    (12, "target", "enter the target of the unregistered wheel"),
    (13, "looser-limits", "compare the old and the new limits of this wheel and confirm"),
)

# Missing numbers are retired and never reused.
EVENTS = (
    (1, "boot", "the device started; value: reset reason; value2: session that a reset cut off"),
    (2, "wheel-chosen", "value: profile revision"),
    (3, "armed", "value: ceiling in force, Pa; value2: stop reading, Pa"),
    (5, "run-held", "the run control closed; value: reading, Pa"),
    (6, "run-released", "the run control opened; value: reading, Pa"),
    (10, "bead-confirmed", "the person confirmed the bead; value: reading, Pa"),
    (20, "tripped", "with its cause; value: reading, Pa"),
    (21, "cleared", "the person cleared a latch; value: its cause"),
    (25, "answer", "value: what was asked, WAITINGS; value2: the answer"),
    (26, "profile-stored", "value: revision; value2: issue"),
    (27, "profile-deleted", "value: revision; value2: issue"),
    (28, "setting-stored", "value: setting number; value2: revision"),
    (29, "key-enrolled", "a workshop key was taken; value: first three bytes of its check"),
    (30, "tag-refused", "value: count of wrong tags"),
    (31, "time-set", "value: correction, s; 0 where the clock was not set"),
    (33, "target-chosen", "value: target that the person chose, Pa; value2: the one before, Pa"),
    (34, "refused", "value: REPLIES; value2: the message that asked, 0 for arming"),
    (35, "preset-stored", "value: issue"),
    (36, "preset-deleted", "value: issue"),
    (
        37,
        "profile-dropped",
        "the table of wheels was full and the oldest made way; value: its issue",
    ),
    (
        40,
        "cutoff-compared",
        "value: transducer C less the higher of A and B, Pa; value2: threshold, 1/1000 of its supply",
    ),
)

# number, word, struct format of its bytes, how it may be changed, meaning
# change: "host" over the link; "button" over the link, after a person has confirmed that request with the workshop button
SETTINGS = (
    (
        1,
        "calibration-a",
        "<iiIiH",
        "button",
        "gain Q16, offset Pa, date days, hysteresis Pa, certificate number",
    ),
    (2, "calibration-b", "<iiIiH", "button", "as calibration-a"),
    (3, "guard-band", "<iI", "button", "guard_pa of this inflator, date days of the calibration"),
    (4, "barometer-offset", "<i", "button", "Pa added to the barometer"),
    (
        5,
        "air-source",
        "<BII",
        "button",
        "0 compressor 1 line; free air delivery of the compressor at no back pressure, mL/min; supply of the line, Pa; 0: as built",
    ),
    (6, "air-temperature-offset", "<h", "button", "centikelvin added to the air thermometer"),
    (7, "name", "<24s", "host", "this inflator's name, as a profile's label"),
    (8, "buzzer", "<B", "host", "0 off 1 on"),
    (9, "pressure-first", "<B", "host", "which unit the display shows larger: 0 bar 1 psi"),
    (12, "unregistered-entry", "<B", "button", "unregistered wheels may be filled: 0 no 1 yes"),
    (
        20,
        "bring-up",
        "<BI",
        "button",
        "0 none, 1 the steps without air hold, 2 all steps hold; date days",
    ),
    (21, "vent-baseline", "<H", "button", "time of the fall through the vent at bring-up, ms"),
    (
        22,
        "daily-test",
        "<BIiH",
        "device",
        "cause of the failure, 0 passed; date days; reading at which the cutoff opened, Pa; fall through the vent, ms",
    ),
)

# number, word, likely reason, next step
CAUSES = reasons.rows()
