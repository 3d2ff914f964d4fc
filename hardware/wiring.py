"""Wiring outside the board: leads, connectors pin by pin, fuses, main switch, warnings on board and enclosure.

Currents that a wire carries are those of single cores with insulation for 105 degC in air of 50 degC, loosely laid: common practice, from memory.
"""

from dataclasses import dataclass

from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, load, ohms
from hardware.params import PARAMS
from hardware.sources import MECHANICAL

# mm2 -> (AWG, continuous current in A)
WIRES: dict[float, tuple[int, float]] = {0.25: (24, 3.0), 0.34: (22, 4.0), 4.0: (11, 34.0)}
# Connector data: (thinnest, thickest mm2, A for each contact, description)
CONTACTS: dict[str, tuple[float, float, float, str]] = {
    "XH": (0.08, 0.34, 3.0, "crimp contacts of 2.5 mm pitch"),
    "terminal": (0.5, 4.0, 30.0, "screw terminals; ferrule on each wire"),
    "tab": (0.25, 4.0, 30.0, "6.3 mm tabs, insulated sockets"),
    "header": (0.08, 0.34, 3.0, "2.54 mm socket with a latch or glue"),
}
KIND_CONTACT = {
    "conn-power": "terminal",
    "relay": "tab",
    "display": "header",
}  # every other wired class has XH
WIRED = (
    "conn-power",
    "relay",
    "conn-small",
    "transducer-vented",
    "transducer-sealed",
    "display",
    "switch-run",
    "switch-test",
    "switch-key",
    "button",
)
HEAVY = ("J1", "J2")  # and the contact side of K1
LENGTH_M = {"J1": "1.5", "J2": "0.5", "K1": "0.15", "J5": "0.3", "J6": "0.3", "J7": "0.3"}
LEAD: dict[str, str] = {
    "J1": "supply, from the main switch",
    "J2": "air source",
    "J4": "vent valve SV3",
    "J5": "transducer C, VENTED",
    "J6": "transducer A",
    "J7": "transducer B, VENTED",
    "J9": "display",
    "J10": "id plug",
    "K1": "relay socket",
    "S1": "run control, hand or foot",
    "S2": "cutoff test button",
    "S3": "range key on valve V5",
    "S4": "button up",
    "S5": "button down",
    "S6": "button enter",
}
# Pairs of pins through which a fuse's current can continue.
THROUGH: dict[str, tuple[tuple[str, str], ...]] = {
    "diode-feed": (("A", "K"),),
    "diode-schottky": (("A", "K"),),
    "diode-signal": (("A", "K"),),
    "switch-run": (("1", "2"),),
    "pmos": (("S", "D"),),
    "relay": (("A1", "A2"), ("11", "14")),
    "reg-switch-5": (("VIN", "VOUT"),),
    "reg-linear-5": (("VIN", "VOUT"),),
    "reg-linear-3": (("VIN", "VOUT"),),
    "mcu-board": (("VSYS", "3V3"),),
    "conn-small": (("1", "2"),),
    "conn-power": (("1", "2"),),
    "switch-key": (("A_COM", "A_HIGH"), ("B_COM", "B_LOW"), ("C_COM", "C_HIGH")),
    "button": (("1", "2"),),
    "transducer-vented": (("1", "2"),),
    "transducer-sealed": (("1", "2"),),
}
LIMIT_OHM = 1000.0  # a resistor above this carries too little to matter to a wire


@dataclass(frozen=True)
class Contact:
    """One pin of one connector: its net, the wire on it, the fuse that protects that wire ("" where a resistor limits the current)."""

    ref: str
    pin: str
    net: str
    mm2: float
    fuse: str


def walk(parts: dict[str, Part], start: str) -> set[str]:
    """Nets that a fuse's current can reach without another fuse or a return."""
    edges: list[tuple[str, str]] = []
    for p in parts.values():
        if p.ref == "J2" or p.kind in {"fuse-blade", "fuse-small"}:
            continue
        if p.kind.startswith("res") and ohms(p.value) <= LIMIT_OHM:
            edges.append((p.pins["1"], p.pins["2"]))
        edges += [
            (p.pins[a], p.pins[b])
            for a, b in THROUGH.get(p.kind, ())
            if a in p.pins and b in p.pins and p.ref not in ("J1", "J10")
        ]
    found, queue = {start}, [start]
    while queue:
        here = queue.pop()
        for a, b in edges:
            if here == a and b not in found and b not in GROUNDS and b != "NC":
                found.add(b)
                queue.append(b)
    return found


def fuse_of(parts: dict[str, Part]) -> dict[str, str]:
    """Net -> the fuse that feeds it; of several, the largest."""
    found: dict[str, str] = {}
    for ref in sorted((r for r in parts if r.startswith("F")), key=lambda r: parts[r].limits["A"]):
        found |= dict.fromkeys(walk(parts, parts[ref].pins["2"]), ref)
    return found


def contacts(parts: dict[str, Part]) -> list[Contact]:
    """Every pin with a wire, in the order of the connectors."""
    fused = fuse_of(parts)
    rows = []
    for p in parts.values():
        if p.kind not in WIRED:
            continue
        own = {fused[net] for net in p.pins.values() if net in fused}
        biggest = max(own, key=lambda r: parts[r].limits["A"], default="")
        for pin, net in p.pins.items():
            heavy = p.ref in HEAVY or (p.ref == "K1" and pin in ("11", "14"))
            fuse = (
                "F0"
                if net == "V12_RAW" or (p.ref == "J1" and net == "PGND")
                else "F1"
                if heavy
                else fused.get(net, biggest)
            )
            coil = p.ref in ("J4", "S1") or (p.ref == "K1" and not heavy)
            rows.append(
                Contact(
                    p.ref,
                    pin,
                    net,
                    4.0 if heavy else 0.34 if coil else 0.25,
                    fuse if p.ref != "K1" or heavy else "F4",
                )
            )
    return rows


def amps(parts: dict[str, Part], fuse: str) -> float:
    """Rating of a fuse in A; F0 is not on the board."""
    return F0_A if fuse == "F0" else parts[fuse].limits["A"] if fuse else 0.0


F0_A = 30.0


def fuse_protects_every_wire(parts: dict[str, Part]) -> Check:
    """Check that wire and contact carry the current that the fuse before them lets through; the contact fits the wire's size."""
    wrong = []
    for c in contacts(parts):
        kind = KIND_CONTACT.get(parts[c.ref].kind, "XH")
        thin, thick, most, _ = CONTACTS[kind]
        rating = amps(parts, c.fuse)
        if rating > WIRES[c.mm2][1]:
            wrong.append(f"{c.ref}.{c.pin}: {c.mm2:g} mm2 behind {c.fuse} of {rating:g} A")
        if rating > most:
            wrong.append(f"{c.ref}.{c.pin}: contact of {most:g} A behind {c.fuse} of {rating:g} A")
        if not thin <= c.mm2 <= thick:
            wrong.append(f"{c.ref}.{c.pin}: {c.mm2:g} mm2 does not fit {kind}")
    return Check(
        "wiring: the fuse before each wire protects it",
        not wrong,
        listing(wrong) if wrong else f"{len(contacts(parts))} wires",
    )


def leads_fit(parts: dict[str, Part]) -> Check:
    """Check that main leads are no thinner than calculated; F0 is above F1 and under the leads' current; switch and fuse holder fit."""
    figures = {ref: text for ref, _, text, _ in MECHANICAL}
    wrong = [] if PARAMS["wire_area"].low <= 4.0 else ["main leads are thinner than calculated"]
    if not parts["F1"].limits["A"] < F0_A <= WIRES[4.0][1]:
        wrong.append("F0 must be over F1 and under what its lead carries")
    wrong += [
        f"{ref}: {figures.get(ref, 'missing')}"
        for ref, words in (("F0", "30 A"), ("SW1", "30 A DC"), ("HS1", "15 K/W"))
        if words not in figures.get(ref, "")
    ]
    return Check(
        "wiring: main leads, their fuse and the main switch",
        not wrong,
        listing(wrong) if wrong else "4 mm2 behind 30 A at the battery and 25 A on the board",
    )


def every_connector_has_a_table(parts: dict[str, Part]) -> Check:
    """Check that no wired part lacks a lead's name and no lead lacks a part."""
    refs = {p.ref for p in parts.values() if p.kind in WIRED}
    wrong = sorted(refs ^ set(LEAD))
    return Check(
        "wiring: every connector has its table",
        not wrong,
        listing(wrong) if wrong else f"{len(refs)} connectors",
    )


RULES = (fuse_protects_every_wire, leads_fit, every_connector_has_a_table)

SILKSCREEN = (
    ("J1", "12 V DC, 25 A FUSE. PLUS = 1. CHECK BEFORE CONNECTING"),
    ("J2", "COMPRESSOR 1-2. LINE: L1 ON 1-3, L2 ON 4-2"),
    ("F1", "25 A ONLY"),
    ("F2 F3 F4", "0.8 A, 0.2 A, 2 A TIME-LAG"),
    ("M1", "HOT. HEAT SINK IS AT PUMP_N, NOT AT GROUND: USE THE INSULATING PAD"),
    ("J4", "VENT: NORMALLY OPEN VALVE, 12 V, 100 % DUTY"),
    ("J5", "C: VENTED GAUGE, 10 BAR. CUTOFF. NOT A, NOT B"),
    ("J6", "A: SEALED GAUGE, 10 BAR"),
    ("J7", "B: VENTED GAUGE, 10 BAR"),
    ("R35 R36 R37 R38", "0.1 %: SETS THE CUTOFF"),
    ("U4", "PUSH-PULL ONLY"),
    ("S1", "RUN CONTROL: MUST OPEN BY SPRING"),
    ("S3", "RANGE KEY: ON THE STEM OF V5 ONLY"),
    ("NT1 NT2 NT3", "STAR POINT: DO NOT BRIDGE ELSEWHERE"),
    (
        "board",
        "AIR UNDER PRESSURE. CHECK-OUT SHEET BEFORE USE AND AFTER EVERY REPAIR. NOT CERTIFIED",
    ),
)

ENCLOSURE = (
    "Closed box, IP54 or better with the vent holes of transducers B and C leading to dry air inside; no pressure can build up in it: an opening of 1 cm2 at least with a filter.",
    "Compressor, or line valves, in a part of their own, apart from the board: heat, oil and vibration.",
    "HS1 in the air stream of the motor's fan or outside the box; its metal is live (PUMP_N) unless the pad insulates it. Surfaces that a hand can touch stay under 60 degC, or are guarded and marked.",
    "Vent silencer and relief valves point away from people, down or to the back, and nothing can be screwed onto them.",
    "Plugs of J5, J6, J7 in three colours or keys, with the letter of their tap on plug and tap.",
    "Run control: the only thing that starts air. No latch, no place for a band or a wedge; a foot pedal has a guard.",
    "Main switch SW1 and, in the line build, the hand valve IV1 within reach of the person who holds the run control; IV1 can be locked shut.",
    "Strain relief at every cable and at both ends of the hose. Cables of the motor and of the transducers leave on different sides.",
    "Warnings on the lid, to be read from the place of use: pressure; noise of the vent; hot surface; remains under pressure until the gauge shows 0; do not tape the run control; air only, no other gas.",
)

NOTES = (
    f"F0 sits within 20 cm of the battery's plus (an adapter that limits its own current under {F0_A:g} A needs none); F1 on the board blows first.",
    "SW1 breaks the plus lead between F0 and J1: it is the main switch and takes everything off the 12 V, which opens the vent. Take the plug out before the lid comes off.",
    "Line build: IV1 is the first part after the main: shut, it empties all that lies behind it (isolation and dump); locked shut for work on the inflator.",
    "Compressor build: switching off empties the manifold by the vent; the check valve keeps at most the compressor head's own volume.",
    "Each transducer has its own return in its own cable, twisted, to its own pin. No return is shared with a coil or the motor.",
    "K1 is a wired relay in a socket: contact wires 4 mm2 and short; its tabs are 30, 87 (contact), 86, 85 (coil).",
)


def markdown() -> str:
    """Return the page out/wiring.md."""
    parts = load()
    rows = contacts(parts)
    lines = [
        "# Wiring, connectors, enclosure",
        "",
        "A board layout is not given. Wire figures: common practice, from memory (single cores for 105 degC in air of 50 degC); check them against",
        "the cable's sheet. Nothing here has been built.",
        "",
        "## Leads, fuses, switch",
        "",
        *(f"- {n}" for n in NOTES),
        "",
    ]
    lines += [
        "| off the board | what | figures | what for |",
        "| --- | --- | --- | --- |",
        *(f"| {ref} | {text} | {figures} | {why} |" for ref, text, figures, why in MECHANICAL),
        "",
    ]
    lines += [
        "| wire | AWG | carries |",
        "| --- | --- | --- |",
        *(f"| {mm2:g} mm2 | {awg} | {a:g} A |" for mm2, (awg, a) in WIRES.items()),
        "",
        "## Connectors, pin by pin",
        "",
    ]
    for ref in sorted(LEAD, key=lambda r: (r[0], int(r[1:]))):
        kind = CONTACTS[KIND_CONTACT.get(parts[ref].kind, "XH")][3]
        length = f"; at most {LENGTH_M[ref]} m" if ref in LENGTH_M else ""
        lines += [
            f"### {ref}: {LEAD[ref]} ({kind}{length})",
            "",
            "| pin | net | wire | fuse |",
            "| --- | --- | --- | --- |",
        ]
        lines += [
            f"| {c.pin} | {c.net} | {c.mm2:g} mm2 | {c.fuse or 'a resistor limits the current'} |"
            for c in rows
            if c.ref == ref
        ] + [""]
    lines += [
        "## Warnings on the board",
        "",
        "| at | text |",
        "| --- | --- |",
        *(f"| {at} | {text} |" for at, text in SILKSCREEN),
        "",
    ]
    return "\n".join([*lines, "## Enclosure", "", *(f"- {e}" for e in ENCLOSURE), ""])
