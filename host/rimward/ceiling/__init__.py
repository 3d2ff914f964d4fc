"""The ceiling engine: pure functions and dataclasses, no output. `assess` is the question, `Assessment` the answer."""

from rimward.ceiling.assess import assess, refused
from rimward.ceiling.maker import MakerTable, load_maker_table
from rimward.ceiling.model import Assessment, Envelope, Instrument, Limit, Note, Place, Ride, Rim, Tyre, Window
from rimward.units import Refused

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
