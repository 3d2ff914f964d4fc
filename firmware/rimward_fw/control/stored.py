"""What flash and the RAM that a reset preserves hold for a start: the settings, and how the last run ended."""

import struct

from rimward_protocol import codes
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import sense
from rimward_fw.control.phases import NOBODY

if TYPE_CHECKING:
    from rimward_fw.shapes import App


def read_settings(app: "App") -> None:
    """Read the settings. Unset values use the conservative default."""
    setting = app.store.setting_get
    app.hardware = app.source(setting(sense.SOURCE)[0])
    app.transducers = {}
    for side, number, off in (("a", 1, app.OFF_SEALED), ("b", 2, app.OFF_VENTED)):
        value = setting(number)[0]
        gain, offset = struct.unpack_from("<ii", value, 0) if len(value) >= 8 else (65536, 0)
        app.transducers["gain_" + side] = (app.GAIN * gain + 32768) >> 16
        app.transducers["off_" + side] = ((off * gain + 32768) >> 16) + offset
    app.band_pa = app.BAND_PA
    app.band_day = 0
    # latest known day: the clock is lost with the power, the age of a calibration is not
    app.day = app.store.number("day")
    value = setting(sense.GUARD_BAND)[0]
    if len(value) == 8:
        app.band_pa, app.band_day = struct.unpack("<iI", value)
    app.interface.settings(setting(sense.BUZZER)[0], setting(sense.UNIT)[0])
    value = setting(sense.BAROMETER)[0]
    app.baro_offset = struct.unpack("<i", value)[0] if len(value) == 4 else 0
    value = setting(sense.AIR)[0]
    app.air_offset = struct.unpack("<h", value)[0] if len(value) == 2 else 0


def end_last_run(app: "App") -> int:
    """Record a trip of the last run that only RAM kept. Return the number of a session that was cut off, or 0."""
    cause = app.board.remembered()
    if cause:
        row = {"cause": cause, "state": codes.IDLE, "boot": app.boots - 1, "tick": 0}
        row.update({"session": 0, "unix_s": 0, "value": 0})
        app.store.trip_add(row)
        app.board.remember(0)
    numbers = app.store.sessions.unfinished()
    for number in numbers:
        app.store.session_end(number, {"unix_s": 0, "cause": 0, "flags": 0, "wheel_id": NOBODY})
        app.board.feed()
    return numbers[0] if numbers else 0
