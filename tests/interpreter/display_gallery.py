"""On MicroPython: the real App with every situation a display can show, drawn by the real framebuf. Prints `screen turn hex` for each.

Situations are set in the kernels' own arrays and the cycle, with their real values; the display module then picks and draws by itself.
"""

import binascii

from rimward_fw import app
from rimward_fw.control import cycle
from rimward_fw.ui import buttons, display
from rimward_fw.ui.screens import turns
from rimward_protocol import causes, codes, kernel_words, layout, replies
from rimward_protocol import kernel_slots as slots

F, Y = kernel_words.FILL_STATE.index, kernel_words.FILL_INPUT.index
PROFILE = {
    "revision": 3, "issue": 3, "wheel_id": b"wheel001", "label": b"Ada front gravel", "rim_class": codes.RIM_TSS, "position": codes.POSITION_FRONT,
    "chuck": codes.CHUCK_PIN_OPEN, "limit_source": codes.LIMIT_RIM_MARKED, "tyre_width_dmm": 400, "bead_seat_mm": 622, "rim_width_dmm": 230,
    "flags": codes.FLAG_TUBELESS | codes.FLAG_RIDE_STATED, "volume_low_ml": 1800, "volume_ml": 2300, "limit_pa": 450000, "ceiling_pa": 427000, "target_pa": 250000,
    "seat_pause_pa": 200000, "ambient_min_pa": 90000, "temp_max_ck": 31315, "ref_temp_ck": 29315, "time_budget_s": 180, "made_days": 2425,
}  # fmt: skip


class Board:
    NAME = "gallery"
    simulated = True
    ambient_pa = 98912
    air_ck = 29165
    pump_mv = 12310
    unix_s = 0
    now = 0

    def __init__(self, folder):
        self.folder = folder
        self.frame = None

    def context(self, arrays):
        return arrays

    commissioned = True

    def cutoff_words(self):
        return 2400, 24000, 11935, 0

    def cutoff_fresh(self):
        return True

    def set_pins(self, t):
        pass

    def reset_cause(self):
        return 1

    def remember(self, word):
        self.left = word

    def remembered(self):
        return 0

    def feed(self):
        pass

    def ticks_ms(self):
        return self.now

    def show(self, frame):
        self.frame = bytes(frame)

    def hold(self):
        return 0

    def let_go(self, state):
        pass

    def off(self):
        pass

    def idle(self):
        pass

    def beep(self, on):
        pass

    def mount(self):
        return self.folder

    def unique_id(self):
        return b"gallery0"


def fresh(folder):
    """An inflator that holds two wheels, armed for the first one."""
    a = app.App(Board(folder))
    for number, label in ((1, b"Ada front gravel"), (2, b"Ada rear gravel"), (3, b"Borrowed road")):
        row = dict(PROFILE)
        row.update({"wheel_id": b"wheel00" + str(number).encode(), "label": label, "revision": 3})
        a.store.profile_put(layout.seal_profile(row), True)
    a.interface.chooser.close()
    a.cycle.values = layout.unpack(layout.PROFILE, layout.seal_profile(PROFILE))
    a.cycle.profile = layout.seal_profile(PROFILE)
    a.cycle.wheel = b"wheel001"
    a.engine.g[slots.G_READ] = slots.BIAS_PA
    a.engine.g[slots.G_FA] = a.engine.g[slots.G_FB] = slots.BIAS_PA << 4
    a.interface.work()
    return a


def armed(a, state, tyre=-1, read=0, cold=0):
    a.cycle.phase = cycle.ARMED
    a.cycle.ceiling_pa = 427000
    a.cycle.stop_pa = 417000
    a.cycle.t0_ck = 29165
    e = a.engine
    e.g[slots.G_CEIL], e.g[slots.G_BAND] = 427000, 10000
    e.y[Y("target_pa")] = 250000
    e.f[slots.F_STATE], e.f[F("tyre_pa")], e.f[F("cold")] = state, tyre, cold
    e.g[slots.G_READ] = slots.BIAS_PA + read


def over(a, cause, tyre=-1):
    armed(a, codes.STOPPED, tyre)
    a.cycle.phase = cycle.OVER
    a.cycle.cause = cause
    a.cycle.tyre_pa = tyre


def phase(a, number):
    a.cycle.phase = number
    a.cycle.t0_ck = 28915


def asks(a, name):
    over(a, causes.RELEASED, 200000)
    a.cycle.question = name


def seat(a):
    armed(a, codes.READY)
    a.cycle.seating = True
    a.engine.g[slots.G_CEIL] = 275000


def seat_done(a):
    seat(a)
    a.engine.f[slots.F_STATE] = codes.FILL_DONE


def why(a):
    armed(a, codes.READY)
    a.engine.x[slots.X_SW] = buttons.RUN
    a.engine.g[slots.G_WHY] = causes.RANGE_KEY_REFUSES


def trip(a, cause):
    a.engine.g[slots.G_CAUSE] = cause


def refused(a):
    over(a, causes.TARGET_ABOVE_STOP)
    a.refusal = replies.TARGET_ABOVE_STOP


def service(a):
    a.interface.service = True
    a.engine.t[slots.T_LOAD_MAX] = 5
    a.engine.x[slots.X_SW] = buttons.KEY_LOW
    a.engine.g[slots.G_FA] = a.engine.g[slots.G_FB] = slots.BIAS_PA << 4
    a.engine.g[slots.G_TEST] = 16000


def done(a):
    over(a, causes.TARGET_REACHED, 250400)
    a.cycle.losses.rate, a.cycle.losses.spread = 3100, 1300


def rest(a):
    a.interface.duty.ran_ms = 295000
    over(a, 0)
    a.cycle.question = "rest"


def let_go(a):
    phase(a, cycle.LOADING)
    a.engine.x[slots.X_SW] = buttons.RUN


def measuring(a, state, tyre=-1):
    armed(a, state, tyre, max(tyre, 0))
    a.cycle.measuring = True


def volume(a):
    armed(a, codes.ASKING, 150000, 150000)
    a.engine.f[slots.F_VOLUME] = 1800


class Pair:
    """A preset that is open, its front wheel filled already."""

    def __init__(self, code):
        self.code = code
        self.row = {"rider": b"Ida Quill" + bytes(15)}
        self.ends = [(380000, 427000), (390000, 427000)]
        self.done = [True, False]

    def reached(self):
        pass


def paired(a, code):
    a.interface.pair = Pair(code)


def consents(a):
    a.consent.ask(codes.WAIT_SET, "calibration A gain 1.007 offset -300 Pa", None)


def looser(a):
    a.cycle.old = (410000, 480000, 1100, 1200, codes.RIM_SS, 2, 1, 280, 622)
    phase(a, cycle.ASK_WHEEL)


def enters(a, step):
    a.cycle.wheel = cycle.NOBODY
    a.entry.begin()
    a.entry.step = step
    a.entry.printed_pa = 410000
    phase(a, cycle.ASK_WHEEL)


SITUATIONS = {
    "consent": consents,
    "looser": looser,
    "printed": lambda a: enters(a, codes.WAIT_PRINTED_MAXIMUM),
    "approval": lambda a: enters(a, codes.WAIT_APPROVAL),
    "target": lambda a: enters(a, codes.WAIT_TARGET),
    "choose": lambda a: None,
    "pair": lambda a: paired(a, 0),
    "no-pair": lambda a: paired(a, replies.NOT_FOUND),
    "new": lambda a: phase(a, cycle.ASK_WHEEL),
    "stood": lambda a: phase(a, cycle.ASK_STOOD),
    "cold": lambda a: phase(a, cycle.ASK_COLD),
    "loading": lambda a: phase(a, cycle.LOADING),
    "let-go": let_go,
    "ready": lambda a: armed(a, codes.READY),
    "added": lambda a: asks(a, "added"),
    "measure-ready": lambda a: measuring(a, codes.READY),
    "measure-done": lambda a: measuring(a, codes.STOPPED, 301200),
    "measured": lambda a: asks(a, "measured"),
    "seat-ready": seat,
    "seat-done": seat_done,
    "seat-next": lambda a: asks(a, "seat-next"),
    "seat-again": lambda a: asks(a, "seat-again"),
    "why": why,
    "test": lambda a: armed(a, codes.SELF_TEST),
    "filling": lambda a: armed(a, codes.FILLING, 183400, 201000),
    "bead": lambda a: armed(a, codes.SEAT_PAUSE, 199600, 199600),
    "volume": volume,
    "settle": lambda a: armed(a, codes.SETTLING, 256300, 256300, 250900),
    "bleed": lambda a: armed(a, codes.BLEEDING, 268000, 268000),
    "done": done,
    "unknown": lambda a: over(a, causes.TARGET_REACHED),
    "stopped": lambda a: over(a, causes.HOSE_OR_TYRE),
    "tripped": lambda a: trip(a, causes.RISING_WHILE_OFF),
    "refused": refused,
    "service": service,
    "rest": rest,
    "no-record": lambda a: asks(a, "no-record"),
}


def drawn(a):
    """Draw what is shown now: what it needs is read in turns of its own."""
    while a.interface.view.work():
        pass


def draw_all(folder):
    """Every screen in each of its turns."""
    for name in SITUATIONS:
        a = fresh(folder)
        SITUATIONS[name](a)
        for turn in range(len(turns(name))):
            a.board.now = turn * display.TURN_MS
            drawn(a)
            if a.interface.view.name != name:
                raise AssertionError((name, a.interface.view.name))
            print(name, turn, str(binascii.hexlify(a.board.frame), "ascii"))
    for name in ("maintenance", "no-store"):
        board = Board(folder)
        display.notice(board, name)
        print(name, 0, str(binascii.hexlify(board.frame), "ascii"))


LONGEST = {
    "label": b"Wwwwww front mmm",
    "tyre_width_dmm": 1300,
    "bead_seat_mm": 622,
    "rim_class": 0,
    "limit_pa": 900000,
    "ceiling_pa": 900000,
}


def longest(a):
    """The wheel, readings and counters as long as they can get, in psi."""
    a.cycle.values = dict(a.cycle.values)
    a.cycle.values.update(LONGEST)
    if a.interface.pair:
        a.interface.pair.row["rider"], a.interface.pair.ends, a.interface.pair.done = (
            b"Wwwwww wwww mmmm",
            [(900000, 900000)] * 2,
            [True, True],
        )
    a.cycle.ceiling_pa, a.cycle.stop_pa = 900000, 890000
    if a.cycle.losses.rate:
        a.cycle.losses.rate, a.cycle.losses.spread, a.cycle.losses.slow_leak = (
            60000,
            61000,
            True,
        )  # more than a host would call an interval
    a.cycle.tyre_pa = 897600 if a.cycle.tyre_pa >= 0 else -1
    e = a.engine
    e.g[slots.G_CEIL], e.y[Y("target_pa")], e.f[F("cold")] = 900000, 889000, 897600
    if e.f[F("tyre_pa")] >= 0:
        e.f[F("tyre_pa")] = 897600
    e.g[slots.G_READ] = slots.BIAS_PA + 897600
    e.t[slots.T_LOAD_MAX] = 255
    a.boots, a.board.ambient_pa, a.board.air_ck, a.board.pump_mv, a.cycle.t0_ck = (
        99999,
        103000,
        25315,
        14800,
        25315,
    )


def cut_texts(folder):
    """Print what does not fit, one a line: every screen and turn, bar first and psi first, with the longest values; every cause and refusal."""
    for psi in (False, True):
        for name in SITUATIONS:
            a = fresh(folder)
            a.interface.psi_first = psi
            SITUATIONS[name](a)
            longest(a)
            check_turns(a, name)
    for number, name in [
        (row[0], name) for row in causes_of_people() for name in ("why", "stopped", "tripped")
    ]:
        if (number, name) in ((causes.TARGET_REACHED, "stopped"), (causes.NO_PROFILE, "why")):
            continue  # these have screens of their own
        a = fresh(folder)
        SITUATIONS[name](a)
        if name == "why":
            a.engine.g[slots.G_WHY] = number
        elif name == "stopped":
            a.cycle.cause = number
        else:
            a.engine.g[slots.G_CAUSE] = number
        check_turns(a, name)
    for code in range(1, 128):
        a = fresh(folder)
        refused(a)
        a.refusal = code
        check_turns(a, "refused")


def causes_of_people():
    from rimward_protocol import reasons

    return [row for row in reasons.rows() if row[0] > 1]


def check_turns(a, name):
    from rimward_fw.ui import display_numbers as show

    for turn in range(len(turns(name))):
        a.board.now = turn * display.TURN_MS
        drawn(a)
        rows, _bars = a.interface.view.drawn
        if a.interface.view.name != name:
            print("not shown:", name, a.interface.view.name)
            return
        if rows[0][0] != "0" or len(rows) < 2:
            print("no title:", name, turn)
        for place, style, text in rows:
            if style == "w":
                below = [int(row[0]) for row in rows if row[0] > place and row[0] < "9"]
                cut = len(show.wrap(text, 16, 99)) > min(below + [8]) - int(place)
            elif style == "b":
                cut = 8 * len(text) * (3 if len(text) < 5 else 2) > display.PLACES["unit"][0]
            else:
                cut = len(text) > 16
            if cut or "{" in text or text.endswith(".."):
                print("cut:", name, turn, text)
    for line, _marked in a.interface.chooser.shown():
        if len(line) > 16:
            print("cut:", name, line)
