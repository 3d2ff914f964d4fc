"""The steps of the bring-up as data. Limits come from the hardware data (`data/bringup.json`, made by `python -m hardware.bringup --write`)."""

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

DRY, AIR = "without air", "with air"
LINK, PERSON = "inflator", "instrument"


@dataclass(frozen=True)
class Step:
    """One step. `act`: what the person does first; `source`: who gives the figure; `baseline`: kept for the yearly check; `faults`: what it finds."""

    key: str
    phase: str
    act: str
    finds: str
    unit: str
    source: str
    faults: tuple[str, ...]
    baseline: bool = False

    @property
    def low(self) -> float:
        """Least that holds."""
        return limits()[self.key][0]

    @property
    def high(self) -> float:
        """Most that holds."""
        return limits()[self.key][1]


@cache
def limits() -> dict[str, tuple[float, float]]:
    """Step -> (least, most)."""
    table = json.loads(files("rimward").joinpath("data/bringup.json").read_text(encoding="utf-8"))
    return {key: (low, high) for key, (low, high) in table.items()}


STEPS = (
    Step("run", DRY, "Hose off, no air supply. Let the run control go, then hold it for two seconds", "run control seen open, then held", "", LINK, ("run wire broken", "run switch welded")),
    Step("key", DRY, "Turn the range key to high, wait two seconds, turn it back to low", "key seen high and low", "", LINK, ("key contact broken",)),
    Step("pump_supply", DRY, "", "supply", "V", LINK, ("supply sags",), True),
    Step("supplies", DRY, "", "supply of the cutoff", "V", LINK, ("U5 joined through", "U5 low"), True),
    Step("threshold", DRY, "", "threshold of the cutoff, share of its supply", "", LINK, ("R36 of 11k", "threshold open"), True),
    Step("closed", DRY, "", "cutoff closed, its view answers", "", LINK, ("U9 silent", "cutoff open")),
    Step("zero", DRY, "Chuck in the air", "largest reading of A, B and C at nothing", "Pa", LINK, ("A reads high", "C reads low")),
    Step("tick", DRY, "", "longest tick", "us", LINK, ("tick too long",), True),
    Step("drop_out", DRY, "Check-out program: GATE pulses stopped; oscilloscope at the gate of M1", "time to 1 V", "ms", PERSON, ("R4 open", "C12 of 680 nF", "C12 of 150 nF"), True),
    Step("coupling", DRY, "GATE held at 1 and at 0; meter of 10 megohm at GP_A after 10 s", "higher voltage", "V", PERSON, ("C10 joined through", "C11 joined through")),
    Step("steady", DRY, "GATE held at 1 and at 0; oscilloscope at the gate of M1", "higher voltage", "V", PERSON, ("Q3 joined through", "Q2 joined through")),
    Step("relay", DRY, "RELAY dropped; oscilloscope at the contact of K1", "time to the open contact", "ms", PERSON, ("D10 joined through",), True),
    Step("fly_back", DRY, "RELAY dropped; oscilloscope at COIL_N", "peak", "V", PERSON, ("D10 joined through", "D9 open", "D10 open"), True),
    Step("polarity", DRY, "Hose shut, hand pump with reference gauge: 1.00 bar (14.5 psi), hold it", "A, B and C, the furthest from it", "Pa", LINK, ("C stuck", "B turned round")),
    Step("trip_low", DRY, "Hand pump: raise the pressure slowly until the cutoff opens", "pressure at which it opens", "Pa", LINK, ("C reads low", "threshold high"), True),
    Step("latch", DRY, "Let the pressure off and wait", "the cutoff stays open", "", LINK, ("Q12 open",)),
    Step("power_cycle", DRY, "Take the 12 V away for five seconds, switch on again", "the cutoff closes", "", LINK, ("U10's wire open",)),
    Step("self_test", AIR, "Vessel of 2 L or more on the hose, no wheel. Air supply on. Answer the display (printed maximum 5 bar, all true, target 3 bar, stood: yes), wait for the ready page, hold the run control", "the self-test passes and air flows", "", LINK, ("relay stuck", "gate element stuck")),
    Step("stops", AIR, "Let the run control go", "the air stops", "", LINK, ("both elements stuck on",)),
    Step("holds", AIR, "", "change in ten seconds", "Pa", LINK, ("manifold leaks",)),
    Step("three", AIR, "", "A, B and C apart", "Pa", LINK, ("C reads low",)),
    Step("test_button", AIR, "Vessel off, chuck on its plug. Answer the display (printed maximum 5 bar, all true, target 3 bar, stood: yes), wait for the ready page, hold the cutoff's test button and the run control until it opens; let go", "pressure at which it opens", "Pa", LINK,
         ("C reads low", "Q12 open"), True),
    Step("vent_flow", AIR, "", "fall through the vent", "ms", LINK, ("vent clogged",), True),
)
