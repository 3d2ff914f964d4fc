"""Logbook: opens and closes the record of a cycle."""

import struct

from rimward_protocol import codes, layout, replies, session
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING
from rimward_protocol.layouthash import LAYOUT_HASH

from rimward_fw import kernelhash, version
from rimward_fw.control import events
from rimward_fw.link.requests import interpreter
from rimward_fw.storage.recorder import Recorder

if TYPE_CHECKING:
    from collections.abc import Callable

    from rimward_protocol.shapes import Buffer

    from rimward_fw.control.cycle import FillCycle
    from rimward_fw.shapes import App

_SETTINGS = (
    (layout.META_CALIBRATION_A, 1),
    (layout.META_CALIBRATION_B, 2),
    (layout.META_GUARD_BAND, 3),
)


def recorder_of(app: "App") -> "Recorder":
    """Return a recorder that pushes its blocks over the link."""
    recorder = Recorder(app.engine, app.board)
    link = app.link
    buf = link.encoder.payload  # a pushed block is sealed where its frame is built

    def push(message: int, kind: int, payload: "Buffer", length: int) -> None:
        """Push a block to the watching host."""
        buf[8 : 8 + length] = payload[:length]
        link.push(message, buf[: session.seal_block(buf, 0, kind, link.pushed, length)])

    recorder.push = push
    return recorder


NOTES = 8  # events noted in one turn of the main loop


def open_session(app: "App", cycle: "FillCycle") -> None:
    """Put the steps that open the record of a cycle before its other ones."""
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
    if not any(cycle.wheel):  # entered and confirmed values replace a profile
        metas.append((layout.META_UNREGISTERED, struct.pack("<IB", app.entry.printed_pa, 1)))
    if app.person:
        metas.append((layout.META_PERSON, app.person))
    for key, setting in _SETTINGS:
        value, _ = app.store.setting_get(setting)
        if value:
            metas.append((key, value))
    sealed = session.seal_header(header)
    steps = app.recorder.opening(number, sealed, metas, app.keys.session_key())
    cycle.steps[:0] = steps + [lambda: _note_earlier(app, cycle)]
    app.opened_s = app.clock.unix_s()


def _note_earlier(app: "App", cycle: "FillCycle") -> None:
    """Put the steps that note what happened before the record began, in the first record of this run the reason for the start."""
    rows = app.unrecorded.take()
    if not app.start_noted:
        app.start_noted = True
        rows.insert(0, (events.BOOT, 0, app.board.reset_cause(), app.cut_off))
    pieces = [rows[at : at + NOTES] for at in range(0, len(rows), NOTES)]
    cycle.steps[:0] = [_noting(app, piece) for piece in pieces]


def _noting(app: "App", rows: list[tuple[int, int, int, int]]) -> "Callable[[], None]":
    def note() -> None:
        for row in rows:
            app.recorder.note(*row)

    return note


def close_session(app: "App", cause: int) -> None:
    """Close the record of a cycle."""
    about = {"unix_s": app.opened_s, "cause": cause, "flags": 1, "wheel_id": app.cycle.wheel}
    app.recorder.finish(cause, app.cycle.tyre_pa, about)


def keep_trip(app: "App", cause: int) -> None:
    """Record a trip before anything else is written."""
    row = {"cause": cause, "state": app.cycle.state(), "boot": app.boots, "tick": app.engine.head}
    row.update(
        {
            "session": app.recorder.number,
            "unix_s": app.clock.unix_s(),
            "value": app.engine.g[slots.G_READ] - slots.BIAS_PA,
        }
    )
    app.board.remember(cause)  # in RAM that a reset preserves, until it is on flash
    if app.store.trip_add(row) == replies.OK:
        app.board.remember(0)
    app.note(events.TRIPPED, cause, app.engine.g[slots.G_READ] - slots.BIAS_PA)
