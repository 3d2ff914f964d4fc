"""Virtual specimen that slips, leaks or leaves its rim at a stated pressure, filled with water or with air.

Filled with water it is, for the air side, the air of the transfer bottle: a bead that yields by a few millilitres then takes far
more of the
pressure than from a tyre full of air. The motion of the water when a tyre leaves its rim is not simulated.
"""

import re
from dataclasses import dataclass
from typing import Any

from rimward.base.errors import Refusal
from rimward.base.units import parse_pressure
from rimward.simulation.plant import layout as k

SPECIMEN_ML = 1_250  # a 28 mm tyre
SLIP_SHARE = 0.01  # share of the specimen's volume by which a slipping bead yields
LEAK_S = 30.0  # time constant of a leak where none is stated
AMBIENT_PA = 1e5  # reference state of conductance
ADIABATIC = 1.4
KINDS = ("slip", "leak", "blow-off")
WORDS = {
    "slip PRESSURE": "a bead yields at this pressure, as `slip 4.2 bar`",
    "leak PRESSURE [SECONDS s]": "a leak opens at this pressure, with this time constant, as `leak 3 bar 20 s`",
    "blow-off PRESSURE [SECONDS s]": "the tyre leaves its rim there, at once or as slowly as stated, as `blow-off 6.1 bar`",
}
ORDER = re.compile(
    rf"(?P<kind>{'|'.join(KINDS)})\s+(?P<pressure>.+?)(?:\s+(?P<seconds>[\d.]+)\s*s)?"
)


@dataclass(frozen=True)
class Act:
    """Event at `pa` gauge; `seconds`: time constant of a leak or of a slow release, 0 for at once."""

    kind: str
    pa: float
    seconds: float = 0.0


class Specimen:
    """Events on a virtual bench at their pressures. `volume_ml`: the whole inside; the part without water is the plant's tyre volume."""

    def __init__(self, volume_ml: float = SPECIMEN_ML) -> None:
        self.volume_ml = volume_ml
        self.acts: list[Act] = []
        self.done: list[Act] = []

    words = WORDS

    @staticmethod
    def is_order(text: str) -> bool:
        """Return True if `order` accepts this line."""
        return ORDER.fullmatch(text.strip()) is not None

    def order(self, text: str) -> bool:
        """Take one typed line; False for a line of another kind. Refusal where it is invalid."""
        match = ORDER.fullmatch(text.strip())
        if match is None:
            if text.split(" ", maxsplit=1)[0] in KINDS:
                raise Refusal(
                    f"`{text}` is not a known event.", f"Write one of: {'; '.join(WORDS)}."
                )
            return False
        self.add(match["kind"], match["pressure"], float(match["seconds"] or 0))
        return True

    def add(self, kind: str, pressure: str, seconds: float = 0.0) -> None:
        """Add one event; it replaces an earlier one of its kind."""
        self.acts = [act for act in self.acts if act.kind != kind] + [
            Act(kind, float(parse_pressure(pressure)), seconds)
        ]

    def tick(self, inflator: Any) -> None:
        """Watch the virtual inflator, called each tick."""
        due = [act for act in self.acts if inflator.plant.tyre_pa >= act.pa]
        for act in due:
            self.acts.remove(act)
            self.done.append(act)
            _do(inflator.plant, act, self.volume_ml)


def _do(plant: Any, act: Act, volume_ml: float) -> None:
    if act.kind == "slip":
        _yield(plant, 1 + SLIP_SHARE * volume_ml * 1e-6 / float(plant.S[k.S_VT]))
    elif act.kind == "leak":
        plant.F[k.F_PUNCTURE] = _conductance(plant, act.seconds or LEAK_S)
    else:
        if act.seconds:
            plant.P[k.P_C_BLOW] = _conductance(plant, act.seconds)
        plant.F[k.F_BLOW] = 1.0


def _conductance(plant: Any, seconds: float) -> float:
    """Conductance, m3/(s Pa), through which the tyre empties with this time constant while the flow is choked."""
    return float(plant.S[k.S_VT]) / (seconds * AMBIENT_PA)


def _yield(plant: Any, growth: float) -> None:
    """Let the casing yield at once: volume up by `growth`, gas expanded without heat."""
    plant.P[k.P_V0] *= growth
    plant.S[k.S_VT] *= growth
    plant.S[k.S_PT] *= growth**-ADIABATIC
    plant.S[k.S_TT] *= growth ** (1 - ADIABATIC)
