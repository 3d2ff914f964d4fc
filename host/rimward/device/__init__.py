"""Inflator on a cable: finding it, communication, its profiles and sessions, its calibration.

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

from typing import TYPE_CHECKING

from rimward.base import lazy

if TYPE_CHECKING:
    from rimward.base.errors import Refusal
    from rimward.device.calibration import Calibrated, Channel, Point, Reference, fit_points
    from rimward.device.link import Client, LockstepTransport, SerialTransport, Transport
    from rimward.device.link.ports import inflators, only_inflator, open_client
    from rimward.device.link.screen import Screen, read_screen
    from rimward.device.link.transport import LineLost
    from rimward.device.link.verbs import (
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

PLACES = {
    "Calibrated": "rimward.device.calibration",
    "Channel": "rimward.device.calibration",
    "Client": "rimward.device.link",
    "LineLost": "rimward.device.link.transport",
    "LockstepTransport": "rimward.device.link",
    "Point": "rimward.device.calibration",
    "Reference": "rimward.device.calibration",
    "Refusal": "rimward.base.errors",
    "Screen": "rimward.device.link.screen",
    "SerialTransport": "rimward.device.link",
    "Transport": "rimward.device.link",
    "choose_wheel": "rimward.device.link.verbs",
    "delete_profile": "rimward.device.link.verbs",
    "enrol_key": "rimward.device.link.verbs",
    "fit_points": "rimward.device.calibration",
    "inflators": "rimward.device.link.ports",
    "list_profiles": "rimward.device.link.verbs",
    "list_sessions": "rimward.device.link.verbs",
    "only_inflator": "rimward.device.link.ports",
    "open_client": "rimward.device.link.ports",
    "pull_session": "rimward.device.link.verbs",
    "read_screen": "rimward.device.link.screen",
    "send_preset": "rimward.device.link.verbs",
    "send_profile": "rimward.device.link.verbs",
    "status": "rimward.device.link.verbs",
}
__getattr__ = lazy.exports(__name__, PLACES)

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
