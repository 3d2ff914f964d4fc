"""Conducting paths computed from the parts: a simple, pessimistic switch-level model for the electrical rules.

Every doubt counts on the unsafe side: a transistor whose control pin might be driven is on, a MOSFET gate without connection is on, and
only capacitors and open contacts block a steady level.
"""

from dataclasses import dataclass

from hardware.circuit import GROUNDS, Part

RAILS = (
    "V12_RAW",
    "V12",
    "V12_AUX",
    "V12_LOGIC",
    "V12_CUT",
    "V12_REG",
    "V12_COIL",
    "V5",
    "VSYS",
    "V5_SENS",
    "V5_CUT",
    "V3V3",
    "VA",
)
TWO_WAY = {
    "res": ("1", "2"),
    "res-precision": ("1", "2"),
    "res-power": ("1", "2"),
    "fuse-blade": ("1", "2"),
    "fuse-small": ("1", "2"),
}
ONE_WAY = (
    "diode-signal",
    "diode-fast",
    "diode-signal-schottky",
    "diode-schottky",
    "diode-feed",
    "diode-power",
    "led",
)
CHANNEL = {
    "npn": ("C", "E"),
    "pnp": ("E", "C"),
    "nmos": ("D", "S"),
    "nmos-power": ("D", "S"),
    "pmos": ("S", "D"),
}
CONTROL = {"npn": "B", "pnp": "B", "nmos": "G", "nmos-power": "G", "pmos": "G"}
WEAK = ("R37",)  # hysteresis: too weak to turn Q4 on alone, see rules.weak_feedback
LOADS = {"relay": ("A1", "A2"), "buzzer": ("1", "2")}


@dataclass(frozen=True)
class State:
    """Assumed state: GPIO levels ('z', '0' or '1' for all outputs), broken pins, closed switches, consent of the cutoff."""

    gpio: str = "z"
    broken: frozenset[tuple[str, str]] = frozenset()
    run_held: bool = True
    cutoff_open: bool = False
    forced_off: frozenset[str] = frozenset()


def net_of(part: Part, pin: str, state: State) -> str:
    """Net of a pin, or a name of its own when its wire is broken."""
    return f"{part.ref}.{pin} broken" if (part.ref, pin) in state.broken else part.pins[pin]


def fixed_edges(parts: dict[str, Part], state: State) -> list[tuple[str, str]]:
    """Directed steady-current paths (from higher to lower) through everything but transistors."""
    edges: list[tuple[str, str]] = []
    for part in parts.values():
        if part.ref in WEAK:
            continue
        pair = TWO_WAY.get(part.kind) or LOADS.get(part.kind)
        if part.kind == "switch-run" and state.run_held:
            pair = ("1", "2")
        if part.kind == "conn-power" and "3" in part.pins:
            pair = ("1", "2")
        if part.kind == "conn-small" and part.ref == "J4":
            pair = ("1", "2")
        if pair:
            a, b = net_of(part, pair[0], state), net_of(part, pair[1], state)
            edges += [(a, b), (b, a)]
        elif part.kind in ONE_WAY:
            edges.append((net_of(part, "A", state), net_of(part, "K", state)))
        elif part.kind == "clamp-dual":
            edges += [
                (net_of(part, "A", state), net_of(part, "C", state)),
                (net_of(part, "C", state), net_of(part, "K", state)),
            ]
    return edges


def reach(
    start: set[str], edges: list[tuple[str, str]], stop: set[str], backwards: bool = False
) -> set[str]:
    """Nets reached along the edges, `stop` nets included but not passed."""
    onward: dict[str, list[str]] = {}
    for a, b in edges:
        source, sink = (b, a) if backwards else (a, b)
        onward.setdefault(source, []).append(sink)
    seen, todo = set(start), list(start)
    while todo:
        for sink in onward.get(todo.pop(), ()):
            if sink not in seen:
                seen.add(sink)
                if sink not in stop:
                    todo.append(sink)
    return seen


def driven_nets(parts: dict[str, Part], state: State) -> tuple[set[str], set[str]]:
    """Return (nets driven high, nets driven low): supplies, processor outputs at a steady level, chip outputs."""
    high, low = set(RAILS), set(GROUNDS)
    for part in parts.values():
        if part.kind == "mcu-board" and state.gpio in "01":
            outs = {
                net_of(part, pin, state)
                for pin, net in part.pins.items()
                if net in ("GATE", "RELAY", "VENT", "BUZZER", "LAMP")
            }
            (high if state.gpio == "1" else low).update(outs)
        if part.kind == "comparator":
            for pin in ("OUTA", "OUTB"):
                (low if state.cutoff_open else high).add(net_of(part, pin, state))
    closed = {
        r: p for r, p in parts.items() if p.kind in ("fuse-blade", "fuse-small", "switch-run")
    }
    return reach(high, fixed_edges(closed, state), low), low


def solve(parts: dict[str, Part], state: State) -> set[str]:
    """Return the references of the transistors that may conduct, in the unsafe direction."""
    high, low = driven_nets(parts, state)
    on: set[str] = set()
    while True:
        edges = fixed_edges(parts, state) + channel_edges(parts, state, on)
        up = reach(high, edges, low) - low
        down = reach(low, edges, high, backwards=True) - high
        now = {
            ref
            for ref, part in parts.items()
            if part.kind in CONTROL
            and ref not in state.forced_off
            and may_conduct(part, state, up, down)
        }
        if now <= on:
            return on
        on |= now


def channel_edges(parts: dict[str, Part], state: State, on: set[str]) -> list[tuple[str, str]]:
    """Paths through the channels of the transistors that are on."""
    return [
        (
            net_of(parts[r], CHANNEL[parts[r].kind][0], state),
            net_of(parts[r], CHANNEL[parts[r].kind][1], state),
        )
        for r in on
    ]


def may_conduct(part: Part, state: State, up: set[str], down: set[str]) -> bool:
    """Return True if a control pin may be driven the turning-on way, or if nothing holds a MOSFET gate."""
    control = net_of(part, CONTROL[part.kind], state)
    if part.kind in ("npn", "nmos", "nmos-power"):
        if control in up:
            return True
        return part.kind != "npn" and control not in down
    if control in down:
        return True
    return part.kind == "pmos" and control not in up


def energised(
    parts: dict[str, Part],
    state: State,
    load: tuple[str, str, str],
    on: set[str],
    contact: bool = False,
) -> bool:
    """Return True if current may flow through a load (reference, pin, pin) from the 12 V side to ground, ignoring
    paths through resistors. `contact`: the relay contact is closed.
    """
    ref, plus, minus = load
    strong = {r: p for r, p in parts.items() if r != ref and not p.kind.startswith("res")}
    edges = fixed_edges(strong, state) + channel_edges(parts, state, on)
    if contact:
        k1 = parts["K1"]
        edges.append((net_of(k1, "11", state), net_of(k1, "14", state)))
    a, b = net_of(parts[ref], plus, state), net_of(parts[ref], minus, state)
    feeds = reach({"V12"}, edges, set(GROUNDS))
    drains = reach(set(GROUNDS), edges, set(RAILS), backwards=True)
    return a in feeds and b in drains


def air_runs(parts: dict[str, Part], state: State) -> bool:
    """Return True if the compressor (terminals 1 and 2 of J2) may run in this state; steady levels only, no pulses."""
    on = solve(parts, state)
    coil = energised(parts, state, ("K1", "A1", "A2"), on)
    return energised(parts, state, ("J2", "1", "2"), on, contact=coil)


def relay_closed(parts: dict[str, Part], state: State) -> bool:
    """Return True if the relay coil may be energised."""
    return energised(parts, state, ("K1", "A1", "A2"), solve(parts, state))


def vent_closed(parts: dict[str, Part], state: State) -> bool:
    """Return True if the vent coil may be energised, which closes the vent."""
    return energised(parts, state, ("J4", "1", "2"), solve(parts, state))


def gate_on(parts: dict[str, Part], state: State) -> bool:
    """Return True if the pump transistor may conduct without pulses."""
    return "M1" in solve(parts, state)
