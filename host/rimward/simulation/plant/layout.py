"""Layout of the simulated world's numbers: state `S`, parameters `P`, fault fields `F` (float64), words `w` (int32).

The step is plain scalar code over these arrays, so that one source runs under CPython and compiled. SI units throughout; absolute pressures
in pascal, temperatures in kelvin.
"""

# state
(
    S_PM,  # manifold pressure, Pa absolute
    S_TM,  # manifold gas temperature, K
    S_MM,  # manifold mass, kg
    S_PT,  # tyre pressure, Pa absolute
    S_TT,  # tyre gas temperature, K
    S_MT,  # tyre mass, kg
    S_VT,  # tyre volume, m3
    S_TC,  # casing temperature, K
    S_SPEED,  # compressor speed, share of full
    S_PHASE,  # compressor phase, turns
    S_VALVE1,  # line valve on the gate, 0 shut .. 1 open
    S_VALVE2,  # line valve on the relay
    S_VENT,  # vent, 0 shut .. 1 open
    S_GATE_S,  # time left until the gate drops out, s
    S_COIL,  # relay armature travel, 0..1
    S_CONTACT,  # relay contact, 0 or 1
    S_CUT_PA,  # independent cutoff's sensor, Pa absolute
    S_CUT,  # independent cutoff has opened, 0 or 1
    S_A_PA,  # pressure behind transducer A's filter, Pa absolute
    S_B_PA,
    S_A_DRIFT,  # drift so far, Pa
    S_B_DRIFT,
    S_A_WORD,  # last words, for a frozen converter
    S_B_WORD,
    S_BLOWN,  # 1 once the tyre has left the rim
    S_COUNT,  # tick counter
    S_EVENT,  # next row of the fault schedule
    S_KEY1,  # noise stream, two 32-bit keys
    S_KEY2,
    S_FLOW,  # flow into the tyre in this tick, kg/s (negative: out of it into the hose)
    S_PEAK,  # highest tyre pressure, Pa absolute
    S_IN_KG,  # ledger: mass and energy in from the source, out to the room
    S_OUT_KG,
    S_IN_J,
    S_OUT_J,
    S_HEAT_J,  # heat released by the gas
    S_WORK_J,  # work done by the gas on the growing tyre
    S_DT,  # length of the next tick, s
    S_WAVE,  # delivery in the next tick over its mean: the piston's ripple
    S_COLD,  # sqrt(T0 / manifold temperature), kept from the end of a tick for the next
    S_ROOT,  # of the hose's flow law: sqrt(inlet (1 - 2 b) + outlet), likewise
    S_STIFF,  # gamma R / (volume + gamma pressure dV/dp) of the tyre, Pa per kg and K, likewise
    S_UA,  # heat conductance from the tyre's gas to its casing, W/K, likewise
    S_HEAD,  # temperature of the compressor's head, K
    S_SAG,  # share of the full speed that the battery has lost
    S_MAGNET1,  # magnetic state of the first line valve's coil, 0 released .. 1 pulled in
    S_MAGNET2,
    S_PULLED1,  # 1 while that valve's armature is opening
    S_PULLED2,
    S_MAIN,  # pressure of the line before the restrictor, Pa absolute
    S_DRAWN,  # flow from the source in the last tick, kg/s
    S_CORE,  # 1 while the valve core is off its seat
    S_LIFT,  # lift of the valve core, 0..1
    S_CREEP,  # creep of the tyre, share of its volume
    S_SCALE,  # volume of the tyre on the chuck over that of the first one
    S_WHEEL,  # wheels put on the chuck after the first
    S_SQUEEZE,  # share of the volume that a load on the wheel takes away
    S_NECK,  # pressure in the plenum that transducers A and B share, Pa absolute
    S_A_TAP,  # pressure behind transducer A's tap, Pa absolute
    S_B_TAP,
    S_A_PLAY,  # pressure shown by transducer A, after its play
    S_B_PLAY,
) = range(62)
S_SIZE = 62

# parameters
(
    P_DT,
    P_JITTER,
    P_AMB,
    P_RATIO,  # table steps per Pa
    P_ROOM_K,
    P_LINE,  # 1 = workshop line, 0 = compressor
    P_FAD_KGS,
    P_UP,  # 1 / spin-up time constant
    P_COAST,  # 1 / coast-down time
    P_HZ,
    P_RIPPLE,
    P_SAG,  # share of its speed that the compressor loses on a tired battery
    P_SAG_RATE,  # 1 / time constant
    P_HEAD_IN,  # heat taken by head and tube, over that kept by the delivered air
    P_HEAD_BACK,  # share of the head's temperature rise that the delivered air takes on
    P_HEAD_C,  # 1 / heat capacity of the head
    P_HEAD_RATE,  # 1 / its time constant to the room
    P_SUPPLY_PA,
    P_SUPPLY_K,
    P_C_LINE,
    P_B_LINE,
    P_IB_LINE,  # 1 / (1 - b), likewise below
    P_K_LINE,  # rho0 sqrt(T0 / supply temperature)
    P_VALVE_OPEN,  # 1 / opening time
    P_VALVE_SHUT,
    P_PULL_IN,  # 1 / dead time before a line valve begins to open
    P_RELEASE,  # 1 / dead time before it begins to shut, decay of its coil included
    P_DROOP,  # fall of the line's pressure for each kg/s
    P_MAIN_K,  # share of the gap that it closes in one tick
    P_GATE_S,
    P_COIL_ON,
    P_COIL_OFF,
    P_DROP,
    P_GRV,  # gamma R / manifold volume, Pa per kg and K
    P_VM,
    P_UA_M,
    P_C_PATH,
    P_B_PATH,
    P_IB_PATH,
    P_C_HOSE,
    P_C_CORE,
    P_B_OUT,
    P_IB_OUT,
    P_CRACK,
    P_CLOSE,  # pressure over the core at which it shuts again
    P_LIFT_PER,  # lift per Pa above that
    P_LIFT_K,  # share of the way to its lift that a core goes in one tick
    P_PIN,
    P_C_VENT,
    P_VENT_RATE,
    P_RELIEF_LOW,
    P_RELIEF_HIGH,
    P_LIFT_LOW,  # 1 / pressure from crack to full lift
    P_LIFT_HIGH,
    P_C_RELIEF,
    P_V0,
    P_GROWTH,
    P_LIMP,  # share of the volume that is missing at 0
    P_SLACK,  # 1 / (3 scale): reciprocal of the pressure at which none is missing
    P_CREEP,  # share of the volume by which the tyre creeps for each Pa, finally
    P_CREEP_RATE,  # 1 / time constant
    P_UA_GAS,
    P_HEAT_FIXED,  # share of that which does not depend on flow or density
    P_HEAT_FREE,  # by natural convection: times sqrt(density sqrt(temperature difference)), in kg/m3 and K
    P_HEAT_JET,  # by the jet: times sqrt(flow), in kg/s
    P_UA_ROOM,
    P_CASING,  # 1 / heat capacity of the casing
    P_C_LEAK,
    P_BLOW_OFF,
    P_C_BLOW,
    P_CUT_LOW,
    P_CUT_HIGH,
    P_CUT_K,
    P_NECK_K,  # share of the gap between manifold and plenum that closes in one tick
    P_A_TAP,  # and between plenum and tap
    P_B_TAP,
    P_A_PLAY,  # half width of the play, Pa
    P_B_PLAY,
    P_A_SAG,  # error on a sagging supply, times that of a sensor which reads high
    P_B_SAG,
    P_A_K,
    P_A_GAIN,  # share of supply per Pa
    P_A_ZERO,  # share of supply at zero absolute pressure
    P_A_DRIFT,  # Pa per tick
    P_A_NOISE,  # words per unit of noise
    P_A_INL,
    P_B_K,
    P_B_GAIN,
    P_B_ZERO,
    P_B_DRIFT,
    P_B_NOISE,
    P_B_E11,
    P_B_CODES,  # codes per share of supply
    P_B_SHARE,  # its reciprocal
    P_SUPPLY_W,  # words
    P_BARO_ERR,
    P_BARO_NOISE,
    P_AIR_ERR,
    P_U_PM,  # manifold pressure for the energy of its air: (gamma - 1) / volume
) = range(99)
P_TABLE = 99  # P_TABLE + i: volumetric efficiency at pressure ratio i / TABLE_PER; then the same for the delivery temperature
TABLE_PER = 8
TABLE_N = 129
P_TABLE_T = P_TABLE + TABLE_N
P_SIZE = P_TABLE + 2 * TABLE_N

# fault fields
(
    F_GATE_ON,  # 1 = semiconductor (or first line valve) stuck on
    F_RELAY_ON,  # 1 = contact (or second line valve) stuck on
    F_LEAK1,  # share of the first line valve that stays open; on a compressor its outlet valve leaks back by that share of the line's C
    F_LEAK2,  # share of the second line valve that stays open
    F_VENT_BLOCK,  # share of the vent that is blocked
    F_PATH,  # share of hose and valve that stays free (1 = all)
    F_HOSE_C,  # crack in the hose, m3/(s Pa)
    F_HOSE,  # 0 as the person has it, 1 off, 2 on
    F_CORE,  # 0 works, 1 stuck shut, 2 stuck open
    F_PUNCTURE,  # m3/(s Pa)
    F_BLOW,  # 1 = the tyre leaves the rim now
    F_A_OFFSET,  # Pa
    F_A_DRIFT,  # Pa per tick
    F_A_NOISE,  # times the normal noise, 1 = normal
    F_A_FORCE,  # forced share of supply; negative = none
    F_A_HOLD,  # 1 = word frozen
    F_A_LAG,  # share of the normal response rate (1 = normal, 0 = tap blocked)
    F_B_OFFSET,
    F_B_DRIFT,
    F_B_NOISE,
    F_B_FORCE,
    F_B_HOLD,
    F_B_LAG,
    F_BARO_ERR,  # Pa
    F_BARO_DEAD,  # 1 = word reads 0
    F_AIR_DEAD,
    F_SUPPLY,  # share of the nominal supply, 1 = healthy
    F_LINE_PA,  # added to the line's pressure, Pa
    F_SLIP_S,  # added to the length of this tick, s
    F_RUN_ON,  # added to the compressor's coast-down time, s
    F_COIL,  # added to the time for which a line valve's coil holds, s
    F_NECK,  # share of the normal response of the plenum that A and B share (1 = normal, 0 = neck blocked)
    F_SEAT,  # leak at a chuck that is half seated, m3/(s Pa)
    F_SQUEEZE,  # share of the tyre's volume that a load on the wheel takes away
    F_GAS,  # gas from a cartridge into the tyre, kg/s of air
    F_WHEEL,  # wheels put on the chuck after the first; a new number puts another one on
    F_WHEEL_PA,  # its pressure, Pa gauge
    F_WHEEL_RATIO,  # its volume over that of the first
) = range(38)
F_SIZE = 38
HEALTHY = (
    (0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0)
    + (0, 0, 1, -1, 0, 1) * 2
    + (0, 0, 0, 1, 0, 0)
    + (0, 0, 1, 0, 0, 0, 0, 0, 1)
)

# words beside A, B and SUPPLY of the guard
W_AMBIENT_PA, W_AIR_CK, W_SW, W_TICK_US = range(4)
W_SIZE = 4
X_SIZE = 6

# drive (the board's outputs)
GATE, RELAY, VENT = 1, 2, 4
DRIVE_RESET = VENT  # outputs of a reset or dead board: no pulses, coil off, normally-open vent open

# controls (the person and the world)
RUN, RANGE_HIGH, ATTACHED, LOCKNUT_SHUT, BLEED, HALTED, UNPOWERED = 1, 2, 4, 8, 16, 32, 64

# hardware switch word (same bits as the kernel's SW)
SW_RUN, SW_KEY_LOW, SW_KEY_HIGH, SW_CUTOFF = 1, 2, 4, 8

# result of a tick: the true state, for the test harness only
AIR_IN, CONTACT_SHUT, GATE_SHUT, VENT_OPEN, CUTOFF_OPEN, RELIEF_OPEN, BLOWN = 1, 2, 4, 8, 16, 32, 64
