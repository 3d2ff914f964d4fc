"""What comes in over the link to stay: profiles, presets, keys, settings. Checked, tagged with the key in force, newer than what was seen. Main loop only."""

import struct
from binascii import hexlify

from rimward_protocol import codes, layout, preset, profile, replies
from rimward_protocol.compat import sha256

from rimward_fw.control import events, sense
from rimward_fw.control.consent import setting_text
from rimward_fw.storage.wheels import loosened


def take_profile(app, data):
    """Check and store a profile: (code, slot, digest of what the store reads back). WAITING_FOR_PERSON: it is asked about before its first fill."""
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
    app.interface.chooser.close()  # read again when it is next shown
    return (replies.OK if sure else replies.WAITING_FOR_PERSON), slot, digest


def refused(app, code, message):
    """Record that something was refused; the answer that says so."""
    app.note(events.REFUSED, 0, code, message)
    return code, 0, b""


def ask_to_delete(app, wheel):
    """Name the deletion of a wheel's profile on the display. Gives a reply code."""
    found = app.store.profile_get(wheel)
    if not found:
        return replies.NOT_FOUND
    label = label_of(layout.unpack(layout.PROFILE, found[0]))
    return app.consent.ask(codes.WAIT_DELETE, "delete the profile of " + label, lambda: delete_profile(app, wheel), 0, wheel)


def ask_to_enrol(app, key):
    """Name a new key by its fingerprint on the display. OK for the one that is held already, else a reply code."""
    if len(key) != 32 or key == bytes(32):
        return refused(app, replies.BAD_VALUE, codes.KEY_ENROL)[0]
    if key == app.keys.key():
        return replies.OK
    text = "take the key " + hexlify(sha256(key)[:4]).decode()
    return app.consent.ask(codes.WAIT_ENROL, text, lambda: enrol(app, key))


def enrol(app, key):
    """Take a key that a person has confirmed. Gives a reply code."""
    code = app.keys.enrol(key)
    if code:
        return refused(app, code, codes.KEY_ENROL)[0]
    app.note(events.KEY_ENROLLED, 0, int.from_bytes(app.keys.check()[:3], "big"))
    return code


def label_of(values):
    """A label in the letters that the display has."""
    return profile.display_text(str(bytes(values["label"]).rstrip(b"\0"), "utf-8"))


def delete_profile(app, wheel):
    """Take a wheel's profile out. Gives a reply code."""
    if wheel == app.cycle.wheel:
        app.cycle.drop()
    row = app.store.wheels.row(wheel)
    code = app.store.profile_delete(wheel)
    if code == replies.OK:
        values = layout.unpack(layout.PROFILE, row.data)
        app.note(events.PROFILE_DELETED, 0, values["revision"], values["issue"])
        app.interface.chooser.close()
    return code


def take_preset(app, data):
    """Check and store a preset: (code, digest of what the store reads back)."""
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


def delete_preset(app, preset_id):
    """Take a preset out: it holds targets only, so no person is asked. Gives a reply code."""
    data = app.store.presets.get(preset_id)
    code = app.store.presets.delete(preset_id)
    if code == replies.OK and data:
        app.note(events.PRESET_DELETED, 0, layout.unpack(layout.PRESET, data)["issue"])
        app.interface.chooser.close()
    return code


def take_setting(app, number, value):
    """Check and store a setting; one that loosens something is named on the display first. Gives a reply code."""
    code = sense.sense(number, value)
    may = layout.setting_row(number)[1] if code == replies.OK else ""
    if may == "device":
        code = replies.SETTING_LOCKED
    elif may == "button" and app.store.setting_get(number)[0] != value:
        text = setting_text(number, struct.unpack(layout.setting_row(number)[0], value))
        code = app.consent.ask(codes.WAIT_SET, text, lambda: store_setting(app, number, value), number)
        if code == replies.WAITING_FOR_PERSON:
            return code
    return refused(app, code, codes.SETTING_PUT)[0] if code else store_setting(app, number, value)


def store_setting(app, number, value):
    """Store a setting and work with it from now on. Gives a reply code."""
    code = app.store.setting_put(number, value)
    if code:
        return refused(app, code, codes.SETTING_PUT)[0]
    app.note(events.SETTING_STORED, 0, number, app.store.setting_get(number)[1])
    if number == sense.GUARD_BAND:  # the workshop's date goes before whatever a host said
        app.keep_day(int.from_bytes(value[4:8], "little"))
    app.read_settings()
    app.cycle.reload(app.transducers)
    return code
