"""Intake of profiles, presets, keys and settings from the link: checked, tagged with the key in force, newer than the stored ones. Main
loop only.
"""

import struct
from binascii import hexlify

from rimward_protocol import codes, layout, preset, profile, replies
from rimward_protocol.compat import TYPE_CHECKING, sha256

from rimward_fw.control import events, sense
from rimward_fw.control.setting_texts import setting_text
from rimward_fw.storage.wheels import loosened

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.shapes import App


def take_profile(app: "App", data: bytes) -> tuple[int, int, bytes]:
    """Check and store a profile. Return (code, slot, digest of the stored bytes); WAITING_FOR_PERSON: it is confirmed before its first
    fill.
    """
    code = profile.check_profile(data, app.BENCH)
    if not code:
        code = app.keys.judge(data)
    if code:
        if code == replies.TAG_WRONG:
            app.note(events.TAG_REFUSED, 0, app.keys.wrong)
        return refused(app, code, codes.PROFILE_PUT)
    values = layout.unpack(layout.PROFILE, data)
    wheels = app.store.wheels
    if values["issue"] <= wheels.least_issue(values["wheel_id"]):
        held = wheels.get(values["wheel_id"])
        if not (held and held[0] == data):
            return refused(app, replies.ISSUE_NOT_NEWER, codes.PROFILE_PUT)
        return (replies.OK if held[2] else replies.WAITING_FOR_PERSON), held[1], sha256(held[0])
    far = wheels.is_far(values["issue"])
    row = wheels.row(values["wheel_id"])
    sure = bool(row and row.data and row.facts and not far and not loosened(row.facts, values))
    code, slot, digest = wheels.put(data, sure, far)
    if code:
        return refused(app, code, codes.PROFILE_PUT)
    app.note(events.PROFILE_STORED, 0, values["revision"], values["issue"])
    if app.store.dropped:
        app.note(events.PROFILE_DROPPED, 0, app.store.dropped)
        app.store.dropped = 0
    app.interface.chooser.close()  # read again when next shown
    return (replies.OK if sure else replies.WAITING_FOR_PERSON), slot, digest


def refused(app: "App", code: int, message: int) -> tuple[int, int, bytes]:
    """Record a refusal. Return the reply's code."""
    app.note(events.REFUSED, 0, code, message)
    return code, 0, b""


def ask_to_delete(app: "App", wheel: bytes) -> int:
    """Show the deletion of a wheel's profile on the display. Return a reply code."""
    found = app.store.profile_get(wheel)
    if not found:
        return replies.NOT_FOUND
    label = label_of(layout.unpack(layout.PROFILE, found[0]))
    return app.consent.ask(
        codes.WAIT_DELETE,
        "delete the profile of " + label,
        lambda: delete_profile(app, wheel),
        0,
        wheel,
    )


def ask_to_enrol(app: "App", key: bytes) -> int:
    """Show a new key's fingerprint on the display. Return OK for the key already enrolled, else a reply code."""
    if len(key) != 32 or key == bytes(32):
        return refused(app, replies.BAD_VALUE, codes.KEY_ENROL)[0]
    if key == app.keys.key():
        return replies.OK
    text = "take the key " + hexlify(sha256(key)[:4]).decode()
    return app.consent.ask(codes.WAIT_ENROL, text, lambda: enrol(app, key))


def enrol(app: "App", key: bytes) -> int:
    """Enrol a key that a person has confirmed. Return a reply code."""
    code = app.keys.enrol(key)
    if code:
        return refused(app, code, codes.KEY_ENROL)[0]
    app.note(events.KEY_ENROLLED, 0, int.from_bytes(app.keys.check()[:3], "big"))
    return code


def label_of(values: "Record") -> str:
    """Reduce a label to the letters that the display has."""
    return profile.display_text(str(bytes(values["label"]).rstrip(b"\0"), "utf-8"))


def delete_profile(app: "App", wheel: bytes) -> int:
    """Delete a wheel's profile. Return a reply code."""
    if wheel == app.cycle.wheel:
        app.cycle.drop()
    row: "Any" = app.store.wheels.row(wheel)
    code = app.store.profile_delete(wheel)
    if code == replies.OK:
        values = layout.unpack(layout.PROFILE, row.data)
        app.note(events.PROFILE_DELETED, 0, values["revision"], values["issue"])
        app.interface.chooser.close()
    return code


def take_preset(app: "App", data: bytes) -> tuple[int, bytes]:
    """Check and store a preset. Return (code, digest of the stored bytes)."""
    code = preset.check_preset(data)
    digest = b""
    if not code and not app.keys.enrolled():
        code = replies.NO_KEY
    if not code and not preset.tag_fits(app.keys.key(), data):
        code = replies.TAG_WRONG
    if not code:
        code, digest = app.store.presets.put(data)
    if code:
        return refused(app, code, codes.PRESET_PUT)[0], b""
    app.note(events.PRESET_STORED, 0, layout.unpack(layout.PRESET, data)["issue"])
    app.interface.chooser.close()
    return code, digest


def delete_preset(app: "App", preset_id: bytes) -> int:
    """Delete a preset; it holds targets only, so no consent is needed. Return a reply code."""
    data = app.store.presets.get(preset_id)
    code = app.store.presets.delete(preset_id)
    if code == replies.OK and data:
        app.note(events.PRESET_DELETED, 0, layout.unpack(layout.PRESET, data)["issue"])
        app.interface.chooser.close()
    return code


def take_setting(app: "App", number: int, value: bytes) -> int:
    """Check and store a setting; one that loosens something is confirmed at the display first. Return a reply code."""
    code = sense.sense(number, value)
    may = layout.setting_row(number)[1] if code == replies.OK else ""
    if may == "device":
        code = replies.SETTING_LOCKED
    elif may == "button" and app.store.setting_get(number)[0] != value:
        text = setting_text(number, struct.unpack(layout.setting_row(number)[0], value))
        code = app.consent.ask(
            codes.WAIT_SET, text, lambda: store_setting(app, number, value), number
        )
        if code == replies.WAITING_FOR_PERSON:
            return code
    return refused(app, code, codes.SETTING_PUT)[0] if code else store_setting(app, number, value)


def store_setting(app: "App", number: int, value: bytes) -> int:
    """Store a setting; the main loop's next turn applies it. Return a reply code."""
    code = app.store.setting_put(number, value)
    if code:
        return refused(app, code, codes.SETTING_PUT)[0]
    app.note(events.SETTING_STORED, 0, number, app.store.setting_get(number)[1])
    if number == sense.GUARD_BAND:  # the workshop's date has priority over any date from a host
        app.keep_day(int.from_bytes(value[4:], "little"))
    app.settings_stale = True
    return code
