"""The circuit in ngspice: decks are written from the parts in hardware/circuit.csv, results are read from .meas lines."""

import re
import shutil
import subprocess
from dataclasses import replace
from math import ceil

from hardware.circuit import GROUNDS, Part, load, ohms
from hardware.params import PARAMS, TICK_MS, fraction

MODELS = """
.model dsig d(is=2e-9 n=1.8 rs=1)
.model dsch d(is=1e-8 n=1.05 rs=2)
.model qn npn(is=1e-14 bf=250 cje=8p cjc=4p)
.model qp pnp(is=1e-14 bf=250 cje=8p cjc=4p)
.model mp pmos(vto=-2 kp=1 level=1)
.model mn nmos(vto=1.5 kp=2 level=1)
"""
CARD = {
    "npn": ("q", "C B E", "qn"),
    "pnp": ("q", "C B E", "qp"),
    "pmos": ("m", "D G S S", "mp"),
    "nmos": ("m", "D G S S", "mn"),
    "nmos-power": ("m", "D G S S", "mn"),
    "diode-signal": ("d", "A K", "dsig"),
    "diode-fast": ("d", "A K", "dsig"),
    "diode-signal-schottky": ("d", "A K", "dsch"),
}

GATE_REFS = [
    "C10", "C11", "R1", "R26", "D3", "Q3", "R27", "C12", "R3", "R4", "R5", "R6", "Q1", "R7", "R8",
    "Q2", "R9", "R10", "R11", "D5",
]  # fmt: skip
CUT_REFS = [
    "R30", "R34", "R48", "C20", "R35", "R36", "R37", "C22", "R39", "R44", "R40", "R41", "Q4",
    "R98", "R99", "Q13", "R42", "R43", "Q7", "R12", "R28", "R13", "Q5", "R17", "R29", "R18", "Q8",
    "R81", "R82", "R83", "R85", "R86", "R87",
]  # fmt: skip
LATCH_REFS = ["R45", "Q11", "R46", "R97", "C23", "R47", "Q12"]
COILS = ["vrun V12_RUN 0 12", "vcoil V12_COIL 0 12", "rcoil COIL_P 0 240", "rvent VENT_P 0 24"]
WAKE_V = 1.8  # under this supply the comparator's outputs stay low


class NoSimulator(RuntimeError):
    """ngspice is not installed."""


def node(net: str) -> str:
    """SPICE node of a net; all returns are node 0."""
    return "0" if net in GROUNDS else net


def cards(
    parts: dict[str, Part], refs: list[str], values: dict[str, float] | None = None
) -> list[str]:
    """SPICE lines of the named parts, with their values unless `values` gives another (ohm, farad, volt)."""
    out = []
    for ref in refs:
        part = parts[ref]
        value = (values or {}).get(ref)
        if part.kind in CARD:
            letter, order, model = CARD[part.kind]
            out.append(
                f"{letter}{ref} {' '.join(node(part.pins[p]) for p in order.split())} {model}"
            )
        elif part.kind.startswith("zener"):
            volts = value if value is not None else part.limits["V"]
            out.append(f".model z{ref} d(is=1e-12 n=1 bv={volts} ibv=1m rs=2)")
            out.append(f"d{ref} {node(part.pins['A'])} {node(part.pins['K'])} z{ref}")
        else:
            letter = "c" if part.kind.startswith("cap") else "r"
            out.append(
                f"{letter}{ref} {node(part.pins['1'])} {node(part.pins['2'])} {value if value is not None else ohms(part.value)}"
            )
    return out


def run(
    title: str, lines: list[str], analysis: list[str], temp_c: float = 20.0, limit_s: float = 60.0
) -> dict[str, float]:
    """Run one deck and return its measurements. NoSimulator, or RuntimeError with ngspice's message when a measurement failed
    or it took more than `limit_s` of processor time.
    """
    if not shutil.which("ngspice"):
        raise NoSimulator("ngspice is not installed: install the Debian package `ngspice`")
    deck = "\n".join([title, MODELS, *lines, f".temp {temp_c}", *analysis, ".end", ""])
    command = [
        "sh",
        "-c",
        f"ulimit -t {ceil(limit_s)}; exec ngspice -b /dev/stdin",
    ]  # processor time, so that a busy machine changes nothing
    try:
        done = subprocess.run(
            command, check=False, input=deck, capture_output=True, text=True, timeout=600
        )
    except subprocess.TimeoutExpired as late:
        raise RuntimeError(f"ngspice did not finish {title} in ten minutes") from late
    found = {
        name: float(value)
        for name, value in re.findall(r"^([a-z]\w*)\s+=\s+([-+.\deE]+)", done.stdout, re.M)
    }
    wanted = [line.split()[2] for line in analysis if line.startswith(".meas")]
    missing = [w for w in wanted if w not in found]
    if missing:
        raise RuntimeError(
            f"ngspice gave no {', '.join(missing)}:\n{done.stdout[-1500:]}{done.stderr[-1500:]}"
        )
    return found


def gate_run(
    parts: dict[str, Part],
    v3v3: float,
    temp_c: float,
    values: dict[str, float] | None = None,
    gate_farad: float = 5e-9,
    high_at_stop: bool = True,
) -> dict[str, float]:
    """Run pulses for 100 ms, then none. `on_v`: least gate voltage of M1 under pulses; `off_ms`: time from the last falling edge to 1 V at
    that gate. `high_at_stop`: final level of the pin.
    """
    period = 2 * TICK_MS * 1e-3
    edges, t, level = ["0 0"], 0.0, 0.0
    stop = 0.1 if high_at_stop else 0.1 + TICK_MS * 1e-3
    while t < stop + 1e-9:
        level = v3v3 - level
        edges += [f"{t + 1e-6:.7f} {v3v3 - level:.4f}", f"{t + 2e-6:.7f} {level:.4f}"]
        t += period / 2
    lines = cards(parts, GATE_REFS, values) + [
        f"vlogic V3V3 0 {v3v3}",
        f"vgate GATE 0 pwl({' '.join(edges)})",
        f"vcoil {parts['Q2'].pins['E']} 0 {PARAMS['v12'].nom - 1.1}",
        f"cm1 M1_G 0 {gate_farad}",
        "rmid GP_A 0 1000meg",
    ]
    analysis = [
        ".tran 20u 160m 0 20u",
        ".meas tran on_v min v(M1_G) from=60m to=100m",
        ".meas tran top_v max v(STORE) from=60m to=101m",
        ".meas tran off_s when v(M1_G)=1 fall=last",
    ]
    found = run("pulse gate", lines, analysis, temp_c)
    last_fall = stop - (TICK_MS * 1e-3 if high_at_stop else 0.0)
    return {
        "on_v": found["on_v"],
        "top_v": found["top_v"],
        "off_ms": (found["off_s"] - last_fall) * 1000,
    }


def steady_gate_v(parts: dict[str, Part], level: float) -> float:
    """Gate voltage of M1 one second after the pin went to a steady level."""
    lines = cards(parts, GATE_REFS) + [
        "vlogic V3V3 0 3.3",
        f"vgate GATE 0 pwl(0 0 1m 0 1.001m {level})",
        f"vcoil {parts['Q2'].pins['E']} 0 11",
        "cm1 M1_G 0 5n",
        "rmid GP_A 0 1000meg",
    ]
    return run(
        "steady pin", lines, [".tran 1m 1000m 0 1m", ".meas tran end_v find v(M1_G) at=1000m"]
    )["end_v"]


def relay_run(
    parts: dict[str, Part], volts: float, ohm: float, henry: float, release_v: float, clamp: float
) -> float:
    """Time in ms for the coil current to fall to the release current after Q6 opens, with the board's clamp (zener `clamp` V)."""
    coil = parts["K1"].pins
    lines = cards(parts, ["D9", "D10"], {"D10": clamp})
    lines += [
        f"vs {coil['A1']} 0 {volts}",
        f"rc {coil['A1']} kx {ohm}",
        f"lc kx {coil['A2']} {henry}",
        f"cs {coil['A2']} 0 100p",
        "vctl Q6_G 0 pwl(0 5 50m 5 50.1m 0)",
        *cards(parts, ["Q6"]),
    ]
    found = run(
        "relay coil",
        lines,
        [".tran 5u 90m 0 5u", f".meas tran t when i(lc)={release_v / ohm} fall=last"],
    )
    return found["t"] * 1000 - 50.07


def cutoff_run(
    parts: dict[str, Part],
    high: bool,
    supply: float = 5.0,
    offset_v: float = 0.0,
    temp_c: float = 20.0,
) -> dict[str, float]:
    """Ramp transducer C up and down (0 to 12.5 bar of signal) with the whole cutoff but its latch, relay switch and coil in place. Return
    the
    signal fractions of supply at which the coil loses and regains half its voltage.
    """
    lines = cards(parts, CUT_REFS + (["R38"] if high else []))
    u4 = parts["U4"].pins
    for out, plus, minus in (("OUTA", "INA+", "INA-"), ("OUTB", "INB+", "INB-")):
        drive = f"v({u4[plus]})-v({u4[minus]}){'+' if offset_v >= 0 else '-'}{abs(offset_v)}"
        lines.append(f"b{out} drv{out} 0 v={supply}*0.5*(1+tanh(20000*({drive})))")
        lines.append(f"r{out} drv{out} {u4[out]} 50")
    lines += [
        f"vcut V5_CUT 0 {supply}",
        *COILS,
        f"vsig src 0 pwl(0 {0.12 * supply} 1 {0.98 * supply} 1.01 {0.98 * supply} 2.01 {0.12 * supply})",
        "rsig src SIG_C_RAW 100",
    ]
    if high:
        lines.append("vkey KEY_REF 0 dc %s" % supply)
    analysis = [
        ".tran 0.2m 2.01 0 0.2m",
        ".meas tran trip find v(src) when v(COIL_P)=6 fall=1",
        ".meas tran back find v(src) when v(COIL_P)=6 rise=last",
        ".meas tran live find v(COIL_P) at=100m",
        ".meas tran dead find v(COIL_P) at=1.005",
    ]
    found = run("independent cutoff", lines, analysis, temp_c)
    lag = (
        0.86 * (ohms(parts["R34"].value) / 2 + 100) * ohms(parts["C20"].value)
    )  # the ramp moves 0.86 of supply a second
    return {
        "trip": found["trip"] / supply - lag,
        "back": found["back"] / supply + lag,
        "live_v": found["live"],
        "dead_v": found["dead"],
    }


def comparator_lines(parts: dict[str, Part]) -> list[str]:
    """SPICE lines of U4 on its own supply: outputs low until it is awake, then rail to rail."""
    u4 = parts["U4"].pins
    out = []
    for pin, plus, minus in (("OUTA", "INA+", "INA-"), ("OUTB", "INB+", "INB-")):
        awake = f"0.5*(1+tanh(20*(v(V5_CUT)-{WAKE_V})))"
        out += [
            f"b{pin} drv{pin} 0 v=v(V5_CUT)*{awake}*0.5*(1+tanh(20000*(v({u4[plus]})-v({u4[minus]}))))",
            f"r{pin} drv{pin} {u4[pin]} 50",
        ]
    return out


def supervisor_lines(parts: dict[str, Part], release_ms: float = 200.0) -> list[str]:
    """SPICE lines of U10: holds RESET low from 1 V of supply up to 4.38 V and for `release_ms` after; resets at once when the supply
    falls.
    """
    u10 = parts["U10"].pins
    vdd, reset = node(u10["VDD"]), node(u10["RESET"])
    good = f"(0.5*(1+tanh(20*(v({vdd})-4.38))))"
    return [
        f"bu10t 0 u10t i={1 / release_ms * 1e-3:.3e}*{good}-1e-4*v(u10t)*(1-{good})",
        "cu10t u10t 0 1u",
        "du10t u10t u10lim dsch",
        "vu10lim u10lim 0 1.5",
        f"cu10 {reset} 0 1n",
        f"bu10 {reset} 0 i=v({reset})*0.05*(0.5*(1+tanh(5*(v({vdd})-1))))*(0.5*(1-tanh(10*(v(u10t)-1))))",
    ]


def latch_run(
    parts: dict[str, Part],
    high: bool,
    supply: float = 5.0,
    rise_ms: float = 1.0,
    temp_c: float = 20.0,
) -> dict[str, float]:
    """Run power up in `rise_ms` with 4 bar in the manifold; at 600 ms the signal passes every trip for 5 ms and falls to that of an empty
    manifold; at 800 ms the power is off for 200 ms. Return the coil voltage in each part.
    """
    r = rise_ms * 1e-3
    power = f"pwl(0 0 {r} {supply} 0.8 {supply} 0.801 0 1.0 0 {1.0 + r} {supply})"
    lines = (
        cards(parts, CUT_REFS + LATCH_REFS + (["R38"] if high else []))
        + comparator_lines(parts)
        + supervisor_lines(parts)
    )
    lines += [
        f"vcut V5_CUT 0 {power}",
        *COILS,
        "vfrac frac 0 pwl(0 0.42 0.6 0.42 0.601 0.98 0.606 0.98 0.607 0.09)",
        "bsig src 0 v=v(frac)*v(V5_CUT)",
        "rsig src SIG_C_RAW 100",
    ]
    if high:
        lines.append("vkey KEY_REF V5_CUT 0")
    names = {"started": 599, "tripped": 605, "empty": 799, "returned": 1790}
    analysis = [
        ".tran 0.2m 1800m 0 0.2m",
        *(f".meas tran {name} find v(COIL_P) at={at}m" for name, at in names.items()),
    ]
    return run("latch of the cutoff", lines, analysis, temp_c)


def cutoff_broken(parts: dict[str, Part], ref: str, pin: str, frac: float) -> float:
    """Coil voltage in the low range with one wire of the cutoff broken and the signal at a fraction of supply."""
    part = parts[ref]
    parts = {**parts, ref: replace(part, pins={**part.pins, pin: "LOOSE"})}
    sensor_alive = ref != "J5"
    lines = (
        cards(parts, CUT_REFS + LATCH_REFS)
        + ["rloose LOOSE 0 1000meg"]
        + comparator_lines(parts)
        + supervisor_lines(parts, 10.0)
    )
    lines += ["vcut V5_CUT 0 pwl(0 0 1m 5)", *COILS]
    if sensor_alive:
        lines += [f"bsig src 0 v=v(V5_CUT)*{frac}", "rsig src SIG_C_RAW 100"]
    return run(
        "cutoff with a broken wire",
        lines,
        [".tran 0.2m 400m 0 0.2m", ".meas tran coil find v(COIL_P) at=400m"],
    )["coil"]


def cutoff_breaks(pa: float) -> list[str]:
    """Wires of the cutoff whose break leaves the relay coil fed at a pressure that must open it. U4's own legs except its outputs are left
    out:
    a floating comparator input has no defined level.
    """
    parts = load()
    wires = [(ref, pin) for ref in [*CUT_REFS, *LATCH_REFS, "J5"] for pin in parts[ref].pins]
    wires += [("U4", "OUTA"), ("U4", "OUTB")]
    return [
        f"{ref}.{pin}" for ref, pin in wires if cutoff_broken(parts, ref, pin, fraction(pa)) > 3.0
    ]


def divider_run(parts: dict[str, Part], volts: float) -> float:
    """Voltage at the processor's pin for a voltage on transducer B's wire."""
    lines = cards(parts, ["R56", "R57", "C34"]) + [f"vb SIG_B_RAW 0 {volts}"]
    return run("divider", lines, [".tran 10u 20m 0 10u", ".meas tran pin find v(ADC_B) at=20m"])[
        "pin"
    ]


def all_runs() -> dict[str, float]:
    """Figures that tests and the rig compare with the calculation."""
    parts = load()
    slow = {
        "C12": ohms(parts["C12"].value) * 1.06,
        **{r: ohms(parts[r].value) * 1.012 for r in ("R3", "R4", "R5")},
    }
    fast = {
        "C12": ohms(parts["C12"].value) * 0.94,
        **{r: ohms(parts[r].value) * 0.988 for r in ("R3", "R4", "R5")},
        **{c: ohms(parts[c].value) * 0.7 for c in ("C10", "C11")},
    }
    low, high = cutoff_run(parts, False), cutoff_run(parts, True)
    return {
        "gate_nominal_ms": gate_run(parts, 3.3, 20)["off_ms"],
        "gate_low_ms": gate_run(parts, 3.2, 0, fast, 2e-9)["off_ms"],
        "gate_high_ms": gate_run(parts, 3.4, 50, slow, 12e-9)["off_ms"],
        "cutoff_low_trip": low["trip"],
        "cutoff_low_back": low["back"],
        "cutoff_high_trip": high["trip"],
        "cutoff_high_back": high["back"],
    }
