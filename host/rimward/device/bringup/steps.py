"""Steps of the bring-up as data. Limits come from the hardware data (`bringup.json`, made by `python -m hardware.bringup --write`)."""

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

DRY, AIR = "without air", "with air"
LINK, PERSON = "inflator", "instrument"


@dataclass(frozen=True)
class Step:
    """One step. `act`: the person's first action; `source`: origin of the figure; `baseline`: stored for the yearly check; `faults`:
    faults that it detects.
    """

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
        """Lowest passing value."""
        return limits()[self.key][0]

    @property
    def high(self) -> float:
        """Highest passing value."""
        return limits()[self.key][1]

    @property
    def yes_no(self) -> bool:
        """True for a step without a figure: done or not."""
        return not self.unit and self.low == self.high == 1.0


@cache
def limits() -> dict[str, tuple[float, float]]:
    """Step -> (lowest, highest)."""
    table = json.loads(
        files("rimward.device.bringup").joinpath("bringup.json").read_text(encoding="utf-8")
    )
    return {key: (low, high) for key, (low, high) in table.items()}


STEPS = (
    Step(
        "run",
        DRY,
        "Hose off, no air supply. Release the run control, then hold it for two seconds",
        "run control seen open, then held",
        "",
        LINK,
        ("run wire broken", "run switch welded"),
    ),
    Step(
        "key",
        DRY,
        "Turn the range key to high, wait two seconds, turn it back to low",
        "key seen high and low",
        "",
        LINK,
        ("key contact broken",),
    ),
    Step("pump_supply", DRY, "", "12 V supply", "V", LINK, ("supply sags",), True),
    Step(
        "supplies",
        DRY,
        "",
        "supply of the cutoff",
        "V",
        LINK,
        ("U5 joined through", "U5 low"),
        True,
    ),
    Step(
        "threshold",
        DRY,
        "",
        "threshold of the cutoff, share of its supply",
        "",
        LINK,
        ("R36 of 11k", "threshold open"),
        True,
    ),
    Step(
        "closed",
        DRY,
        "",
        "cutoff closed, its converter answers",
        "",
        LINK,
        ("U9 silent", "cutoff open"),
    ),
    Step(
        "zero",
        DRY,
        "Chuck in the air",
        "largest reading of A, B and C at ambient",
        "Pa",
        LINK,
        ("A reads high", "C reads low"),
    ),
    Step("tick", DRY, "", "longest tick", "us", LINK, ("tick too long",), True),
    Step(
        "drop_out",
        DRY,
        "Check-out program: GATE pulses stopped; oscilloscope at the gate of M1",
        "gate of M1 down to 1 V after the last pulse",
        "ms",
        PERSON,
        ("R4 open", "C12 of 680 nF", "C12 of 150 nF"),
        True,
    ),
    Step(
        "coupling",
        DRY,
        "GATE held at 1 and at 0; meter of 10 megohm at GP_A after 10 s",
        "GP_A with GATE held, higher voltage",
        "V",
        PERSON,
        ("C10 joined through", "C11 joined through"),
    ),
    Step(
        "steady",
        DRY,
        "GATE held at 1 and at 0; oscilloscope at the gate of M1",
        "gate of M1 with GATE held, higher voltage",
        "V",
        PERSON,
        ("Q3 joined through", "Q2 joined through"),
    ),
    Step(
        "relay",
        DRY,
        "RELAY dropped; oscilloscope at the contact of K1",
        "K1 open after the command",
        "ms",
        PERSON,
        ("D10 joined through",),
        True,
    ),
    Step(
        "fly_back",
        DRY,
        "RELAY dropped; oscilloscope at COIL_N",
        "COIL_N, peak",
        "V",
        PERSON,
        ("D10 joined through", "D9 open", "D10 open"),
        True,
    ),
    Step(
        "polarity",
        DRY,
        "Hose closed, hand pump with reference gauge: 1.00 bar (14.5 psi), hold it",
        "A, B and C at 1.00 bar (14.5 psi), the furthest from it",
        "Pa",
        LINK,
        ("C stuck", "B turned round"),
    ),
    Step(
        "trip_low",
        DRY,
        "Hand pump: raise the pressure slowly until the cutoff opens",
        "cutoff, low range: pressure at which it opens",
        "Pa",
        LINK,
        ("C reads low", "threshold high"),
        True,
    ),
    Step(
        "latch",
        DRY,
        "Release the pressure and wait",
        "cutoff stays open with the pressure gone",
        "",
        LINK,
        ("Q12 open",),
    ),
    Step(
        "power_cycle",
        DRY,
        "Disconnect the 12 V for five seconds, then reconnect",
        "cutoff closes after the interruption",
        "",
        LINK,
        ("U10's wire open",),
    ),
    Step(
        "self_test",
        AIR,
        "Vessel of 2 L or more on the hose, no wheel. Air supply on. Answer the display (printed maximum 5 bar, all true, target 3 bar, stood: yes), wait for the ready page, hold the run control",
        "the self-test passes and air flows",
        "",
        LINK,
        ("relay stuck", "gate element stuck"),
    ),
    Step(
        "stops",
        AIR,
        "Release the run control",
        "air stops when the run control is released",
        "",
        LINK,
        ("both elements stuck on",),
    ),
    Step("holds", AIR, "", "change of the reading in ten seconds", "Pa", LINK, ("manifold leaks",)),
    Step("three", AIR, "", "A, B and C, largest difference", "Pa", LINK, ("C reads low",)),
    Step(
        "test_button",
        AIR,
        "Vessel off, chuck on its plug. Answer the display (printed maximum 5 bar, all true, target 3 bar, stood: yes), wait for the ready page, hold the cutoff's test button and the run control until it opens; release both",
        "cutoff, test button: pressure at which it opens",
        "Pa",
        LINK,
        ("C reads low", "Q12 open"),
        True,
    ),
    Step("vent_flow", AIR, "", "fall through the open vent", "ms", LINK, ("vent clogged",), True),
)
