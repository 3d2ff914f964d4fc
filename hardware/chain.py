"""Complete stop chain as one ngspice deck: supply, cutoff, latch, both coils, the processor's inputs. A fault is applied in operation.

Time line of a run: power and 4 bar; the fault at FAULT_S; then one after the other: firmware opens the relay, firmware opens the vent, the
run control is released, the pressure passes the cutoff and falls again. Charged capacitors keep their charge over the fault.
"""

from dataclasses import dataclass, replace

from hardware.circuit import Part, load, nets
from hardware.params import fraction
from hardware.spice import cards, comparator_lines, node, run, supervisor_lines

SHEETS = ("coils", "cutoff", "monitor")
OTHERS = (
    "D6",
    "F3",
    "F4",
    "R49",
    "U5",
    "C5",
    "C6",
    "D22",
    "K1",
    "J6",
    "R51",
    "R50",
    "C30",
    "D27",
    "J7",
    "R56",
    "R57",
    "C34",
    "D14",
    "R58",
    "R59",
    "C35",
    "D15",
    "U3",
    "C4",
    "F2",
    "R60",
    "R61",
    "C36",
    "D16",
)
FAULT_S = 0.30
REST_PA, OVER_PA, HIGH_OVER_PA, TEST_PA, LOW_TEST_PA = 400_000, 560_000, 1_020_000, 300_000, 150_000
FED_V = 3.0  # below this a coil counts as off: relays drop at 0.5 to 6 V of 12
LOOSE = "LOOSE"


@dataclass(frozen=True)
class Fault:
    """Fault: two nets joined (`pin` empty) or one pin off its net (`pin` is (reference, pin)). `high`: key in the high position."""

    nets: tuple[str, str] = ("", "")
    pin: tuple[str, str] = ("", "")
    high: bool = False

    @property
    def name(self) -> str:
        """Name of the fault in tables."""
        text = (
            f"{self.pin[0]}.{self.pin[1]} open"
            if self.pin[0]
            else f"{self.nets[0]} to {self.nets[1]}"
        )
        return f"{text}, high range" if self.high else text


SOUND = Fault()


def in_deck(parts: dict[str, Part]) -> dict[str, Part]:
    """Parts of the chain, with transducers and their dividers."""
    return {r: p for r, p in parts.items() if p.sheet in SHEETS or r in OTHERS}


def regulator(part: Part) -> str:
    """SPICE lines of a 5 V regulator: passes at most 150 mA, in one direction only."""
    i, o = node(part.pins["VIN"]), node(part.pins["VOUT"])
    return f"b{part.ref} {i} {o} i=0.075*(1+tanh(20*(5.004-v({o}))))*0.5*(1+tanh(10*(v({i})-v({o})-0.4)))"


def transducer(part: Part, pa: str) -> list[str]:
    """SPICE lines of a ratiometric output behind 100 ohm; without return it goes to its supply, without supply to its return."""
    supply, out, back = (part.pins[p] for p in "123")
    if back == LOOSE:
        return [f"r{part.ref} {node(supply)} {node(out)} 1k"]
    return [
        f"b{part.ref} {part.ref}s 0 v=v({pa})*v({node(supply)})",
        f"r{part.ref} {part.ref}s {node(out)} 100",
        f"r{part.ref}l {node(supply)} 0 600",
    ]


def element(part: Part) -> list[str]:
    """SPICE lines of a part that `spice.cards` does not cover."""
    p = {pin: node(net) for pin, net in part.pins.items()}
    ref = part.ref
    if part.kind == "relay":
        return [f"rk1 {p['A1']} k1x 240", f"lk1 k1x {p['A2']} 0.4"]
    if part.kind == "conn-small":
        return [f"rj4 {p['1']} j4x 24", f"lj4 j4x {p['2']} 0.05"]
    if part.kind == "switch-run":
        return [f"s{ref} {p['1']} {p['2']} hand 0 swm"]
    if part.kind == "switch-test":
        return [f"s{ref} {p['1']} {p['2']} test 0 swm"]
    if part.kind.startswith("fuse"):
        return [f"r{ref} {p['1']} {p['2']} 0.2"]
    if part.kind in ("diode-feed", "diode-schottky"):
        return [f"d{ref} {p['A']} {p['K']} dsch"]
    if part.kind == "clamp-dual":
        return [f"d{ref}a {p['A']} {p['C']} dsch", f"d{ref}b {p['C']} {p['K']} dsch"]
    if part.kind.startswith("reg-linear"):
        return [regulator(part)]
    if part.kind.startswith("transducer"):
        return transducer(part, "pc" if ref == "J5" else "pab")
    if part.kind == "cap-tantalum":
        return [f"c{ref} {p['1']} {p['2']} 4.7u"]
    if part.kind in ("nmos", "pmos"):
        body = (p["S"], p["D"]) if part.kind == "nmos" else (p["D"], p["S"])
        return [*cards({ref: part}, [ref]), f"d{ref}b {body[0]} {body[1]} dsch"]
    if part.kind in ("comparator", "supervisor", "adc-i2c"):
        return []
    return cards({ref: part}, [ref])


def deck(parts: dict[str, Part], fault: Fault, at_s: float) -> list[str]:
    """SPICE lines of the chain with a fault applied at `at_s`."""
    parts = dict(parts)
    lines = [
        ".model swm sw(vt=0.5 vh=0.1 ron=0.05 roff=1e13)",
        f"vfault faulty 0 pwl(0 0 {at_s} 0 {at_s + 1e-5} 1)",
    ]
    ref, pin = fault.pin
    if ref:
        net = parts[ref].pins[pin]
        parts[ref] = replace(parts[ref], pins={**parts[ref].pins, pin: LOOSE})
        joined = (
            parts[ref].kind.startswith("transducer") and pin == "3"
        )  # without its return: from the start
        lines += [
            f"vok ok 0 pwl(0 1 {at_s} 1 {at_s + 1e-5} 0)",
            f"sfault {LOOSE} {'ok2' if joined else node(net)} ok 0 swm",
            f"rloose {LOOSE} 0 1e13",
            f"cloose {LOOSE} 0 5p",
            "rok2 ok2 0 1",
        ]
    elif fault.nets[0]:
        lines.append(f"sfault {node(fault.nets[0])} {node(fault.nets[1])} faulty 0 swm")
    for part in in_deck(parts).values():
        lines += element(part)
    if fault.high:
        lines.append("rkey KEY_REF V5_CUT 0.1")
    u9 = parts["U9"].pins
    lines += [f"ru9{c} {node(u9[c])} 0 10meg" for c in ("AIN0", "AIN1", "AIN2", "AIN3")]
    lines += [
        "vbat V12 0 12",
        "v33 V3V3 0 3.3",
        *comparator_lines(parts),
        *supervisor_lines(parts, 60.0),
        "rsig SIG_C 0 1e12",
        "rref REF 0 1e12",
        "rgate V12_GATE 0 2.4k",
    ]
    lines += [
        f"cload{n} {n} 0 10p"
        for n in ("CUT_MID", "Q5_PULL", "Q8_PULL", "Q5_G", "Q8_G", "K1_CLAMP", "VENT_CLAMP")
        if n in nets(parts)
    ]
    return lines


def drive(name: str, net: str, points: str) -> list[str]:
    """SPICE lines of a processor output behind 50 ohm."""
    return [f"v{name} {name}d 0 pwl({points})", f"r{name}d {name}d {node(net)} 50"]


WATCHED = {
    "mon_c": "MON_C",
    "mon_v": "MON_V",
    "mon_ref": "MON_REF",
    "mon_coil": "MON_COIL",
    "cutoff": "CUTOFF",
    "run": "RUN",
    "a": "SIG_A",
    "b": "ADC_B",
    "supply": "ADC_SUPPLY",
    "sens": "V5_SENS",
}
MOMENTS = {"faulty": 0.59, "relay": 0.69, "vent": 0.79, "hand": 0.89, "over": 1.09, "back": 1.29}


def measures(moments: dict[str, float], watched: tuple[str, ...]) -> list[str]:
    """SPICE measurements of the watched nodes at the named moments."""
    lines = []
    for name, at in moments.items():
        for what, expr in (("coil", "v(k1i)"), ("vent", "v(j4i)")):
            lines.append(f".meas tran {name}_{what} find {expr} at={at}")
        if name in watched:
            lines += [f".meas tran {name}_{w} find v({net}) at={at}" for w, net in WATCHED.items()]
    return lines


def working(parts: dict[str, Part], fault: Fault) -> dict[str, float]:
    """Results of a fault applied in operation: coil voltages (current times resistance) and the processor's inputs after each event."""
    f, over = fraction, HIGH_OVER_PA if fault.high else OVER_PA
    lines = deck(parts, fault, FAULT_S)
    lines += drive("relay", "RELAY", "0 0 0.1 0 0.1001 3.3 0.6 3.3 0.6001 0 0.7 0 0.7001 3.3")
    lines += drive("ventd", "VENT", "0 0 0.1 0 0.1001 3.3 0.7 3.3 0.7001 0 0.8 0 0.8001 3.3")
    lines += [
        "vhand hand 0 pwl(0 1 0.8 1 0.8001 0 0.9 0 0.9001 1)",
        "vtest test 0 0",
        f"vpab pab 0 {f(REST_PA)}",
        f"vpc pc 0 pwl(0 {f(REST_PA)} 0.95 {f(REST_PA)} 0.951 {f(over)} 1.1 {f(over)} 1.101 {f(0)})",
        "bk1i k1i 0 v=240*i(lk1)",
        "bj4i j4i 0 v=24*i(lj4)",
    ]
    return attempt(
        "stop chain", lines, [".tran 0.5m 1.3 0 5m", *measures(MOMENTS, ("faulty", "over"))]
    )


OPTIONS = (
    (".options reltol=2e-3 method=gear", 10.0),
    (".options reltol=1e-2 abstol=1e-8 vntol=1e-4 method=gear cshunt=1n gmin=1e-10", 20.0),
    (
        ".options reltol=1e-2 method=gear maxord=2 cshunt=10n gmin=1e-9 itl4=50",
        40.0,
    ),  # loops that oscillate are slowed by 10 nF at every node
)


def attempt(title: str, lines: list[str], analysis: list[str]) -> dict[str, float]:
    """Run one deck; without convergence again with capacitance at every node. RuntimeError when none converges."""
    for options, limit_s in OPTIONS[:-1]:
        try:
            return run(title, lines, [options, *analysis], limit_s=limit_s)
        except RuntimeError:
            continue
    options, limit_s = OPTIONS[-1]
    return run(title, lines, [options, *analysis], limit_s=limit_s)


DAILY = {"armed": 0.29, "low": 0.49, "test": 0.69, "after": 0.89}


def daily_test(parts: dict[str, Part], fault: Fault) -> dict[str, float]:
    """Run the daily test with the fault present from the start: button held at 1.5 bar, at 3 bar, then released in an emptied manifold."""
    f = fraction
    lines = deck(parts, replace(fault, high=False), 1e-6)
    lines += drive("relay", "RELAY", "0 0 0.1 0 0.1001 3.3") + drive(
        "ventd", "VENT", "0 0 0.1 0 0.1001 3.3"
    )
    lines += [
        "vhand hand 0 1",
        "vtest test 0 pwl(0 0 0.3 0 0.3001 1 0.7 1 0.7001 0)",
        f"vpab pab 0 {f(LOW_TEST_PA)}",
        f"vpc pc 0 pwl(0 {f(0)} 0.3 {f(0)} 0.31 {f(LOW_TEST_PA)} 0.5 {f(LOW_TEST_PA)} 0.51 {f(TEST_PA)} 0.6 {f(TEST_PA)} 0.61 {f(0)})",
        "bk1i k1i 0 v=240*i(lk1)",
        "bj4i j4i 0 v=24*i(lj4)",
    ]
    return attempt("daily test", lines, [".tran 0.5m 0.9 0 5m", *measures(DAILY, ("test",))])


def sound() -> dict[str, float]:
    """Run the circuit without a fault."""
    return working(load(), SOUND)
