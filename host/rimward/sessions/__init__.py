"""Recorded sessions on the host: reading, replaying through the real kernels, drawing, exporting."""

from rimward.sessions.log import SessionLog, Span, read_session
from rimward.sessions.replay import Difference, Replay, replay

__all__ = ["Difference", "Replay", "SessionLog", "Span", "read_session", "replay"]
