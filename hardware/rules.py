"""Electrical rules: each checks the circuit data and returns its findings. `python -m tests.rig` prints them all."""

from collections.abc import Callable

from rimward_fw.board import pins as pin_table

from hardware import cutoff, graph, polarity, series, shared, thermal, wiring
from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, load, nets, ohms
from hardware.params import HIGH_BAND_TOP_PA, PARAMS, fraction
from hardware.pin_rules import CHIP_INPUTS, board_uses_table, pins_match, pins_possible
from hardware.rating_rules import ratings, wires_guarded

PIN_LIMIT_V = (
    3.3  # RP2040: converter input no higher than IOVDD, seen in copies of the RP2040 data sheet
)


def nets_complete(parts: dict[str, Part]) -> Check:
    """Check that no net has a single pin."""
    lonely = [net for net, pins in nets(parts).items() if len(pins) < 2]
    return Check(
        "nets: at least two pins each",
        not lonely,
        listing(lonely) if lonely else f"{len(nets(parts))} nets, {len(parts)} parts",
    )


def input_pins(parts: dict[str, Part]) -> list[tuple[str, str, str]]:
    """Return (reference, pin, net) of everything that must not float: processor inputs and buses, chip inputs, transistor controls."""
    directed = {net: direction for _, _, direction, net in pin_table.PINS}
    found = [
        ("U1", pin, net)
        for pin, net in parts["U1"].pins.items()
        if directed.get(net) in ("in", "adc", "i2c", "spi")
    ]
    for part in parts.values():
        for pin in CHIP_INPUTS.get(part.kind, ()):
            found.append((part.ref, pin, part.pins[pin]))
        if part.kind in graph.CONTROL:
            found.append((part.ref, graph.CONTROL[part.kind], part.pins[graph.CONTROL[part.kind]]))
    return found


def at_its_common(part: Part, net: str, edges: list[tuple[str, str]]) -> bool:
    """Return True for a transistor whose control pin a resistor ties to its own emitter or source: it is off even where that has no supply."""
    return part.kind in graph.CONTROL and net in graph.reach(
        {part.pins["E" if "E" in part.pins else "S"]}, edges, set()
    )


def no_floating_input(parts: dict[str, Part]) -> Check:
    """Check that a resistor or a rail decides every input's level with the processor in reset and every contact open."""
    state = graph.State(gpio="z", run_held=False)
    edges = list(
        graph.fixed_edges({r: p for r, p in parts.items() if p.kind in graph.TWO_WAY}, state)
    )
    held = graph.reach({*GROUNDS, *graph.RAILS}, edges, set())
    floating = [
        f"{ref}.{pin} on {net}"
        for ref, pin, net in input_pins(parts)
        if net not in held and not at_its_common(parts[ref], net, edges)
    ]
    return Check(
        "inputs: none floats",
        not floating,
        listing(floating) if floating else f"{len(input_pins(parts))} inputs held",
    )


def divider_top_v(parts: dict[str, Part], top: str, bottom: str, volts: float) -> float:
    """Highest voltage behind a divider with its resistors at their worst."""
    a, b = parts[top], parts[bottom]
    r1, r2 = ohms(a.value) * (1 - a.limits["%"] / 100), ohms(b.value) * (1 + b.limits["%"] / 100)
    return volts * r2 / (r1 + r2)


def dividers_safe(parts: dict[str, Part]) -> Check:
    """Check that 4.5 V, a transducer output shorted to its highest supply, and the supply itself stay under the converter's limit."""
    high = PARAMS["v5_sens"].high
    cases = [
        ("B at 4.5 V", "R56", "R57", 4.5),
        ("B shorted high", "R56", "R57", high),
        ("sensor supply", "R58", "R59", high),
        ("pump supply", "R60", "R61", PARAMS["v12"].high),
    ]
    found = [(name, divider_top_v(parts, a, b, v)) for name, a, b, v in cases]
    return Check(
        "dividers: under the converter's limit",
        all(v < PIN_LIMIT_V for _, v in found),
        listing([f"{n} {v:.3f} V" for n, v in found]),
    )


def divider_figures(parts: dict[str, Part]) -> Check:
    """Check the firmware's divider figures against the resistors."""
    pairs = {
        "ADC_B_MILLI": ("R56", "R57"),
        "ADC_SUPPLY_MILLI": ("R58", "R59"),
        "ADC_PUMP_MILLI": ("R60", "R61"),
    }
    wrong = []
    for name, (top, bottom) in pairs.items():
        a, b = ohms(parts[top].value), ohms(parts[bottom].value)
        if abs(getattr(pin_table, name) - 1000 * b / (a + b)) > 0.5:
            wrong.append(f"{name} {getattr(pin_table, name)} against {1000 * b / (a + b):.1f}")
    return Check("dividers: firmware's figures are the resistors'", not wrong, listing(wrong))


def shorted_supply_survives(parts: dict[str, Part]) -> Check:
    """Check that with the 12 V side on a transducer wire the clamp carries the current, which is small."""
    amps = PARAMS["v12"].high / ohms(parts["R56"].value)
    ok = amps < parts["D14"].limits["A"] and parts["D14"].pins["C"] == "ADC_B"
    return Check(
        "dividers: 12 V on a transducer wire",
        ok,
        f"{amps * 1000:.2f} mA into the clamp, rated {parts['D14'].limits['A'] * 1000:.0f} mA",
    )


def ratiometric(parts: dict[str, Part]) -> Check:
    """Check that A and B run on the supply that is the converter's reference and that a channel of the processor measures."""
    supply = parts["J6"].pins["1"]
    ok = (
        supply == parts["J7"].pins["1"] == parts["U6"].pins["REF"] == parts["R58"].pins["1"]
        and parts["R58"].pins["2"] == parts["U1"].pins["GP27"]
    )
    return Check("supply: ratiometric and measured", ok, f"A, B, reference and divider on {supply}")


def cutoff_apart(parts: dict[str, Part]) -> Check:
    """Check that the independent cutoff shares no supply, net or part with A, B or the processor except ground and its two switched
    outputs.
    """
    own = {
        "V5_CUT",
        "V12_CUT",
        "V12_REG",
        "SIG_C_RAW",
        "SIG_C",
        "REF",
        "REF_LO",
        "CUT_HI",
        "CUT_LO",
        "KEY_REF",
        "TEST_R",
        "Q5_PULL",
        "Q8_PULL",
        "CUT_MID",
        "LATCH_P",
        "LATCH_B",
        "Q11_B",
        "Q4_B",
        "Q13_B",
        "Q7_B",
        "CGND",
    }
    table = nets(parts)
    foreign = [
        f"{net}: {ref}"
        for net in sorted(own)
        for ref, _ in table[net]
        if parts[ref].sheet in ("sense",) or ref == "U1"
    ]
    return Check(
        "independent cutoff: nothing shared with A, B, processor", not foreign, listing(foreign)
    )


def broken_wires(parts: dict[str, Part], gpio: str) -> list[str]:
    """Pins whose wire can break, as REFERENCE.PIN."""
    return [
        f"{ref}.{pin}"
        for ref, part in parts.items()
        for pin in part.pins
        if graph.air_runs(parts, graph.State(gpio=gpio, broken=frozenset({(ref, pin)})))
    ]


def gate_off_without_pulses(parts: dict[str, Part]) -> Check:
    """Check that the pulse-train element does not conduct with the processor missing, in reset or stuck at any steady level."""
    wrong = [level for level in "z01" if graph.gate_on(parts, graph.State(gpio=level))]
    return Check(
        "gate: off without pulses (absent, reset, stuck low, stuck high)", not wrong, listing(wrong)
    )


def off_with_any_wire_broken(parts: dict[str, Part]) -> Check:
    """Check that the air source does not run with the processor missing or in reset, any one wire broken and the run switch held."""
    wrong = broken_wires(parts, "z") + broken_wires(parts, "0")
    count = sum(len(p.pins) for p in parts.values())
    return Check(
        "air: off with the processor absent and any one wire broken",
        not wrong,
        listing(wrong) if wrong else f"{count} wires broken one by one",
    )


def off_when_stuck_high(parts: dict[str, Part]) -> Check:
    """Check the same with every output stuck high (two faults). Only M1's own gate leg may be found, which the self-test detects."""
    wrong = broken_wires(parts, "1")
    return Check(
        "air: outputs stuck high and any one wire broken (two faults)",
        wrong == ["M1.G"],
        "not off when broken: " + listing(wrong),
    )


def coil_needs_all(parts: dict[str, Part]) -> Check:
    """Check that run switch, cutoff and firmware each alone keep the relay coil off."""
    base = graph.State(gpio="1")
    cases = {
        "all agree": (base, True),
        "let go": (graph.State(gpio="1", run_held=False), False),
        "cutoff open": (graph.State(gpio="1", cutoff_open=True), False),
        "firmware low": (graph.State(gpio="0"), False),
    }
    wrong = [
        n for n, (state, wanted) in cases.items() if graph.relay_closed(parts, state) != wanted
    ]
    return Check("relay coil: through run switch, cutoff and firmware", not wrong, listing(wrong))


def weak_feedback(parts: dict[str, Part]) -> Check:
    """Check that with U4A's output wire broken R37's current from REF leaves the base of Q4 under 0.4 V in both ranges."""
    r37, r40, r41 = (ohms(parts[r].value) for r in ("R37", "R40", "R41"))
    volts = (
        fraction(HIGH_BAND_TOP_PA) * PARAMS["v5_sens"].high * r41 / (2 * r37 + r40 + r41)
    )  # two such bases share the current of R37
    return Check(
        "independent cutoff: broken output wire opens it",
        volts < 0.4,
        f"bases of Q4 and Q13 at {volts:.2f} V",
    )


def cutoff_latches(parts: dict[str, Part]) -> Check:
    """Check that an open cutoff pulls its threshold to ground; only consent releases it, and consent cannot return while supplied."""
    q11, q12, u10 = parts["Q11"].pins, parts["Q12"].pins, parts["U10"].pins
    wired = (
        q12["C"] == parts["R35"].pins["2"] == parts["U4"].pins["INA+"]
        and q12["E"] == q11["E"] == "CGND"
        and q12["B"] == q11["C"]
    )
    fed = (
        u10["VDD"] == parts["U4"].pins["V+"] == parts["R46"].pins["1"]
        and parts["R46"].pins["2"] == u10["RESET"] == parts["R97"].pins["1"]
    )
    fed = fed and parts["R97"].pins["2"] == q12["B"]
    held = parts["R45"].pins["1"] == parts["U4"].pins["OUTA"] and parts["R45"].pins["2"] == q11["B"]
    v = cutoff.latch(parts)
    ok = wired and fed and held and v["drive"] > 1 and v["threshold_v"] < v["empty_signal_v"]
    found = f"Q12 driven {v['drive']:.1f} times; threshold {v['threshold_v']:.2f} V, empty manifold {v['empty_signal_v']:.2f} V"
    return Check("independent cutoff: latches until its supply has been away", ok, found)


def vent_opens(parts: dict[str, Part]) -> Check:
    """Check that the vent is closed only while firmware and cutoff both hold it, opens when either releases, and not through the run
    switch.
    """
    cases = {
        "held": (graph.State(gpio="1", run_held=False), True),
        "cutoff open": (graph.State(gpio="1", cutoff_open=True), False),
        "firmware low": (graph.State(gpio="0"), False),
        "processor absent": (graph.State(gpio="z"), False),
    }
    wrong = [n for n, (state, wanted) in cases.items() if graph.vent_closed(parts, state) != wanted]
    return Check("vent: opened by cutoff, firmware or a dead processor", not wrong, listing(wrong))


def two_elements(parts: dict[str, Part]) -> Check:
    """Check two elements: with M1 shorted the relay still stops the source, with the contact welded M1 still does."""
    on = graph.solve(parts, graph.State(gpio="1")) | {"M1"}
    source = ("J2", "1", "2")
    state = graph.State()
    found = {
        "both on": graph.energised(parts, state, source, on, contact=True),
        "relay off": graph.energised(parts, state, source, on),
        "M1 off": graph.energised(parts, state, source, on - {"M1"}, contact=True),
    }
    return Check(
        "air: two elements in series",
        found == {"both on": True, "relay off": False, "M1 off": False},
        str(found),
    )


RULES: tuple[Callable[[dict[str, Part]], Check], ...] = (
    pins_match,
    pins_possible,
    board_uses_table,
    nets_complete,
    no_floating_input,
    dividers_safe,
    divider_figures,
    shorted_supply_survives,
    ratiometric,
    cutoff_apart,
    gate_off_without_pulses,
    off_with_any_wire_broken,
    off_when_stuck_high,
    coil_needs_all,
    weak_feedback,
    cutoff_latches,
    vent_opens,
    two_elements,
    wires_guarded,
    ratings,
    *polarity.RULES,
    *thermal.RULES,
    *series.RULES,
    *shared.RULES,
    *wiring.RULES,
)


def run_all() -> list[Check]:
    """Run every rule on the circuit."""
    parts = load()
    return [rule(parts) for rule in RULES]
