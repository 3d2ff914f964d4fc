"""Handlers of the requests that read or change stored things: message number -> handler(link, values), as in `requests`. Refused while air
may move: this module is one of `rooms`, and none is loaded then.
"""

from rimward_protocol import codes, preset, replies
from rimward_protocol.compat import TYPE_CHECKING
from rimward_protocol.profile import label_ok

from rimward_fw.control import intake
from rimward_fw.link.requests import done, setting_get

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.link.connection import Link


_NOBODY = bytes(8)


def profile_put(link: "Link", values: "Record") -> int:
    """Check and store a profile."""
    if link.app.enabled():
        return replies.BUSY_FILLING
    code, slot, digest = link.app.take_profile(values["profile"])
    if code not in (replies.OK, replies.WAITING_FOR_PERSON):
        return code
    link.reply(codes.PROFILE_STORED, {"code": code, "slot": slot, "sha256": digest})
    return 0


def profile_list(link: "Link", values: "Record") -> int:
    """One stored profile, by its place in the list."""
    wheels = link.app.store.profile_list()
    index = values["index"]
    wheel: "Any" = wheels[index] if index < len(wheels) else None
    return _profile(link, wheel, index, len(wheels))


def profile_get(link: "Link", values: "Record") -> int:
    """Return the profile of a wheel."""
    wheels = link.app.store.profile_list()
    if values["wheel_id"] != _NOBODY and values["wheel_id"] not in wheels:
        return replies.NOT_FOUND
    return _profile(link, values["wheel_id"], 0xFFFF, len(wheels))


def _profile(link: "Link", wheel: bytes, index: int, count: int) -> int:
    found = link.app.profile_of(wheel) if wheel is not None else None
    row = {"index": index, "count": count, "slot": 0, "flags": 0, "profile": b""}
    if found:
        row["profile"], row["slot"], row["flags"] = found
    link.reply(codes.PROFILE_IS, row)
    return 0


def profile_delete(link: "Link", values: "Record") -> int:
    """Delete a profile, after a person's consent."""
    wheel = values["wheel_id"]
    if link.app.enabled():
        return replies.BUSY_FILLING
    return done(link, intake.ask_to_delete(link.app, wheel))


def select(link: "Link", values: "Record") -> int:
    """Select the active wheel."""
    return done(link, link.app.choose(values["wheel_id"]))


def session_list(link: "Link", values: "Record") -> int:
    """Answer with one stored session by its place in the list."""
    rows = link.app.sessions()
    row = {
        "index": values["index"],
        "count": len(rows),
        "session": 0,
        "bytes": 0,
        "unix_s": 0,
        "cause": 0,
        "flags": 0,
    }
    row["wheel_id"] = _NOBODY
    if values["index"] < len(rows):
        row.update(link.app.store.session_about(rows[values["index"]]))
    link.reply(codes.SESSION_IS, row)
    return 0


def session_read(link: "Link", values: "Record") -> int:
    """Send a range of a stored session."""
    if values["session"] not in link.app.sessions():
        return replies.SESSION_UNKNOWN
    length = link.app.store.session_about(values["session"])["bytes"]
    if values["offset"] >= length:
        return replies.SESSION_PAST_END
    if not values["bytes"]:
        return replies.BAD_VALUE
    link.send_session(
        values["session"], values["offset"], min(length, values["offset"] + values["bytes"])
    )
    return 0


def setting_put(link: "Link", values: "Record") -> int:
    """Store a setting, where required after a person's consent."""
    if link.app.enabled():
        return replies.BUSY_FILLING
    code = link.app.take_setting(values["number"], values["value"])
    return done(link, code) if code else setting_get(link, values)


def faults(link: "Link", values: "Record") -> int:
    """Answer with one kept trip by its place in the list."""
    rows = link.app.store.trips()
    row = {
        "index": values["index"],
        "count": len(rows),
        "cause": 0,
        "state": 0,
        "boot": 0,
        "tick": 0,
        "session": 0,
        "unix_s": 0,
    }
    row["value"] = 0
    if values["index"] < len(rows):
        row.update(rows[values["index"]])
    link.reply(codes.FAULT_IS, row)
    return 0


def key_enrol(link: "Link", values: "Record") -> int:
    """Enrol a key after a person's consent."""
    if link.app.enabled():
        return replies.BUSY_FILLING
    code = intake.ask_to_enrol(link.app, values["key"])
    return _key(link, code) if code in (replies.OK, replies.WAITING_FOR_PERSON) else code


def key_ask(link: "Link", values: "Record") -> int:
    """Answer with the beginning of the digest of the key in force."""
    return _key(link, replies.OK)


def _key(link: "Link", code: int) -> int:
    link.reply(
        codes.KEY_IS,
        {"code": code, "check": link.app.keys.check(), "wrong_tags": link.app.keys.wrong},
    )
    return 0


def preset_put(link: "Link", values: "Record") -> int:
    """Check and store a preset."""
    if link.app.enabled():
        return replies.BUSY_FILLING
    code, digest = intake.take_preset(link.app, values["preset"])
    if code:
        return code
    link.reply(codes.PRESET_STORED, {"code": code, "sha256": digest})
    return 0


def preset_list(link: "Link", values: "Record") -> int:
    """One stored preset, by its place in the list."""
    held = link.app.store.presets.list()
    data = link.app.store.presets.get(held[values["index"]]) if values["index"] < len(held) else b""
    fits = 1 if data and preset.tag_fits(link.app.keys.key(), data) else 0
    link.reply(
        codes.PRESET_IS,
        {"index": values["index"], "count": len(held), "flags": fits, "preset": data or b""},
    )
    return 0


def preset_delete(link: "Link", values: "Record") -> int:
    """Delete a preset; it holds targets only."""
    return (
        replies.BUSY_FILLING
        if link.app.enabled()
        else done(link, intake.delete_preset(link.app, values["preset_id"]))
    )


def person(link: "Link", values: "Record") -> int:
    """Set the name of the person who fills, for every record until the host leaves."""
    name = values["name"].rstrip(b"\0")
    if name and not label_ok(name, 0, len(name)):
        return replies.BAD_VALUE
    link.app.person = name
    return done(link, replies.OK)


HANDLERS = {
    codes.PROFILE_PUT: profile_put,
    codes.PROFILE_LIST: profile_list,
    codes.PROFILE_GET: profile_get,
    codes.PROFILE_DELETE: profile_delete,
    codes.SELECT: select,
    codes.SESSION_LIST: session_list,
    codes.SESSION_READ: session_read,
    codes.SETTING_PUT: setting_put,
    codes.FAULTS: faults,
    codes.KEY_ENROL: key_enrol,
    codes.PRESET_PUT: preset_put,
    codes.PRESET_LIST: preset_list,
    codes.PRESET_DELETE: preset_delete,
    codes.KEY_ASK: key_ask,
    codes.PERSON: person,
}
