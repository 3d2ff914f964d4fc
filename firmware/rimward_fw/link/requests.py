"""What each request does: message number -> handler. A handler gives 0 after it has replied, or a refusal's code."""

import sys

from rimward_protocol import codes, frame, layout, preset, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.layouthash import LAYOUT_HASH
from rimward_protocol.profile import label_ok

from rimward_fw import version
from rimward_fw.control import events, intake

_NOBODY = bytes(8)


def table(link):
    """The handlers of one link. Every request of the protocol is here, and nothing else."""
    app = link.app
    board = link.board

    def hello(values):
        if values["protocol"] != codes.PROTOCOL_VERSION:
            link.error(replies.VERSION_DIFFERS, codes.PROTOCOL_VERSION)
            return 0
        if values["what"] == 1:
            if link.host_id not in (0, values["host_id"]):
                return replies.OTHER_HOST
            link.host_id = values["host_id"]
        link.opened = True
        flags = 1 if app.keys.enrolled() else 0
        flags |= 2 if app.BENCH else 0
        flags |= 4 if board.simulated else 0
        flags |= 8 if link.host_id == values["host_id"] else 0
        flags |= 16 if app.clock.unix_s() else 0
        flags |= 32 if app.engine.g[slots.G_CAUSE] else 0
        link.reply(
            codes.HELLO_IS,
            {
                "protocol": codes.PROTOCOL_VERSION,
                "profile": codes.PROFILE_VERSION,
                "session": codes.SESSION_VERSION,
                "flags": flags,
                "layout_hash": LAYOUT_HASH,
                "device_id": board.unique_id(),
                "board": board.NAME.encode(),
                "firmware": version.FIRMWARE.encode(),
                "interpreter": interpreter().encode()[:32],
                "boot": app.boots,
                "max_payload": frame.MAX_PAYLOAD,
            },
        )
        return 0 if values["layout_hash"] == LAYOUT_HASH else _differs(link, values["host_id"])

    def status(values):
        link.reply(codes.STATUS_IS, app.status())
        return 0

    def profile_put(values):
        """Check and store a profile."""
        if app.enabled():
            return replies.BUSY_FILLING
        code, slot, digest = app.take_profile(values["profile"])
        if code not in (replies.OK, replies.WAITING_FOR_PERSON):
            return code
        link.reply(codes.PROFILE_STORED, {"code": code, "slot": slot, "sha256": digest})
        return 0

    def profile_list(values):
        """One stored profile, by its place in the list."""
        wheels = app.store.profile_list()
        index = values["index"]
        wheel = wheels[index] if index < len(wheels) else None
        return _profile(wheel, index, len(wheels))

    def profile_get(values):
        """The profile of a wheel."""
        wheels = app.store.profile_list()
        if values["wheel_id"] != _NOBODY and values["wheel_id"] not in wheels:
            return replies.NOT_FOUND
        return _profile(values["wheel_id"], 0xFFFF, len(wheels))

    def _profile(wheel, index, count):
        found = app.profile_of(wheel) if wheel is not None else None
        row = {"index": index, "count": count, "slot": 0, "flags": 0, "profile": b""}
        if found:
            row["profile"], row["slot"], row["flags"] = found
        link.reply(codes.PROFILE_IS, row)
        return 0

    def profile_delete(values):
        """Only after a person's yes."""
        wheel = values["wheel_id"]
        if app.enabled():
            return replies.BUSY_FILLING
        return _done(intake.ask_to_delete(app, wheel))

    def select(values):
        """Choose the wheel on the hose."""
        return _done(app.choose(values["wheel_id"]))

    def watch(values):
        link.live_hz = min(50, max(1, values["rate_hz"])) if values["what"] & codes.WATCH_LIVE else 0
        link.stream = bool(values["what"] & codes.WATCH_TICKS)
        app.recorder.watched(link.live_hz, link.stream)
        return _done(replies.OK)

    def session_list(values):
        rows = app.sessions()
        row = {"index": values["index"], "count": len(rows), "session": 0, "bytes": 0, "unix_s": 0, "cause": 0, "flags": 0}
        row["wheel_id"] = _NOBODY
        if values["index"] < len(rows):
            row.update(app.store.session_about(rows[values["index"]]))
        link.reply(codes.SESSION_IS, row)
        return 0

    def session_read(values):
        if values["session"] not in app.sessions():
            return replies.SESSION_UNKNOWN
        length = app.store.session_about(values["session"])["bytes"]
        if values["offset"] >= length:
            return replies.SESSION_PAST_END
        if not values["bytes"]:
            return replies.BAD_VALUE
        link.send_session(values["session"], values["offset"], min(length, values["offset"] + values["bytes"]))
        return 0

    def setting_get(values):
        """A setting as it is stored."""
        return _setting(values["number"])

    def _setting(number):
        if layout.setting_row(number) is None:
            return replies.SETTING_UNKNOWN
        value, revision = app.store.setting_get(number)
        link.reply(codes.SETTING_IS, {"number": number, "revision": revision, "value": value})
        return 0

    def setting_put(values):
        """Store a setting, where it need be after a person's yes."""
        if app.enabled():
            return replies.BUSY_FILLING
        code = app.take_setting(values["number"], values["value"])
        return _done(code) if code else _setting(values["number"])

    def faults(values):
        rows = app.store.trips()
        row = {"index": values["index"], "count": len(rows), "cause": 0, "state": 0, "boot": 0, "tick": 0, "session": 0, "unix_s": 0}
        row["value"] = 0
        if values["index"] < len(rows):
            row.update(rows[values["index"]])
        link.reply(codes.FAULT_IS, row)
        return 0

    def set_time(values):
        """Set the clock, or ask for its time."""
        before = app.clock.unix_s()
        if values["unix_s"] and not app.clock.set(values["unix_s"], values["zone_min"]):
            return replies.BAD_VALUE
        if values["unix_s"]:
            app.note(events.TIME_SET, 0, min(max(values["unix_s"] - before, -0x3FFFFFFF), 0x3FFFFFFF) if before else 0)
        app.keep_day(max(app.clock.day(), app.day))
        link.reply(codes.TIME_IS, {"unix_s": app.clock.unix_s(), "zone_min": app.clock.zone_min})
        return 0

    def key_enrol(values):
        """Take a key after a person's yes."""
        if app.enabled():
            return replies.BUSY_FILLING
        code = intake.ask_to_enrol(app, values["key"])
        return _key(code) if code in (replies.OK, replies.WAITING_FOR_PERSON) else code

    def key_ask(values):
        """Which key is in force: the beginning of its digest."""
        return _key(replies.OK)

    def _key(code):
        link.reply(codes.KEY_IS, {"code": code, "check": app.keys.check(), "wrong_tags": app.keys.wrong})
        return 0

    def preset_put(values):
        """Check and store a preset."""
        if app.enabled():
            return replies.BUSY_FILLING
        code, digest = intake.take_preset(app, values["preset"])
        if code:
            return code
        link.reply(codes.PRESET_STORED, {"code": code, "sha256": digest})
        return 0

    def preset_list(values):
        """One stored preset, by its place in the list."""
        held = app.store.presets.list()
        data = app.store.presets.get(held[values["index"]]) if values["index"] < len(held) else b""
        fits = 1 if data and preset.tag_fits(app.keys.key(), data) else 0
        link.reply(codes.PRESET_IS, {"index": values["index"], "count": len(held), "flags": fits, "preset": data or b""})
        return 0

    def preset_delete(values):
        """Remove a preset: it holds targets only."""
        return replies.BUSY_FILLING if app.enabled() else _done(intake.delete_preset(app, values["preset_id"]))

    def person(values):
        """Who fills: into every record until the host leaves."""
        name = values["name"].rstrip(b"\0")
        if name and not label_ok(name, 0, len(name)):
            return replies.BAD_VALUE
        app.person = name
        return _done(replies.OK)

    def waiting(values):
        what, wheel, value = app.waiting()
        link.reply(codes.WAITING_IS, {"waiting": what, "wheel_id": wheel, "value": value})
        return 0

    def bye(values):
        link.done()
        link.opened = False
        link.let_go()
        return 0

    def bench_beat(values):
        return _done(app.beat(values))

    def cutoff(values):
        """What the inflator sees of its independent cutoff."""
        c_pa, supply_mv, threshold, coil_mv = app.cutoff.figures()
        a_pa, b_pa = app.cutoff.pressures()
        switches = app.engine.x[slots.X_SW]
        flags = (1 if board.cutoff_fresh() else 0) | (0 if switches & 8 else 2) | (4 if app.cutoff.button(threshold) else 0) | (8 if switches & 1 else 0)
        row = {"flags": flags, "c_pa": c_pa, "a_pa": a_pa, "b_pa": b_pa, "supply_mv": max(0, supply_mv), "threshold_milli": min(max(0, threshold), 65535)}
        row.update({"coil_mv": max(0, coil_mv), "cause": app.cutoff.refusal(), "opened_pa": app.cutoff.opened_pa, "fall_ms": app.cutoff.fall_ms & 0xFFFF})
        row["baseline_ms"] = app.cutoff.baseline_ms()
        link.reply(codes.CUTOFF_IS, row)
        return 0

    def screen(values):
        """The picture as it was last drawn, a quarter at a time, or its texts."""
        view = app.interface.view
        part = values["part"]
        link.reply(codes.SCREEN_IS, {"part": part, "drawn": view.count, "name": view.name.encode(), "data": view.part(part)})
        return 0

    def _done(code):
        if code in (replies.OK, replies.WAITING_FOR_PERSON):
            link.done(code)
            return 0
        return code

    return {
        codes.HELLO: hello,
        codes.STATUS: status,
        codes.PROFILE_PUT: profile_put,
        codes.PROFILE_LIST: profile_list,
        codes.PROFILE_GET: profile_get,
        codes.PROFILE_DELETE: profile_delete,
        codes.SELECT: select,
        codes.WATCH: watch,
        codes.SESSION_LIST: session_list,
        codes.SESSION_READ: session_read,
        codes.SETTING_GET: setting_get,
        codes.SETTING_PUT: setting_put,
        codes.FAULTS: faults,
        codes.TIME: set_time,
        codes.KEY_ENROL: key_enrol,
        codes.WAITING: waiting,
        codes.BYE: bye,
        codes.BENCH_BEAT: bench_beat,
        codes.CUTOFF: cutoff,
        codes.SCREEN: screen,
        codes.PRESET_PUT: preset_put,
        codes.PRESET_LIST: preset_list,
        codes.PRESET_DELETE: preset_delete,
        codes.KEY_ASK: key_ask,
        codes.PERSON: person,
    }


def interpreter():
    """Which interpreter runs this, in words."""
    name = sys.implementation.name
    return name + " " + ".".join(str(part) for part in sys.implementation.version[:3])


def _differs(link, host_id):
    """The host saw our hash in HELLO_IS; without the same layouts the conversation goes no further."""
    link.opened = False
    if link.host_id == host_id:
        link.let_go()
    return 0
