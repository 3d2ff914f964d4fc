"""Limits of the proof bench's guard: constants that replace those of `kernels/guard.py`. `rimward.kernels.assemble` binds them.

The bench key's third position closes both range contacts, which an ordinary guard takes for a broken key. The guard
refuses inputs with bit 16 set, so a bench runs in no other position.
"""

LIMITS = {"_LOW_CEIL": 1_000_000, "_HIGH_CEIL": 1_000_000, "_KEY_LOW": 6, "_KEY_HIGH": 65536}
