"""Electrical rules: each is a question put to the circuit data, answered with what was found. `python -m tests.rig` prints them all."""

import ast
from collections.abc import Callable
from pathlib import Path

from rimward_fw.board import pins as pin_table

from hardware import cutoff, graph, polarity, series, shared, thermal, wiring
from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, load, nets, ohms
from hardware.params import HIGH_BAND_TOP_PA, PARAMS, fraction

BOARD = Path(__file__).resolve().parent.parent / "firmware" / "rimward_fw" / "board"
CHIP_INPUTS = {"comparator": ("INA+", "INA-", "INB+", "INB-"), "adc16": ("AINP", "CONVST", "SCLK", "DIN", "REF"), "adc-i2c": ("AIN0", "AIN1", "AIN2", "AIN3", "SDA", "SCL", "ADDR"), "barometer": ("SDI", "SCK", "CSB", "SDO")}
SPI0 = {"miso": (0, 4, 16, 20), "sck": (2, 6, 18, 22), "mosi": (3, 7, 19, 23)}
I2C = {0: {"sda": (0, 4, 8, 12, 16, 20), "scl": (1, 5, 9, 13, 17, 21)}, 1: {"sda": (2, 6, 10, 14, 18, 26), "scl": (3, 7, 11, 15, 19, 27)}}
ADC_PINS = (26, 27, 28)
PIN_LIMIT_V = 3.3  # RP2040: converter input no higher than IOVDD, seen in copies of the RP2040 data sheet


def pins_match(parts: dict[str, Part]) -> Check:
    """The firmware's pin table and the board say the same, both ways."""
    firmware = {f"GP{number}": net for _, number, _, net in pin_table.PINS}
    board = {pin: net for pin, net in parts["U1"].pins.items() if pin.startswith("GP") and net != "NC"}
    wrong = [f"{pin}: firmware {firmware.get(pin)}, board {board.get(pin)}" for pin in sorted({**firmware, **board}) if firmware.get(pin) != board.get(pin)]
    return Check("pins: firmware table and board agree", not wrong, listing(wrong) if wrong else f"{len(board)} pins agree")


def pins_possible(parts: dict[str, Part]) -> Check:
    """Each pin can do what the table asks of it on an RP2040, and no number or name is used twice."""
    rows = pin_table.PINS
    wrong = [n for n, g, d, _ in rows if d == "adc" and g not in ADC_PINS]
    wrong += [n for n, g, d, _ in rows if d == "spi" and g not in SPI0[n.split("_")[1].lower()]]
    for bus, names in ((0, "BARO"), (1, "DISPLAY")):
        wrong += [n for n, g, d, _ in rows if d == "i2c" and n.startswith(names) and g not in I2C[bus][n.split("_")[1].lower()]]
    wrong += [n for n, _, d, _ in rows if d not in ("in", "out", "adc", "spi", "i2c")]
    for column in (0, 1, 3):
        values = [row[column] for row in rows]
        wrong += [f"{v} twice" for v in set(values) if values.count(v) > 1]
    return Check("pins: each function exists on that pin", not wrong, listing(wrong))


def numbers_in(path: Path) -> list[str]:
    """Calls of Pin or ADC with a number written out, in a board module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and n.args and isinstance(n.args[0], ast.Constant) and isinstance(n.args[0].value, int)]
    return [f"{path.name}:{c.lineno}" for c in calls if getattr(c.func, "attr", getattr(c.func, "id", "")) in ("Pin", "ADC")]


def names_in(path: Path) -> list[str]:
    """Names asked of `gpio(...)` in a board module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and n.args and isinstance(n.args[0], ast.Constant) and isinstance(n.args[0].value, str)]
    return [c.args[0].value for c in calls if getattr(c.func, "attr", getattr(c.func, "id", "")) == "gpio"]  # type: ignore[attr-defined]


def strings_in(path: Path) -> set[str]:
    """Every string written in a board module: names that a loop hands to `gpio` are in tuples."""
    return {n.value for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Constant) and isinstance(n.value, str)}


def board_uses_table(parts: dict[str, Part]) -> Check:
    """Board code names no pin number of its own, and the Pico's modules use every wire that the board has, and no other."""
    wrong = [w for path in sorted(BOARD.glob("*.py")) if path.name != "pins.py" for w in numbers_in(path)]
    paths = [BOARD / "pico.py", BOARD / "wiring.py"]
    absent = [path.name for path in paths if not path.is_file()]
    if absent:
        return Check("pins: board code takes them from the table", False, f"firmware/rimward_fw/board has no {', '.join(absent)}")
    asked, known = {n for path in paths for n in names_in(path)}, {row[0] for row in pin_table.PINS}
    used = asked | known & set().union(*(strings_in(path) for path in paths))
    wrong += [f"board code asks for unknown {n}" for n in sorted(asked - known)] + [f"board code leaves {n} unused" for n in sorted(known - used)]
    return Check("pins: board code takes them from the table", not wrong, listing(wrong))


def nets_complete(parts: dict[str, Part]) -> Check:
    """No net with a single pin on it."""
    lonely = [net for net, pins in nets(parts).items() if len(pins) < 2]
    return Check("nets: at least two pins each", not lonely, listing(lonely) if lonely else f"{len(nets(parts))} nets, {len(parts)} parts")


def input_pins(parts: dict[str, Part]) -> list[tuple[str, str, str]]:
    """(reference, pin, net) of everything that must not float: processor inputs and buses, chip inputs, transistor controls."""
    directed = {net: direction for _, _, direction, net in pin_table.PINS}
    found = [("U1", pin, net) for pin, net in parts["U1"].pins.items() if directed.get(net) in ("in", "adc", "i2c", "spi")]
    for part in parts.values():
        for pin in CHIP_INPUTS.get(part.kind, ()):
            found.append((part.ref, pin, part.pins[pin]))
        if part.kind in graph.CONTROL:
            found.append((part.ref, graph.CONTROL[part.kind], part.pins[graph.CONTROL[part.kind]]))
    return found


def at_its_common(part: Part, net: str, edges: list[tuple[str, str]]) -> bool:
    """A transistor whose control pin a resistor ties to its own emitter or source is off, even where that has no supply."""
    return part.kind in graph.CONTROL and net in graph.reach({part.pins["E" if "E" in part.pins else "S"]}, edges, set())


def no_floating_input(parts: dict[str, Part]) -> Check:
    """With the processor in reset and every contact open, a resistor or a rail still decides the level of every input."""
    state = graph.State(gpio="z", run_held=False)
    edges = [e for e in graph.fixed_edges({r: p for r, p in parts.items() if p.kind in graph.TWO_WAY}, state)]
    held = graph.reach({*GROUNDS, *graph.RAILS}, edges, set())
    floating = [f"{ref}.{pin} on {net}" for ref, pin, net in input_pins(parts) if net not in held and not at_its_common(parts[ref], net, edges)]
    return Check("inputs: none floats", not floating, listing(floating) if floating else f"{len(input_pins(parts))} inputs held")


def divider_top_v(parts: dict[str, Part], top: str, bottom: str, volts: float) -> float:
    """Highest voltage behind a divider with its resistors at their worst."""
    a, b = parts[top], parts[bottom]
    r1, r2 = ohms(a.value) * (1 - a.limits["%"] / 100), ohms(b.value) * (1 + b.limits["%"] / 100)
    return volts * r2 / (r1 + r2)


def dividers_safe(parts: dict[str, Part]) -> Check:
    """4.5 V, a transducer output shorted to its supply at its highest, and the supply itself stay under the converter's limit."""
    high = PARAMS["v5_sens"].high
    cases = [("B at 4.5 V", "R56", "R57", 4.5), ("B shorted high", "R56", "R57", high), ("sensor supply", "R58", "R59", high),
             ("pump supply", "R60", "R61", PARAMS["v12"].high)]
    found = [(name, divider_top_v(parts, a, b, v)) for name, a, b, v in cases]
    return Check("dividers: under the converter's limit", all(v < PIN_LIMIT_V for _, v in found), listing([f"{n} {v:.3f} V" for n, v in found]))


def divider_figures(parts: dict[str, Part]) -> Check:
    """The divider figures that firmware uses are those of the resistors."""
    pairs = {"ADC_B_MILLI": ("R56", "R57"), "ADC_SUPPLY_MILLI": ("R58", "R59"), "ADC_PUMP_MILLI": ("R60", "R61")}
    wrong = []
    for name, (top, bottom) in pairs.items():
        a, b = ohms(parts[top].value), ohms(parts[bottom].value)
        if abs(getattr(pin_table, name) - 1000 * b / (a + b)) > 0.5:
            wrong.append(f"{name} {getattr(pin_table, name)} against {1000 * b / (a + b):.1f}")
    return Check("dividers: firmware's figures are the resistors'", not wrong, listing(wrong))


def shorted_supply_survives(parts: dict[str, Part]) -> Check:
    """12 V side on a transducer wire: the clamp carries the current, and it is small."""
    amps = PARAMS["v12"].high / ohms(parts["R56"].value)
    ok = amps < parts["D14"].limits["A"] and parts["D14"].pins["C"] == "ADC_B"
    return Check("dividers: 12 V on a transducer wire", ok, f"{amps * 1000:.2f} mA into the clamp, rated {parts['D14'].limits['A'] * 1000:.0f} mA")


def ratiometric(parts: dict[str, Part]) -> Check:
    """A and B live on the supply that is the converter's reference and that a channel of the processor measures."""
    supply = parts["J6"].pins["1"]
    ok = supply == parts["J7"].pins["1"] == parts["U6"].pins["REF"] == parts["R58"].pins["1"] and parts["R58"].pins["2"] == parts["U1"].pins["GP27"]
    return Check("supply: ratiometric and measured", ok, f"A, B, reference and divider on {supply}")


def cutoff_apart(parts: dict[str, Part]) -> Check:
    """The independent cutoff shares no supply, net or part with A, B or the processor, but ground and its two switched outputs."""
    own = {"V5_CUT", "V12_CUT", "V12_REG", "SIG_C_RAW", "SIG_C", "REF", "REF_LO", "CUT_HI", "CUT_LO", "KEY_REF", "TEST_R", "Q5_PULL", "Q8_PULL", "CUT_MID", "LATCH_P",
           "LATCH_B", "Q11_B", "Q4_B", "Q13_B", "Q7_B", "CGND"}
    table = nets(parts)
    foreign = [f"{net}: {ref}" for net in sorted(own) for ref, _ in table[net] if parts[ref].sheet in ("sense",) or ref == "U1"]
    return Check("independent cutoff: nothing shared with A, B, processor", not foreign, listing(foreign))


def broken_wires(parts: dict[str, Part], gpio: str) -> list[str]:
    return [f"{ref}.{pin}" for ref, part in parts.items() for pin in part.pins
            if graph.air_runs(parts, graph.State(gpio=gpio, broken=frozenset({(ref, pin)})))]


def gate_off_without_pulses(parts: dict[str, Part]) -> Check:
    """Processor absent, in reset or stuck at any steady level: the pulse-train element does not conduct."""
    wrong = [level for level in "z01" if graph.gate_on(parts, graph.State(gpio=level))]
    return Check("gate: off without pulses (absent, reset, stuck low, stuck high)", not wrong, listing(wrong))


def off_with_any_wire_broken(parts: dict[str, Part]) -> Check:
    """Processor absent or in reset and any one wire broken, run switch held: the air source does not run."""
    wrong = broken_wires(parts, "z") + broken_wires(parts, "0")
    count = sum(len(p.pins) for p in parts.values())
    return Check("air: off with the processor absent and any one wire broken", not wrong, listing(wrong) if wrong else f"{count} wires broken one by one")


def off_when_stuck_high(parts: dict[str, Part]) -> Check:
    """The same with every output stuck high: two faults at once. Only M1's own gate leg may be found, and it is the self-test's to find."""
    wrong = broken_wires(parts, "1")
    return Check("air: outputs stuck high and any one wire broken (two faults)", wrong == ["M1.G"], "not off when broken: " + listing(wrong))


def coil_needs_all(parts: dict[str, Part]) -> Check:
    """Relay coil: run switch, cutoff and firmware each alone keep it off."""
    base = graph.State(gpio="1")
    cases = {"all agree": (base, True), "let go": (graph.State(gpio="1", run_held=False), False),
             "cutoff open": (graph.State(gpio="1", cutoff_open=True), False), "firmware low": (graph.State(gpio="0"), False)}
    wrong = [n for n, (state, wanted) in cases.items() if graph.relay_closed(parts, state) != wanted]
    return Check("relay coil: through run switch, cutoff and firmware", not wrong, listing(wrong))


def weak_feedback(parts: dict[str, Part]) -> Check:
    """Output wire of U4A broken: what R37 lets through from REF leaves the base of Q4 under 0.4 V in both ranges."""
    r37, r40, r41 = (ohms(parts[r].value) for r in ("R37", "R40", "R41"))
    volts = fraction(HIGH_BAND_TOP_PA) * PARAMS["v5_sens"].high * r41 / (2 * r37 + r40 + r41)  # two such bases share what R37 lets through
    return Check("independent cutoff: broken output wire opens it", volts < 0.4, f"bases of Q4 and Q13 at {volts:.2f} V")


def cutoff_latches(parts: dict[str, Part]) -> Check:
    """Once open the cutoff pulls its own threshold to ground; consent alone lets it go, and consent cannot come back while the supply stands."""
    q11, q12, u10 = parts["Q11"].pins, parts["Q12"].pins, parts["U10"].pins
    wired = q12["C"] == parts["R35"].pins["2"] == parts["U4"].pins["INA+"] and q12["E"] == q11["E"] == "CGND" and q12["B"] == q11["C"]
    fed = u10["VDD"] == parts["U4"].pins["V+"] == parts["R46"].pins["1"] and parts["R46"].pins["2"] == u10["RESET"] == parts["R97"].pins["1"]
    fed = fed and parts["R97"].pins["2"] == q12["B"]
    held = parts["R45"].pins["1"] == parts["U4"].pins["OUTA"] and parts["R45"].pins["2"] == q11["B"]
    v = cutoff.latch(parts)
    ok = wired and fed and held and v["drive"] > 1 and v["threshold_v"] < v["empty_signal_v"]
    found = f"Q12 driven {v['drive']:.1f} times; threshold {v['threshold_v']:.2f} V, empty manifold {v['empty_signal_v']:.2f} V"
    return Check("independent cutoff: latches until its supply has been away", ok, found)


def vent_opens(parts: dict[str, Part]) -> Check:
    """Vent: closed only while firmware and cutoff both hold it; opens when either lets go; not through the run switch."""
    cases = {"held": (graph.State(gpio="1", run_held=False), True), "cutoff open": (graph.State(gpio="1", cutoff_open=True), False),
             "firmware low": (graph.State(gpio="0"), False), "processor absent": (graph.State(gpio="z"), False)}
    wrong = [n for n, (state, wanted) in cases.items() if graph.vent_closed(parts, state) != wanted]
    return Check("vent: opened by cutoff, firmware or a dead processor", not wrong, listing(wrong))


def two_elements(parts: dict[str, Part]) -> Check:
    """Air source: with M1 shorted the relay still stops it, with the contact welded M1 still does."""
    on = graph.solve(parts, graph.State(gpio="1")) | {"M1"}
    source = ("J2", "1", "2")
    state = graph.State()
    found = {"both on": graph.energised(parts, state, source, on, contact=True), "relay off": graph.energised(parts, state, source, on),
             "M1 off": graph.energised(parts, state, source, on - {"M1"}, contact=True)}
    return Check("air: two elements in series", found == {"both on": True, "relay off": False, "M1 off": False}, str(found))


def stresses(parts: dict[str, Part]) -> list[tuple[str, str, float, float]]:
    """(part, unit, worst stress, rating) of what carries power or stands against a coil."""
    top = PARAMS["v12"].high
    clamp = parts["D10"].limits["V"] * 1.05 + 0.8
    coil_a, vent_a = thermal.coil_amps()
    rows = [("K1", "V", top, parts["K1"].limits["V"]), ("D11", "A", vent_a, parts["D11"].limits["A"]), ("D9", "A", coil_a, parts["D9"].limits["A"]),
            ("K1", "A", 15.0, parts["K1"].limits["A"]), ("M1", "A", 15.0, parts["M1"].limits["A"]),
            ("F1", "A", 15.0, parts["F1"].limits["A"]), ("D7", "A", 15.0, parts["D7"].limits["A"]), ("M1", "V", parts["D8"].limits["clamp"], parts["M1"].limits["V"]),
            ("D10", "W", 0.5 * PARAMS["relay_inductance"].high * coil_a**2 * 2, parts["D10"].limits["W"]),
            ("D12", "W", 0.5 * 0.1 * vent_a**2 * 2, parts["D12"].limits["W"]), ("F4", "A", coil_a + vent_a, parts["F4"].limits["A"])]
    rows += [(q, "V", top + clamp, parts[q].limits["V"]) for q in ("Q5", "Q6", "Q8", "Q9")]
    rows += [("Q6", "A", coil_a, parts["Q6"].limits["A"]), ("Q9", "A", vent_a, parts["Q9"].limits["A"])]
    rows += [(r.ref, "W", worst_w(r, top), r.limits["W"]) for r in parts.values() if r.kind in graph.TWO_WAY and "W" in r.limits]
    return rows


SMALL_V = {"R27": 1.0, "R70": 0.4, "R9": 1.5, "R80": 1.5, "R34": 1.0, "R48": 1.0, "R109": 0.4, "R110": 0.4, "R49": 9.2}  # V across, worst


def worst_w(part: Part, top: float) -> float:
    """Power in W with the whole of the higher of its two rails' voltages across a resistor (charging R27: its pulse share)."""
    volts = {"V12": top, "V12_COIL": top, "V12_RUN": top, "VENT_P": top, "M1_G": 12.0, "Q2_B": top - 4.0, "V12_CUT": top}
    v = max(volts.get(net, 5.25) for net in part.pins.values())
    if part.ref in SMALL_V or part.ref in ("R1", "R14", "R19", "R50"):
        v = SMALL_V.get(part.ref, 3.4)
    return v * v / ohms(part.value)


def wires_guarded(parts: dict[str, Part]) -> Check:
    """Between every wire of a button, key, plug or display and its pin stands a resistor, and a suppressor at the wire; clamps at every converter input;
    no regulator is rated under what the input clamp lets through; the vent is on for ever."""
    table, wrong = nets(parts), []
    esd = {net for p in parts.values() if p.kind == "esd-quad" for pin, net in p.pins.items() if pin != "GND"}
    clamped = {p.pins["C"] for p in parts.values() if p.kind == "clamp-dual"}
    for p in parts.values():
        if p.kind in ("button", "switch-key", "display") or p.ref == "J10":
            for pin, net in p.pins.items():
                if net in graph.RAILS or net in GROUNDS or net in ("KEY_REF", "NC"):
                    continue
                if net not in esd or any(ref == "U1" for ref, _ in table[net]):
                    wrong.append(f"{p.ref}.{pin}: wire {net} is not guarded")
    wrong += [f"{net}: no clamp" for net in ("SIG_A", "ADC_B", "ADC_SUPPLY", "ADC_PUMP", "MON_COIL", "RUN", "CUTOFF") if net not in clamped]
    lets = parts["D1"].limits["clamp"]
    wrong += [f"{p.ref}: {p.limits['V']:g} V, D1 lets {lets:g} V through" for p in parts.values()
              if p.limits.get("V", 99) < lets and (p.kind in ("reg-switch-5", "reg-linear-5") or (p.kind.startswith("cap") and set(p.pins.values()) & {"V12", "V12_LOGIC", "V12_REG"}))]
    return Check("wires: guarded against sparks and surges", not wrong, listing(wrong))


def ratings(parts: dict[str, Part]) -> Check:
    """No part is stressed past its rating (15 A motor, 24 ohm vent coil, coils switched twice a second: our assumptions)."""
    over = [f"{ref} {stress:.2f} of {limit} {unit}" for ref, unit, stress, limit in stresses(parts) if stress > limit]
    return Check("ratings: none exceeded", not over, listing(over) if over else f"{len(stresses(parts))} stresses under their ratings")


RULES: tuple[Callable[[dict[str, Part]], Check], ...] = (
    pins_match, pins_possible, board_uses_table, nets_complete, no_floating_input, dividers_safe, divider_figures, shorted_supply_survives, ratiometric,
    cutoff_apart, gate_off_without_pulses, off_with_any_wire_broken, off_when_stuck_high, coil_needs_all, weak_feedback, cutoff_latches, vent_opens, two_elements, wires_guarded, ratings,
    *polarity.RULES, *thermal.RULES, *series.RULES, *shared.RULES, *wiring.RULES,
)


def run_all() -> list[Check]:
    """Every rule on the circuit as it stands."""
    parts = load()
    return [rule(parts) for rule in RULES]
