"""Set-up of a virtual inflator before its port is named: a person's work with cable and workshop button, over its own line."""

import os
import select
import struct

from rimward.device.link import tuning
from rimward.device.link.client import Client
from rimward.simulation.plant import PlantParams
from rimward.simulation.plant.arrays import efficiency
from rimward.simulation.virtual.inflator import VirtualInflator

SHOWN_S = 0.3


class OwnLine:
    """Near end of the pseudo-terminal, before anyone else opens it; reading passes plant time."""

    def __init__(self, inflator: VirtualInflator, slave: int) -> None:
        self.inflator, self._slave = inflator, slave

    def write(self, data: bytes) -> None:
        """Send all bytes: a request is shorter than what the line holds."""
        os.write(self._slave, data)

    def read(self) -> bytes:
        """Return the bytes that arrived; about 10 ms of plant time pass without any."""
        if not select.select([self._slave], [], [], 0)[0]:
            self.inflator.advance(0.01)
        return os.read(self._slave, 65536) if select.select([self._slave], [], [], 0)[0] else b""

    def now_s(self) -> float:
        """Plant time, s."""
        return self.inflator.now_s

    def reopen(self, wait_s: float) -> bool:
        """Return true: this line cannot be lost."""
        return True

    def close(self) -> None:
        """Do nothing: the line stays open."""


def set_up(inflator: VirtualInflator, slave: int, values: dict[int, bytes]) -> None:
    """Write settings to a virtual inflator, and confirm them on its display where it asks."""
    with Client(OwnLine(inflator, slave)) as client:
        tuning.write(client, values, lambda _text: confirm(inflator))


def confirm(inflator: VirtualInflator) -> None:
    """Press the workshop button, as a person does when the display names a request."""
    inflator.advance(SHOWN_S)
    inflator.press("workshop")


def source_of(params: PlantParams) -> bytes:
    """Return the setting `air-source` of a plant: kind, delivery of a compressor at no back pressure, supply of a line, as close as the setting
    allows.
    """
    if params.is_line:
        return struct.pack(
            "<BII", 1, 0, min(max(round(params.line_pa), tuning.SUPPLY_PA[0]), tuning.SUPPLY_PA[1])
        )
    delivery = round(
        1000.0 * params.fad_l_min * efficiency(1.0, params.clearance, params.polytropic)
    )
    return struct.pack(
        "<BII", 0, min(max(delivery, tuning.DELIVERY_ML_MIN[0]), tuning.DELIVERY_ML_MIN[1]), 0
    )
