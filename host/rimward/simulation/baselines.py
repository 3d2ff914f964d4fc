"""Two simple fill methods in the same plant for comparison: a plain cutoff, and fixed pulses. Neither has a ceiling."""

from rimward_protocol.kernel_slots import X_A

from rimward.simulation.plant.layout import ATTACHED, P_AMB, RANGE_HIGH, RUN, S_PT
from rimward.simulation.plant.step import plant_tick

CUTOFF, PULSES = 0, 1
REST_TICKS = 500  # a second to read
PULSE_TICKS = 250
NEAR_PA = 1_000
MOST = 40  # tries
(B_LAST_OFF, B_PEAK, B_TICKS, B_TRIES) = range(4)


def gauge(x, ambient):
    """Transducer A's reading, Pa gauge."""
    return (x[X_A] * 9766 >> 9) - 125_012 + 101_325 - ambient


def baseline(kind, s, p, fault, x, w, target, high, r, last):
    """Fill from state `s` until a reading at rest is at the target. `kind`: CUTOFF runs until the manifold reads the target, reads and
    repeats;
    PULSES runs half a second, waits a second, repeats. Writes B_LAST_OFF .. into `r`.
    """
    controls = ATTACHED | RUN
    if high != 0:
        controls |= RANGE_HIGH
    ambient = int(p[P_AMB])
    on = 1
    left = 0
    r[B_TRIES] = 1.0
    plant_tick(s, p, fault, 0, controls, x, w)
    for n in range(last):
        if on != 0:
            left += 1
            if gauge(x, ambient) >= target if kind == CUTOFF else left >= PULSE_TICKS:
                on = 0
                left = 0
                r[B_LAST_OFF] = n
        else:
            left += 1
            if left >= REST_TICKS:
                if gauge(x, ambient) >= target - NEAR_PA or r[B_TRIES] >= MOST:
                    break
                on = 1
                left = 0
                r[B_TRIES] += 1.0
        plant_tick(s, p, fault, 3 if on != 0 else 2, controls, x, w)
        r[B_PEAK] = max(r[B_PEAK], s[S_PT] - p[P_AMB])
        r[B_TICKS] = n + 1
    return int(r[B_LAST_OFF])
