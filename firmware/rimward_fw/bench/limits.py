"""What the proof bench's guard has compiled in otherwise: constants of `kernels/guard.py` by name. `rimward.kernels.assemble` binds them.

The bench key's third position closes both range contacts, which an ordinary guard takes for a broken key. No wire sets
bit 13, so a bench runs in no other position.
"""

LIMITS = {
    "_LOW_CEIL": 1_000_000,
    "_HIGH_CEIL": 1_000_000,
    "_KEY_LOW": 6,
    "_KEY_HIGH": 8192,
}
