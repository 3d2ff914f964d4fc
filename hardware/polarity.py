"""Which way round: every polarised part, every pin by its type. A part fitted or drawn with two pins exchanged must break one of these rules.

Each rule looks at the type of a pin (`pintypes`) and at what its net is; only plugs, contacts and what converters see go by reference.
"""

from rimward_fw.board import pins as pin_table

from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, nets, ohms
from hardware.pintypes import BUS_ROLES, LEVELS, MONITOR, STRAPS, SYMMETRIC, TYPES, WANTS

RESISTORS = ("res", "res-precision", "res-power")
FEEDS = ("diode-schottky", "diode-feed")  # conduct in normal working
ABOVE = {  # kind -> (pin that stands higher, pin that stands lower) in normal working
    "tvs": ("K", "A"), "zener-12": ("K", "A"), "zener-5v6": ("K", "A"), "diode-power": ("K", "A"), "diode-signal-schottky": ("K", "A"), "led": ("A", "K"),
    "cap-bulk": ("1", "2"), "cap-tantalum": ("1", "2"), "buzzer": ("1", "2"), **dict.fromkeys((*FEEDS, "diode-signal", "diode-fast"), ("A", "K")),
}
CLAMP_V = (25.0, 50.0)  # a coil's current must fall against this


def level(net: str) -> float | None:
    """Highest working potential of a net, if one is stated."""
    return LEVELS.get(net)


def every_pin_typed(parts: dict[str, Part]) -> Check:
    """Every pin of every part has a type, and no type is for a pin that the class does not have."""
    wrong = [f"{p.ref}.{pin}" for p in parts.values() for pin in p.pins if pin not in TYPES[p.kind]]
    return Check("pin types: every pin has one", not wrong, listing(wrong) if wrong else f"{sum(len(p.pins) for p in parts.values())} pins typed")


def walk(parts: dict[str, Part], start: str, stop: set[str]) -> set[str]:
    """Nets reached from one through resistors, not going on from a rail, a return or a net in `stop`."""
    seen, todo = {start}, [start]
    while todo:
        net = todo.pop()
        if net != start and (net in GROUNDS or net in stop or rail(parts, net)):
            continue
        for part in parts.values():
            if part.kind in RESISTORS and net in part.pins.values():
                for other in set(part.pins.values()) - seen:
                    seen.add(other)
                    todo.append(other)
    return seen


def rail(parts: dict[str, Part], net: str) -> bool:
    """A net that a regulator's output, a fuse, a feeding diode or the resistor in a supply drives."""
    for part in parts.values():
        for pin, at in part.pins.items():
            if at == net and (TYPES[part.kind].get(pin) == "out+" or part.kind.startswith("fuse") or part.kind in (*FEEDS, "res-power")):
                return True
    return False


def supplies_and_returns(parts: dict[str, Part]) -> Check:
    """Supply pins on a supply of the right voltage, returns on a return, and nothing that drives on either."""
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
    wrong += [f"{net}: {', '.join(who)} all supply it" for net, who in drivers(parts, "out+").items() if len(who) > 1]
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
    """One driver a net; an input has something that drives it; an open drain has a pull-up to its own supply; nothing else is left open."""
    wrong = [f"{net}: {', '.join(who)} drive it" for net, who in drivers(parts, "out").items() if len(who) > 1]
    table = nets(parts)
    for p in parts.values():
        for pin, net in p.pins.items():
            kind = TYPES[p.kind].get(pin)
            if kind in ("in", "base", "gate", "out", "bus") and p.kind != "mcu-board" and net == "NC":
                wrong.append(f"{p.ref}.{pin} is left open")
            strap = STRAPS.get((p.kind, pin))
            if strap and not (net in GROUNDS if strap == "gnd" else net == "NC" if strap == "nc" else net == p.pins[strap]):
                wrong.append(f"{p.ref}.{pin} is not tied to {strap}")
            if kind == "in" and net not in GROUNDS and net != "NC" and not rail(parts, net):
                others = [TYPES[parts[r].kind].get(q) for r, q in table[net] if (r, q) != (p.ref, pin)]
                if not set(others) & {"out", "bus", "-p-"}:
                    wrong.append(f"{p.ref}.{pin}: nothing drives {net}")
            if p.kind == "supervisor" and kind == "oc" and p.pins["VDD"] not in walk(parts, net, set()):
                wrong.append(f"{p.ref}.{pin}: no pull-up to {p.pins['VDD']}")
    return Check("pin types: outputs and inputs", not wrong, listing(wrong))


def which_way_round(parts: dict[str, Part]) -> Check:
    """Diodes, suppressors, polarised capacitors, lamp, buzzer, clamp pairs: the pin that must stand higher does."""
    wrong = []
    for p in parts.values():
        pairs = [ABOVE[p.kind]] if p.kind in ABOVE else [("K", "C"), ("C", "A")] if p.kind == "clamp-dual" else []
        for high, low in pairs:
            a, b = level(p.pins[high]), level(p.pins[low])
            if a is None or b is None or a <= b:
                wrong.append(f"{p.ref}: {high} on {p.pins[high]} must stand over {low} on {p.pins[low]}")
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
    """Relay and vent coil: nothing conducts beside the coil while it is fed, and its current falls against a high voltage."""
    wrong, found = [], []
    for p in parts.values():
        pair = ("A1", "A2") if p.kind == "relay" else ("1", "2") if p.kind == "conn-small" and set(p.pins) == {"1", "2"} else None
        if pair is None:
            continue
        forward, back = bounded(parts, p.pins[pair[0]], p.pins[pair[1]]), bounded(parts, p.pins[pair[1]], p.pins[pair[0]])
        found.append(f"{p.ref}: {back:.1f} V")
        if forward < 20 or not CLAMP_V[0] <= back <= CLAMP_V[1]:
            wrong.append(f"{p.ref}: {forward:.1f} V beside the fed coil, {back:.1f} V against its current")
    return Check("polarity: coil clamps", not wrong, listing(wrong or found))


def transistors(parts: dict[str, Part]) -> Check:
    """Emitter or source on the side it belongs to, control pin held by a resistor and never driven past its junction."""
    wrong = []
    for p in parts.values():
        if p.kind not in ("npn", "pnp", "nmos", "nmos-power", "pmos"):
            continue
        control, out, common = (p.pins[x] for x in (("B", "C", "E") if p.kind in ("npn", "pnp") else ("G", "D", "S")))
        c, o, e = level(control), level(out), level(common)
        if c is None or o is None or e is None:
            wrong.append(f"{p.ref}: no level for {control}, {out} or {common}")
            continue
        sign = 1 if p.kind.startswith("n") else -1
        most = 1.0 if p.kind in ("npn", "pnp") else 20.0
        held = any(q.kind in RESISTORS and control in q.pins.values() for q in parts.values())
        if p.kind != "npn":
            held = any(q.kind in RESISTORS and control in q.pins.values() and (set(q.pins.values()) - {control}) & ({common} | (set(GROUNDS) if sign > 0 else set()))
                       for q in parts.values())
        if sign * (o - e) <= 0 or not held or not (0 <= sign * (c - e) <= most if sign > 0 else sign * (c - e) <= most and e >= c):
            wrong.append(f"{p.ref}: control {control} {c} V, output {out} {o} V, common {common} {e} V{'' if held else ', nothing holds its control pin'}")
    return Check("polarity: transistors", not wrong, listing(wrong))


def ends_at(parts: dict[str, Part], net: str, stop: set[str] | None = None) -> set[tuple[str, str]]:
    """(reference, pin) of everything that is no resistor, capacitor or clamp on the nets that resistors join to this one."""
    found: set[tuple[str, str]] = set()
    if net in GROUNDS:
        return found
    for other in walk(parts, net, stop or set()):
        if other in GROUNDS:
            continue
        found |= {(p.ref, pin) for p in parts.values() for pin, at in p.pins.items() if at == other and p.kind not in SYMMETRIC}
    return found


def comparator_senses(parts: dict[str, Part]) -> Check:
    """A: signal on the inverting input and threshold on the other, with the feedback that makes hysteresis. B the other way round, lower."""
    wrong = []
    for u in (p for p in parts.values() if p.kind == "comparator"):
        signal = {net for p in parts.values() if p.kind.startswith("transducer") and p.pins["1"] == u.pins["V+"] for net in through(parts, p.pins["2"])}
        if u.pins["INA-"] not in signal or u.pins["INB+"] not in signal or u.pins["INA+"] in signal or u.pins["INB-"] in signal:
            wrong.append(f"{u.ref}: the signal is not on INA- and INB+")
        joined = [q for q in parts.values() if q.kind in RESISTORS and set(q.pins.values()) == {u.pins["OUTA"], u.pins["INA+"]}]
        if not joined:
            wrong.append(f"{u.ref}: no feedback from OUTA to INA+")
        if ratio(parts, u.pins["INA+"], u.pins["V+"]) <= ratio(parts, u.pins["INB-"], u.pins["V+"]):
            wrong.append(f"{u.ref}: the upper threshold does not lie over the lower one")
    return Check("polarity: comparator", not wrong, listing(wrong))


def through(parts: dict[str, Part], net: str) -> set[str]:
    """The net and those one resistor away that are neither rail nor return."""
    beside = {other for p in parts.values() if p.kind in RESISTORS and net in p.pins.values() for other in p.pins.values()}
    return {net} | {n for n in beside if n not in GROUNDS and not rail(parts, n)}


def ratio(parts: dict[str, Part], net: str, supply: str) -> float:
    """Share of the supply at a net from the resistors between it and supply or return, one step away."""
    up = down = 0.0
    for p in parts.values():
        if p.kind in RESISTORS and net in p.pins.values():
            (other,) = set(p.pins.values()) - {net} or {net}
            up += 1 / ohms(p.value) if other == supply else 0.0
            down += 1 / ohms(p.value) if other in GROUNDS else 0.0
    return up / (up + down) if up + down else 0.0


def bus_roles(parts: dict[str, Part]) -> Check:
    """Each bus wire of the processor ends at the pin of that role; a resistor in between may be passed."""
    wrong = []
    roles = set().union(*BUS_ROLES.values())
    for name, number, direction, _ in pin_table.PINS:
        role = name.rsplit("_", 1)[-1]
        net = parts["U1"].pins.get(f"GP{number}")
        if role not in BUS_ROLES or net in (None, "NC") or direction not in ("spi", "i2c", "out"):
            continue
        for ref, pin in ends_at(parts, str(net)):
            p = parts[ref]
            if ref != "U1" and p.kind in ("adc16", "adc-i2c", "barometer", "display") and pin in roles and pin not in BUS_ROLES[role]:
                wrong.append(f"{ref}.{pin} on {name}")
        if not any(pin in BUS_ROLES[role] for ref, pin in ends_at(parts, str(net)) if ref != "U1"):
            wrong.append(f"{name} reaches no {'/'.join(sorted(BUS_ROLES[role]))}")
    return Check("pin types: bus wires", not wrong, listing(wrong))


def converters_see(parts: dict[str, Part]) -> Check:
    """Each channel of the monitor ends where the firmware thinks; the converter of A takes A's signal against A's own return and supply."""
    wrong = []
    for u in (p for p in parts.values() if p.kind == "adc-i2c"):
        rails = {p.pins["VOUT"] for p in parts.values() if p.kind.startswith("reg")}
        for pin, (name, goal, _) in MONITOR.items():
            found = {e for e in ends_at(parts, u.pins[pin], rails | {parts["U4"].pins["INA+"], parts["J5"].pins["2"], parts["K1"].pins["A1"]}) if e[0] != u.ref}
            if goal not in found or any(g in found for n, g, _ in MONITOR.values() if n != name):
                wrong.append(f"{u.ref}.{pin} does not see {name}")
    for u in (p for p in parts.values() if p.kind == "adc16"):
        seen = [p for p in parts.values() if p.kind.startswith("transducer") and u.pins["AINP"] in through(parts, p.pins["2"])]
        if len(seen) != 1 or u.pins["AINN"] != seen[0].pins["3"] or u.pins["REF"] != seen[0].pins["1"] or u.pins["GND"] == u.pins["AINN"]:
            wrong.append(f"{u.ref}: signal, return and reference are not one transducer's")
    return Check("pin types: converters see what they should", not wrong, listing(wrong))


def contacts_and_plugs(parts: dict[str, Part]) -> Check:
    """Relay contact in the motor's path and coil between its two switches; the range key's poles; terminals by what they are joined to."""
    wrong = []
    k1, m1, j1, j2, j4, j10, s3 = (parts[r].pins for r in ("K1", "M1", "J1", "J2", "J4", "J10", "S3"))
    if {k1["11"], k1["14"]} != {j2["4"], j2["1"]} or k1["11"] == k1["14"] or {k1["A1"], k1["A2"]} != {parts["Q5"].pins["D"], parts["Q6"].pins["D"]}:
        wrong.append("K1: contact or coil")
    if j2["2"] != m1["D"] or j2["3"] != m1["S"] or j2["4"] != parts["F1"].pins["2"] or j1["1"] != parts["F1"].pins["1"] or j1["2"] != m1["S"]:
        wrong.append("J1 or J2: terminals")
    if {j4["1"], j4["2"]} != {parts["Q8"].pins["D"], parts["Q9"].pins["D"]}:
        wrong.append("J4: vent")
    feed = parts["R70"].pins["2"]
    poles = [{net for pin, net in s3.items() if pin.startswith(letter)} for letter in "ABC"]
    wanted = [{parts["U5"].pins["VOUT"], parts["R38"].pins["1"]}, {feed, parts["R104"].pins["1"]}, {feed, parts["R105"].pins["1"]}]
    if poles != wanted or j10["1"] != feed or [j10[n] for n in "234"] != [parts[r].pins["1"] for r in ("R106", "R107", "R108")]:
        wrong.append("S3 or J10: poles")
    guarded = [p for p in parts.values() if p.kind == "esd-quad" and p.pins["GND"] not in GROUNDS]
    wrong += [f"{p.ref}: return" for p in guarded]
    return Check("pin types: contacts and plugs", not wrong, listing(wrong))


RULES = (every_pin_typed, supplies_and_returns, outputs_and_inputs, which_way_round, coils_clamped, transistors, comparator_senses, bus_roles, converters_see, contacts_and_plugs)
