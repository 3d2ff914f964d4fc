"""Host end of the serial line: transports, the client, and finding inflators."""

from rimward.device.link.client import Client
from rimward.device.link.transport import LockstepTransport, SerialTransport, Transport

__all__ = ["Client", "LockstepTransport", "SerialTransport", "Transport"]
