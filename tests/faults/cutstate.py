"""What a store holds, all of it, and whether that is the old or the new state whole. Runs on MicroPython."""

import struct

from rimward_fw.storage import records
from rimward_protocol import sessionread

from tests.faults import cutactions

UNREADABLE = "shorter than it says"
SEEN = "damage seen"
UNEVEN = "one copy of a record is missing or behind after the restart: "


def snapshot(store, boots):
    """Everything that can be read out of a store that has just booted: (items, sessions)."""
    items = {
        "boots": boots,
        "key": store.key(),
        "wrong tags": store.wrong_tags(),
        "trips": store.trips(),
        "damaged": store.damaged,
    }
    for number in cutactions.SETTINGS:
        items["setting " + str(number)] = store.setting_get(number)
    listed = store.profile_list()
    for wheel in sorted(set(listed) | set(cutactions.WHEELS)):
        held = store.profile_get(wheel)
        if (held is not None) != (wheel in listed):
            items["list"] = wheel
        items["profile " + wheel.decode()] = (held[0], held[2]) if held else None
        items["issue " + wheel.decode()] = cutactions.issue_of(store, wheel)
    return items, {number: _session(store, number) for number in store.session_list()}


def _session(store, number):
    about = store.session_about(number)
    data = store.session_read(number, 0, about["bytes"] + 1)
    told = (about["unix_s"], about["cause"], about["flags"], about["wheel_id"])
    return (told, data) if len(data) == about["bytes"] else (UNREADABLE, b"")


def judge(old, new, got, untrue=False):
    """("old", "new", "between" or "same" where nothing was to change, "") or ("", what is wrong).

    `untrue`: flash lost what it had promised to hold; then a session being written may be damaged where its own check
    codes or the numbers of its blocks show it ("damage seen").
    """
    moved, wrong = _items(old[0], new[0], got[0])
    kept, why = _sessions(old[1], new[1], got[1], untrue)
    if wrong or why:
        return "", wrong or why
    if kept == SEEN:
        return SEEN, ""
    if moved == "" or kept == "" or moved == kept:
        return moved or kept or "same", ""
    return "between", ""


def _items(old, new, got):
    """ "" when nothing was to change, else "old" or "new"; and what is wrong."""
    moved = ""
    for name in sorted(set(old) | set(new) | set(got)):
        before, after, now = old.get(name), new.get(name), got.get(name)
        if before == after:
            if now != before:
                return "", name + " was touched: " + repr(now)
            continue
        if now not in (before, after):
            return "", name + " is neither old nor new: " + repr(now)
        state = "old" if now == before else "new"
        if moved and moved != state:
            return "", name + " is " + state + " where others are " + moved
        moved = state
    return moved, ""


def _sessions(old, new, got, untrue):
    """As `_items`; a growing session may be between old and new, a complete one may be dropped, never changed."""
    states = set()
    for number in sorted(set(old) | set(new) | set(got)):
        before, after, now = old.get(number), new.get(number), got.get(number)
        if before == after:
            if now != before:
                return "", "session " + str(number) + " was touched"
            continue
        if now == before:
            states.add("old")
        elif now == after:
            states.add("new")
        elif _grown(before, after, now):
            states.add("between")
        elif untrue and _damage_shows(after, now):
            return SEEN, ""
        else:
            return "", "session " + str(number) + " is neither old nor new"
    if len(states) == 1:
        return states.pop(), ""
    return ("between" if states else ""), ""


def _grown(before, after, now):
    """A session that has some of what is being added and has not ended."""
    if now is None or after is None or now[0] == UNREADABLE:
        return False
    begun = before[1] if before else b""
    return now[0][2] == 0 and now[1].startswith(begun) and after[1].startswith(now[1])


def _damage_shows(after, now):
    """True if every block of a session that a reader takes is one that was written there."""
    if now is None or after is None:
        return False
    if now[0] == UNREADABLE:
        return True
    at = 0
    while at < len(after[1]):
        length, number = struct.unpack_from("<HI", after[1], at + 2)
        end = at + 12 + length
        if (
            now[1][at:end] != after[1][at:end]
            and sessionread.read_block(now[1], at, number)[0] == sessionread.OK
        ):
            return False
        at = end
    return True


def uneven_copies(folder):
    """The first record without two equal copies; "" if all have them."""
    for part in ("p", "s"):
        for name in sorted({name.split(".")[0] for name in records.names(folder + "/" + part)}):
            path = folder + "/" + part + "/" + name
            first = records.copy_of(path, 0)
            if first is None or first != records.copy_of(path, 1):
                return UNEVEN + name
    return ""
