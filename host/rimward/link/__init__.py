"""The host's end of the serial line: transports, the client, and finding inflators."""

from rimward.link.client import Client
from rimward.link.transport import LockstepTransport, SerialTransport, Transport

__all__ = ["Client", "LockstepTransport", "SerialTransport", "Transport"]
