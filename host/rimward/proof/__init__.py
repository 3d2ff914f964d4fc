"""Proof bench: planning of retention and release tests, and evaluation of their results.

>>> from rimward.proof import Want, plan_test
>>> plan = plan_test(Want(rim_max_pa=500_000, tyre_max_pa=600_000, volume_l=1.2, straight_side=True))
>>> plan["limit_pa"], plan["retention_pa"]
(500000, 550000)

`read_files` reads rows and sessions of tests, `find_events` finds release, creep and leaks in a pressure trace:

>>> import numpy as np
>>> from rimward.proof import find_events
>>> t_ms = np.arange(0, 8000, 10)
>>> pressure = 500_000 + np.random.default_rng(1).normal(0, 100, len(t_ms))
>>> pressure[500:] = 0
>>> [(event.kind, abs(event.index - 500) <= 2) for event in find_events(t_ms, pressure)]
[('release', True)]

The statistics of lots are `rimward.proof.analyse`, which needs the extra `proof`.
"""

from rimward.proof.events import Event, Settings, find_events, find_sudden, noise_pa
from rimward.proof.load import Sample
from rimward.proof.plan import Want
from rimward.proof.plan import plan as plan_test
from rimward.proof.reading import read_files

__all__ = [
    "Event",
    "Sample",
    "Settings",
    "Want",
    "find_events",
    "find_sudden",
    "noise_pa",
    "plan_test",
    "read_files",
]
