"""Settings of an inflator for its owner: name, unit, buzzer, air source. Read and written over the link."""

import struct
from dataclasses import dataclass
from typing import Any

from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.device.link.client import Client
from rimward.formats import records

SOURCE, NAME, BUZZER, UNIT = 5, 7, 8, 9
SOURCES = ("compressor", "line")
UNITS = ("bar", "psi")
SUPPLY_PA = (400_000, 1_000_000)  # gauge, of a workshop line
DELIVERY_ML_MIN = (10_000, 60_000)  # free air, of a compressor
USUAL = {"supply_pa": 800_000, "delivery_ml_min": 30_000}


@dataclass(frozen=True)
class Tuning:
    """Settings. `delivery_ml_min`: free air of a compressor; `supply_pa`: gauge, of a line; 0 where it does not apply."""

    name: str = ""
    unit: str = "bar"
    buzzer: bool = True
    source: str = "compressor"
    supply_pa: int = 0
    delivery_ml_min: int = 0


def read(client: Client) -> Tuning:
    """Read the settings; unset ones have their default."""
    source = _get(client, SOURCE)
    kind, delivery, supply = struct.unpack("<BII", source) if len(source) == 9 else (0, 0, 0)
    return Tuning(
        name=records.text_of(_get(client, NAME)),
        unit=UNITS[1 if _get(client, UNIT) == b"\1" else 0],
        buzzer=_get(client, BUZZER) != b"\0",
        source=SOURCES[1 if kind == 1 else 0],
        supply_pa=supply,
        delivery_ml_min=delivery,
    )


def _get(client: Client, number: int) -> bytes:
    return bytes(client.request(codes.SETTING_GET, number=number)["value"])


def source_value(
    source: str, supply_pa: int | None = None, delivery_ml_min: int | None = None
) -> bytes:
    """Bytes of the air source setting. Refusal for a figure that this source cannot have."""
    if source == "line":
        if delivery_ml_min is not None:
            raise Refusal(
                "A line's delivery follows from its supply.",
                "Omit --delivery, or use --source compressor.",
            )
        supply = USUAL["supply_pa"] if supply_pa is None else supply_pa
        _within("supply", supply, SUPPLY_PA, 1e5, "bar gauge")
        return struct.pack("<BII", 1, 0, supply)
    if supply_pa is not None:
        raise Refusal(
            "A compressor has no supply pressure.", "Omit --supply, or use --source line."
        )
    delivery = USUAL["delivery_ml_min"] if delivery_ml_min is None else delivery_ml_min
    _within("delivery", delivery, DELIVERY_ML_MIN, 1e3, "L/min of free air")
    return struct.pack("<BII", 0, delivery, 0)


def _within(what: str, value: int, span: tuple[int, int], unit: float, name: str) -> None:
    if not span[0] <= value <= span[1]:
        raise Refusal(
            f"The {what} must be from {span[0] / unit:g} to {span[1] / unit:g} {name}, not {value / unit:g}.",
            f"Correct the {what}.",
        )


def name_value(name: str) -> bytes:
    """Bytes of a name. Refusal for one that is too long or cannot be shown."""
    data = name.strip().encode()
    letters = len(name.strip())
    if letters > codes.LABEL_LETTERS or len(data) > codes.LABEL_BYTES or not name.isprintable():
        raise Refusal(
            f"`{name}` has {letters} letters; an inflator's name has at most {codes.LABEL_LETTERS} and no control characters.",
            "Shorten it.",
        )
    return data.ljust(codes.LABEL_BYTES, b"\0")


def values_of(given: dict[str, Any]) -> dict[int, bytes]:
    """Return setting number -> bytes, of those given among name, unit, buzzer, source with supply_pa and delivery_ml_min. Refusal for none."""
    values: dict[int, bytes] = {}
    if given.get("name") is not None:
        values[NAME] = name_value(given["name"])
    if given.get("unit") is not None:
        values[UNIT] = bytes([UNITS.index(given["unit"])])
    if given.get("buzzer") is not None:
        values[BUZZER] = bytes([bool(given["buzzer"])])
    if given.get("source") is not None:
        values[SOURCE] = source_value(
            given["source"], given.get("supply_pa"), given.get("delivery_ml_min")
        )
    elif given.get("supply_pa") is not None or given.get("delivery_ml_min") is not None:
        raise Refusal(
            "A supply or delivery needs its source.", "Add --source compressor or --source line."
        )
    if not values:
        raise Refusal("Nothing to set.", "Give --name, --unit, --buzzer or --source.")
    return values


def write(client: Client, values: dict[int, bytes], tell: verbs.Tell | None = None) -> None:
    """Write settings that differ; a person confirms where required. Refusal if the inflator or the person declines."""
    for number, value in values.items():
        if _get(client, number) == value:
            continue
        verbs.put_setting(client, number, value, tell)
