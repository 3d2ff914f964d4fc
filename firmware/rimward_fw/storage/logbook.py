"""The record of a cycle: how it is opened and closed."""

import struct

from rimward_protocol import codes, layout, session
from rimward_protocol.layouthash import LAYOUT_HASH

from rimward_fw import kernelhash, version
from rimward_fw.link.requests import interpreter
from rimward_fw.storage.recorder import Recorder

_SETTINGS = ((layout.META_CALIBRATION_A, 1), (layout.META_CALIBRATION_B, 2), (layout.META_GUARD_BAND, 3))


def recorder_of(app):
    """The recorder, hooked into the link."""
    recorder = Recorder(app.engine, app.board)
    link = app.link
    buf = link.encoder.payload  # a block that is pushed is sealed where its frame is made

    def push(message, kind, payload, length):
        buf[8 : 8 + length] = payload[:length]
        link.push(message, buf[: session.seal_block(buf, 0, kind, link.pushed, length)])

    recorder.push = push
    return recorder


def open_session(app, cycle):
    """Begins the record of a cycle."""
    number = app.store.session_new()
    engine = app.engine
    header = {
        "tick_us": codes.TICK_US,
        "layout_hash": LAYOUT_HASH,
        "kernel_hash": kernelhash.BENCH_KERNEL_HASH if app.BENCH else kernelhash.KERNEL_HASH,
        "device_id": app.board.unique_id(),
        "session": number,
        "boot": app.boots,
        "unix_s": app.clock.unix_s(),
        "words_g": len(engine.g),
        "words_x": len(engine.x),
        "words_f": len(engine.f),
        "words_y": len(engine.y),
    }
    here = (app.ambient_pa(), app.air_ck(), cycle.t0_ck, cycle.ceiling_pa, cycle.stop_pa)
    metas = [
        (layout.META_PROFILE, cycle.profile),
        (layout.META_BOARD, app.board.NAME.encode()),
        (layout.META_FIRMWARE, version.FIRMWARE.encode()),
        (layout.META_INTERPRETER, interpreter().encode()),
        (layout.META_CONDITIONS, struct.pack("<5i", *here)),
    ]
    if cycle.preset:
        metas.append((layout.META_PRESET, cycle.preset))
    if not any(cycle.wheel):  # what the person entered and confirmed takes the place of a profile
        metas.append((layout.META_UNREGISTERED, struct.pack("<IB", app.entry.printed_pa, 1)))
    if app.person:
        metas.append((layout.META_PERSON, app.person))
    for key, setting in _SETTINGS:
        value, _ = app.store.setting_get(setting)
        if value:
            metas.append((key, value))
    app.recorder.begin(number, session.seal_header(header), metas, app.keys.session_key())
    app.opened_s = app.clock.unix_s()


def close_session(app, cause):
    """Ends the record of a cycle."""
    about = {"unix_s": app.opened_s, "cause": cause, "flags": 1, "wheel_id": app.cycle.wheel}
    app.recorder.finish(cause, app.cycle.tyre_pa, about)
