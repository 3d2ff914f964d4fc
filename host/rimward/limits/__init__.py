"""Allowed pressure of a rim with a tyre, readings of a fill elsewhere, and its air and energy. Pure: nothing is stored.

Pressures are integers in pascal, gauge; temperatures of places and rides are given in degrees Celsius, altitudes in metres.

>>> from rimward.limits import Place, Ride, Rim, Tyre, assess, bar_down
>>> rim = Rim.parse("622x23TSS", max_text="5 bar")
>>> tyre = Tyre.parse("28-622", range_text="3.5-6 bar", approved="yes", bead="folding", air="tubeless")
>>> answer = assess(rim, tyre, Place.of(18, 200), Ride.of(1200, 40))
>>> bar_down(answer.ceiling_pa), [note.id for note in answer.refusals]
('4.47', [])

A refusal has an id and says what resolves it:

>>> [note.id for note in assess(Rim.parse("622x23TSS"), Tyre.parse("28-622")).refusals]
['tyre-not-approved-for-straight-side']
"""

from rimward.base.units import (
    bar_down,
    parse_pressure,
    psi_down,
    show_limit,
    show_minimum,
    show_reading,
)
from rimward.limits.cartridge import Charge, charge_tyre
from rimward.limits.ceiling import (
    Assessment,
    Envelope,
    Instrument,
    Limit,
    MakerTable,
    Note,
    Place,
    Refused,
    Ride,
    Rim,
    Tyre,
    Window,
    assess,
    load_maker_table,
)
from rimward.limits.energy import stored_energy
from rimward.limits.ride import Readings, readings
from rimward.limits.rimtype import Verdict, identify_rim_type
from rimward.limits.volume import volumes

__all__ = [
    "Assessment",
    "Charge",
    "Envelope",
    "Instrument",
    "Limit",
    "MakerTable",
    "Note",
    "Place",
    "Readings",
    "Refused",
    "Ride",
    "Rim",
    "Tyre",
    "Verdict",
    "Window",
    "assess",
    "bar_down",
    "charge_tyre",
    "identify_rim_type",
    "load_maker_table",
    "parse_pressure",
    "psi_down",
    "readings",
    "show_limit",
    "show_minimum",
    "show_reading",
    "stored_energy",
    "volumes",
]
