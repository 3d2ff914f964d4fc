"""Inputs of the board: two transducers with their converters, supply, barometer, air temperature. Scalar code over `layout`.

Noise is a hash of a counter and two keys kept in the state: the same seed gives the same words on any machine and any engine.
"""

from rimward_protocol.kernel_slots import X_A, X_B, X_SUPPLY

from rimward.simulation.plant.gas import SEAL_PA
from rimward.simulation.plant.layout import (
    F_A_DRIFT,
    F_A_FORCE,
    F_A_HOLD,
    F_A_LAG,
    F_A_NOISE,
    F_A_OFFSET,
    F_AIR_DEAD,
    F_B_DRIFT,
    F_B_FORCE,
    F_B_HOLD,
    F_B_LAG,
    F_B_NOISE,
    F_B_OFFSET,
    F_BARO_DEAD,
    F_BARO_ERR,
    F_NECK,
    F_SUPPLY,
    P_A_DRIFT,
    P_A_GAIN,
    P_A_INL,
    P_A_K,
    P_A_NOISE,
    P_A_PLAY,
    P_A_SAG,
    P_A_TAP,
    P_A_ZERO,
    P_AIR_ERR,
    P_AMB,
    P_B_CODES,
    P_B_DRIFT,
    P_B_E11,
    P_B_GAIN,
    P_B_K,
    P_B_NOISE,
    P_B_PLAY,
    P_B_SAG,
    P_B_SHARE,
    P_B_TAP,
    P_B_ZERO,
    P_BARO_ERR,
    P_BARO_NOISE,
    P_NECK_K,
    P_ROOM_K,
    P_SUPPLY_W,
    RANGE_HIGH,
    RUN,
    S_A_DRIFT,
    S_A_PA,
    S_A_PLAY,
    S_A_TAP,
    S_A_WORD,
    S_B_DRIFT,
    S_B_PA,
    S_B_PLAY,
    S_B_TAP,
    S_B_WORD,
    S_COUNT,
    S_KEY1,
    S_KEY2,
    S_NECK,
    S_PM,
    SW_CUTOFF,
    SW_KEY_HIGH,
    SW_KEY_LOW,
    SW_RUN,
    W_AIR_CK,
    W_AMBIENT_PA,
    W_SW,
)

MASK = 0xFFFFFFFF
SLOW_EVERY = 64  # ticks between barometer and temperature words
LOW_SUPPLY = 0.9  # below this share of the nominal supply a ratiometric sensor is out of its class


def random_word(key1, key2, count):
    """32 random bits from a counter and two keys (two rounds of multiply and xor-shift)."""
    x = (count * 0x9E3779B9 + key1) & MASK
    x ^= x >> 16
    x = (x * 0x7FEB352D) & MASK
    x ^= key2
    x ^= x >> 15
    x = (x * 0x846CA68B) & MASK
    return x ^ (x >> 16)


def bell(word):
    """Near-normal number of mean 0 and standard deviation 1 from 32 random bits: sum of four bytes, never beyond 3.5."""
    return (
        (word & 255) + ((word >> 8) & 255) + ((word >> 16) & 255) + ((word >> 24) & 255) - 510.0
    ) * 0.0067662


def taken_up(shown, true, play):
    """Return the reading of an element with play: it moves only when pushed by one end of it (backlash of half width `play`)."""
    return min(max(shown, true - play), true + play)


def plenum(S, P, F):
    """Plenum with both transducers' taps, behind its own neck."""
    S[S_NECK] += P[P_NECK_K] * F[F_NECK] * (S[S_PM] - S[S_NECK])


def clip_word(share):
    """Share of the supply as a Q16 word."""
    if share <= 0.0:
        return 0
    if share >= 1.0:
        return 65535
    return int(share * 65536.0)


def droop(F):
    """Error in share of supply of a ratiometric sensor on a sagging supply, reading high: 1 % of full scale for each 100 mV under 4.5 V."""
    if F[F_SUPPLY] >= LOW_SUPPLY:
        return 0.0
    return (LOW_SUPPLY - F[F_SUPPLY]) * 0.4


def word_a(S, P, F, word):
    """Sealed-gauge transducer through a 16-bit converter with a smooth S-shaped nonlinearity."""
    S[S_A_TAP] += P[P_A_TAP] * (S[S_NECK] - S[S_A_TAP])
    S[S_A_PA] += P[P_A_K] * F[F_A_LAG] * (S[S_A_TAP] - S[S_A_PA])
    S[S_A_PLAY] = taken_up(S[S_A_PLAY], S[S_A_PA], P[P_A_PLAY])
    S[S_A_DRIFT] += P[P_A_DRIFT] + F[F_A_DRIFT]
    share = (
        P[P_A_ZERO]
        + P[P_A_GAIN] * (S[S_A_PLAY] + S[S_A_DRIFT] + F[F_A_OFFSET] - SEAL_PA)
        + P[P_A_SAG] * droop(F)
    )
    z = 2.0 * share - 1.0
    share += P[P_A_INL] * z * (1.0 - z * z) + P[P_A_NOISE] * F[F_A_NOISE] * bell(word)
    if F[F_A_FORCE] >= 0.0:
        share = F[F_A_FORCE]
    if F[F_A_HOLD] != 0.0:
        return int(S[S_A_WORD])
    now = clip_word(share)
    S[S_A_WORD] = now
    return now


def code_edges(code, e11):
    """RP2040 erratum E11: the converter is flat for `e11` codes at 512, 1536, 2560 and 3584 and slightly steep between them."""
    u = (code + 512.0) / 1024.0
    edge = int(u)
    part = u - edge
    near = part
    if part >= 0.5:
        edge += 1
        near = 1.0 - part
    if near * 1024.0 < 0.5 * e11:
        return edge * 1024.0 - 512.0
    return code + e11 * (part - 0.5)


def word_b(S, P, F, word):
    """Vented-gauge transducer through the 12-bit converter, four samples added (quarter codes), noise of 8.7 effective bits."""
    S[S_B_TAP] += P[P_B_TAP] * (S[S_NECK] - S[S_B_TAP])
    S[S_B_PA] += P[P_B_K] * F[F_B_LAG] * (S[S_B_TAP] - S[S_B_PA])
    S[S_B_PLAY] = taken_up(S[S_B_PLAY], S[S_B_PA], P[P_B_PLAY])
    S[S_B_DRIFT] += P[P_B_DRIFT] + F[F_B_DRIFT]
    share = (
        P[P_B_ZERO]
        + P[P_B_GAIN] * (S[S_B_PLAY] + S[S_B_DRIFT] + F[F_B_OFFSET] - P[P_AMB])
        + P[P_B_SAG] * droop(F)
    )
    if F[F_B_FORCE] >= 0.0:
        share = F[F_B_FORCE]
    code = code_edges(share * P[P_B_CODES], P[P_B_E11]) + P[P_B_NOISE] * F[F_B_NOISE] * bell(word)
    code = max(code, 0.0)
    code = min(code, 4095.75)
    if F[F_B_HOLD] != 0.0:
        return int(S[S_B_WORD])
    now = clip_word(int(code * 4.0 + 0.5) * 0.25 * P[P_B_SHARE])
    S[S_B_WORD] = now
    return now


def slow_words(S, P, F, w, word):
    """Barometer in Pa and air temperature in centikelvin; 0 when dead."""
    w[W_AMBIENT_PA] = 0
    w[W_AIR_CK] = 0
    if F[F_BARO_DEAD] == 0.0:
        w[W_AMBIENT_PA] = int(
            P[P_AMB] + P[P_BARO_ERR] + F[F_BARO_ERR] + P[P_BARO_NOISE] * bell(word) + 0.5
        )
    if F[F_AIR_DEAD] == 0.0:
        w[W_AIR_CK] = int((P[P_ROOM_K] + P[P_AIR_ERR]) * 100.0 + 0.5)


def sense(S, P, F, controls, cut, x, w):
    """Write the words of this tick: A, B and supply (64 mV) into x, w the rest."""
    count = int(S[S_COUNT])
    key1 = int(S[S_KEY1])
    key2 = int(S[S_KEY2])
    plenum(S, P, F)
    x[X_A] = word_a(S, P, F, random_word(key1, key2, 2 * count))
    x[X_B] = word_b(S, P, F, random_word(key1, key2, 2 * count + 1))
    x[X_SUPPLY] = int(P[P_SUPPLY_W] * F[F_SUPPLY])
    sw = SW_RUN if controls & RUN else 0
    sw |= SW_KEY_HIGH if controls & RANGE_HIGH else SW_KEY_LOW
    w[W_SW] = sw | SW_CUTOFF if cut else sw
    if count % SLOW_EVERY == 0:
        slow_words(S, P, F, w, random_word(key2, key1, count))
