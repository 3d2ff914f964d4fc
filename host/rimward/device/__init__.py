"""An inflator on a cable: finding it, speaking with it, its profiles and sessions, its calibration.

The same client speaks to a virtual inflator in lockstep, where waiting makes the simulated time pass:

>>> from rimward.device import Client, LockstepTransport, list_profiles, status
>>> from rimward.simulation import VirtualInflator, compressor
>>> with VirtualInflator(compressor()) as inflator, Client(LockstepTransport(inflator)) as client:
...     state = status(client)
...     held = list_profiles(client)
>>> state["state"], state["range"], state["tyre_pa"], held
('idle', 'low', None, [])

On a cable it is `open_client(port)`, with a port of `inflators()`; `send_profile` is done only when the digest of what the inflator
stored matches. Everything raises `Refusal`, a lost line `LineLost`.
"""

from rimward.calibration import Calibrated, Channel, Point, Reference, fit_points
from rimward.errors import Refusal
from rimward.link import Client, LockstepTransport, SerialTransport, Transport
from rimward.link.ports import inflators, only_inflator, open_client
from rimward.link.screen import Screen, read_screen
from rimward.link.transport import LineLost
from rimward.link.verbs import (
    choose_wheel,
    delete_profile,
    enrol_key,
    list_profiles,
    list_sessions,
    pull_session,
    send_preset,
    send_profile,
    status,
)

__all__ = [
    "Calibrated",
    "Channel",
    "Client",
    "LineLost",
    "LockstepTransport",
    "Point",
    "Reference",
    "Refusal",
    "Screen",
    "SerialTransport",
    "Transport",
    "choose_wheel",
    "delete_profile",
    "enrol_key",
    "fit_points",
    "inflators",
    "list_profiles",
    "list_sessions",
    "only_inflator",
    "open_client",
    "pull_session",
    "read_screen",
    "send_preset",
    "send_profile",
    "status",
]
