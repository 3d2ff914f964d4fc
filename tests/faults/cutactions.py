"""What the store does, one row an action, and the states from which it is done. Runs on MicroPython.

`prepare(store)` comes before the image is taken, `act(store)` is what the power is cut in.
"""

from rimward_fw.control import builtin
from rimward_protocol import layout, replies
from rimward_protocol import session as log

ROOMY = 48  # blocks of 4 KB
TIGHT = 28
CRAMPED = 10
KEY = bytes(range(32))
OTHER_KEY = bytes(range(32, 64))
ABOUT = {"unix_s": 1800000000, "cause": 1, "flags": 1, "wheel_id": b"wheel001"}
WHEELS = (b"wheel001", b"wheel002", b"wheel003", b"wheel099")
SETTINGS = (3, 7, 8)


def issue_of(store, wheel):
    """Return the highest issue number of a wheel that the store has seen; 0 if none."""
    row = store.wheels.row(wheel)
    return row.issue if row else 0


def profile_of(wheel, revision):
    """A profile of this revision."""
    values = dict(builtin.BUILT_IN)
    values["wheel_id"] = wheel
    values["revision"] = revision
    values["issue"] = revision
    values["label"] = wheel
    return layout.seal_profile(values)


def trip(number):
    """A trip's row."""
    return {
        "cause": 3,
        "state": 6,
        "boot": 2,
        "tick": number * 500,
        "session": 1,
        "unix_s": 0,
        "value": 430000 + number,
    }


def start(store, phase):
    """A device in use; `phase` moves how full the file system's own logs are."""
    for wheel in WHEELS[:3]:
        store.profile_put(profile_of(wheel, 5), True)
    store.profile_put(profile_of(WHEELS[2], 6), False)
    store.setting_put(3, b"\x10\x27\x00\x00\x01\x00\x00\x00")
    store.setting_put(7, b"Workshop stand 1" + bytes(8))
    store.trip_add(trip(1))
    for number in (1, 2, 3):
        session(store, number, 4 + phase % 5)
    for i in range(phase):
        turn = (i * 5 + phase) % 4
        if turn == 0:
            store.setting_put(3, bytes([i, phase, 0, 0, 1, 0, 0, 0]))
        elif turn == 1:
            store.profile_put(profile_of(WHEELS[i % 3], 7 + i), i & 4 == 0)
        elif turn == 2:
            store.trip_add(trip(2 + i))
        else:
            store.setting_put(7, bytes([65 + i % 26]) * 16 + bytes(8))


def block(number, sequence, length=460):
    """One whole session block, check code and all."""
    buf = bytearray(length + 12)
    for i in range(length):
        buf[8 + i] = (i * 7 + number * 31 + sequence) & 255
    log.seal_block(buf, 0, layout.BLOCK_META, log.first_sequence(number) + sequence, length)
    return buf


def session(store, number, blocks):
    """A whole session."""
    for i in range(blocks):
        store.session_append(number, block(number, i))
    return store.session_end(number, ABOUT)


def open_session(store, blocks=5):
    """A session that has not ended."""
    number = store.session_new()
    for i in range(blocks):
        store.session_append(number, block(number, i))
    store.session_sync()


def append(store):
    """Append twelve blocks to the newest session and sync them."""
    number = store.session_list()[0]
    for i in range(12):
        code = store.session_append(number, block(number, 100 + i))
        if code:
            return code
    return store.session_sync()


def finish(store):
    """The last block and the end of the newest session."""
    number = store.session_list()[0]
    return store.session_append(number, block(number, 200, 24)) or store.session_end(number, ABOUT)


def unconfirmed(store):
    """A new revision that waits for a person."""
    store.profile_put(profile_of(WHEELS[2], 80), False)


def with_key(store):
    """A key, and wrong tags counted against it."""
    store.key_put(KEY)
    store.wrong_tags_put(7, 2)


def uneven(store):
    """As a cut between two copies leaves it: one record at two revisions, one copy gone, one aside."""
    from rimward_fw.storage import records

    path = store.folder + "/p/" + WHEELS[0].hex()
    held = records.read(path)
    records._put(path, 1, records.frame(held[1] + 1, held[0][:-20] + bytes(20)))
    records.remove_file(store.folder + "/s/n3.1")
    with open(store.folder + "/s/n7.n", "wb") as file:
        file.write(b"RWC1 half a record")


def fill_up(store):
    """Sessions until the next one has to push an old one out, and one begun. The oldest is a trip's: it stays."""
    number = store.session_list()[0]
    while 2 in store.session_list():
        number += 1
        session(store, number, 18)
    open_session(store)


def fill_past_reserve(store):
    """Sessions up to the last block of flash, as a store with another reserve could have left them."""
    for number in range(10, 99):
        for i in range(2):
            if store.sessions.append(number, block(number, i)) or store.sessions.sync():
                return
        store.sessions.end(number, ABOUT)


def fill_full(store):
    """No session to drop, and wheels until the store refuses one."""
    for number in store.session_list():
        store.session_delete(number)
    for i in range(400):
        if store.profile_put(profile_of(b"fill%04d" % i, 1), True)[0]:
            return


def nothing(store):
    """No preparation."""


def put(wheel, revision):
    """Action: store a new profile."""
    return lambda store: store.profile_put(profile_of(wheel, revision), True)[0]


def boot(store):
    """Action: start the device."""
    store.boot()
    return 0


def holds_profile(wheel, revision):
    """After it: this profile is in force."""
    return lambda store: (
        store.profile_get(wheel)[0] == profile_of(wheel, revision)
        and issue_of(store, wheel) == revision
    )


def holds_session(added, ended):
    """After it: the newest session holds every block it was given, and has ended or not."""

    def holds(store):
        number = store.session_list()[0]
        data = b"".join(
            [bytes(block(number, i)) for i in range(5)]
            + [bytes(block(number, i, count)) for i, count in added]
        )
        return (
            store.session_read(number, 0, len(data) + 1) == data
            and store.session_about(number)["flags"] == ended
        )

    return holds


def holds_uneven(store):
    """After it: the newer of two copies is in force."""
    return store.profile_get(WHEELS[0])[0][-20:] == bytes(20) and store.setting_get(7)[0][:1] > b"@"


def holds_refusal(store):
    """After it: the refused wheel left nothing behind."""
    return WHEELS[3] not in store.profile_list() and issue_of(store, WHEELS[3]) == 0


ADDED = [(100 + i, 460) for i in range(12)]

# name, blocks, prepare, act, code it gives, what holds after it
ACTIONS = (
    ("new profile", ROOMY, nothing, put(WHEELS[3], 1), 0, holds_profile(WHEELS[3], 1)),
    ("profile replaced", ROOMY, nothing, put(WHEELS[1], 90), 0, holds_profile(WHEELS[1], 90)),
    ("wheel confirmed", ROOMY, unconfirmed, lambda store: store.profile_confirm(WHEELS[2]), 0, lambda store: store.profile_get(WHEELS[2])[2]),
    ("profile deleted", ROOMY, unconfirmed, lambda store: store.profile_delete(WHEELS[2]), 0,
     lambda store: store.profile_get(WHEELS[2]) is None and issue_of(store, WHEELS[2]) == 80),
    ("setting first made", ROOMY, nothing, lambda store: store.setting_put(8, b"\x01"), 0, lambda store: store.setting_get(8) == (b"\x01", 1)),
    ("setting changed", ROOMY, nothing, lambda store: store.setting_put(3, bytes(8)), 0, lambda store: store.setting_get(3)[0] == bytes(8)),
    ("key enrolled", ROOMY, nothing, lambda store: store.key_put(KEY), 0, lambda store: store.key() == KEY),
    ("key changed", ROOMY, with_key, lambda store: store.key_put(OTHER_KEY), 0,
     lambda store: store.key() == OTHER_KEY and store.wrong_tags() == (0, 0)),
    ("wrong tag counted", ROOMY, with_key, lambda store: store.wrong_tags_put(8, 3), 0, lambda store: store.wrong_tags() == (8, 3)),
    ("trip kept", ROOMY, nothing, lambda store: store.trip_add(trip(99)), 0, lambda store: store.trips()[0] == trip(99)),
    ("session appended", ROOMY, open_session, append, 0, holds_session(ADDED, 0)),
    ("session ended", ROOMY, open_session, finish, 0, holds_session([(200, 24)], 1)),
    ("oldest session deleted", ROOMY, nothing, lambda store: store.session_delete(1), 0, lambda store: store.session_list() == [3, 2]),
    ("newest session deleted", ROOMY, nothing, lambda store: store.session_delete(3), 0,
     lambda store: store.session_list() == [2, 1] and store.session_new() == 4),
    ("restart", ROOMY, nothing, boot, 0, lambda store: True),
    ("restart with uneven copies", ROOMY, uneven, boot, 0, holds_uneven),
    ("full flash: session appended", TIGHT, fill_up, append, 0, holds_session(ADDED, 0)),
    ("full flash: sessions give way to a profile", TIGHT, fill_past_reserve, put(WHEELS[1], 90), 0, holds_profile(WHEELS[1], 90)),
    ("full flash: profile replaced", CRAMPED, fill_full, put(WHEELS[1], 90), replies.STORE_FULL, lambda store: issue_of(store, WHEELS[1]) < 90),
    ("full flash: new profile refused", CRAMPED, fill_full, put(WHEELS[3], 1), replies.STORE_FULL, holds_refusal),
)  # fmt: skip
FIRST_BOOT = "first boot of blank flash"
