"""Opens and shorts of the pulse-train gate: every pin and pair of pins, applied under pulses by ngspice; the rest of the board by rule.

Two elements are in series, so a gate that stays on is stopped by the relay channel, and the self-test before the next fill shows it.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from itertools import combinations

from hardware.chain import LOOSE, Fault
from hardware.circuit import Part, load
from hardware.params import GATE_LIMIT_MS, TICK_MS
from hardware.pintypes import SYMMETRIC
from hardware.single_faults import HOLDS, NEXT_FILL, RESIDUAL, STOPS, Found, same
from hardware.spice import GATE_REFS, cards, node, run

FAULT_S, STOP_S = 0.04, 0.08  # the fault, the last edge
STUCK_V = 1.0  # least threshold of M1


def deck(parts: dict[str, Part], fault: Fault, high_at_stop: bool) -> list[str]:
    """SPICE deck of the gate with pulses up to STOP_S, then a steady level."""
    parts = dict(parts)
    lines = [
        ".model swm sw(vt=0.5 vh=0.1 ron=0.05 roff=1e13)",
        f"vfault faulty 0 pwl(0 0 {FAULT_S} 0 {FAULT_S + 1e-5} 1)",
        f"vok ok 0 pwl(0 1 {FAULT_S} 1 {FAULT_S + 1e-5} 0)",
    ]
    ref, pin = fault.pin
    gate = "M1_G"
    if ref:
        net = parts[ref].pins[pin]
        lines += [
            f"sfault {LOOSE} {node(net)} ok 0 swm",
            f"cloose {LOOSE} 0 5p",
            f"rloose {LOOSE} 0 1e13",
        ]
        if ref == "M1":
            gate = LOOSE if pin == "G" else gate
        else:
            parts[ref] = replace(parts[ref], pins={**parts[ref].pins, pin: LOOSE})
    elif fault.nets[0]:
        lines.append(f"sfault {node(fault.nets[0])} {node(fault.nets[1])} faulty 0 swm")
    stop = STOP_S + (0.0 if high_at_stop else TICK_MS * 1e-3)
    points, t, v = ["0 0"], 0.0, 0.0
    while t < stop + 1e-9:
        points += [f"{t + 1e-6:.7f} {v}", f"{t + 3e-6:.7f} {3.3 - v}"]
        v, t = 3.3 - v, t + TICK_MS * 1e-3
    lines += cards(parts, [*GATE_REFS, "R2"])
    lines += [
        "vlogic v33s 0 3.3",
        "rlogic v33s V3V3 1",
        f"vgate gated 0 pwl({' '.join(points)})",
        "rgate gated GATE 50",
        "vcoil v12s 0 11",
        "rcoil v12s V12_GATE 0.2",
        "vpump pumps 0 12",
        "rpump pumps PUMP_N 0.3",
        f"cm1 {gate} 0 5n",
        "rmid GP_A 0 1000meg",
        f"bm1 PUMP_N 0 i=15*0.5*(1+tanh(4*(v({gate})-3)))*tanh(v(PUMP_N))",
        f"bg gateof 0 v=v({gate})",
    ]
    return lines


def off_ms(parts: dict[str, Part], fault: Fault, high_at_stop: bool) -> tuple[float, float]:
    """Return (gate voltage shortly before the pulses end, ms from the last edge until it stays under STUCK_V; 300 if it never does)."""
    stop = STOP_S + (0.0 if high_at_stop else TICK_MS * 1e-3)
    probes = {f"p{i}": stop + ms * 1e-3 for i, ms in enumerate((5, 10, GATE_LIMIT_MS, 60, 290))}
    analysis = [
        ".options reltol=2e-3 method=gear",
        f".tran 50u {stop + 0.3} 0 100u",
        f".meas tran on_v find v(gateof) at={stop - 1e-4}",
        *(f".meas tran {n} find v(gateof) at={at}" for n, at in probes.items()),
    ]
    found = run("gate with a fault", deck(parts, fault, high_at_stop), analysis, limit_s=30.0)
    late = [round((probes[n] - stop) * 1000, 1) for n in probes if found[n] >= STUCK_V]
    return found["on_v"], max(late, default=0.0)


def run_fault(fault: Fault) -> Found:
    """Run one fault at both levels at which the pin may stop."""
    parts = load()
    try:
        rows = [off_ms(parts, fault, level) for level in (True, False)]
    except RuntimeError:
        return Found(fault, RESIDUAL, ("not computed",), ())
    if max(late for _, late in rows) >= 200:
        return Found(fault, NEXT_FILL, ("the pulse train ends",), ("self-test: gate",))
    if max(late for _, late in rows) >= GATE_LIMIT_MS:
        return Found(fault, RESIDUAL, (f"drop-out within {GATE_LIMIT_MS:g} ms",), ())
    return Found(fault, STOPS if min(v for v, _ in rows) < STUCK_V else HOLDS, (), ())


def faults(parts: dict[str, Part]) -> list[Fault]:
    """Return the opens and shorts of the gate's parts, each pair of nets once."""
    own = {r: parts[r] for r in (*GATE_REFS, "R2", "M1")}
    found = []
    for p in own.values():
        pins = list(p.pins)
        found += [
            Fault(pin=(p.ref, pin))
            for pin in (pins[:1] if p.kind in SYMMETRIC or len(pins) == 2 else pins)
            if (p.ref, pin) not in (("M1", "D"), ("M1", "S"))
        ]
    pairs = {
        (min(a, b), max(a, b))
        for p in own.values()
        for a, b in combinations(set(p.pins.values()), 2)
    }
    return found + [Fault(nets=pair) for pair in sorted(pairs) if not same(*pair)]


@cache
def survey() -> tuple[Found, ...]:
    """Run all of them, two at a time."""
    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(run_fault, faults(load())))


# Parts that are in neither deck: references -> (verdict, effect of an open or a short and its detection).
BY_RULE: tuple[tuple[tuple[str, ...], str, str], ...] = (
    (
        ("K1", "J2"),
        NEXT_FILL,
        "a contact or terminal that stays closed is the self-test's: no pulses, or no relay, and the pressure must not rise; open: no air",
    ),
    (
        ("J1", "F1", "D1", "C1"),
        STOPS,
        "no supply: contact, gate and vent fall back by springs and resistors",
    ),
    (("D7",), NEXT_FILL, "shorted: F1 blows; open: D8 takes the motor's current, the same air"),
    (
        ("D8", "D23"),
        HOLDS,
        "shorted: a stuck element to the self-test, or F1 blows; open: M1 is rated for 60 V, the contact wears",
    ),
    (
        ("NT1", "NT2", "NT3"),
        STOPS,
        "no return: no coil current (NT1, NT2), A and B out of band (NT3)",
    ),
    (
        ("U2", "C2", "C3", "D2"),
        STOPS,
        "no logic supply: pulses end, the vent opens; U2 shorted: D2 and VSYS over 5.5 V, the processor ends",
    ),
    (
        ("U8", "C7", "C33", "C31"),
        NEXT_FILL,
        "the converter of A gives no or wrong words: out of band, or A and B disagree",
    ),
    (
        ("U6", "R52", "R53", "R54", "R55"),
        NEXT_FILL,
        "A reads 0, full or frozen: out of band or frozen while B moves",
    ),
    (
        ("U7", "C37", "R62", "R63", "U9"),
        NEXT_FILL,
        "the bus gives nothing: no barometer, no view of the cutoff, no fill; air already on stops at the reading as before",
    ),
    (
        ("U1",),
        STOPS,
        "outputs that stop toggling stop the air; an output stuck is a stuck element to the self-test",
    ),
    (
        ("J9", "R64", "R65", "R109", "R110"),
        HOLDS,
        "the display is dark or wrong; no air depends on it",
    ),
    (
        ("R70", "S4", "S5", "S6", "R66", "R67", "R68", "R101", "R102", "R103", "D28", "D29", "D30"),
        HOLDS,
        "a button that does not work or stays down: nothing starts on it, RUN is another contact",
    ),
    (("S3", "R73", "R74", "R104", "R105"), NEXT_FILL, "two contacts must differ: refused"),
    (
        ("J10", "R75", "R76", "R77", "R106", "R107", "R108"),
        HOLDS,
        "workshop contact and number: read at power-up, no air depends on them alone",
    ),
    (("R78", "R79", "Q10", "LS1", "R80", "D20"), HOLDS, "sound and lamp only"),
)


def by_rule() -> dict[str, tuple[str, str]]:
    """Return reference -> (verdict, reason) of the parts in neither deck, with K1's contact and U9's bus."""
    return {ref: (verdict, reason) for refs, verdict, reason in BY_RULE for ref in refs}
