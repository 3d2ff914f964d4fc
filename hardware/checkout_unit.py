"""One inflator in check-out, simulated: its parts and faults, and what each instrument of the sheet reads on it."""

from dataclasses import dataclass, field, replace

from hardware import air, chain, cutoff, graph, spice
from hardware.circuit import Part, load
from hardware.params import FULL_SCALE_PA, PARAMS
from hardware.single_faults import off, seen

SOUND_PARTS = load()
HAND_PUMP_PA = 1_200_000.0  # a hand pump with a gauge; no air supply needed
BENCH_PLUG = "vent coil on a bench supply of 12 V: the vent stays shut whatever the cutoff does"


@dataclass(frozen=True)
class Unit:
    """One inflator in check-out. Pressures Pa gauge, C in dm3/(s bar); `fault` as in `chain`; `taps`: transducer -> tap it is connected
    to.
    """

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
    """Return a unit with one part of another value."""
    return Unit(parts={**SOUND_PARTS, ref: replace(SOUND_PARTS[ref], value=value)})


def with_pins(ref: str, **pins: str) -> Unit:
    """Return a unit with pins of one part on other nets."""
    return Unit(
        parts={
            **SOUND_PARTS,
            ref: replace(SOUND_PARTS[ref], pins={**SOUND_PARTS[ref].pins, **pins}),
        }
    )


def bridged(a: str, b: str) -> Unit:
    """Return a unit with two nets bridged."""
    wire = replace(SOUND_PARTS["NT1"], ref="W1", pins={"1": a, "2": b})
    return Unit(
        parts={**SOUND_PARTS, "W1": replace(wire, kind="fuse-small")},
        fault=chain.Fault(nets=(a, b)),
    )


def source_stays_off(u: Unit) -> float:
    """Return the number of elements that conduct with the processor removed and the run control held."""
    state = graph.State(gpio="z")
    on = graph.solve(u.parts, state)
    pump = graph.reach(
        {"PUMP_N"},
        graph.fixed_edges({r: p for r, p in u.parts.items() if p.kind.startswith("fuse")}, state),
        set(),
    )
    return float(graph.energised(u.parts, state, ("K1", "A1", "A2"), on)) + float(
        "M1" in on or "PGND" in pump
    )


def cutoff_supply_v(u: Unit) -> float:
    """Supply of the independent cutoff, V."""
    r = chain.working(u.parts, u.fault)
    return r["faulty_mon_v"] / 0.6005


def drop_out_ms(u: Unit) -> float:
    """Time from the last pulse to gate off, ms."""
    return spice.gate_run(u.parts, 3.3, 20.0)["off_ms"]


def coupling_v(u: Unit) -> float:
    """Voltmeter reading (10 megohm) at GP_A with GATE at 1 and at 0: the higher after 10 s, V."""
    found = []
    for level in (3.3, 0.0):
        lines = spice.cards(u.parts, spice.GATE_REFS) + [
            "vlogic V3V3 0 3.3",
            f"vgate GATE 0 {level}",
            "vcoil V12_GATE 0 11",
            "cm1 M1_G 0 5n",
            "rmeter GP_A 0 10meg",
        ]
        if u.fault.nets[0]:
            lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
        found.append(
            spice.run(
                "meter at GP_A", lines, [".tran 10m 10 0 20m", ".meas tran end find v(GP_A) at=9.9"]
            )["end"]
        )
    return max(found)


def fly_back_v(u: Unit) -> float:
    """Peak at COIL_N when RELAY opens, V; Q6 breaks down at 70 V."""
    coil = u.parts["K1"].pins
    lines = spice.cards(u.parts, ["D9", "D10", "Q6"]) + [
        f"vs {coil['A1']} 0 12",
        f"rc {coil['A1']} kx 240",
        f"lc kx {coil['A2']} 0.4",
        f"cs {coil['A2']} 0 200p",
        "rl LOOSE 0 1e9",
        ".model zq d(is=1e-12 bv=70 ibv=1m)",
        f"dq 0 {coil['A2']} zq",
        "vctl Q6_G 0 pwl(0 5 20m 5 20.1m 0)",
    ]
    if u.fault.nets[0]:
        lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
    return spice.run(
        "fly-back",
        lines,
        [".tran 2u 30m 0 5u", f".meas tran peak max v({coil['A2']}) from=19m to=29m"],
    )["peak"]


def steady_v(u: Unit) -> float:
    """Gate voltage of M1 at a steady GATE, the higher of both levels, V."""
    return max(spice_steady(u, level) for level in (0.0, 3.3))


def spice_steady(u: Unit, level: float) -> float:
    """Gate voltage of M1 one second after GATE went to a steady level, V."""
    lines = spice.cards(u.parts, spice.GATE_REFS) + [
        "vlogic V3V3 0 3.3",
        f"vgate GATE 0 pwl(0 0 1m 0 1.001m {level})",
        "vcoil V12_GATE 0 11",
        "cm1 M1_G 0 5n",
        "rmid GP_A 0 1000meg",
    ]
    if u.fault.nets[0]:
        lines.append(f"rshort {u.fault.nets[0]} {u.fault.nets[1]} 0.1")
    return spice.run(
        "steady pin", lines, [".tran 1m 1000m 0 1m", ".meas tran end_v find v(M1_G) at=1000m"]
    )["end_v"]


def taps_right(u: Unit) -> float:
    """Return the number of transducers of which only their own reading stops when their tap is blocked."""
    right = 0
    for name, passage in (("A", "tap A"), ("B", "tap B"), ("C", "port and tap C")):
        stopped = [who for who, plugged in u.taps if plugged == passage]
        right += stopped == [name]
    return float(right)


def trip(u: Unit, high: bool) -> float:
    """Pressure at which the cutoff opens on a slow rise, by the formulas with this unit's resistors, Pa."""
    r = {n: cutoff.ohms(u.parts[n].value) for n in ("R35", "R36", "R37", "R38")}
    ref = cutoff.threshold(
        r["R35"], r["R36"], r["R37"], 1 / r["R38"] if high else 0.0, 1.0, cutoff.monitor_s()
    )
    shift = cutoff.sealed_shift_pa(u.sealed_at_m) if u.sealed_at_m is not None else 0.0
    return cutoff.pressure(ref) - u.c_error_fs * FULL_SCALE_PA + shift


def trip_coil_v(u: Unit) -> float:
    """Higher voltage of relay coil and vent coil after a trip; 9 where the latch has opened."""
    r = chain.working(u.parts, u.fault)
    again = 0.0 if off(r, "back", "coil") and off(r, "back", "vent") else 9.0
    return max(abs(r["over_coil"]), abs(r["over_vent"]), again)


def test_trip(u: Unit) -> float:
    """Pressure at which it opens with the test button held, Pa; 1e9 if it never does. Blocked or stuck: C does not follow."""
    r = {n: cutoff.ohms(u.parts[n].value) for n in ("R35", "R36", "R37", "R32")}
    key = 1 / cutoff.ohms(u.parts["R38"].value) if u.fault.nets == ("V5_CUT", "KEY_REF") else 0.0
    ref = cutoff.threshold(
        r["R35"], r["R36"], r["R37"], key, 1.0, cutoff.monitor_s() + 1 / r["R32"]
    )
    if u.c_error_fs >= 1 or any(who == "C" and plugged == "" for who, plugged in u.taps):
        return 1e9
    return cutoff.pressure(ref) - u.c_error_fs * FULL_SCALE_PA


def returns(u: Unit) -> float:
    """Coil voltage after a supply interruption of 100 ms, empty manifold."""
    return spice.latch_run(u.parts, False, 5.0, 100.0)["returned"]


def relief_pa(u: Unit, high: bool) -> float:
    """Return the opening pressure of the range's relief valve with a hand pump, Pa; 0 when the vent opens first or the pump ends."""
    opens = u.relief_high_pa if high else min(u.relief_low_pa, u.relief_high_pa)
    if not u.vent_fed and trip(u, high) < opens:
        return 0.0
    return opens if opens <= HAND_PUMP_PA else 0.0


def vent_balance_pa(u: Unit) -> float:
    """Pressure of the manifold with the source running and the vent open, highest main, Pa."""
    b, ambient = PARAMS["b_ratio"], air.AMBIENT_PA
    supply = PARAMS["supply_line"].high + ambient
    return (
        air.settle(
            lambda p: air.flow(u.inlet_c, b.high, supply, p),
            lambda p: air.flow(u.vent_c, b.low, p, ambient),
            supply,
            ambient,
        )
        - ambient
    )


def vent_time_ratio(u: Unit) -> float:
    """Ratio of the daily test's fall time to this unit's baseline (a sound vent of the same make and the same manifold)."""
    return air.vent_fall_ms(u.vent_c, u.manifold_ml) / air.vent_fall_ms(
        PARAMS["vent_c"].nom, u.manifold_ml
    )


def holds_pa(u: Unit) -> float:
    """Manifold pressure ten seconds after filling to 3 bar with the hose closed and the run control held, Pa."""
    r = chain.working(u.parts, u.fault)
    return 0.0 if off(r, "faulty", "vent") else 300_000.0


def three_apart_pa(u: Unit) -> float:
    """Largest deviation of A, B and C, as read by the processor, from the manifold's pressure, Pa."""
    r = seen(chain.working(u.parts, u.fault), "faulty")
    return max(
        abs(r[name] + (u.c_error_fs * FULL_SCALE_PA if name == "c_pa" else 0.0))
        for name in ("a_pa", "b_pa", "c_pa")
    )


def keys_differ(u: Unit) -> float:
    """1 if the key's two contacts differ in both positions."""
    s3 = u.parts["S3"].pins
    joined = graph.reach(
        {s3["B_LOW"]},
        graph.fixed_edges(
            {r: p for r, p in u.parts.items() if p.kind == "fuse-small"}, graph.State()
        ),
        set(),
    )
    return float(
        s3["C_HIGH"] not in joined
        and {s3["B_LOW"], s3["C_HIGH"]} == {"KEY_LOW_W", "KEY_HIGH_W"}
        and "W2" not in u.parts
    )
