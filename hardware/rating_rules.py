"""Rules of stress: no part past its rating, a resistor between each panel wire and its pin."""

from hardware import graph, thermal
from hardware.check import Check, listing
from hardware.circuit import GROUNDS, Part, nets, ohms
from hardware.params import PARAMS


def stresses(parts: dict[str, Part]) -> list[tuple[str, str, float, float]]:
    """Return (part, unit, worst stress, rating) of parts that carry power or take a coil's voltage."""
    top = PARAMS["v12"].high
    clamp = parts["D10"].limits["V"] * 1.05 + 0.8
    coil_a, vent_a = thermal.coil_amps()
    rows = [
        ("K1", "V", top, parts["K1"].limits["V"]),
        ("D11", "A", vent_a, parts["D11"].limits["A"]),
        ("D9", "A", coil_a, parts["D9"].limits["A"]),
        ("K1", "A", 15.0, parts["K1"].limits["A"]),
        ("M1", "A", 15.0, parts["M1"].limits["A"]),
        ("F1", "A", 15.0, parts["F1"].limits["A"]),
        ("D7", "A", 15.0, parts["D7"].limits["A"]),
        ("M1", "V", parts["D8"].limits["clamp"], parts["M1"].limits["V"]),
        (
            "D10",
            "W",
            0.5 * PARAMS["relay_inductance"].high * coil_a**2 * 2,
            parts["D10"].limits["W"],
        ),
        ("D12", "W", 0.5 * 0.1 * vent_a**2 * 2, parts["D12"].limits["W"]),
        ("F4", "A", coil_a + vent_a, parts["F4"].limits["A"]),
    ]
    rows += [(q, "V", top + clamp, parts[q].limits["V"]) for q in ("Q5", "Q6", "Q8", "Q9")]
    rows += [
        ("Q6", "A", coil_a, parts["Q6"].limits["A"]),
        ("Q9", "A", vent_a, parts["Q9"].limits["A"]),
    ]
    rows += [
        (r.ref, "W", worst_w(r, top), r.limits["W"])
        for r in parts.values()
        if r.kind in graph.TWO_WAY and "W" in r.limits
    ]
    return rows


SMALL_V = {
    "R27": 1.0,
    "R70": 0.4,
    "R9": 1.5,
    "R80": 1.5,
    "R34": 1.0,
    "R48": 1.0,
    "R109": 0.4,
    "R110": 0.4,
    "R49": 9.2,
}  # V across, worst


def worst_w(part: Part, top: float) -> float:
    """Power in W with the higher of its two rails' full voltage across a resistor (charging R27: its pulse share)."""
    volts = {
        "V12": top,
        "V12_COIL": top,
        "V12_RUN": top,
        "VENT_P": top,
        "M1_G": 12.0,
        "Q2_B": top - 4.0,
        "V12_CUT": top,
    }
    v = max(volts.get(net, 5.25) for net in part.pins.values())
    if part.ref in SMALL_V or part.ref in ("R1", "R14", "R19", "R50"):
        v = SMALL_V.get(part.ref, 3.4)
    return v * v / ohms(part.value)


def wires_guarded(parts: dict[str, Part]) -> Check:
    """Check a resistor between every wire of a button, key, plug or display and its pin, and a suppressor at the wire; clamps at every
    converter
    input; no regulator rated under the voltage that the input clamp lets through; the vent's duty is continuous.
    """
    table, wrong = nets(parts), []
    esd = {
        net
        for p in parts.values()
        if p.kind == "esd-quad"
        for pin, net in p.pins.items()
        if pin != "GND"
    }
    clamped = {p.pins["C"] for p in parts.values() if p.kind == "clamp-dual"}
    for p in parts.values():
        if p.kind in ("button", "switch-key", "display") or p.ref == "J10":
            for pin, net in p.pins.items():
                if net in graph.RAILS or net in GROUNDS or net in ("KEY_REF", "NC"):
                    continue
                if net not in esd or any(ref == "U1" for ref, _ in table[net]):
                    wrong.append(f"{p.ref}.{pin}: wire {net} is not guarded")
    wrong += [
        f"{net}: no clamp"
        for net in ("SIG_A", "ADC_B", "ADC_SUPPLY", "ADC_PUMP", "MON_COIL", "RUN", "CUTOFF")
        if net not in clamped
    ]
    lets = parts["D1"].limits["clamp"]
    wrong += [
        f"{p.ref}: {p.limits['V']:g} V, D1 lets {lets:g} V through"
        for p in parts.values()
        if p.limits.get("V", 99) < lets
        and (
            p.kind in ("reg-switch-5", "reg-linear-5")
            or (p.kind.startswith("cap") and set(p.pins.values()) & {"V12", "V12_LOGIC", "V12_REG"})
        )
    ]
    return Check("wires: guarded against sparks and surges", not wrong, listing(wrong))


def ratings(parts: dict[str, Part]) -> Check:
    """Check that no part is stressed past its rating (15 A motor, 24 ohm vent coil, coils switched twice a second: our assumptions)."""
    over = [
        f"{ref} {stress:.2f} of {limit} {unit}"
        for ref, unit, stress, limit in stresses(parts)
        if stress > limit
    ]
    return Check(
        "ratings: none exceeded",
        not over,
        listing(over) if over else f"{len(stresses(parts))} stresses under their ratings",
    )
