"""Flow through a restriction (ISO 6358), taken at the end of the step so that one step a tick is stable at any volume."""

from math import sqrt


def restriction(k, b, ib, p1, p2, up, both):
    """Flow in kg/s from p1 to p2 at the end of the step; see `rooted`."""
    return rooted(k, b, ib, sqrt(p1 * (1.0 - 2.0 * b) + p2), p1, p2, up, both)


def rooted(k, b, ib, root, p1, p2, up, both):
    """Flow in kg/s from p1 to p2 at the end of the step.

    `k` = C rho0 sqrt(T0/T1); `ib` = 1 / (1 - b); `up` and `both`: how far one kg/s kept through
    this step lowers p1, and closes the gap, in Pa. `root`: sqrt(p1 (1 - 2 b) + p2), which hardly changes in a step.
    """
    gap = p1 - p2
    if gap <= 0.0:
        return 0.0
    if p2 <= b * p1:
        return k * p1 / (1.0 + k * up)
    g = k * ib * root
    half = 0.5 * both * g
    return g * (sqrt(half * half + gap) - half)
