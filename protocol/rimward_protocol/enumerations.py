"""The numbers of `codes` with their words and what they mean: one table each, rows of (number, word, meaning). For hosts."""

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
    (0x58, "CUTOFF_IS"),
    (0x5F, "SCREEN_IS"),
    (0x7E, "DONE"),
    (0x7F, "ERROR"),
    (0x80, "LIVE"),
    (0x81, "TICKS"),
    (0x82, "HAPPENED"),
)

RIM_CLASSES = (
    (0, "unknown", "not known: treated as straight-side"),
    (1, "SS", "straight-side"),
    (2, "TSS", "tubeless straight-side"),
    (3, "HB", "hooked bead"),
    (4, "C", "crochet"),
    (5, "TC", "tubeless crochet"),
)

POSITIONS = ((0, "any"), (1, "front"), (2, "rear"))

CHUCKS = (
    (1, "pin-open", "the chuck holds the core open: the tyre is seen, and can be bled"),
    (2, "pressure-open", "only air flowing in opens the core: the tyre is seen just after flow stops"),
)

LIMIT_SOURCES = (
    (1, "rim-marked", "the maximum marked on the rim"),
    (2, "tyre-printed", "the maximum printed on the tyre"),
    (3, "straight-side-class", "the class limit of straight-side rims, 500 kPa"),
    (4, "careful-cap", "our own cap for a wide tyre on a rim with no marked maximum"),
    (5, "maker-table", "a maker's document"),
    (6, "built-in", "the inflator's own profile for a wheel it does not know"),
)

PROFILE_FLAGS = (
    (1, "tubeless", "no inner tube"),
    (2, "ride-stated", "the envelope comes from a ride the person stated; else only the fill place counts"),
    (4, "bench", "for a proof bench; ordinary firmware refuses it"),
    (8, "supersedes", "replaces an earlier profile of this wheel"),
    (16, "limit-at-fill", "the person asked by name that the limit hold at the fill only"),
)

RANGES = ((0, "not-known"), (1, "low"), (2, "high"), (3, "bench"))

GUARD_OUTS = (
    (1, "GATE", "the pulse train runs"),
    (2, "RELAY", "the relay contact is closed"),
    (4, "VENT", "the vent is held open"),
    (8, "LATCHED", "a cause is latched"),
    (16, "READY", "every condition but the person's hand and the fill's wish holds"),
    (32, "TESTING", "the self-test runs"),
    (64, "CHUCK_OFF", "the chuck is taken to be off: the tyre is forgotten"),
)

FILL_STATES = (
    (0, "idle", "no wheel chosen"),
    (1, "ready", "a wheel is chosen, nothing moves"),
    (2, "asking", "waiting for the person's answer: stood here an hour, size and rim right"),
    (3, "self-test", "each switching element is opened alone"),
    (4, "purge", "hose blown through, chuck checked"),
    (5, "measuring", "looking for what the tyre holds"),
    (6, "filling", "air goes in"),
    (7, "seat-pause", "waiting until the person has seen the bead seated all round"),
    (8, "settling", "no flow; the reading settles"),
    (9, "probing", "a short pulse finds where flow starts"),
    (10, "topping-up", "short pulses towards the target"),
    (11, "bleeding", "air is let out towards the target"),
    (12, "leak-watch", "the target is reached; does it hold"),
    (13, "done", "the target is reached and held"),
    (14, "stopped", "stopped by the person or by a cause that does not latch"),
    (15, "tripped", "stopped by a latched cause"),
    (16, "seating", "tubeless bead seating at its own low limit"),
    (17, "service", "maintenance: the pump is disabled"),
)

# What the device waits for; each is answered on the device, never over the link.
WAITINGS = (
    (0, "nothing", "nothing"),
    (1, "bead-seated", "look round both sides of the tyre and confirm that the bead is seated"),
    (2, "stood-an-hour", "answer whether this wheel has stood here for an hour"),
    (3, "new-wheel", "compare tyre size, rim class and date with the wheel and confirm"),
    (4, "hold-to-delete", "hold the button to delete the profile"),
    (5, "hold-to-enrol", "hold the button to take the new workshop key"),
    (6, "hold-to-run", "hold the run control"),
    (7, "clear", "read the cause and clear it"),
    (8, "hold-to-set", "hold the button to take the new setting"),
    (9, "which-wheel", "the tyre takes another volume of air than the wheel chosen has: confirm that it is this wheel, or let go"),
)

EVENTS = (
    (1, "boot", "the device started; value: reset reason"),
    (2, "wheel-chosen", "value: profile revision"),
    (3, "armed", "value: ceiling in force, Pa; value2: stop reading, Pa"),
    (4, "self-test-passed", "value: ticks it took"),
    (5, "run-held", "the run control closed"),
    (6, "run-released", "the run control opened"),
    (7, "pump-on", "value: reading, Pa"),
    (8, "pump-off", "value: reading, Pa; cause says why"),
    (9, "seat-pause-reached", "value: reading, Pa"),
    (10, "bead-confirmed", "the person confirmed the bead"),
    (11, "tyre-seen", "value: tyre pressure, Pa"),
    (12, "volume-learned", "value: volume, mL; value2: profile volume, mL"),
    (13, "flow-drop-learned", "value: drop from hose to tyre, Pa"),
    (14, "target-lowered", "value: new target, Pa"),
    (15, "target-corrected", "value: target for today's air, Pa; value2: target at reference temperature, Pa"),
    (16, "vent-opened", "value: reading, Pa"),
    (17, "vent-closed", "value: reading, Pa"),
    (18, "settled", "value: tyre pressure, Pa"),
    (19, "leak-watched", "value: fall, Pa; value2: over ms"),
    (20, "tripped", "cause says why; value: reading, Pa; value2: what the criterion saw"),
    (21, "cleared", "the person cleared a latch; cause says which"),
    (22, "hose-attached", "a step in pressure: value: reading, Pa"),
    (23, "hose-detached", "value: reading, Pa"),
    (24, "range-key", "value: range in force"),
    (25, "answer", "value: what was asked; value2: the answer"),
    (26, "profile-stored", "value: revision"),
    (27, "profile-deleted", "value: revision"),
    (28, "setting-stored", "value: setting number; value2: revision"),
    (29, "key-enrolled", "a workshop key was taken"),
    (30, "tag-refused", "value: wrong tags so far"),
    (31, "time-set", "value: correction, s"),
    (32, "span-lost", "full-rate record dropped for want of memory; value: first tick; value2: ticks"),
    (40, "cutoff-compared", "value: transducer C less the higher of A and B, Pa; value2: threshold, 1/1000 of its supply"),
)

# number, word, struct format of its bytes, how it may be changed, meaning
# change: "host" over the link; "button" over the link while the button is held; "device" only by the device itself
SETTINGS = (
    (1, "calibration-a", "<iiIiH", "button", "gain Q16, offset Pa, date days, hysteresis Pa, certificate number"),
    (2, "calibration-b", "<iiIiH", "button", "as calibration-a"),
    (3, "guard-band", "<iI", "button", "guard_pa of this inflator, date days it was found"),
    (4, "barometer-offset", "<i", "button", "Pa added to the barometer"),
    (5, "air-source", "<BIII", "button", "0 compressor 1 line; free air delivery mL/min at 0 and at 5 bar; supply Pa"),
    (6, "air-temperature-offset", "<h", "button", "centikelvin added to the air thermometer"),
    (7, "label", "<20s", "host", "this inflator's name, UTF-8, zero padded"),
    (8, "buzzer", "<B", "host", "0 off 1 on"),
    (9, "pressure-first", "<B", "host", "which unit the display shows larger: 0 bar 1 psi"),
    (10, "dead-volume", "<H", "button", "manifold and hose, mL"),
    (11, "fills", "<IIII", "device", "fills, trips, seconds pumped, boots"),
    (20, "bring-up", "<BI", "button", "0 none, 1 the steps without air hold, 2 all steps hold; date days"),
    (21, "vent-baseline", "<H", "button", "fall of the reading through the vent at the bring-up, ms"),
    (22, "daily-test", "<BIiH", "device", "cause that it failed, 0 passed; date days; reading at which the cutoff opened, Pa; fall through the vent, ms"),
)

# number, word, likely reason, next step
CAUSES = reasons.rows()
