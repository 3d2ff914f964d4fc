"""Common causes among the safeguards: passages of the air block, nets, returns, the cutoff's measurement, a reversed supply.

Each check takes one shared thing and tests what is left when it fails.
"""

from hardware import graph, spice
from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, nets, ohms
from hardware.gate import clamp_decay_ms
from hardware.params import PARAMS, fraction

# Passages of the air block: name -> (from, to). The block is what the source fills and the hose empties.
PASSAGES = {
    "inlet": ("source", "block"),
    "neck of the plenum": ("block", "plenum"),
    "tap A": ("plenum", "A"),
    "tap B": ("plenum", "B"),
    "port and tap C": ("block", "C"),
    "vent port": ("block", "vent"),
    "port of RV2": ("block", "RV2"),
    "V5 and port of RV1": ("block", "RV1"),
    "hose": ("block", "tyre"),
}
LATE_PA = 4_000.0  # largest rise of a trip that the processor's measurement may cause with one fault in it
LEAD_PA = 25_000.0  # comparison of A and B with C at every fill, value and movement
CALIBRATED_PA = 10_000.0  # A and B against the true pressure: guard band
VALVE_MS = 3.5  # a line valve's coil current, from the element opening to its release


def reached(blocked: str, passages: dict[str, tuple[str, str]]) -> set[str]:
    """Safeguards still at the block's pressure with one passage blocked."""
    edges = [pair for name, pair in passages.items() if name != blocked]
    both = edges + [(b, a) for a, b in edges]
    return graph.reach({"block"}, both, set())


def passages_apart(passages: dict[str, tuple[str, str]] | None = None) -> Check:
    """Check that no single passage blinds A or B together with C, nor closes off the vent together with a relief valve."""
    table = PASSAGES if passages is None else passages
    wrong = []
    for name in table:
        left = reached(name, table)
        if "C" not in left and not {"A", "B"} <= left:
            wrong.append(f"{name}: C and one of A, B are blind")
        if not {"A", "B"} & left and "C" not in left:
            wrong.append(f"{name}: nothing sees the block")
        if "vent" not in left and not {"RV1", "RV2"} <= left:
            wrong.append(f"{name}: vent and a relief valve are shut off")
    return Check(
        "common cause: passages of the air block",
        not wrong,
        listing(wrong) if wrong else f"{len(table)} passages blocked one by one",
    )


def air_apart(parts: dict[str, Part]) -> Check:
    """Check the passages of the air block."""
    return passages_apart()


def nets_apart(parts: dict[str, Part]) -> Check:
    """Check that the firmware's transducers and the cutoff share no net, and that only the monitor connects to both."""
    table = nets(parts)
    both = [
        net
        for net, pins in table.items()
        if {parts[r].sheet for r, _ in pins} >= {"sense", "cutoff"}
    ]
    supplies = {parts[r].pins["VIN"] for r in ("U3", "U5")}
    wrong = [f"{net} is in both" for net in both] + (
        ["one supply feeds both"] if len(supplies) < 2 else []
    )
    kinds = {parts[r].kind for r in ("J6", "J7", "J5")}
    if len(kinds) < 2 or parts["U4"].kind in (parts["U6"].kind, parts["U1"].kind):
        wrong.append("the same kind of part decides in both")
    return Check("common cause: nets and supplies", not wrong, listing(wrong))


HIGH_CURRENT = {
    "conn-power": ("1", "2", "3", "4"),
    "nmos-power": ("S",),
    "nmos": ("S",),
    "tvs": ("A",),
    "tvs-bi": ("2",),
    "cap-bulk": ("2",),
}
SENSOR_RETURNS = ("CGND", "SGND")


def star_point(parts: dict[str, Part]) -> Check:
    """Check that motor and coil current returns on PGND alone, sensors and thresholds on their own returns, each tied to PGND once."""
    wrong = []
    for p in parts.values():
        for pin in HIGH_CURRENT.get(p.kind, ()):
            net = p.pins.get(pin)
            if net in GROUNDS and net != "PGND":
                wrong.append(f"{p.ref}.{pin}: high current on {net}")
        if p.kind.startswith("transducer") and p.pins["3"] not in SENSOR_RETURNS:
            wrong.append(f"{p.ref}: returns on {p.pins['3']}")
        if p.kind == "comparator" and p.pins["V-"] != parts["J5"].pins["3"]:
            wrong.append(f"{p.ref} and its transducer return apart")
    ties = [set(p.pins.values()) for p in parts.values() if p.kind == "net-tie"]
    wrong += [
        f"{net}: {ties.count({'PGND', net})} ties to PGND"
        for net in ("GND", *SENSOR_RETURNS)
        if ties.count({"PGND", net}) != 1
    ]
    if len(ties) != 3:
        wrong.append(f"{len(ties)} ties")
    shift = shared_shift_pa(PARAMS["cutoff_current"].high)
    return Check(
        "common cause: star point",
        not wrong,
        listing(wrong)
        if wrong
        else f"own current moves the cutoff by {shift:.0f} Pa; motor current in the same copper would by {shared_shift_pa(PARAMS['motor_run'].high) / 1e5:.3f} bar",
    )


def shared_shift_pa(amps: float) -> float:
    """Shift of a reading by a current in the sensor's return, Pa."""
    return amps * PARAMS["copper_ohm"].high / (0.8 * PARAMS["v5_sens"].nom) * 1e6


def monitor_shift_pa(parts: dict[str, Part]) -> dict[str, float]:
    """Largest rise of the trip by the processor's measurement, Pa, with its pin at ground or 3.4 V and one resistor before it shorted."""
    p = PARAMS
    supply, trip = p["v5_sens"].nom, fraction(520_000) * p["v5_sens"].nom
    least = min(ohms(parts[r].value) for r in ("R81", "R82")) * 0.998
    signal = (trip - 0.0) / least * p["c_output"].high  # pulls the signal down: later
    source = 1 / (
        1 / ohms(parts["R35"].value) + 1 / ohms(parts["R36"].value) + 1 / ohms(parts["R37"].value)
    )
    usual = trip / sum(ohms(parts[r].value) for r in ("R85", "R86", "R87"))
    reference = (
        (p["v3v3"].high - trip) / (ohms(parts["R85"].value) + ohms(parts["R86"].value)) + usual
    ) * source  # pin stuck high
    shorted = (
        trip / (ohms(parts["R86"].value) + ohms(parts["R87"].value)) - usual
    ) * source  # lowers: sooner
    scale = 1e6 / 0.8 / supply
    return {
        "signal pin at ground": signal * scale,
        "threshold pin at 3.4 V": reference * scale,
        "R85 shorted": -shorted * scale,
    }


def monitor_harmless(parts: dict[str, Part]) -> Check:
    """Check two resistors before every pin of the monitor; no fault of it raises a trip by more than LATE_PA."""
    wrong = []
    u9 = parts["U9"].pins
    for pin, first in (("AIN0", "R82"), ("AIN1", "R89"), ("AIN2", "R86")):
        chain = [
            r
            for r in parts.values()
            if r.kind.startswith("res")
            and u9[pin] in r.pins.values()
            and not set(r.pins.values()) & set(GROUNDS)
        ]
        middle = (
            (set(chain[0].pins.values()) - {u9[pin]}).pop()
            if [r.ref for r in chain] == [first]
            else ""
        )
        if [parts[ref].kind[:3] for ref, _ in nets(parts).get(middle, [])] != ["res", "res"]:
            wrong.append(f"{pin}: not two resistors")
    found = monitor_shift_pa(parts)
    wrong += [f"{name}: {pa:.0f} Pa late" for name, pa in found.items() if pa > LATE_PA]
    return Check(
        "common cause: the processor's view cannot disturb the cutoff",
        not wrong,
        listing(wrong or [f"{n} {pa:.0f} Pa" for n, pa in found.items()]),
    )


def unseen_drift_pa() -> float:
    """Largest error of C that the comparison with A and B does not detect, Pa."""
    return LEAD_PA + CALIBRATED_PA


def reversed_edges(parts: dict[str, Part]) -> list[tuple[str, str]]:
    """Paths of a coil's current with no gate driven: diodes forward, body diodes, fuses, ties, held run switch, coils; K1 open."""
    state = graph.State(run_held=True)
    edges = graph.fixed_edges(
        {r: p for r, p in parts.items() if p.kind != "conn-power" and not p.kind.startswith("res")},
        state,
    )
    for p in parts.values():
        if p.kind == "net-tie":
            edges += [(p.pins["1"], p.pins["2"]), (p.pins["2"], p.pins["1"])]
        if p.kind in ("nmos", "nmos-power"):
            edges.append((p.pins["S"], p.pins["D"]))
        if p.kind == "pmos":
            edges.append((p.pins["D"], p.pins["S"]))
        if p.kind.startswith(("zener", "tvs")) and "A" in p.pins:
            edges.append((p.pins["A"], p.pins["K"]))
    return edges


def reversed_supply(parts: dict[str, Part]) -> Check:
    """Check V12_RAW below ground: no current in motor, relay coil or vent coil; on the line build not in both valves."""
    j2, k1, j4 = parts["J2"].pins, parts["K1"].pins, parts["J4"].pins
    loads = {
        "motor": (j2["1"], j2["2"]),
        "relay coil": (k1["A1"], k1["A2"]),
        "vent coil": (j4["1"], j4["2"]),
        "valve L1": (j2["1"], j2["3"]),
        "valve L2": (j2["4"], j2["2"]),
    }
    live = []
    for name, (a, b) in loads.items():
        built = {
            r: p
            for r, p in parts.items()
            if not (name.startswith("valve") and p.kind == "diode-power")
        }  # the line build has no D7
        own = [e for e in reversed_edges(built) if set(e) != {a, b}]
        feeds, drains = (
            graph.reach({"PGND"}, own, {"V12_RAW"}),
            graph.reach({"V12_RAW"}, own, {"PGND"}, backwards=True) - set(GROUNDS),
        )
        if (a in feeds and b in drains) or (b in feeds and a in drains):
            live.append(name)
    wrong = [name for name in live if not name.startswith("valve")] + (
        ["both line valves"] if {"valve L1", "valve L2"} <= set(live) else []
    )
    return Check(
        "reversed supply: no air",
        not wrong,
        listing(wrong) if wrong else f"current in: {', '.join(live) or 'D1 and F1 alone'}",
    )


def reversed_run(parts: dict[str, Part]) -> dict[str, float]:
    """Return motor and relay coil current in A at -12 V with the compressor and held run switch, by ngspice."""
    j2, k1 = parts["J2"].pins, parts["K1"].pins
    n = spice.node
    lines = ["vb V12_RAW 0 -12", f"rf1 V12_RAW {n('V12')} 0.01"]
    for ref in ("D1", "D6", "D7", "D9"):
        if ref in parts:
            lines.append(f"d{ref} {n(parts[ref].pins['A'])} {n(parts[ref].pins['K'])} dsch")
    if "A" in parts["D8"].pins:
        lines.append(f"dD8 {n(parts['D8'].pins['A'])} {n(parts['D8'].pins['K'])} dsch")
    lines += [
        f"dM1b {n(parts['M1'].pins['S'])} {n(parts['M1'].pins['D'])} dsch",
        f"dQ6b 0 {n(k1['A2'])} dsch",
        f"dQ5b {n(k1['A1'])} V12_RUN dsch",
        "rs1 V12_RUN V12_COIL 0.1",
        f"rf4 {n(parts['F4'].pins['1'])} V12_COIL 0.2",
        f"rm {n(j2['1'])} mot 0.3",
        f"vm mot {n(j2['2'])} 0",
        f"rk {n(k1['A1'])} kx 240",
        f"vk kx {n(k1['A2'])} 0",
        "rl1 PUMP_P 0 1e7",
        "rl2 PUMP_N 0 1e7",
        "rl3 COIL_N 0 1e7",
    ]
    return spice.run(
        "reversed supply",
        lines,
        [
            ".tran 1u 100u",
            ".meas tran motor find i(vm) at=90u",
            ".meas tran coil find i(vk) at=90u",
        ],
    )


def line_valves_ms(clamped: bool = True) -> tuple[float, float]:
    """Slowest decay of the coil current of L1 and L2 in ms, against the clamps (or, not clamped, a plain diode)."""
    p = PARAMS
    least = 22.0 * 1.1  # breakdown of the smallest suppressor that fits
    volts = p["v12"].high
    walls = (least, least - volts) if clamped else (0.7, 0.7)
    slow = tuple(
        clamp_decay_ms(volts, p["line_release"].low, p["line_coil"].low, p["line_henry"].high, wall)
        for wall in walls
    )
    return slow[0], slow[1]


def line_valves_let_go(parts: dict[str, Part]) -> Check:
    """Check that both line valves' coils have a clamp to ground and nothing that holds their current at a diode's drop."""
    wrong = [
        net
        for net in (parts["J2"].pins["1"], parts["J2"].pins["2"])
        if not [
            p
            for p in parts.values()
            if p.kind == "tvs-bi" and net in p.pins.values() and "PGND" in p.pins.values()
        ]
    ]
    wrong = [f"{net} has no clamp" for net in wrong]
    wrong += [
        f"{p.ref} holds a valve's current"
        for p in parts.values()
        if p.kind == "diode-power" and set(p.pins.values()) & {"V12", *GROUNDS}
    ]
    times = line_valves_ms()
    if max(times) > VALVE_MS:
        wrong.append(f"{max(times):.1f} ms")
    return Check(
        "line valves: coil current ends fast",
        not wrong,
        listing(wrong)
        if wrong
        else f"{times[0]:.1f} and {times[1]:.1f} ms; plain diodes {line_valves_ms(False)[0]:.1f} ms",
    )


RULES = (air_apart, nets_apart, star_point, monitor_harmless, reversed_supply, line_valves_let_go)
