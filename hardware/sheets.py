"""Assembly and check-out sheet, daily use and out-of-service criteria: steps as data with limits from the calculations."""

from dataclasses import dataclass
from html import escape
from math import ceil, floor

from hardware import air, cutoff, gate
from hardware.params import PARAMS
from hardware.shared import LEAD_PA

PSI = 6894.757293168361


@dataclass(frozen=True)
class Step:
    """One step: action and required result. `key`: its trial in `checkout_sim`; without one, `shown` states its evidence."""

    text: str
    limit: str
    key: str = ""
    shown: str = "by inspection"


def both(pa: float, up: bool = False) -> str:
    """Format a gauge pressure in bar and psi, rounded down (or up, for a lower bound)."""
    bar, psi = pa / 1e5, pa / PSI
    cut = ceil if up else floor
    return f"{cut(bar * 100) / 100:.2f} bar ({cut(psi * 10) / 10:.1f} psi)"


def assembly() -> list[Step]:
    """Return the steps of the assembly."""
    return [
        Step(
            "Before anything else: no air supply, no battery. Eye protection on. Read the hazard analysis once.",
            "done",
        ),
        Step(
            "Fit taps A, B, C at the top of the plenum, each with its own sintered filter; three plugs of different keying or colour.",
            "done",
        ),
        Step(
            "Transducers B and C are VENTED gauge types: vent hole free, not painted, not under a seal. Never fit a sealed type as C.",
            "seen",
        ),
        Step("A, B and C are not all of one lot.", "seen"),
        Step(
            "R11 soldered at the legs of M1; R35 to R38 are 0.1 % parts; U4 is a push-pull type.",
            "seen",
        ),
        Step(
            "Workshop line build: RO1 fitted and sealed; SV1 on the relay channel (J2 1-3), SV2 on the pulse channel (J2 4-2).",
            "seen",
        ),
        Step(
            "Leads, fuses and connectors as in wiring.md: F0 at the battery, main switch SW1, plugs of A, B and C not to be mistaken.",
            "seen",
        ),
        Step("Line build: IV1 shut empties everything behind it; it can be locked.", "tried"),
        Step(
            "Relief valves RV1 (5.9 bar) and RV2 (10.5 bar): seals whole, outlets free, pointing away from people.",
            "seen",
        ),
        Step(
            "No shut-off valve between the manifold and RV2. V5 opens the way to RV1 in the low position of the key.",
            "seen",
        ),
        Step("Hose at least 0.61 m (California T8 3325), strain relief at both ends.", "seen"),
    ]


CHECKOUT_PROGRAM = "tests/interpreter/test_checkout_program.py::test_the_whole_program_waits_for_a_person_and_ends_with_the_air_off"
SELF_TEST = "tests/faults/test_every_fault.py::test_outcome_of_fault"
CALIBRATION = "tests/outside/test_transducer.py::test_resolution"


PUMP = "hose shut, hand pump of 12 bar (174.0 psi), reference gauge (U 2.5 kPa or better)"


def checkout() -> list[Step]:
    """Return the steps of the check-out in their order: first those without air."""
    return [*_board_steps(), *_pump_steps(), *_air_steps()]


def _board_steps() -> list[Step]:
    """Supplies, gate and relay, without air."""
    g = gate.report()
    return [
        Step(
            "Processor not fitted, 12 V on, run switch held: voltage from J2 1 to 3, and from J2 4 to 2 with a lamp in place of the source",
            "0 V and dark, for 60 s",
            "dead",
        ),
        Step("Processor fitted, USB only, no 12 V: nothing moves, display lights", "yes"),
        Step("V5_SENS, V5_CUT", "4.85 to 5.15 V each", "supplies"),
        Step(
            "Firmware installed, workshop contact closed at power-up, hose shut off: `mpremote connect PORT run hardware/checkout_pico.py`, the check-out "
            "program. It leads through GATE, RELAY and the vent balance below; the run control must be held",
            "starts; nothing moves before RUN and ENTER",
            shown=CHECKOUT_PROGRAM,
        ),
        Step(
            "GATE toggled once each 2 ms by the check-out program, then stopped: time to 1 V at the gate of M1, stopped high and stopped low",
            f"{g['gate_min_ms']:.1f} to {g['gate_max_ms']:.1f} ms after the last falling edge",
            "drop_out",
        ),
        Step(
            "GATE held at 1, then at 0: voltmeter of 10 megohm from GP_A to ground, after 10 s",
            "under 0.3 V, both times",
            "coupling",
        ),
        Step("GATE held at 1, then at 0: air source", "stays off", "steady"),
        Step(
            "RELAY dropped: peak at the low side of the relay coil (COIL_N), oscilloscope",
            "38 to 55 V",
            "fly_back",
        ),
        Step(
            "RELAY dropped: time from the command to an open contact",
            f"at most {g['relay_max_ms']:.1f} ms",
            shown="tests/unit/test_hardware_gate.py::test_relay_release_within_the_budget",
        ),
        Step(
            "Sum of the two longest times measured",
            "at most 20 ms",
            shown="tests/unit/test_hardware_gate.py::test_relay_release_within_the_budget",
        ),
    ]


def _pump_steps() -> list[Step]:
    """Taps, independent cutoff, relief valves and readings, with a hand pump."""
    low, high, test = cutoff.band(False), cutoff.band(True), cutoff.test_band()
    relief = PARAMS["relief_low"], PARAMS["relief_high"]
    return [
        Step(
            "Blow each tap shut in turn with a plug: only its own reading stops following",
            "A, B, C each",
            "taps",
        ),
        Step(
            f"Low range, {PUMP}, three slow rises: pressure at which the cutoff opens",
            f"each within {both(low[0], up=True)} to {both(low[2])}",
            "trip_low",
        ),
        Step(
            "The same in the high range",
            f"each within {both(high[0], up=True)} to {both(high[2])}",
            "trip_high",
        ),
        Step(
            "At each trip, and a minute later with the manifold at 0 bar (0 psi): voltage across the relay coil and the vent coil; firmware shows independent-cutoff",
            "under 0.5 V each",
            "trip_all",
        ),
        Step(
            f"Test button held, low range, {PUMP}: pressure at which the cutoff opens",
            f"{both(test[0], up=True)} to {both(test[2])}",
            "test_button",
        ),
        Step(
            "12 V away for 5 seconds and back, manifold empty; again with the adapter switched on at the mains instead of plugged in: cutoff",
            "closed, both times",
            "power_cycle",
        ),
        Step(
            f"Plug J4 on a bench supply of 12 V, so that the vent stays shut whatever the cutoff does. Low range, {PUMP}: RV1 begins to open",
            f"{both(relief[0].low, up=True)} to {both(relief[0].high)}",
            "relief_low",
        ),
        Step(
            "The same in the high range: RV2 begins to open. Then J4 back on the board",
            f"{both(relief[1].low, up=True)} to {both(relief[1].high)}",
            "relief_high",
        ),
        Step(
            "Manifold at 4.00 bar (58.0 psi) by hand pump: A, B and C as the firmware shows them",
            f"each within {both(LEAD_PA)} of the gauge",
            "three",
        ),
    ]


def _air_steps() -> list[Step]:
    """Vent, key, self-test and calibration, with the air source."""
    vent_pa = max(air.vented_gauge_pa(line) for line in (False, True))
    return [
        Step(
            "Hose shut, run control held, filled to 3.00 bar (43.5 psi), run control still held: manifold after 10 s",
            "2.90 to 3.10 bar (42.1 to 44.9 psi)",
            "holds",
        ),
        Step(
            "Vent balance: hose shut off, air source running by the check-out program with the vent open, highest supply: manifold",
            f"under {both(vent_pa)}; ceiling over 1.5 is {both(500_000 / 1.5)}",
            "balance",
        ),
        Step(
            "Vent flow: the fall after the test button's trip, from 2.00 to 0.30 bar (29.0 to 4.3 psi): keep it as this inflator's baseline",
            f"a figure; each day at most {air.VENT_LIMIT:g} times as long",
            "vent_flow",
        ),
        Step(
            "Range key half-way, then with one contact wire off, then with both contacts bridged: firmware",
            "refuses, each time",
            "key",
        ),
        Step(
            "Self-test with K1's contact bridged, then with M1's drain to source bridged",
            "refused, both times",
            shown=SELF_TEST,
        ),
        Step(
            "Calibration of A and B against the reference gauge (rimward calibrate)",
            "accepted; certificate filed",
            shown=CALIBRATION,
        ),
        Step(
            "Unplug 12 V in the middle of a fill into a 2 L vessel",
            "stops at once; on return: idle, tyre unknown",
            shown=SELF_TEST,
        ),
    ]


def daily() -> list[Step]:
    """Return the steps of each day before use."""
    test = cutoff.test_band()
    return [
        Step(
            "Drain the water trap. Look at hose, chuck, relief seals, vent silencer.",
            "dry, whole, free",
        ),
        Step(
            "Key to LOW, chuck on its plug. Hold the cutoff test button and let air in until it opens; release it, wait ten seconds.",
            f"opens between {both(test[0], up=True)} and {both(test[2])} and stays open, display shows independent-cutoff; "
            "take the 12 V away for 5 seconds",
            "test_button",
        ),
        Step(
            "The fall that follows that trip, as the inflator times it",
            f"at most {air.VENT_LIMIT:g} times the baseline",
            "vent_flow",
        ),
        Step(
            "Hold the run control with the hose shut: release it.",
            "stops at once",
            shown="tests/unit/test_hardware_rules.py::test_rule",
        ),
        Step(
            "Self-test passes, all three transducers show 0.00 bar (0.0 psi) with the chuck in the air.",
            "yes",
            shown=SELF_TEST,
        ),
        Step("Check the reading against a hand gauge on one tyre.", "within 0.10 bar (1.5 psi)"),
        Step(
            "Key to HIGH only for a hooked rim whose marked limit is above 5.0 bar (72.5 psi).",
            "key back to LOW after it",
        ),
    ]


def out_of_service() -> list[str]:
    """Criteria for taking the inflator out of service."""
    return [
        "any check-out or daily step not passed",
        "calibration or yearly check-out overdue",
        "independent cutoff opened in use and the cause is not found",
        "gate-element-stuck or relay-stuck shown twice",
        "a relief valve has blown, or its seal is broken",
        "dropped from bench height, wet inside, hose cut or bulged",
        "a transducer, U4, R35 to R38, a relief valve, the vent or RO1 was changed and check-out was not done again",
        "used outside 0 to 50 degC: the cutoff's band is stated for that range only",
    ]


def html() -> str:
    """Return the printable sheet: boxes to tick and lines for figures."""

    def table(title: str, steps: list[Step]) -> str:
        rows = "".join(
            f"<tr><td>{i}</td><td>{escape(s.text)}</td><td>{escape(s.limit)}</td><td></td><td>&#9633; pass &#9633; fail</td></tr>"
            for i, s in enumerate(steps, 1)
        )
        return (
            f"<h2>{title}</h2><table><thead><tr><th></th><th>step</th><th>must be found</th><th>found</th><th></th></tr></thead>"
            f"<tbody>{rows}</tbody></table>"
        )

    style = (
        "@page{size:A4;margin:12mm}body{font:10pt/1.4 sans-serif}table{border-collapse:collapse;width:100%}th,td{border:1px solid #555;"
        "padding:4px 6px;vertical-align:top;text-align:left}td:nth-child(1){width:5mm}td:nth-child(3){width:48mm}td:nth-child(4){width:28mm}"
        "td:nth-child(5){width:22mm;white-space:nowrap}tr{break-inside:avoid}thead{display:table-header-group}.head td{height:8mm}"
    )
    head = (
        '<table class="head"><tr><td style="width:50%">Inflator number:</td><td style="width:50%">Build: &#9633; compressor &#9633; workshop line</td></tr>'
        "<tr><td>Checked by, date:</td><td>Reference gauge, its U, due date:</td></tr></table>"
    )
    stop = "".join(f"<li>{escape(s)}</li>" for s in out_of_service())
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Rimward: check-out sheet</title><style>{style}</style>'
        f"<h1>Assembly and check-out sheet</h1><p>All pressures gauge. One step failed: the inflator is not used.</p>{head}"
        f"{table('Assembly', assembly())}{table('Check-out', checkout())}{table('Each day before use', daily())}"
        f"<h2>Out of service when</h2><ul>{stop}</ul></html>\n"
    )


def markdown() -> str:
    """Return the sheet as Markdown."""
    lines = [
        "# Assembly and check-out sheet",
        "",
        "All pressures gauge. One step failed: the inflator is not used.",
        "",
    ]
    for title, steps in (
        ("Assembly", assembly()),
        ("Check-out", checkout()),
        ("Each day before use", daily()),
    ):
        lines += [
            f"## {title}",
            "",
            "| step | must be found |",
            "| --- | --- |",
            *(f"| {s.text} | {s.limit} |" for s in steps),
            "",
        ]
    return "\n".join(
        [*lines, "## Out of service when", "", *(f"- {s}" for s in out_of_service()), ""]
    )
