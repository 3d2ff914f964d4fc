"""Handlers of the requests that are answered at any time, with the air on too: message number -> handler(link, values). A handler returns
0 after it has replied, or a refusal's code. All other requests are in `store_requests`.
"""

import sys

from rimward_protocol import codes, frame, layout, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING
from rimward_protocol.layouthash import LAYOUT_HASH

from rimward_fw import version
from rimward_fw.control import events

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

    from rimward_fw.link.connection import Link


def hello(link: "Link", values: "Record") -> int:
    """Compare the host's layout hash and answer with ours."""
    if values["protocol"] != codes.PROTOCOL_VERSION:
        link.error(replies.VERSION_DIFFERS, codes.PROTOCOL_VERSION)
        return 0
    if values["what"] == 1:
        if link.host_id not in (0, values["host_id"]):
            return replies.OTHER_HOST
        link.host_id = values["host_id"]
    link.opened = True
    flags = 1 if link.app.keys.enrolled() else 0
    flags |= 2 if link.app.BENCH else 0
    flags |= 4 if link.board.simulated else 0
    flags |= 8 if link.host_id == values["host_id"] else 0
    flags |= 16 if link.app.clock.unix_s() else 0
    flags |= 32 if link.app.engine.g[slots.G_CAUSE] else 0
    link.reply(
        codes.HELLO_IS,
        {
            "protocol": codes.PROTOCOL_VERSION,
            "profile": codes.PROFILE_VERSION,
            "session": codes.SESSION_VERSION,
            "flags": flags,
            "layout_hash": LAYOUT_HASH,
            "device_id": link.board.unique_id(),
            "board": link.board.NAME.encode(),
            "firmware": version.FIRMWARE.encode(),
            "interpreter": interpreter().encode()[:32],
            "boot": link.app.boots,
            "max_payload": frame.MAX_PAYLOAD,
        },
    )
    return 0 if values["layout_hash"] == LAYOUT_HASH else _differs(link, values["host_id"])


def status(link: "Link", values: "Record") -> int:
    """Answer with all fields of STATUS_IS."""
    link.reply(codes.STATUS_IS, link.app.status())
    return 0


def watch(link: "Link", values: "Record") -> int:
    """Subscribe to samples, full-rate blocks or nothing."""
    link.live_hz = min(50, max(1, values["rate_hz"])) if values["what"] & codes.WATCH_LIVE else 0
    link.stream = bool(values["what"] & codes.WATCH_TICKS)
    link.app.recorder.watched(link.live_hz, link.stream)
    return done(link, replies.OK)


def waiting(link: "Link", values: "Record") -> int:
    """Answer with the question that the display shows."""
    what, wheel, value = link.app.waiting()
    link.reply(codes.WAITING_IS, {"waiting": what, "wheel_id": wheel, "value": value})
    return 0


def bye(link: "Link", values: "Record") -> int:
    """End the host's hold and subscriptions."""
    link.done()
    link.opened = False
    link.let_go()
    return 0


def bench_beat(link: "Link", values: "Record") -> int:
    """Renew the bench's lease."""
    return done(link, link.app.beat(values))


def screen(link: "Link", values: "Record") -> int:
    """Answer with a quarter of the picture as last drawn, or with its texts."""
    view = link.app.interface.view
    part = values["part"]
    link.reply(
        codes.SCREEN_IS,
        {"part": part, "drawn": view.count, "name": view.name.encode(), "data": view.part(part)},
    )
    return 0


def setting_get(link: "Link", values: "Record") -> int:
    """Answer with a stored setting."""
    if layout.setting_row(values["number"]) is None:
        return replies.SETTING_UNKNOWN
    value, revision = link.app.store.setting_get(values["number"])
    link.reply(codes.SETTING_IS, {"number": values["number"], "revision": revision, "value": value})
    return 0


def set_time(link: "Link", values: "Record") -> int:
    """Set the clock, or answer with its time."""
    clock = link.app.clock
    before = clock.unix_s()
    if values["unix_s"] and not clock.set(values["unix_s"], values["zone_min"]):
        return replies.BAD_VALUE
    if values["unix_s"]:
        step = min(max(values["unix_s"] - before, -0x3FFFFFFF), 0x3FFFFFFF) if before else 0
        link.app.note(events.TIME_SET, 0, step)
    link.app.keep_day(max(clock.day(), link.app.day))
    link.reply(codes.TIME_IS, {"unix_s": clock.unix_s(), "zone_min": clock.zone_min})
    return 0


def cutoff(link: "Link", values: "Record") -> int:
    """Answer with the measurements of the independent cutoff."""
    c_pa, supply_mv, threshold, coil_mv = link.app.cutoff.figures()
    a_pa, b_pa = link.app.cutoff.pressures()
    switches = link.app.engine.x[slots.X_SW]
    flags = (
        (1 if link.board.cutoff_fresh() else 0)
        | (0 if switches & 8 else 2)
        | (4 if link.app.cutoff.button(threshold) else 0)
        | (8 if switches & 1 else 0)
    )
    row = {
        "flags": flags,
        "c_pa": c_pa,
        "a_pa": a_pa,
        "b_pa": b_pa,
        "supply_mv": max(0, supply_mv),
        "threshold_milli": min(max(0, threshold), 65535),
    }
    row.update(
        {
            "coil_mv": max(0, coil_mv),
            "cause": link.app.cutoff.refusal(),
            "opened_pa": link.app.cutoff.opened_pa,
            "fall_ms": link.app.cutoff.fall_ms & 0xFFFF,
        }
    )
    row["baseline_ms"] = link.app.cutoff.baseline_ms()
    link.reply(codes.CUTOFF_IS, row)
    return 0


def done(link: "Link", code: int) -> int:
    """Answer with the plain reply where a request is carried out or waits for a person."""
    if code in (replies.OK, replies.WAITING_FOR_PERSON):
        link.done(code)
        return 0
    return code


def interpreter() -> str:
    """Name the interpreter that runs this."""
    name = sys.implementation.name
    return name + " " + ".".join(str(part) for part in sys.implementation.version[:3])


def _differs(link: "Link", host_id: int) -> int:
    """Refuse a host whose layout hash differs: without the same layouts the conversation ends here."""
    link.opened = False
    if link.host_id == host_id:
        link.let_go()
    return 0


HANDLERS = {
    codes.HELLO: hello,
    codes.STATUS: status,
    codes.WATCH: watch,
    codes.WAITING: waiting,
    codes.BYE: bye,
    codes.BENCH_BEAT: bench_beat,
    codes.SCREEN: screen,
    codes.SETTING_GET: setting_get,
    codes.TIME: set_time,
    codes.CUTOFF: cutoff,
}
