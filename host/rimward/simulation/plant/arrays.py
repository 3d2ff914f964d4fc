"""Arrays of `layout` from parameters."""

from math import exp, sqrt

import numpy as np

from rimward.simulation.plant import layout as k
from rimward.simulation.plant.air import keep_roots
from rimward.simulation.plant.gas import CV, GAMMA, R_AIR, RHO_ANR, SEAL_PA, T_ANR, series
from rimward.simulation.plant.params import PlantParams, si
from rimward.simulation.plant.sensing import random_word
from rimward.simulation.plant.tyre import put_tyre

AT_ONCE = 1e9  # 1/s
CREEP_AT_PA = 400e3
HEAT_AT = 6.0, 20.0, 1e-3  # kg/m3, K and kg/s at which `heat_free` and `heat_jet` are given


def rate(tau_s: float, tick_s: float) -> float:
    """Share of the gap that a first-order lag closes in one tick."""
    return 1.0 if tau_s <= 0.0 else 1.0 - exp(-tick_s / tau_s)


def inverse(seconds: float) -> float:
    """1 / `seconds`, very large for none."""
    return 1.0 / seconds if seconds > 0.0 else AT_ONCE


def efficiency(ratio: float, clearance: float, polytropic: float) -> float:
    """Volumetric efficiency of a piston compressor at absolute pressure ratio `ratio` (clearance model); 0 beyond stall."""
    if ratio <= 1.0:
        return 1.0
    return float(max(0.0, 1.0 + clearance - clearance * ratio ** (1.0 / polytropic)))


def delivery_k(ratio: float, p: PlantParams) -> float:
    """Temperature in K of the delivered air: polytropic compression less the heat taken by head and tube."""
    n = p.polytropic
    return float(
        p.room_k * (1.0 + (max(1.0, ratio) ** ((n - 1.0) / n) - 1.0) * (1.0 - p.delivery_cooling))
    )


def tables(p: PlantParams) -> list[float]:
    """Efficiency, then delivery temperature, over pressure ratio 0..16 in steps of 1/8."""
    ratios = [i / k.TABLE_PER for i in range(k.TABLE_N)]
    return [efficiency(r, p.clearance, p.polytropic) for r in ratios] + [
        delivery_k(r, p) for r in ratios
    ]


def transducer(p: PlantParams, name: str, reference_pa: float) -> dict[int, float]:
    """Gain and zero of transducer `a` or `b`, with its offset, span and thermal error included."""
    offset = getattr(p, f"{name}_offset_pa") + getattr(p, f"{name}_thermal_pa_k") * (
        p.room_k - p.calibrated_at_k
    )
    gain = 0.8 / p.span_pa * (1.0 + getattr(p, f"{name}_span_error"))
    zero = 0.1 + gain * (reference_pa + offset)
    first = k.P_A_GAIN if name == "a" else k.P_B_GAIN
    return {first: gain, first + 1: zero}


def real_effects(p: PlantParams) -> dict[int, float]:
    """Effects of real sources, cores, tyres and taps beyond the plain ones; none by default."""
    dt, shut = p.tick_s, p.crack_pa - p.core_hysteresis_pa
    full_kgs = si(p.line_c) * RHO_ANR * sqrt(T_ANR / p.room_k) * (p.line_pa + p.ambient_abs_pa)
    density, difference, jet_kgs = HEAT_AT
    return {
        k.P_SAG: p.battery_sag, k.P_SAG_RATE: 1.0 / p.battery_s,
        k.P_HEAD_IN: p.delivery_cooling / max(1.0 - p.delivery_cooling, 1e-9), k.P_HEAD_BACK: p.head_back, k.P_HEAD_C: 1.0 / p.head_jk,
        k.P_HEAD_RATE: 1.0 / p.head_s,
        k.P_PULL_IN: inverse(p.valve_dead_open_s), k.P_RELEASE: inverse(p.valve_dead_shut_s + p.coil_decay_s),
        k.P_DROOP: p.line_droop_pa / full_kgs, k.P_MAIN_K: rate(p.line_main_s, dt),
        k.P_CRACK: p.crack_pa, k.P_CLOSE: shut, k.P_LIFT_PER: 1.0 / p.core_span_pa if p.core_span_pa > 0.0 else AT_ONCE,
        k.P_LIFT_K: rate(p.core_s, dt),
        k.P_LIMP: p.tyre_limp, k.P_SLACK: 1.0 / (3.0 * p.tyre_limp_pa), k.P_CREEP: p.tyre_creep / CREEP_AT_PA, k.P_CREEP_RATE: 1.0 / p.tyre_creep_s,
        k.P_HEAT_FIXED: p.heat_fixed, k.P_HEAT_FREE: p.heat_free / sqrt(density * sqrt(difference)), k.P_HEAT_JET: p.heat_jet / sqrt(jet_kgs),
        k.P_NECK_K: rate(p.neck_s, dt), k.P_A_TAP: rate(p.a_tap_s, dt), k.P_B_TAP: rate(p.b_tap_s, dt),
        k.P_A_PLAY: 0.5 * p.a_play * p.span_pa, k.P_B_PLAY: 0.5 * p.b_play * p.span_pa, k.P_A_SAG: p.a_sag, k.P_B_SAG: p.b_sag,
    }  # fmt: skip


def parameters(p: PlantParams) -> np.ndarray:
    """Return the `P` array."""
    dt = p.tick_s
    inner = (si(p.hose_c), p.hose_b), (si(p.chuck_c), p.chuck_b)
    c_path, b_path = series((*inner, (si(p.core_c), p.core_b)))
    c_hose, _ = series(inner)
    rho = p.ambient_abs_pa / (R_AIR * p.room_k)
    codes = 4096.0 * p.supply_v * p.b_divider / 3.3
    word = 0.8 / p.span_pa
    values = {
        k.P_DT: dt, k.P_JITTER: p.jitter_s, k.P_AMB: p.ambient_abs_pa, k.P_RATIO: k.TABLE_PER / p.ambient_abs_pa,
        k.P_ROOM_K: p.room_k, k.P_LINE: float(p.is_line),
        k.P_FAD_KGS: p.fad_l_min / 60000.0 * rho, k.P_UP: rate(p.spin_up_s, dt) / dt, k.P_COAST: 1.0 / p.coast_s,
        k.P_HZ: p.turns_hz, k.P_RIPPLE: p.ripple,
        k.P_SUPPLY_PA: p.line_pa + p.ambient_abs_pa, k.P_SUPPLY_K: p.room_k, k.P_C_LINE: si(p.line_c), k.P_B_LINE: p.line_b,
        k.P_IB_LINE: 1.0 / (1.0 - p.line_b), k.P_K_LINE: RHO_ANR * sqrt(T_ANR / p.room_k),
        k.P_VALVE_OPEN: 1.0 / p.valve_open_s, k.P_VALVE_SHUT: 1.0 / p.valve_shut_s,
        k.P_GATE_S: p.gate_drop_s, k.P_COIL_ON: 1.0 / p.relay_on_s, k.P_COIL_OFF: 1.0 / p.relay_off_s, k.P_DROP: p.supply_drop,
        k.P_GRV: GAMMA * R_AIR / (p.manifold_ml * 1e-6), k.P_VM: p.manifold_ml * 1e-6, k.P_UA_M: p.manifold_ua,
        k.P_U_PM: (GAMMA - 1.0) / (p.manifold_ml * 1e-6),
        k.P_C_PATH: c_path, k.P_B_PATH: b_path, k.P_IB_PATH: 1.0 / (1.0 - b_path), k.P_C_HOSE: c_hose,
        k.P_C_CORE: si(p.core_c), k.P_B_OUT: p.outlet_b, k.P_IB_OUT: 1.0 / (1.0 - p.outlet_b),
        k.P_PIN: float(p.pin_open),
        k.P_C_VENT: si(p.vent_c), k.P_VENT_RATE: 1.0 / p.vent_s,
        k.P_RELIEF_LOW: p.relief_low_pa, k.P_RELIEF_HIGH: p.relief_high_pa, k.P_LIFT_LOW: 1.0 / (p.relief_lift * p.relief_low_pa),
        k.P_LIFT_HIGH: 1.0 / (p.relief_lift * p.relief_high_pa), k.P_C_RELIEF: si(p.relief_c),
        k.P_V0: (p.tyre_ml - p.sealant_ml) * 1e-6, k.P_GROWTH: p.tyre_growth_per_pa, k.P_UA_GAS: p.tyre_ua, k.P_UA_ROOM: p.room_ua,
        k.P_CASING: 1.0 / p.casing_jk, k.P_C_LEAK: si(p.leak_c), k.P_BLOW_OFF: p.blow_off_pa, k.P_C_BLOW: si(p.blow_c),
        k.P_CUT_LOW: p.cutoff_low_pa + p.cutoff_error_pa, k.P_CUT_HIGH: p.cutoff_high_pa + p.cutoff_error_pa,
        k.P_CUT_K: rate(p.cutoff_tau_s, dt),
        k.P_A_K: rate(p.a_tau_s, dt), k.P_A_DRIFT: p.a_drift_pa_s * dt, k.P_A_NOISE: p.a_noise_pa * word,
        k.P_A_INL: p.a_inl_words / 65536.0 * 2.598,
        k.P_B_K: rate(p.b_tau_s, dt), k.P_B_DRIFT: p.b_drift_pa_s * dt,
        k.P_B_NOISE: 2.0 ** (12.0 - p.b_enob) / sqrt(12.0 * p.b_samples), k.P_B_E11: p.b_e11_lsb, k.P_B_CODES: codes,
        k.P_B_SHARE: 1.0 / codes, k.P_SUPPLY_W: p.supply_v / 0.064,
        k.P_BARO_ERR: p.baro_error_pa, k.P_BARO_NOISE: p.baro_noise_pa, k.P_AIR_ERR: p.air_error_k,
    }  # fmt: skip
    values |= (
        real_effects(p) | transducer(p, "a", SEAL_PA - p.seal_abs_pa) | transducer(p, "b", 0.0)
    )
    out = np.zeros(k.P_SIZE)
    for index, value in values.items():
        out[index] = value
    out[k.P_TABLE :] = tables(p)
    return out


def healthy() -> np.ndarray:
    """Return the `F` array of a world without a fault."""
    return np.array(k.HEALTHY, dtype=np.float64)


def start_state(p: PlantParams, seed: int = 0) -> np.ndarray:
    """Return the `S` array at rest: manifold empty, tyre at `p.tyre_pa`, everything at room temperature, noise stream `seed`."""
    state = np.zeros(k.S_SIZE)
    values = parameters(p)
    amb = p.ambient_abs_pa
    for index in (
        k.S_PM,
        k.S_CUT_PA,
        k.S_NECK,
        k.S_A_TAP,
        k.S_B_TAP,
        k.S_A_PA,
        k.S_B_PA,
        k.S_A_PLAY,
        k.S_B_PLAY,
    ):
        state[index] = amb
    state[k.S_TM] = p.room_k
    state[k.S_HEAD] = p.room_k + p.head_start_k
    state[k.S_MAIN] = values[k.P_SUPPLY_PA]
    state[k.S_SCALE] = 1.0
    state[k.S_MM] = amb * p.manifold_ml * 1e-6 / (CV * (GAMMA - 1.0) * p.room_k)
    put_tyre(state, values, p.tyre_pa + amb, p.room_k)
    state[k.S_KEY1] = random_word(0x243F6A88, 0x85A308D3, seed & 0xFFFFFFFF)
    state[k.S_KEY2] = random_word(0x13198A2E, int(state[k.S_KEY1]), (seed >> 32) + 1)
    state[k.S_DT], state[k.S_WAVE] = p.tick_s, 1.0
    keep_roots(state, values)
    return state
