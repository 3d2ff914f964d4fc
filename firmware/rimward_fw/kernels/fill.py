"""The fill: would it like air?  One pure integer step, called once a tick before the guard, which alone decides.

`step(f, y)` reads the inputs `y`, updates the state `f` and returns 1 WANT, 2 VENT, 4 BEEP. Same subset as the guard: int32 arrays, no
loops, no floats, no value past 30 bits; `//` only by what is positive. Pressures are gauge pascal, air is counted in 1/1024 mL of free
air (1/16 of the guard's unit).

The tyre's air is hot while it is filled. `eg` is how far it reads over what it would read at the casing's temperature, `thc` how far the
casing is over the room (2^-24 of T0); `cold` is the tyre less both: what remains, and what is compared with the target.

Parts: `fill_air` counts air, `fill_tyre` follows the tyre, `fill_find` finds and learns it, `fill_flow` has the states that want air. A
private constant is inlined in its own module only, so each part has those it needs; on the board all are one file.
"""

from rimward_protocol.compat import const, ptr32

from rimward_fw.kernels.fill_find import _go, _hides, _learn, _stop
from rimward_fw.kernels.fill_flow import _measure, _plan, _pulse
from rimward_fw.kernels.fill_numbers import _least, _most
from rimward_fw.kernels.fill_tyre import _compare, _drained, _final, _first_sight, _heat, _look, _see

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_OUT = const(2)
_SW = const(3)
_WHY = const(4)
_CAUSE = const(5)
_JOB = const(6)
_TARGET = const(7)
_SEAT = const(8)
_VOL = const(9)
_VOL_TOL = const(10)
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_D0 = const(13)  # delivery in 1/1024 mL a tick, and its loss with pressure
_D1 = const(14)
_KIND = const(15)  # 0 compressor, 1 line
_STOP_PA = const(16)
_COAST = const(17)
_CONN = const(18)
_WATCH = const(20)
_CRACK = const(21)
_COOL = const(22)  # Pa of loss in 8 ticks = eg * COOL / absolute pressure
_CASING = const(23)  # 2^-32 of T0 that the casing warms for each Pa lost
_SPIN = const(24)
_D2 = const(25)
_DROP_0 = const(26)  # strength of the flow drop until it is learnt
_RISE = const(27)  # what the guard keeps under the stop reading
_MANIFOLD = const(28)  # mL
_PATH = const(29)  # air a tick through hose and core, choked: (absolute pressure >> 8) * PATH >> 8

_S_RUN = const(1)
_S_CONFIRM = const(64)
_S_BLEED = const(128)
_S_STOP = const(256)
_G_ON = const(3)  # gate and relay: in the self-test each is opened alone
_G_READY = const(16)
_G_TESTING = const(32)
_WANT = const(1)
_VENT = const(2)
_BEEP = const(4)

# States, as FILL_STATES of the protocol.
_IDLE = const(0)
_READY = const(1)
_SELF_TEST = const(3)
_PURGE = const(4)
_MEASURING = const(5)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_SETTLING = const(8)
_PROBING = const(9)
_TOPPING_UP = const(10)
_BLEEDING = const(11)
_LEAK_WATCH = const(12)
_DONE = const(13)
_STOPPED = const(14)
_TRIPPED = const(15)

# State f.
_STATE = const(0)
_REASON = const(1)
_TYRE = const(2)  # what may be shown; -1 unknown
_CONN_F = const(3)
_JOB_F = const(4)
_CNT = const(5)  # ticks in this state
_PT = const(6)  # tyre, hot
_PT_OLD = const(7)
_EG = const(8)
_THC = const(9)
_COLD = const(10)
_SLOW = const(11)  # slow filter of the mean, * 16
_FLOW = const(12)  # slow filter of the air a tick, * 256
_SPEED = const(13)  # of the source, 16384 = full
_AIR = const(14)
_AIR_0 = const(15)  # at the start of this pulse
_AIR_REF = const(16)  # where the learning of the volume began
_COLD_REF = const(17)
_GAIN = const(18)  # Pa for a unit of air: cold = (air >> 8) * gain >> 8
_GOAL = const(19)  # air of this pulse
_STAGE = const(20)  # cold pressure at which this run ends
_DROP_K = const(21)  # strength of the flow drop
_DROP = const(22)
_SNAP = const(23)  # reading, flow and air as the gate closed
_SNAP_FLOW = const(24)
_SNAP_AIR = const(25)
_ON = const(26)
_OFF = const(27)
_SEEN = const(28)
_KNEE = const(29)  # the core is open in this pulse
_SEATED = const(30)
_TOPS = const(31)
_LEARNT = const(32)
_BEAT = const(33)
_CHOP = const(34)
_PROBED = const(35)
_VOLUME = const(36)  # learned, mL; 0 unknown
_RUN_F = const(37)
_BLEED_N = const(38)
_WATCH_REF = const(39)
_REF_OK = const(42)  # the reference was read at rest
_BASE = const(40)
_PEAK = const(41)
_CALM = const(43)
_PULSE = const(44)  # ticks of the last pulse; 0: it was a probe, which leaves warm air in the manifold that tells nothing
_EG_REF = const(45)  # heat and pressure as the watch began, 0 once they were compared
_PT_REF = const(46)
_EG_START = const(47)  # heat and pressure as this pulse began, and what is left of that heat
_EG_OLD = const(48)
_PT_START = const(49)
_SUPPLIED = const(50)  # air from the source; of a line not all of it has reached the tyre
_SUPPLIED_REF = const(51)
_SUPPLIED_0 = const(52)  # at the start of this pulse
_GAIN_S = const(53)  # Pa for a unit of air from a line's valves, manifold included
_SKIN = const(54)  # heat that this tyre loses, 1024 = as its volume says
_SENS = const(55)  # how far `eg` would lie lower had the loss been twice as much
_LOOK = const(56)  # pressure as a long rest began, 0 none, -1 done
_LOST = const(57)  # what the tyre should have lost since
_LIFT = const(58)  # how far the shortest burst lifts the manifold alone

# Of this part.
_FLAT_PA = const(8_000)  # below this a reading is no tyre
_NOTHING_PA = const(1_500)
_LATE_PA = const(2_800)
_LEAK_PA = const(4_000)
_BLEED_MIN = const(5)  # what stands in the manifold goes with every opening


def _begin(f, y):
    """A new connection or wheel: nothing is known of the tyre (G7)."""
    f[_CONN_F] = y[_CONN]
    f[_JOB_F] = y[_JOB]
    f[_STATE] = _IDLE if y[_JOB] == 0 else _READY
    f[_REASON] = 0
    f[_TYRE] = -1
    f[_SEEN] = 0
    f[_LEARNT] = 0
    f[_SEATED] = 0
    f[_TOPS] = 0
    f[_PROBED] = 0
    f[_REF_OK] = 0
    f[_VOLUME] = 0
    f[_CNT] = 0
    f[_PT] = 0
    f[_PT_OLD] = 0
    f[_EG] = 0
    f[_THC] = 0
    f[_COLD] = 0
    f[_AIR] = 0
    f[_AIR_0] = 0
    f[_AIR_REF] = 0
    f[_SUPPLIED] = 0
    f[_SUPPLIED_REF] = 0
    f[_SUPPLIED_0] = 0
    f[_PULSE] = 1
    f[_EG_REF] = 0
    f[_EG_START] = 0
    f[_EG_OLD] = 0
    f[_PT_START] = 0
    f[_RUN_F] = 0
    f[_CALM] = 0
    f[_BEAT] = 0
    f[_COLD_REF] = 0
    f[_KNEE] = 0
    f[_CHOP] = 0
    f[_SPEED] = 0
    f[_FLOW] = 0
    f[_ON] = 0
    f[_OFF] = 0
    f[_SLOW] = y[_MEAN] << 4
    f[_DROP_K] = y[_DROP_0]
    f[_GAIN] = y[_AMBIENT] * 64 // y[_VOL] if y[_VOL] > 0 else 0
    f[_GAIN_S] = y[_AMBIENT] * 64 // (y[_VOL] + y[_MANIFOLD]) if y[_VOL] > 0 else 0
    f[_SKIN] = 1024
    f[_SENS] = 0
    f[_LOOK] = 0
    f[_LOST] = 0
    f[_LIFT] = 0
    f[_BLEED_N] = _BLEED_MIN


def _rest(f, y):
    """States without flow. Returns fill's bits."""
    s = f[_STATE]
    if s == _SETTLING:
        if y[_KIND] != 0 and y[_CHUCK] != 0 and _hides(f, y) != 0:
            return _stop(f, 50)
        if _look(f, y) == 0 and _drained(f, y) != 0:
            if f[_CNT] < 400 or (f[_CNT] & 127) == 0:
                if y[_MEAN] < _NOTHING_PA and f[_OFF] < 400:
                    f[_SEEN] = 0  # what the pulse raised is gone: the hose is open
                    _stop(f, 51)
                elif (f[_PULSE] != 0 or y[_CHUCK] == 0) and _learn(f, y) == 0:
                    _stop(f, 48)
                else:
                    _plan(f, y)
    elif s == _SEAT_PAUSE:
        if y[_SW] & _S_CONFIRM != 0:
            f[_SEATED] = 1
            _go(f, _READY)
        return _BEEP if f[_CNT] < 100 else 0
    elif s == _LEAK_WATCH:
        if f[_PROBED] != 0:
            _go(f, _DONE)
        elif y[_CHUCK] == 0 and f[_COLD] < f[_WATCH_REF] - _LEAK_PA:
            _stop(f, 50)
        elif y[_CHUCK] == 0 and (f[_CNT] & 63) == 63 and y[_JOB] != 3:
            _compare(f)
            if f[_EG_REF] == 0 and _final(f, y) < y[_TARGET] - _LATE_PA and y[_SW] & _S_RUN != 0:
                _plan(f, y)
        elif f[_CNT] >= y[_WATCH]:
            if y[_CHUCK] != 0 and y[_SW] & _S_RUN != 0 and y[_JOB] != 3:
                f[_PROBED] = 1
                f[_AIR_0] = f[_AIR]
                f[_SUPPLIED_0] = f[_SUPPLIED]
                f[_KNEE] = 0
                f[_CHOP] = 0
                f[_CALM] = 0
                f[_BASE] = y[_MEAN]
                _go(f, _PROBING)
            else:
                _go(f, _DONE)
        return _BEEP if f[_CNT] < 50 else 0
    return 0


def _bleed(f, y):
    """Lets air out in timed openings, each as long as the last one showed to be needed; only through a held-open core."""
    if y[_SW] & _S_BLEED == 0:
        _stop(f, 49)
        return 0
    if f[_CNT] <= f[_BLEED_N]:
        return _VENT
    if f[_CNT] < f[_BLEED_N] + 100:
        return 0
    fell = _most(f[_PT] - y[_MEAN], 160)
    f[_EG] = f[_EG] - fell * 410 // 1434  # what leaves cools what stays
    f[_PT] = y[_MEAN]
    f[_PT_OLD] = y[_MEAN]
    f[_COLD] = f[_PT] - f[_EG]
    excess = f[_COLD] - y[_TARGET]
    f[_CNT] = 0
    if excess <= 1_000:
        f[_WATCH_REF] = f[_COLD]
        f[_EG_REF] = 0
        f[_REASON] = 0
        f[_PROBED] = 0
        _go(f, _LEAK_WATCH)
    more = f[_BLEED_N] * (_least(_most(excess, 0), 50_000) >> 4) // (fell >> 4)
    f[_BLEED_N] = _least(_least(_most(more, _BLEED_MIN), f[_BLEED_N] * 3), 1500)
    return 0


def _decide(f, y):
    """The state machine. Returns fill's bits."""
    f[_CNT] = _least(f[_CNT] + 1, 32000)
    s = f[_STATE]
    run = y[_SW] & _S_RUN
    fresh = 1 if run != 0 and f[_RUN_F] == 0 else 0
    f[_RUN_F] = run
    if y[_CAUSE] != 0:
        f[_REASON] = y[_CAUSE]
        f[_SEEN] = 0
        _go(f, _TRIPPED)
        return 0
    if s == _TRIPPED:
        f[_REASON] = 0
        _go(f, _READY)
        return 0
    if y[_SW] & _S_STOP != 0 and s != _IDLE and s != _DONE and s != _STOPPED:
        _stop(f, 53 if s == _SEAT_PAUSE else 1)
        return 0
    if s == _READY or s == _SELF_TEST:
        if run == 0:
            f[_STATE] = _READY
        elif y[_OUT] & _G_READY != 0:
            f[_REASON] = 0
            _go(f, _MEASURING)
        elif y[_OUT] & _G_TESTING != 0:
            f[_STATE] = _SELF_TEST
        return 0
    if s == _STOPPED:
        if y[_SW] & _S_BLEED != 0 and f[_REASON] == 49 and y[_CHUCK] == 0:
            f[_PT] = y[_MEAN]
            f[_PT_OLD] = y[_MEAN]
            f[_BLEED_N] = _BLEED_MIN
            _go(f, _BLEEDING)
        elif fresh != 0 and f[_REASON] != 48:
            f[_TOPS] = 0
            _go(f, _READY)
        return 0
    if s == _BLEEDING:
        return _bleed(f, y)
    if run == 0 and s != _SETTLING and s != _SEAT_PAUSE and s != _LEAK_WATCH and s != _DONE and s != _IDLE:
        f[_REASON] = 1
        _go(f, _READY)
        return 0
    if s == _MEASURING:
        _measure(f, y)
        return 0
    if s == _PURGE or s == _FILLING or s == _TOPPING_UP or s == _PROBING:
        if f[_SEEN] == 0 and y[_CHUCK] == 0 and y[_MEAN] > _FLAT_PA and f[_ON] > 10:
            f[_KNEE] = 1
            _first_sight(f, y, 0)
        return _pulse(f, y)
    return _rest(f, y)


def step(f: ptr32, y: ptr32) -> int:
    """One tick. `f`: 59 words of state, `y`: 30 words of input, both int32. Returns fill's bits; never raises."""
    if y[_CONN] != f[_CONN_F] or y[_JOB] != f[_JOB_F] or y[_JOB] == 0:
        _begin(f, y)
        return 0
    _see(f, y)
    f[_BEAT] = (f[_BEAT] + 1) & 7
    if f[_BEAT] == 0:
        _heat(f, y)
    bits = _decide(f, y)
    f[_TYRE] = _most(f[_PT], 0) if f[_SEEN] != 0 and (f[_REF_OK] != 0 or f[_STATE] != _PURGE) else -1
    return bits
