"""The whole firmware on a board that exists only in memory: a line of bytes in, a line of bytes out, time by hand. Both interpreters."""

import gc

from rimward_fw.app import App
from rimward_fw.board import simulated_flash
from rimward_fw.ui import buttons
from rimward_protocol import codes, layout, messages
from rimward_protocol import kernel_slots as slots

A_ZERO = 6628  # transducer A at sea level, B at nothing
B_ZERO = 6554
SOUND_VIEW = (2400, 24000, 11935, 0)  # of the cutoff: C at nothing, 5 V, threshold, coil off


class Ended(Exception):
    """The firmware asked for a reset."""


class Board:
    """The small board interface. `incoming` is what the line still holds; `room` how many bytes the line takes a turn (None: all)."""

    NAME = "memory"
    simulated = True

    def __init__(self, folder=None):
        self.folder = folder
        self.incoming = bytearray()
        self.sent = []
        self.room = None
        self.switches = buttons.KEY_LOW
        self.ambient_pa = 101325
        self.air_ck = 29315
        self.pump_mv = 12000
        self.unix_s = 0
        self.ticks = 0
        self.holds = 0
        self.bits = 0
        self.air_ticks = 0
        self.most_read = 0
        self.most_writes = 0
        self._writes = 0
        self._engine = None

    def context(self, arrays):
        return arrays

    def set_pins(self, t):
        pass

    def start(self, engine, _tick):
        self._engine = engine

    def off(self):
        self.bits = 4

    def idle(self):
        """One tick."""
        if self._engine:
            x = self._engine.x
            x[slots.X_A] = A_ZERO + (self.ticks * 7 & 3)
            x[slots.X_B] = B_ZERO + (self.ticks * 5 & 7)
            x[slots.X_SW] = self.switches
            x[slots.X_LOAD] = 3
            x[slots.X_GAP] = 16
            x[slots.X_SUPPLY] = 78
            self.bits = self._engine.decide()
        self.ticks += 1
        if self.bits & (codes.OUT_GATE | codes.OUT_RELAY):
            self.air_ticks += 1
        self.most_writes = max(self.most_writes, self._writes)
        self._writes = 0

    commissioned = True

    def cutoff_words(self):
        return SOUND_VIEW

    def cutoff_fresh(self):
        return True

    def ticks_ms(self):
        return self.ticks * 2

    def now_us(self):
        return self.ticks * 2000

    def read(self, into):
        count = min(len(into), len(self.incoming))
        into[:count] = self.incoming[:count]
        self.incoming = self.incoming[count:]
        self.most_read = max(self.most_read, count)
        return count

    def write(self, view):
        self._writes += 1
        count = len(view) if self.room is None else min(self.room, len(view))
        if count:
            self.sent.append(bytes(view[:count]))
        return count

    def taken(self):
        """What the firmware has sent since the last call."""
        data = b"".join(self.sent)
        self.sent = []
        return data

    def show(self, frame):
        pass

    def beep(self, on):
        pass

    def reset_cause(self):
        return 1

    def remember(self, word):
        self.left = word

    def remembered(self):
        return 0

    def feed(self):
        pass

    def reset(self):
        raise Ended("reset")

    def hold(self):
        self.holds += 1
        return 0

    def let_go(self, state):
        pass

    def last_words(self, error):
        pass

    def random(self, count):
        return bytes(range(count))

    def unique_id(self):
        return b"memory00"

    def mount(self):
        return self.folder or simulated_flash.mount(None)


def running(board):
    """The firmware on this board, its tick running, KEY enrolled with the workshop button held."""
    from frames import KEY
    from rimward_protocol import replies

    app = App(board)
    app.start()
    switches, board.switches = board.switches, buttons.WORKSHOP
    turn(app)
    if app.keys.enrol(KEY) != replies.OK:
        raise AssertionError("no key enrolled")
    board.switches = switches
    turn(app)
    return app


def turn(app, turns=1):
    """Run as many turns of the main loop that reach the link."""
    for _ in range(turns):
        before = app.board.ticks
        while app.board.ticks - before < 5:
            app.work()


def drain(app, most=4000):
    """Run until the line is empty and nothing is left to send."""
    while most and (
        app.board.incoming
        or app.link._at < app.link._have
        or app.link._rest_at < app.link._rest_end
    ):
        turn(app)
        most -= 1


def profiles_of(app):
    """What the store holds: wheel id -> bytes."""
    return {wheel: app.store.profile_get(wheel)[0] for wheel in app.store.profile_list()}


def greeting(host_id=7, what=1, layout_hash=None, protocol=codes.PROTOCOL_VERSION):
    """The payload of HELLO."""
    row = {
        "protocol": protocol,
        "layout_hash": layout_hash or layout.layout_hash(),
        "what": what,
        "host_id": host_id,
    }
    return layout.pack(messages.payload_of(codes.HELLO), row)


def soak(seed, count, held=False):
    """Feed `count` damaged pieces to the firmware, with the run control held on request; return the observations.

    The air must stay off on any input: no button is pressed here.
    """
    from frames import Maker, base_profile
    from rimward_protocol import frame, profile

    board = Board()
    app = running(board)
    board.switches = buttons.KEY_LOW | (buttons.RUN if held else 0)
    board.incoming += frame.encode(codes.HELLO, 1, greeting())
    board.incoming += frame.encode(codes.PROFILE_PUT, 2, base_profile({"wheel_id": b"keepsafe"}))
    drain(app)
    kept = profiles_of(app)
    maker = Maker(seed)
    gc.collect()
    heap = least = most = _heap_free()
    worst_us = 0
    clock = _clock()
    for number in range(count):
        board.incoming += maker.next()
        if number % 64 == 0:
            board.incoming += b"\0" + frame.encode(codes.HELLO, 1, greeting())
        while board.incoming:
            board.sent = []
            begun = clock()
            turn(app)
            worst_us = max(worst_us, _since(clock, begun))
        if number % 1000 == 999:
            gc.collect()
            heap = _heap_free()
            least = min(least, heap)
    board.incoming += b"\0"
    drain(app)
    found = profiles_of(app)
    for wheel in found:
        if profile.check_profile(found[wheel]) != 0:
            raise AssertionError("a profile that fails its check is stored")
    if found[b"keepsafe"] != kept[b"keepsafe"]:
        raise AssertionError("a stored profile was changed")
    if board.air_ticks:
        raise AssertionError("air was let in")
    return {
        "pieces": count,
        "answered": app.link.frames,
        "dropped": app.link.decoder.dropped,
        "failures": app.link.failures,
        "profiles": len(found),
        "ticks": board.ticks,
        "most_read": board.most_read,
        "most_writes": board.most_writes,
        "heap_first": most,
        "heap_least": least,
        "heap_last": heap,
        "worst_turn_us": worst_us,
    }


def _heap_free():
    """Present state; the reported status may be two seconds old."""
    return gc.mem_free() if hasattr(gc, "mem_free") else 0


def _clock():
    import time

    return time.ticks_us if hasattr(time, "ticks_us") else lambda: time.monotonic_ns() // 1000


def _since(clock, begun):
    import time

    return time.ticks_diff(clock(), begun) if hasattr(time, "ticks_diff") else clock() - begun
