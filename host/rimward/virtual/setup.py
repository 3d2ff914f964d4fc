"""Setting a virtual inflator up before its port is named: what a person does with a cable and the workshop button, over its own line."""

import os
import select
import struct

from rimward.link import tuning
from rimward.link.client import Client
from rimward.plant import PlantParams
from rimward.plant.arrays import efficiency
from rimward.virtual.inflator import VirtualInflator

SHOWN_S = 0.3


class OwnLine:
    """The near end of the pseudo-terminal, while nobody else has opened it; reading lets plant time pass."""

    def __init__(self, inflator: VirtualInflator, slave: int) -> None:
        self.inflator, self._slave = inflator, slave

    def write(self, data: bytes) -> None:
        """Send all bytes: a request is shorter than what the line holds."""
        os.write(self._slave, data)

    def read(self) -> bytes:
        """Bytes that came; some 10 ms of plant time pass where there are none."""
        if not select.select([self._slave], [], [], 0)[0]:
            self.inflator.advance(0.01)
        return os.read(self._slave, 65536) if select.select([self._slave], [], [], 0)[0] else b""

    def now_s(self) -> float:
        """Plant time."""
        return self.inflator.now_s

    def reopen(self, wait_s: float) -> bool:
        """The line is always there."""
        return True

    def close(self) -> None:
        """The line goes on."""


def set_up(inflator: VirtualInflator, slave: int, values: dict[int, bytes]) -> None:
    """Give settings to a virtual inflator, and confirm them on its display where it asks."""
    with Client(OwnLine(inflator, slave)) as client:
        tuning.write(client, values, lambda _text: confirm(inflator))


def confirm(inflator: VirtualInflator) -> None:
    """Press the workshop button: what a person does when the display names a request."""
    inflator.advance(SHOWN_S)
    inflator.press("workshop")


def source_of(params: PlantParams) -> bytes:
    """The setting `air-source` that fits a plant: kind, delivery of a compressor at no back pressure, supply of a line, as near as it may be set."""
    if params.is_line:
        return struct.pack("<BII", 1, 0, min(max(round(params.line_pa), tuning.SUPPLY_PA[0]), tuning.SUPPLY_PA[1]))
    delivery = round(1000.0 * params.fad_l_min * efficiency(1.0, params.clearance, params.polytropic))
    return struct.pack("<BII", 0, min(max(delivery, tuning.DELIVERY_ML_MIN[0]), tuning.DELIVERY_ML_MIN[1]), 0)
