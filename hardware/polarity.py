"""Polarity rules: every polarised part, every pin by its type. Two exchanged pins must break one of these rules.

Each rule compares a pin's type (`pintypes`) with the role of its net; only plugs, contacts and converter inputs go by reference.
"""

from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, nets
from hardware.paths import FEEDS, RESISTORS, rail, walk
from hardware.pintypes import LEVELS, STRAPS, TYPES, WANTS
from hardware.signal_rules import bus_roles, comparator_senses, contacts_and_plugs, converters_see

ABOVE = {  # kind -> (pin at the higher potential, pin at the lower) in normal operation
    "tvs": ("K", "A"),
    "zener-12": ("K", "A"),
    "zener-5v6": ("K", "A"),
    "diode-power": ("K", "A"),
    "diode-signal-schottky": ("K", "A"),
    "led": ("A", "K"),
    "cap-bulk": ("1", "2"),
    "cap-tantalum": ("1", "2"),
    "buzzer": ("1", "2"),
    **dict.fromkeys((*FEEDS, "diode-signal", "diode-fast"), ("A", "K")),
}
CLAMP_V = (25.0, 50.0)  # a coil's current must fall against this


def level(net: str) -> float | None:
    """Highest operating potential of a net, None if not stated."""
    return LEVELS.get(net)


def every_pin_typed(parts: dict[str, Part]) -> Check:
    """Check that every pin of every part has a type, and that no type names a pin that the class lacks."""
    wrong = [f"{p.ref}.{pin}" for p in parts.values() for pin in p.pins if pin not in TYPES[p.kind]]
    return Check(
        "pin types: every pin has one",
        not wrong,
        listing(wrong) if wrong else f"{sum(len(p.pins) for p in parts.values())} pins typed",
    )


def supplies_and_returns(parts: dict[str, Part]) -> Check:
    """Check supply pins on a supply of the right voltage, returns on a return, and no driver on either."""
    wrong = []
    for p in parts.values():
        for pin, net in p.pins.items():
            kind = TYPES[p.kind].get(pin, "")
            volts = level(net)
            if kind == "gnd" and net not in (*GROUNDS, "NC"):
                wrong.append(f"{p.ref}.{pin} is a return on {net}")
            if kind in ("out", "oc", "out+", "bus") and net in GROUNDS:
                wrong.append(f"{p.ref}.{pin} drives {net}")
            if kind in ("out", "oc", "bus") and net != "NC" and rail(parts, net):
                wrong.append(f"{p.ref}.{pin} drives the supply {net}")
            if kind == "in+" and (p.kind, pin) in WANTS:
                low, high = WANTS[p.kind, pin]
                if not rail(parts, net) or volts is None or not low <= volts <= high:
                    wrong.append(f"{p.ref}.{pin} wants {low} to {high} V, {net} has {volts}")
            if kind == "out+" and net != "NC" and volts is None:
                wrong.append(f"{p.ref}.{pin} supplies {net}, which is no supply")
    wrong += [
        f"{net}: {', '.join(who)} all supply it"
        for net, who in drivers(parts, "out+").items()
        if len(who) > 1
    ]
    return Check("pin types: supplies and returns", not wrong, listing(wrong))


def drivers(parts: dict[str, Part], kind: str) -> dict[str, list[str]]:
    """Net -> pins of that type on it."""
    found: dict[str, list[str]] = {}
    for p in parts.values():
        for pin, net in p.pins.items():
            if TYPES[p.kind].get(pin) == kind and net != "NC":
                found.setdefault(net, []).append(f"{p.ref}.{pin}")
    return found


def outputs_and_inputs(parts: dict[str, Part]) -> Check:
    """Check one driver a net; a driver for every input; a pull-up to its own supply for an open drain; nothing else left open."""
    wrong = [
        f"{net}: {', '.join(who)} drive it"
        for net, who in drivers(parts, "out").items()
        if len(who) > 1
    ]
    table = nets(parts)
    for p in parts.values():
        for pin, net in p.pins.items():
            kind = TYPES[p.kind].get(pin)
            if (
                kind in ("in", "base", "gate", "out", "bus")
                and p.kind != "mcu-board"
                and net == "NC"
            ):
                wrong.append(f"{p.ref}.{pin} is left open")
            strap = STRAPS.get((p.kind, pin))
            if strap and not (
                net in GROUNDS
                if strap == "gnd"
                else net == "NC"
                if strap == "nc"
                else net == p.pins[strap]
            ):
                wrong.append(f"{p.ref}.{pin} is not tied to {strap}")
            if kind == "in" and net not in GROUNDS and net != "NC" and not rail(parts, net):
                others = [
                    TYPES[parts[r].kind].get(q) for r, q in table[net] if (r, q) != (p.ref, pin)
                ]
                if not set(others) & {"out", "bus", "-p-"}:
                    wrong.append(f"{p.ref}.{pin}: nothing drives {net}")
            if (
                p.kind == "supervisor"
                and kind == "oc"
                and p.pins["VDD"] not in walk(parts, net, set())
            ):
                wrong.append(f"{p.ref}.{pin}: no pull-up to {p.pins['VDD']}")
    return Check("pin types: outputs and inputs", not wrong, listing(wrong))


def which_way_round(parts: dict[str, Part]) -> Check:
    """Check diodes, suppressors, polarised capacitors, lamp, buzzer, clamp pairs: the right pin is at the higher potential."""
    wrong = []
    for p in parts.values():
        pairs = (
            [ABOVE[p.kind]]
            if p.kind in ABOVE
            else [("K", "C"), ("C", "A")]
            if p.kind == "clamp-dual"
            else []
        )
        for high, low in pairs:
            a, b = level(p.pins[high]), level(p.pins[low])
            if a is None or b is None or a <= b:
                wrong.append(
                    f"{p.ref}: {high} on {p.pins[high]} must be above {low} on {p.pins[low]}"
                )
    return Check("polarity: diodes, capacitors, clamps", not wrong, listing(wrong))


def bounded(parts: dict[str, Part], start: str, end: str) -> float:
    """Least voltage from `start` to `end` at which a chain of at most two diodes between them conducts; 1000 when none does."""
    edges: list[tuple[str, str, float]] = []
    for p in parts.values():
        if set(p.pins) == {"A", "K"}:
            back = p.limits["V"] if p.kind.startswith(("zener", "tvs")) else 1000.0
            edges += [(p.pins["A"], p.pins["K"], 0.7), (p.pins["K"], p.pins["A"], back)]
    best = min((v for a, b, v in edges if (a, b) == (start, end)), default=1000.0)
    for a, mid, v in edges:
        if a == start:
            best = min([best, *(v + w for c, b, w in edges if (c, b) == (mid, end))])
    return best


def coils_clamped(parts: dict[str, Part]) -> Check:
    """Check relay and vent coil: nothing conducts beside the coil while it is fed, and its current falls against a high voltage."""
    wrong, found = [], []
    for p in parts.values():
        pair = (
            ("A1", "A2")
            if p.kind == "relay"
            else ("1", "2")
            if p.kind == "conn-small" and set(p.pins) == {"1", "2"}
            else None
        )
        if pair is None:
            continue
        forward, back = (
            bounded(parts, p.pins[pair[0]], p.pins[pair[1]]),
            bounded(parts, p.pins[pair[1]], p.pins[pair[0]]),
        )
        found.append(f"{p.ref}: {back:.1f} V")
        if forward < 20 or not CLAMP_V[0] <= back <= CLAMP_V[1]:
            wrong.append(
                f"{p.ref}: {forward:.1f} V beside the fed coil, {back:.1f} V against its current"
            )
    return Check("polarity: coil clamps", not wrong, listing(wrong or found))


def transistors(parts: dict[str, Part]) -> Check:
    """Check transistors: emitter or source on the right side, control pin held by a resistor and never driven past its junction."""
    wrong = []
    for p in parts.values():
        if p.kind not in ("npn", "pnp", "nmos", "nmos-power", "pmos"):
            continue
        control, out, common = (
            p.pins[x] for x in (("B", "C", "E") if p.kind in ("npn", "pnp") else ("G", "D", "S"))
        )
        c, o, e = level(control), level(out), level(common)
        if c is None or o is None or e is None:
            wrong.append(f"{p.ref}: no level for {control}, {out} or {common}")
            continue
        sign = 1 if p.kind.startswith("n") else -1
        most = 1.0 if p.kind in ("npn", "pnp") else 20.0
        held = any(q.kind in RESISTORS and control in q.pins.values() for q in parts.values())
        if p.kind != "npn":
            held = any(
                q.kind in RESISTORS
                and control in q.pins.values()
                and (set(q.pins.values()) - {control})
                & ({common} | (set(GROUNDS) if sign > 0 else set()))
                for q in parts.values()
            )
        if (
            sign * (o - e) <= 0
            or not held
            or not (0 <= sign * (c - e) <= most if sign > 0 else sign * (c - e) <= most and e >= c)
        ):
            wrong.append(
                f"{p.ref}: control {control} {c} V, output {out} {o} V, common {common} {e} V{'' if held else ', nothing holds its control pin'}"
            )
    return Check("polarity: transistors", not wrong, listing(wrong))


RULES = (
    every_pin_typed,
    supplies_and_returns,
    outputs_and_inputs,
    which_way_round,
    coils_clamped,
    transistors,
    comparator_senses,
    bus_roles,
    converters_see,
    contacts_and_plugs,
)
