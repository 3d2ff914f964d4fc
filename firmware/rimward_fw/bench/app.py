"""Proof bench: a firmware of its own, built from the inflator's by `rimward.kernels.bench`.

Differences: the guard's compiled ceilings and key position (same guard.py, constants of `bench.limits`), `bench_fill` in place of `fill`,
only bench profiles signed with the bench key, and a lease. A person behind the screen holds the run control; the host's heartbeats are an
additional condition. The tick counts the lease down, so a lost heartbeat stops the air and opens the vent in that tick, whatever the main
loop does.
"""

from array import array

from rimward_protocol import codes, profile, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import app as ordinary
from rimward_fw.bench.trace import PackedTrace
from rimward_fw.control import arming, configuration, cycle, phases
from rimward_fw.kernels import guard

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.shapes import App, Board


PLUG = 3  # both contacts of the id plug: bench hardware
CEILING_PA = 1_000_000  # compiled into its guard
BAND_PA = 16_000  # class bound of the bench's transducers: 1 % of 16 bar
LEASE_MOST_MS = 500
JOB_BENCH = 4
JOB_SERVICE = 5  # the vent stays closed during calibration of the bench; no air is requested
SERVICE_TICKS = 45 * 60 * 500  # then it opens again
HELD = 32768  # run contact closed, with or without a lease
BEAT = 16384  # lease running
RUN = 1
TICKS_S = 500

# 0 to 16 bar over 0.1 to 0.9 of the supply, coded as in `rig`.
GAIN = 15_625
OFF_VENTED = -200_000

# A line of 12 bar gauge through a restrictor of 0.02 dm3/(s bar): slow, so that a pulse is small beside a step. Share of it lost at
# absolute ratios 1 to 12 by ISO 6358 with critical ratio 0.3, in 1/1024. Our assumptions of the reference bench.
RIG = {
    "kind": configuration.LINE,
    "delivery": 0,
    "delivery_per_bar": 256,
    "delivery_percent": 15,
    "supply_pa": 1_200_000,
    "loss": (0, 0, 0, 0, 8, 30, 65, 116, 185, 277, 403, 592),
    "horizon": 23,
    "overrun": 9,
    "coast": 8,
    "drop": 820,
    "spin": 6,
    "manifold_ml": 110,
    "path": 5_000,
    "crack_pa": 0,
    "air_percent": 600,  # share of the fixture's content: the guard charges a short pulse in full
}

# Procedure: seat, limit, 110 % of the lower maximum, then steps. ISO 4210-2 (from memory) requires 110 % for 5 minutes.
SEAT_S = 60
LIMIT_S = 60
RETENTION_PERCENT = 110
RETENTION_S = 302  # so that every trace covers five whole minutes
STEP_PA = 25_000
STEP_S = 60
RAMP_PA_S = 5_000


def retention_pa(limit_pa: int) -> int:
    """110 % of the limit, rounded up: a test pressure must not fall short."""
    return -(-limit_pa * RETENTION_PERCENT // 100)


def limits(profile_values: "Record", here: "Record") -> tuple[int, list[int], list[int]]:
    """Slow words of guard and bench fill, as `arming.limits` gives them."""
    row = dict(profile_values)
    row["limit_pa"] = row[
        "ceiling_pa"
    ]  # during a test the guard's ceiling lies above the tested limit
    row["ref_temp_ck"] = here["t0_ck"]
    row["flags"] = 0
    code, x, y = arming.limits(row, RIG, here)
    # The gauge may read high by its whole band: 110 % is shown only where the reading less the band still reaches it.
    retention = retention_pa(profile_values["limit_pa"]) + x[slots.X_BAND_PA - slots.FAST_INPUTS]
    if not code and not (
        profile_values["seat_pause_pa"] <= profile_values["limit_pa"]
        and row["target_pa"] >= retention
    ):
        code = replies.PROFILE_TARGET
    if code:
        return code, x, y
    rise, conn = x[slots.X_RISE_PA - slots.FAST_INPUTS], x[slots.X_CONN - slots.FAST_INPUTS]
    stop = x[slots.X_CEIL_PA - slots.FAST_INPUTS] - x[slots.X_BAND_PA - slots.FAST_INPUTS]
    y = [
        JOB_BENCH,
        row["target_pa"],
        row["seat_pause_pa"],
        profile_values["limit_pa"],
        retention,
        STEP_PA,
    ]
    y += [
        SEAT_S * TICKS_S,
        LIMIT_S * TICKS_S,
        RETENTION_S * TICKS_S,
        STEP_S * TICKS_S,
        stop,
        RAMP_PA_S * 16 // TICKS_S,
        conn,
        rise,
    ]
    return code, x, y + [0] * (slots.WORDS_Y - slots.FILL_SLOW - len(y))


class BenchCycle(cycle.FillCycle):
    """One specimen. Each test is confirmed at the bench; temperature is neither asked nor changed there.

    While the service page is shown and no specimen is selected the vent is closed, so that a hand pump and a reference can
    calibrate the bench.
    """

    def __init__(self, app: "App") -> None:
        cycle.FillCycle.__init__(self, app)
        self.shut_at = (
            -1
        )  # tick at which the vent was closed for service; -1: the kernels control it

    def work(self) -> None:
        """Run one turn: the vent for service, then the ordinary cycle."""
        self._service()
        cycle.FillCycle.work(self)

    def _service(self) -> None:
        e = self.app.engine
        shown = self.app.interface.service and self.phase == phases.IDLE and not e.g[slots.G_CAUSE]
        if self.shut_at >= 0:
            late = (e.head - self.shut_at) & 0x3FFFFFFF > SERVICE_TICKS
            if not shown or late or e.g[slots.G_READ] - slots.BIAS_PA > CEILING_PA:
                self.app.interface.service = False
                self.shut_at = -1
                self.queue.append((slots.FIRST_Y_SLOT + slots.Y_JOB, 0))
        elif shown and not self.queue:
            self.shut_at = e.head
            self.queue.append((slots.FIRST_Y_SLOT + slots.Y_JOB, JOB_SERVICE))

    def choose(self, wheel: bytes, data: bytes, confirmed: bool) -> int:
        """Select a specimen; it is compared before every test."""
        cycle.FillCycle.choose(self, wheel, data, confirmed)
        self.phase = phases.ASK_WHEEL
        return replies.WAITING_FOR_PERSON

    def pressed(self, bits: int) -> None:
        """Handle a button press."""
        was = self.phase
        if was == phases.ARMED and self.state() == codes.READY:
            return
        cycle.FillCycle.pressed(self, bits)
        if was == phases.ASK_WHEEL and self.phase == phases.ASK_STOOD:
            self.arm(self.app.air_ck())

    def limits_here(self, here: "Record", seating: bool) -> tuple[int, list[int], list[int]]:
        """Slow words of the bench's kernels."""
        return limits(self.values, here)


class BenchApp(ordinary.App):
    """The inflator application as a proof bench."""

    BENCH = True
    GAIN = GAIN
    OFF_SEALED = OFF_VENTED + 101_325
    OFF_VENTED = OFF_VENTED
    BAND_PA = BAND_PA
    CYCLE = BenchCycle

    def __init__(self, board: "Board") -> None:
        self._beat = -1
        ordinary.App.__init__(self, board)
        self.engine.t[slots.T_LEASED] = 1
        recorder = self.recorder
        recorder.trace = PackedTrace()
        recorder.stores = (
            recorder.ring,
            recorder.first,
            recorder.trace,
        )  # the trace takes what is left

    def source(self, _value: bytes) -> "Record":
        """Return the bench's own line, whatever source setting is stored."""
        return RIG

    def take_profile(self, data: bytes) -> tuple[int, int, bytes]:
        """Accept only profiles signed with the bench key, with no ceiling above the compiled one."""
        code = self._fits(data)
        return (code, 0, b"") if code else ordinary.App.take_profile(self, data)

    def choose(self, wheel: bytes) -> int:
        """Select a stored specimen; there is no built-in one."""
        if getattr(self.board, "bench", PLUG) != PLUG:
            return replies.NOT_A_BENCH
        found = self.store.profile_get(wheel) if wheel != phases.NOBODY else None
        if wheel == phases.NOBODY:
            return replies.PROFILE_NOT_BENCH
        return (found and self._fits(found[0])) or ordinary.App.choose(self, wheel)

    def _fits(self, data: bytes) -> int:
        code = profile.check_profile(data, True)
        if not code and profile.ceiling_of(data) > CEILING_PA:
            code = replies.PROFILE_CEILING_ABOVE_RIG
        if not code and not profile.is_tagged(data):
            code = replies.TAG_WRONG if self.keys.enrolled() else replies.NO_KEY
        return code

    def beat(self, values: "Record") -> int:
        """Renew the lease on a heartbeat of the host that holds the bench."""
        if not self.link.host_id:
            return replies.OTHER_HOST
        if not 0 < values["lease_ms"] <= LEASE_MOST_MS:
            return replies.BAD_VALUE
        if (
            values["beat"] != self._beat
        ):  # the same heartbeat again, from some buffer, does not count
            self._beat = values["beat"]
            self.engine.t[slots.T_LEASE] = values["lease_ms"] // slots.TICK_MS
            if values["to_tick"]:
                self.recorder.trace.confirm(values["from_tick"], values["to_tick"])  # type: ignore[attr-defined]
        return replies.OK

    def _limits(self) -> tuple[int, int, int]:
        e = self.engine
        ceiling, stop, target = ordinary.App._limits(self)
        return ceiling, stop, e.f[slots.F_PT] or target


def built_right(kernel: "Any") -> bool:
    """Return True if this guard has the bench's ceiling compiled in: it accepts that ceiling as an input and none higher."""
    return _judges(kernel, CEILING_PA) and not _judges(kernel, CEILING_PA + 1)


def _judges(kernel: "Any", ceiling_pa: int) -> bool:
    g = array("i", [0] * slots.WORDS_G)
    x = array("i", [0] * slots.WORDS_X)
    kernel.boot(g)
    x[slots.X_CEIL_PA] = ceiling_pa
    kernel.step(g, x)
    return g[slots.G_CAUSE] != 33


def run(board: "Board") -> None:
    """Run as the inflator does; with a guard that is not the bench's, do nothing at all."""
    if not getattr(board, "maintenance", False) and not built_right(guard):
        board.off()
        board.last_words(
            ValueError("the guard of this firmware is not the bench's: build and install it again")
        )
        while True:
            board.idle()
    ordinary.run(board, BenchApp)
