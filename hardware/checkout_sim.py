"""The check-out done in simulation: each step measured on the sound unit and on units with the faults that it is there to find.

A unit is a circuit and what is screwed to it. A step's figure comes from ngspice or from the formulas, its limits are those of the printed sheet.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from hardware import air, chain, cutoff, gate, graph, spice
from hardware.circuit import Part, load
from hardware.params import FULL_SCALE_PA, PARAMS
from hardware.shared import LEAD_PA
from hardware.single_faults import off, seen

SOUND_PARTS = load()
HAND_PUMP_PA = 1_200_000.0  # a hand pump with a gauge, no air supply needed
BENCH_PLUG = "vent coil on a bench supply of 12 V: the vent stays shut whatever the cutoff does"


@dataclass(frozen=True)
class Unit:
    """One inflator on the bench. Pressures Pa gauge, C in dm3/(s bar); `fault` as in `chain`; `taps`: transducer -> what it is plugged into."""

    parts: dict[str, Part] = field(default_factory=lambda: SOUND_PARTS)
    fault: chain.Fault = chain.SOUND
    c_error_fs: float = 0.0
    sealed_at_m: float | None = None
    vent_c: float = PARAMS["vent_c"].nom
    inlet_c: float = PARAMS["inlet_c"].nom
    relief_low_pa: float = PARAMS["relief_low"].nom
    relief_high_pa: float = PARAMS["relief_high"].nom
    vent_fed: bool = True
    manifold_ml: float = PARAMS["manifold_ml"].nom
    taps: tuple[tuple[str, str], ...] = (("A", "tap A"), ("B", "tap B"), ("C", "port and tap C"))


def with_value(ref: str, value: str) -> Unit:
    return Unit(parts={**SOUND_PARTS, ref: replace(SOUND_PARTS[ref], value=value)})


def with_pins(ref: str, **pins: str) -> Unit:
    return Unit(parts={**SOUND_PARTS, ref: replace(SOUND_PARTS[ref], pins={**SOUND_PARTS[ref].pins, **pins})})


def bridged(a: str, b: str) -> Unit:
    """Two nets joined by a piece of wire."""
    wire = replace(SOUND_PARTS["NT1"], ref="W1", pins={"1": a, "2": b})
    return Unit(parts={**SOUND_PARTS, "W1": replace(wire, kind="fuse-small")}, fault=chain.Fault(nets=(a, b)))


def source_stays_off(u: Unit) -> float:
    """Number of elements that conduct with the processor out and the run control held."""
    state = graph.State(gpio="z")
    on = graph.solve(u.parts, state)
    pump = graph.reach({"PUMP_N"}, graph.fixed_edges({r: p for r, p in u.parts.items() if p.kind.startswith("fuse")}, state), set())
    return float(graph.energised(u.parts, state, ("K1", "A1", "A2"), on)) + float("M1" in on or "PGND" in pump)


def cutoff_supply_v(u: Unit) -> float:
    r = chain.working(u.parts, u.fault)
    return r["faulty_mon_v"] / 0.6005


def drop_out_ms(u: Unit) -> float:
    return spice.gate_run(u.parts, 3.3, 20.0)["off_ms"]


def coupling_v(u: Unit) -> float:
    """Voltmeter of 10 megohm at GP_A, GATE held at 1 and at 0, the higher reading after 10 s."""
    found = []
    for level in (3.3, 0.0):
        lines = spice.cards(u.parts, spice.GATE_REFS) + ["vlogic V3V3 0 3.3", f"vgate GATE 0 {level}", "vcoil V12_GATE 0 11", "cm1 M1_G 0 5n", "rmeter GP_A 0 10meg"]
        if u.fault.nets[0]:
            lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
        found.append(spice.run("meter at GP_A", lines, [".tran 10m 10 0 20m", ".meas tran end find v(GP_A) at=9.9"])["end"])
    return max(found)


def fly_back_v(u: Unit) -> float:
    """Peak at COIL_N when RELAY drops; Q6 breaks down at 70 V."""
    coil = u.parts["K1"].pins
    lines = spice.cards(u.parts, ["D9", "D10", "Q6"]) + [f"vs {coil['A1']} 0 12", f"rc {coil['A1']} kx 240", f"lc kx {coil['A2']} 0.4", f"cs {coil['A2']} 0 200p", "rl LOOSE 0 1e9",
             ".model zq d(is=1e-12 bv=70 ibv=1m)", f"dq 0 {coil['A2']} zq", "vctl Q6_G 0 pwl(0 5 20m 5 20.1m 0)"]
    if u.fault.nets[0]:
        lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
    return spice.run("fly-back", lines, [".tran 2u 30m 0 5u", f".meas tran peak max v({coil['A2']}) from=19m to=29m"])["peak"]


def steady_v(u: Unit) -> float:
    return max(spice_steady(u, level) for level in (0.0, 3.3))


def spice_steady(u: Unit, level: float) -> float:
    """Gate of M1 one second after GATE went to a steady level."""
    lines = spice.cards(u.parts, spice.GATE_REFS) + ["vlogic V3V3 0 3.3", f"vgate GATE 0 pwl(0 0 1m 0 1.001m {level})", "vcoil V12_GATE 0 11", "cm1 M1_G 0 5n", "rmid GP_A 0 1000meg"]
    if u.fault.nets[0]:
        lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
    return spice.run("steady pin", lines, [".tran 1m 1000m 0 1m", ".meas tran end_v find v(M1_G) at=1000m"])["end_v"]


def taps_right(u: Unit) -> float:
    """Transducers whose own reading alone stops when their tap is blocked."""
    right = 0
    for name, passage in (("A", "tap A"), ("B", "tap B"), ("C", "port and tap C")):
        stopped = [who for who, plugged in u.taps if plugged == passage]
        right += stopped == [name]
    return float(right)


def trip(u: Unit, high: bool) -> float:
    """Pressure at which the cutoff opens on a slow rise, by the formulas with this unit's resistors."""
    r = {n: cutoff.ohms(u.parts[n].value) for n in ("R35", "R36", "R37", "R38")}
    ref = cutoff.threshold(r["R35"], r["R36"], r["R37"], 1 / r["R38"] if high else 0.0, 1.0, cutoff.monitor_s())
    shift = cutoff.sealed_shift_pa(u.sealed_at_m) if u.sealed_at_m is not None else 0.0
    return cutoff.pressure(ref) - u.c_error_fs * FULL_SCALE_PA + shift


def trip_coil_v(u: Unit) -> float:
    """Highest of relay coil and vent coil after a trip, and 9 where the latch has let go."""
    r = chain.working(u.parts, u.fault)
    again = 0.0 if off(r, "back", "coil") and off(r, "back", "vent") else 9.0
    return max(abs(r["over_coil"]), abs(r["over_vent"]), again)


def test_trip(u: Unit) -> float:
    """Pressure at which it opens with the test button held; 1e9 when it never does. Blocked or stuck: C does not follow."""
    r = {n: cutoff.ohms(u.parts[n].value) for n in ("R35", "R36", "R37", "R32")}
    key = 1 / cutoff.ohms(u.parts["R38"].value) if u.fault.nets == ("V5_CUT", "KEY_REF") else 0.0
    ref = cutoff.threshold(r["R35"], r["R36"], r["R37"], key, 1.0, cutoff.monitor_s() + 1 / r["R32"])
    if u.c_error_fs >= 1 or any(who == "C" and plugged == "" for who, plugged in u.taps):
        return 1e9
    return cutoff.pressure(ref) - u.c_error_fs * FULL_SCALE_PA


def returns(u: Unit) -> float:
    """Coil voltage after a supply that came back in 100 ms, empty manifold."""
    return spice.latch_run(u.parts, False, 5.0, 100.0)["returned"]


def relief_pa(u: Unit, high: bool) -> float:
    """Pressure at which the relief valve of the range is seen to open under a hand pump; 0 when the vent opens first or the pump ends."""
    opens = u.relief_high_pa if high else min(u.relief_low_pa, u.relief_high_pa)
    if not u.vent_fed and trip(u, high) < opens:
        return 0.0
    return opens if opens <= HAND_PUMP_PA else 0.0


def vent_balance_pa(u: Unit) -> float:
    """Where the manifold settles with the source running and the vent open, highest main."""
    b, ambient = PARAMS["b_ratio"], air.AMBIENT_PA
    supply = PARAMS["supply_line"].high + ambient
    return air.settle(lambda p: air.flow(u.inlet_c, b.high, supply, p), lambda p: air.flow(u.vent_c, b.low, p, ambient), supply, ambient) - ambient


def vent_time_ratio(u: Unit) -> float:
    """Time of the daily test's fall over this unit's baseline (a sound vent of the same make and the same manifold)."""
    return air.vent_fall_ms(u.vent_c, u.manifold_ml) / air.vent_fall_ms(PARAMS["vent_c"].nom, u.manifold_ml)


def holds_pa(u: Unit) -> float:
    """Manifold ten seconds after it was filled to 3 bar with the hose shut, run control held."""
    r = chain.working(u.parts, u.fault)
    return 0.0 if off(r, "faulty", "vent") else 300_000.0


def three_apart_pa(u: Unit) -> float:
    """Furthest of A, B and C, as the processor reads them, from the air in the manifold."""
    r = seen(chain.working(u.parts, u.fault), "faulty")
    return max(abs(r[name] + (u.c_error_fs * FULL_SCALE_PA if name == "c_pa" else 0.0)) for name in ("a_pa", "b_pa", "c_pa"))


def keys_differ(u: Unit) -> float:
    """1 when the key's two contacts differ in both positions."""
    s3 = u.parts["S3"].pins
    joined = graph.reach({s3["B_LOW"]}, graph.fixed_edges({r: p for r, p in u.parts.items() if p.kind == "fuse-small"}, graph.State()), set())
    return float(s3["C_HIGH"] not in joined and {s3["B_LOW"], s3["C_HIGH"]} == {"KEY_LOW_W", "KEY_HIGH_W"} and "W2" not in u.parts)


@dataclass(frozen=True)
class Trial:
    """One step: what is measured, its limits, the hazard rows that rest on it, and units with the faults that it must tell."""

    measure: Callable[[Unit], float]
    low: float
    high: float
    unit: str
    faults: dict[str, Unit]
    rows: tuple[str, ...] = ()


def trials() -> dict[str, Trial]:
    """Every step that measures something, by the key that the sheet's step carries."""
    low, high, test = cutoff.band(False), cutoff.band(True), cutoff.test_band()
    g = gate.report()
    relief_low, relief_high = PARAMS["relief_low"], PARAMS["relief_high"]
    return {
        "dead": Trial(source_stays_off, 0, 0, "elements on", {"Q6 joined through": bridged("COIL_N", "PGND"), "M1 joined through": bridged("PUMP_N", "PGND")}, ("H20",)),
        "supplies": Trial(cutoff_supply_v, 4.75, 5.25, "V", {"U5 joined through": bridged("V12_REG", "V5_CUT")}, ("H115",)),
        "drop_out": Trial(drop_out_ms, g["gate_min_ms"], g["gate_max_ms"], "ms", {"R4 open": with_pins("R4", **{"1": "NC1"}), "C12 of 680 nF": with_value("C12", "680n"),
                                                                                 "C12 of 150 nF": with_value("C12", "150n")}, ("H15",)),
        "coupling": Trial(coupling_v, -0.1, 0.3, "V", {"C10 joined through": Unit(fault=chain.Fault(nets=("GATE", "GP_A"))),
                                                       "C11 joined through": Unit(fault=chain.Fault(nets=("GP_A", "GP_B")))}, ("H14",)),
        "fly_back": Trial(fly_back_v, 38.0, 55.0, "V", {"D10 joined through": Unit(fault=chain.Fault(nets=("COIL_P", "K1_CLAMP"))), "D9 open": with_pins("D9", A="LOOSE"),
                                                        "D10 open": with_pins("D10", A="LOOSE")}, ("H18", "H19")),
        "steady": Trial(steady_v, -1.0, 1.0, "V", {"Q3 joined through": Unit(fault=chain.Fault(nets=("Q3_C", "V3V3"))), "Q2 joined through": Unit(fault=chain.Fault(nets=("Q2_C", "V12_GATE")))},
                        ("H09", "H16")),
        "taps": Trial(taps_right, 3, 3, "of 3", {"A and C plugs crossed": Unit(taps=(("A", "port and tap C"), ("B", "tap B"), ("C", "tap A"))),
                                                "C on the tap of A": Unit(taps=(("A", "tap A"), ("B", "tap B"), ("C", "tap A")))}, ("H84",)),
        "trip_low": Trial(lambda u: trip(u, False), low[0], low[2], "Pa", {"R36 of 11k": with_value("R36", "11k"), "C reads 0.3 bar low": Unit(c_error_fs=-0.03),
                                                                           "C sealed, 3000 m": Unit(sealed_at_m=3000.0)}, ("H49", "H50")),
        "trip_high": Trial(lambda u: trip(u, True), high[0], high[2], "Pa", {"R38 of 1.8k": with_value("R38", "1.8k"), "R38 of 2.7k": with_value("R38", "2.7k")}, ()),
        "trip_all": Trial(trip_coil_v, -0.5, 0.5, "V", {"Q5 joined through": bridged("COIL_P", "V12_RUN"), "Q8 joined through": bridged("V12_COIL", "VENT_P"),
                                                        "Q4 collector on base": bridged("Q4_B", "Q5_PULL"), "Q12 open": Unit(fault=chain.Fault(pin=("Q12", "C")))}, ("H52", "H85", "H111")),
        "test_button": Trial(test_trip, test[0], test[2], "Pa", {"R32 of 8.2k": with_value("R32", "8.2k"), "R36 open": with_value("R36", "1000M"), "C stuck": Unit(c_error_fs=1.0),
                                                                 "pole A of the key bridged": bridged("V5_CUT", "KEY_REF"),
                                                                 "tap C blocked": Unit(taps=(("A", "tap A"), ("B", "tap B"), ("C", "")))}, ("H51", "H54", "H56", "H133", "H134")),
        "power_cycle": Trial(returns, 9.0, 13.0, "V", {"U10's wire open": with_pins("U10", RESET="NC1")}, ("H86", "H139")),
        "relief_low": Trial(lambda u: relief_pa(u, False), relief_low.low, relief_low.high, "Pa",
                            {"RV1 stuck": Unit(relief_low_pa=1e9), "RV1 set low": Unit(relief_low_pa=550e3), "vent not fed by the bench plug": Unit(vent_fed=False)}, ("H58", "H59")),
        "relief_high": Trial(lambda u: relief_pa(u, True), relief_high.low, relief_high.high, "Pa", {"RV2 set high": Unit(relief_high_pa=1.15e6), "RV2 stuck": Unit(relief_high_pa=1e9)}, ()),
        "balance": Trial(vent_balance_pa, 0.0, max(air.vented_gauge_pa(line) for line in (False, True)), "Pa", {"RO1 left out": Unit(inlet_c=0.8), "vent half clogged": Unit(vent_c=0.4)},
                         ("H62", "H05")),
        "vent_flow": Trial(vent_time_ratio, 0.0, air.VENT_LIMIT, "of the baseline", {"vent half clogged": Unit(vent_c=0.4), "silencer clogged to 60 %": Unit(vent_c=0.48)}, ("H05",)),
        "holds": Trial(holds_pa, 290_000.0, 310_000.0, "Pa", {"vent coil's wire off": Unit(fault=chain.Fault(pin=("J4", "1"))), "Q8 open": Unit(fault=chain.Fault(pin=("Q8", "S")))}, ("H06",)),
        "three": Trial(three_apart_pa, 0.0, LEAD_PA, "Pa", {"C reads 0.4 bar low": Unit(c_error_fs=-0.04), "R81 open": Unit(fault=chain.Fault(pin=("R81", "1"))), "R83 of 120k": with_value("R83", "120k"),
                                                            "R57 of 20k": with_value("R57", "20k")}, ("H118", "H135")),
        "key": Trial(keys_differ, 1, 1, "yes", {"contacts bridged": bridged("KEY_LOW_W", "KEY_HIGH_W")}, ("H55",)),
    }


def passes(key: str, unit: Unit) -> bool:
    """Whether a unit passes a step."""
    t = trials()[key]
    return t.low - 1e-9 <= t.measure(unit) <= t.high + 1e-9


def run() -> list[dict[str, object]]:
    """Every step on the sound unit and on every faulty one."""
    rows: list[dict[str, object]] = []
    for key, t in trials().items():
        rows.append({"step": key, "unit": "sound", "measured": t.measure(Unit()), "low": t.low, "high": t.high, "passes": passes(key, Unit()), "wanted": True})
        rows += [{"step": key, "unit": name, "measured": t.measure(u), "low": t.low, "high": t.high, "passes": passes(key, u), "wanted": False} for name, u in t.faults.items()]
    return rows


