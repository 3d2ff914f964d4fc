"""Signal rules: comparators, bus roles, converters, contacts and plugs end where the circuit and the firmware expect them."""

from rimward_fw.board import pins as pin_table

from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part
from hardware.paths import RESISTORS, ends_at, ratio, through
from hardware.pintypes import BUS_ROLES, MONITOR


def comparator_senses(parts: dict[str, Part]) -> Check:
    """Check comparators. A: signal on the inverting input and threshold on the other, with feedback for hysteresis. B: the reverse,
    lower.
    """
    wrong = []
    for u in (p for p in parts.values() if p.kind == "comparator"):
        signal = {
            net
            for p in parts.values()
            if p.kind.startswith("transducer") and p.pins["1"] == u.pins["V+"]
            for net in through(parts, p.pins["2"])
        }
        if (
            u.pins["INA-"] not in signal
            or u.pins["INB+"] not in signal
            or u.pins["INA+"] in signal
            or u.pins["INB-"] in signal
        ):
            wrong.append(f"{u.ref}: the signal is not on INA- and INB+")
        joined = [
            q
            for q in parts.values()
            if q.kind in RESISTORS and set(q.pins.values()) == {u.pins["OUTA"], u.pins["INA+"]}
        ]
        if not joined:
            wrong.append(f"{u.ref}: no feedback from OUTA to INA+")
        if ratio(parts, u.pins["INA+"], u.pins["V+"]) <= ratio(parts, u.pins["INB-"], u.pins["V+"]):
            wrong.append(f"{u.ref}: the upper threshold does not lie over the lower one")
    return Check("polarity: comparator", not wrong, listing(wrong))


def bus_roles(parts: dict[str, Part]) -> Check:
    """Check that each bus wire of the processor ends at the pin of its role, through at most one resistor."""
    wrong = []
    roles = set().union(*BUS_ROLES.values())
    for name, number, direction, _ in pin_table.PINS:
        role = name.rsplit("_", 1)[-1]
        net = parts["U1"].pins.get(f"GP{number}")
        if role not in BUS_ROLES or net in (None, "NC") or direction not in ("spi", "i2c", "out"):
            continue
        for ref, pin in ends_at(parts, str(net)):
            p = parts[ref]
            if (
                ref != "U1"
                and p.kind in ("adc16", "adc-i2c", "barometer", "display")
                and pin in roles
                and pin not in BUS_ROLES[role]
            ):
                wrong.append(f"{ref}.{pin} on {name}")
        if not any(pin in BUS_ROLES[role] for ref, pin in ends_at(parts, str(net)) if ref != "U1"):
            wrong.append(f"{name} reaches no {'/'.join(sorted(BUS_ROLES[role]))}")
    return Check("pin types: bus wires", not wrong, listing(wrong))


def converters_see(parts: dict[str, Part]) -> Check:
    """Check that each channel of the monitor ends where the firmware expects; that A's converter has A's signal, return and supply."""
    wrong = []
    for u in (p for p in parts.values() if p.kind == "adc-i2c"):
        rails = {p.pins["VOUT"] for p in parts.values() if p.kind.startswith("reg")}
        for pin, (name, goal, _) in MONITOR.items():
            found = {
                e
                for e in ends_at(
                    parts,
                    u.pins[pin],
                    rails
                    | {parts["U4"].pins["INA+"], parts["J5"].pins["2"], parts["K1"].pins["A1"]},
                )
                if e[0] != u.ref
            }
            if goal not in found or any(g in found for n, g, _ in MONITOR.values() if n != name):
                wrong.append(f"{u.ref}.{pin} does not see {name}")
    for u in (p for p in parts.values() if p.kind == "adc16"):
        seen = [
            p
            for p in parts.values()
            if p.kind.startswith("transducer") and u.pins["AINP"] in through(parts, p.pins["2"])
        ]
        if (
            len(seen) != 1
            or u.pins["AINN"] != seen[0].pins["3"]
            or u.pins["REF"] != seen[0].pins["1"]
            or u.pins["GND"] == u.pins["AINN"]
        ):
            wrong.append(f"{u.ref}: signal, return and reference are not one transducer's")
    return Check("pin types: converters see what they should", not wrong, listing(wrong))


def contacts_and_plugs(parts: dict[str, Part]) -> Check:
    """Check relay contact in the motor's path and coil between its two switches; the range key's poles; terminals by their nets."""
    wrong = []
    k1, m1, j1, j2, j4, j10, s3 = (
        parts[r].pins for r in ("K1", "M1", "J1", "J2", "J4", "J10", "S3")
    )
    if (
        {k1["11"], k1["14"]} != {j2["4"], j2["1"]}
        or k1["11"] == k1["14"]
        or {k1["A1"], k1["A2"]} != {parts["Q5"].pins["D"], parts["Q6"].pins["D"]}
    ):
        wrong.append("K1: contact or coil")
    if (
        j2["2"] != m1["D"]
        or j2["3"] != m1["S"]
        or j2["4"] != parts["F1"].pins["2"]
        or j1["1"] != parts["F1"].pins["1"]
        or j1["2"] != m1["S"]
    ):
        wrong.append("J1 or J2: terminals")
    if {j4["1"], j4["2"]} != {parts["Q8"].pins["D"], parts["Q9"].pins["D"]}:
        wrong.append("J4: vent")
    feed = parts["R70"].pins["2"]
    poles = [{net for pin, net in s3.items() if pin.startswith(letter)} for letter in "ABC"]
    wanted = [
        {parts["U5"].pins["VOUT"], parts["R38"].pins["1"]},
        {feed, parts["R104"].pins["1"]},
        {feed, parts["R105"].pins["1"]},
    ]
    if (
        poles != wanted
        or j10["1"] != feed
        or [j10[n] for n in "234"] != [parts[r].pins["1"] for r in ("R106", "R107", "R108")]
    ):
        wrong.append("S3 or J10: poles")
    guarded = [p for p in parts.values() if p.kind == "esd-quad" and p.pins["GND"] not in GROUNDS]
    wrong += [f"{p.ref}: return" for p in guarded]
    return Check("pin types: contacts and plugs", not wrong, listing(wrong))
