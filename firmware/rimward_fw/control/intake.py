"""What comes in over the link to stay: profiles and presets. Checked, tagged with the key in force, newer than what was seen. Main loop only."""

from rimward_protocol import codes, layout, preset, profile, replies
from rimward_protocol.compat import sha256

from rimward_fw.control import events
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


def delete_profile(app, wheel):
    """Take a wheel's profile out. Gives a reply code."""
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
