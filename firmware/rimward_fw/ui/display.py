"""Display content: selects the screen, fills in present values, draws only after a change. Main loop only."""

from rimward_protocol import causes, codes, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import rooms
from rimward_fw.control import phases as cycle
from rimward_fw.ui import buttons, display_facts, reason_facts
from rimward_fw.ui import display_numbers as show
from rimward_fw.ui.screens import turns

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from rimward_protocol.shapes import Buffer

    from rimward_fw.shapes import App, Board


try:
    import framebuf
except ImportError:  # missing on CPython: the firmware runs there without a picture
    framebuf = None

WIDTH = 128
TURN_MS = 2500
CHECK = "check tomorrow"
BAR_SPAN = 120
PLACES = {"big": (0, 11), "unit": (100, 14), "second": (0, 38), "bar": (0, 48)}
_KERNEL_SCREENS = {  # the others, but for those that go on below: filling
    codes.SELF_TEST: "test",
    codes.SEAT_PAUSE: "bead",
    codes.ASKING: "volume",
    codes.SETTLING: "settle",
    codes.LEAK_WATCH: "settle",
    codes.BLEEDING: "bleed",
    codes.STOPPED: "stopped",
}
_MORE = ("pair", "service", "tripped", "stopped", "refused", "why", "new", "looser", "ready")


def screen_of(app: "App") -> str:
    """Name of the screen to show."""
    v = app.cycle
    if app.engine.g[slots.G_CAUSE]:
        return "tripped"
    if app.consent.what:
        return "consent"
    if app.interface.service:
        return "service"
    if v.phase == cycle.OVER:
        return _over(app)
    if v.must_let_go():
        return "let-go"
    if v.phase == cycle.IDLE and app.interface.pair:
        code = app.interface.pair.code
        return "refused" if code == replies.TARGET_ABOVE_STOP else "no-pair" if code else "pair"
    if v.phase != cycle.ARMED:
        return (
            _asked(app)
            if v.phase == cycle.ASK_WHEEL
            else ("choose", "", "stood", "cold", "loading")[v.phase]
        )
    kernel = app.engine.f[slots.F_STATE]
    if v.measuring and kernel in (codes.FILL_DONE, codes.STOPPED):
        return "measure-done"
    if kernel == codes.FILL_DONE:
        return "seat-done" if v.seating else _done(app)
    if kernel > codes.READY and kernel != codes.TRIPPED:
        return _KERNEL_SCREENS.get(kernel, "filling")
    if app.engine.x[slots.X_SW] & buttons.RUN and app.engine.g[slots.G_WHY] > 1:
        return "why"
    return "seat-ready" if v.seating else "measure-ready" if v.measuring else "ready"


def _asked(app: "App") -> str:
    v = app.cycle
    if v.wheel == cycle.NOBODY:
        if app.entry.step == codes.WAIT_PRINTED_MAXIMUM:
            return "printed"
        return "approval" if app.entry.step == codes.WAIT_APPROVAL else "target"
    return "looser" if v.old else "new"


def _over(app: "App") -> str:
    v = app.cycle
    if v.question:
        return v.question
    if app.refusal:
        return "refused"
    return _done(app) if v.cause == causes.TARGET_REACHED else "stopped"


def _done(app: "App") -> str:
    return "done" if app.cycle.tyre_pa >= 0 else "unknown"


def fact(app: "App", name: str) -> str:
    """Value of a name used in a screen's text. Computed on demand: all of them ten times a second would take a third of the main loop's
    time.
    """
    e, v = app.engine, app.cycle
    if name == "label":
        return show.label(v.values["label"]) if v.values else ""
    if name in ("entry_bar", "entry_psi"):
        pa = app.entry.value()
        return (show.bar(pa) if name == "entry_bar" else show.psi(pa)) if pa else "--"
    if name == "request":
        return app.consent.text
    if name == "check":
        return "SLOW LEAK: look" if v.losses.slow_leak else CHECK
    if name == "loss":
        return (
            CHECK
            if v.losses.rate is None
            else show.loss(v.losses.rate, v.losses.spread, app.interface.psi_first)
        )
    if name == "ambient":
        return str(app.ambient_pa() // 1000)
    if name == "air":
        return show.celsius(app.air_ck()) if app.air_ck() else "?"
    if name == "cold":
        return show.celsius(v.t0_ck) if v.t0_ck else "?"
    if name == "wait":
        return str(app.interface.duty.wait_s())
    if name == "takes_l":
        return show.tenths(e.f[slots.F_VOLUME])
    if name == "wheel_l":
        return show.tenths(e.y[slots.Y_VOL_ML])
    psi = app.interface.psi_first
    tyre, read, ceiling, target = pressures(app)
    shown = tyre if tyre >= 0 else read
    if name == "unit":
        return "psi" if psi else "bar"
    if name == "big":
        return show.reading_psi(shown, ceiling) if psi else show.reading_bar(shown, ceiling)
    if name == "second":
        return show.reading(shown, not psi, ceiling) + ("" if tyre >= 0 else " hose")
    if name == "seen":
        return _seen(app, tyre, ceiling)
    if name == "read":
        return show.reading(read, psi, ceiling)
    if name == "cold_read":
        return show.reading(e.f[slots.F_COLD], psi, ceiling)
    if name == "doing":
        return "TO " + show.limit(target, psi) if tyre >= 0 else "TYRE UNKNOWN YET"
    if name[-1] == "2":
        name, psi = name[:-1], not psi
    if name == "ceil":
        return show.limit(ceiling, psi)
    if name == "target":
        return show.limit(target, psi)
    if name == "stop":
        return show.limit(ceiling - e.g[slots.G_BAND] if v.phase == cycle.ARMED else v.stop_pa, psi)
    if name == "limit":
        return show.limit(v.values["limit_pa"], psi)
    raise KeyError(name)


def _seen(app: "App", tyre: int, ceiling: int) -> str:
    """Return what is known of the tyre: its pressure, its range behind a closed core, or how far the hose went without a tyre's being seen."""
    psi, values, e = app.interface.psi_first, app.cycle.values, app.engine
    if tyre < 0:
        if e.f[slots.F_REASON] == causes.NOT_SEEN:
            return "hose " + show.reading(e.g[slots.G_READ] - slots.BIAS_PA, psi, ceiling)
        return "tyre unknown"
    if values and values["chuck"] == codes.CHUCK_PRESSURE_OPEN:
        return "tyre " + show.between(tyre, psi)
    return "tyre " + show.reading(tyre, psi, ceiling)


def pressures(app: "App") -> tuple[int, int, int, int]:
    """Return tyre (-1 unknown), reading, ceiling and target (0: none in force), Pa."""
    e, v = app.engine, app.cycle
    live = v.phase == cycle.ARMED
    ceiling = e.g[slots.G_CEIL] if live and e.g[slots.G_CEIL] else v.ceiling_pa
    left = not live or e.f[slots.F_STATE] == codes.FILL_DONE  # as it was left, chuck on or off
    return (
        v.tyre_pa if left else e.f[slots.F_TYRE_PA],
        e.g[slots.G_READ] - slots.BIAS_PA,
        ceiling,
        e.y[slots.Y_TARGET_PA] if live else 0,
    )


def lengths(app: "App") -> tuple[int, int]:
    """Return bar lengths in points: present reading and target."""
    tyre, read, ceiling, target = pressures(app)
    return meter(tyre if tyre >= 0 else read, ceiling), meter(target, ceiling)


def filled(text: str, app: "App", more: dict[str, str]) -> str:
    """Replace {names} in a text by `more`, else by `fact`."""
    parts = text.split("{")
    for i in range(1, len(parts)):
        name, rest = parts[i].split("}")
        parts[i] = (more[name] if name in more else fact(app, name)) + rest
    return "".join(parts)


class DisplayView:
    """Display of one App; `work` ten times a second."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.frame = bytearray(WIDTH * 8)
        self.canvas: "Any" = (
            framebuf.FrameBuffer(self.frame, WIDTH, 64, framebuf.MONO_VLSB) if framebuf else None
        )
        self.drawn: "Any" = None
        self.name = ""
        self.count = 0  # pictures drawn, counted for hosts that show them
        self._since = 0
        self._extra: dict[str, str] = {}
        self._turns: "list[Any]" = []

    def work(self) -> bool:
        """Draw the present state if it differs from the picture. Return True if texts or a module had to be read first: another turn draws."""
        if self.canvas is None:
            return False
        now = self.app.board.ticks_ms()
        name = screen_of(self.app)
        if name != self.name:
            self.name = name
            self._since = now
            self._extra = {}
            self._turns = turns(name)
            return True
        if name in _MORE and name not in reason_facts.NAMES and not self._extra:
            if not rooms.ready(rooms.DISPLAY_FACTS):
                return True
        table = self._turns[(now - self._since) // TURN_MS % len(self._turns)]
        more = self._more(name)
        rows = [(place, style, filled(text, self.app, more)) for place, style, text in table]
        if self.app.BENCH:
            rows = [
                (place, style, show.whole("BENCH " + text) if place == "0" else text)
                for place, style, text in rows
            ]
        bars = lengths(self.app)
        picked = (rows, bars if name != "choose" else self.app.interface.chooser.shown())
        if picked != self.drawn:
            self.drawn = picked
            draw(self.canvas, rows, bars, self.app.interface.chooser.shown())
            self.count = self.count % 0xFFFF + 1
            self.app.board.show(self.frame)
        return False

    def part(self, number: int) -> "Buffer":
        """Return a quarter of the picture (0 to 3), or its texts line by line (4)."""
        if number < 4:
            return memoryview(self.frame)[256 * number : 256 * number + 256]
        rows = self.drawn[0] if self.drawn else ()
        lines = []
        for _place, style, text in sorted(rows, key=_height):
            lines += (
                [row[0] for row in self.app.interface.chooser.shown()] if style == "l" else [text]
            )
        return "\n".join([line for line in lines if line]).encode()

    def _more(self, name: str) -> dict[str, str]:
        """Texts that are costly to fetch: once for each screen, on the service page every time."""
        if name in _MORE and (name == "service" or not self._extra):
            self._extra = (
                reason_facts.reason_facts(self.app, name)
                if name in reason_facts.NAMES
                else display_facts.facts_of(self.app, name)
            )
        return self._extra


def _height(row: tuple[str, str, str]) -> int:
    return PLACES[row[0]][1] if row[0] in PLACES else 8 * int(row[0])


def draw(
    canvas: "Any", rows: list[tuple[str, str, str]], meter: tuple[int, int], listed: "Sequence[Any]"
) -> None:
    """Draw one table onto the canvas."""
    canvas.fill(0)
    for place, style, text in rows:
        x, y = PLACES[place] if place in PLACES else (0, 8 * int(place))
        if style == "b":
            big(canvas, text, x, y, 3 if len(text) < 5 else 2)
        elif style == "g":
            gauge(canvas, y, meter)
        elif style == "w":
            below = [int(row[0]) for row in rows if row[0] > place and row[0] < "9"]
            for i, line in enumerate(show.wrap(text, 16, min(below + [8]) - int(place))):
                canvas.text(line, 0, y + 8 * i)
        elif style == "l":
            for i, (line, marked) in enumerate(listed):
                _line(canvas, line, y + 8 * i, marked)
        else:
            _line(
                canvas, text, y, style == "i", x if style != "c" else (WIDTH - 8 * len(text)) // 2
            )


def _line(canvas: "Any", text: str, y: int, inverted: bool, x: int = 0) -> None:
    if inverted:
        canvas.fill_rect(0, y, WIDTH, 8, 1)
    canvas.text(text, x, y, 0 if inverted else 1)


def big(canvas: "Any", text: str, x: int, y: int, scale: int) -> None:
    """Draw text enlarged from the built-in font."""
    columns = bytearray(8 * len(text))  # one byte a column, top point in the lowest bit
    framebuf.FrameBuffer(columns, len(columns), 8, framebuf.MONO_VLSB).text(text, 0, 0)
    for bits in columns:
        top = y
        while bits:
            run = 0
            while bits & 1:
                run += scale
                bits >>= 1
            if run:
                canvas.fill_rect(x, top, scale, run, 1)
            top += run + scale
            bits >>= 1
        x += scale


def meter(pa: int, ceiling_pa: int) -> int:
    """Bar length of a pressure in points; full length at the ceiling and above."""
    return min(max(pa, 0) * BAR_SPAN // ceiling_pa, BAR_SPAN) if ceiling_pa > 0 else 0


def gauge(canvas: "Any", y: int, lengths: tuple[int, int]) -> None:
    """Draw a bar from zero to the ceiling with a mark at the target."""
    length, mark = lengths
    canvas.rect(0, y, WIDTH, 7, 1)
    canvas.fill_rect(2, y + 2, length, 3, 1)
    canvas.vline(2 + mark, y - 2, 11, 1)
    canvas.vline(2 + BAR_SPAN, y, 7, 1)


def notice(board: "Board", name: str) -> None:
    """Show one fixed screen, sent completely: for a board that cannot run."""
    if framebuf is None:
        return
    frame = bytearray(WIDTH * 8)
    canvas = framebuf.FrameBuffer(frame, WIDTH, 64, framebuf.MONO_VLSB)
    draw(canvas, turns(name)[0], (0, 0), ())
    board.show(frame)
    for _ in range(40):
        board.idle()
