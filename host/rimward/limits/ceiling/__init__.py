"""Ceiling engine: pure functions and dataclasses, no output. `assess` returns an `Assessment`."""

from rimward.base.units import Refused
from rimward.limits.ceiling.assess import assess, refused
from rimward.limits.ceiling.maker import MakerTable, load_maker_table
from rimward.limits.ceiling.model import (
    Assessment,
    Envelope,
    Instrument,
    Limit,
    Note,
    Place,
    Ride,
    Rim,
    Tyre,
    Window,
)

__all__ = [
    "Assessment",
    "Envelope",
    "Instrument",
    "Limit",
    "MakerTable",
    "Note",
    "Place",
    "Refused",
    "Ride",
    "Rim",
    "Tyre",
    "Window",
    "assess",
    "load_maker_table",
    "refused",
]
