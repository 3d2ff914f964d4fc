"""Recorded sessions on the host: reading, replay through the real kernels, export, and the loss of a wheel between fills.

A record of a short simulated fill, read and replayed:

>>> import tempfile
>>> from pathlib import Path
>>> from rimward.sessions import read_session, replay, session_facts
>>> from rimward.simulation import Scenario, record_fill
>>> with tempfile.TemporaryDirectory() as folder:
...     path = record_fill(Scenario(), Path(folder) / "fill.rws", hold_s=3.0)
...     log, found = read_session(path), session_facts(path.read_bytes())
>>> log.damage, replay(log).identical, found.label, found.cause
('', True, 'Larkspur front', 'released')
>>> {"tick", "a_pa", "tyre_pa"} <= set(log.series().dtype.names)
True

`visit_of` gives the pressure found before a fill and the one after it; `intervals_of` and `loss_of` make a wheel's loss a day of such visits.
"""

from rimward.sessions.export import to_csv, to_json
from rimward.sessions.facts import Facts, sections
from rimward.sessions.facts import facts as session_facts
from rimward.sessions.log import SessionLog, Span, read_session
from rimward.sessions.loss import Interval, Loss, intervals_of, loss_of
from rimward.sessions.replay import Difference, Replay, replay
from rimward.sessions.verification import Verification
from rimward.sessions.visit import Visit, visit_of

__all__ = [
    "Difference",
    "Facts",
    "Interval",
    "Loss",
    "Replay",
    "SessionLog",
    "Span",
    "Verification",
    "Visit",
    "intervals_of",
    "loss_of",
    "read_session",
    "replay",
    "sections",
    "session_facts",
    "to_csv",
    "to_json",
    "visit_of",
]
