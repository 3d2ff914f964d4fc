"""Sections of the rig report about faults of the circuit: exchanged pins, shorts and opens, heat, common causes."""

from collections import Counter
from typing import Any

from hardware import build, checkout_sim, gate_faults, shared, single_faults, swaps, thermal
from hardware.circuit import load
from hardware.kicad import items, project, trace
from hardware.kicad.pinout import footprint_of, numbered, numbers

Section = tuple[bool, list[str], dict[str, Any]]


def polarity() -> Section:
    """Every pair of pins of every polarised part exchanged, and the rule that refuses it."""
    figures, left = swaps.figures(), swaps.survivors()
    by_rule = Counter(s.refused_by for s in swaps.survey() if s.refused_by)
    lines = [
        f"{figures['exchanges']:.0f} exchanged pairs of pins, {figures['refused']:.0f} refused; without the processor's own "
        f"{figures['refused_without_processor']:.0f} of {figures['without_processor']:.0f} ({figures['share']:.1%}; {swaps.LEAST_SHARE:.0%} wanted)"
    ]
    lines += [f"{name}: {count}" for name, count in by_rule.most_common()]
    lines += [
        f"not refused: {s.ref} {' and '.join(sorted(s.pins))}: {s.reason or 'NO REASON'}"
        for s in left
    ]
    return (
        swaps.holds(),
        lines,
        {
            **figures,
            "by_rule": dict(by_rule),
            "survivors": {f"{s.ref} {' '.join(sorted(s.pins))}": s.reason for s in left},
        },
    )


def shorts_and_opens() -> Section:
    """Every open and short of the stop chain and of the gate, applied in operation, run again in ngspice."""
    found = (*single_faults.survey(), *gate_faults.survey())
    counted = Counter(f.verdict for f in found)
    left = [f for f in found if f.verdict == single_faults.RESIDUAL]
    lines = [
        f"{len(found)} opens and shorts in ngspice: "
        + ", ".join(f"{count} {verdict}" for verdict, count in counted.most_common()),
        f"{len(gate_faults.by_rule())} parts outside the decks, by rule",
    ]
    lines += [f"NOT SHOWN: {f.fault.name}: {', '.join(f.lost)}" for f in left]
    return (
        not left,
        lines,
        {"count": len(found), **counted, "residual_faults": [f.fault.name for f in left]},
    )


def heat() -> Section:
    """Junctions at 50 degC of air and the stated duty, start and stall of the motor."""
    parts = load()
    checks = [rule(parts) for rule in thermal.RULES]
    rows = thermal.heats(parts)
    lines = [f"{'ok  ' if c.ok else 'FAIL'} {c.name}: {c.found}" for c in checks]
    lines += [
        f"{h.ref}: {h.watts:.2f} W, {h.hot_c:.0f} of {h.limit_c:.0f} degC ({h.why})" for h in rows
    ]
    lines.append(
        f"M1 after {thermal.PARAMS['duty'].high:.0f} s in ngspice {thermal.spice_m1_c():.0f} degC; without HS1 {thermal.heats(parts, thermal.NO_SINK_K_W)[0].hot_c:.0f} degC"
    )
    return (
        all(c.ok for c in checks),
        lines,
        {
            h.ref + ": " + h.why: {"watts": h.watts, "hot_c": h.hot_c, "limit_c": h.limit_c}
            for h in rows
        },
    )


def common_cause() -> Section:
    """Parts, nets and passages that safeguards share, one at a time."""
    parts = load()
    checks = [rule(parts) for rule in shared.RULES]
    lines = [f"{'ok  ' if c.ok else 'FAIL'} {c.name}: {c.found}" for c in checks]
    run = shared.reversed_run(parts)
    lines.append(
        f"reversed supply in ngspice: motor {run['motor']:.3f} A, relay coil {run['coil']:.3f} A"
    )
    lines.append(
        f"an error of C up to {shared.unseen_drift_pa() / 1e5:.2f} bar may go unseen by A and B"
    )
    ok = all(c.ok for c in checks) and abs(run["motor"]) < 1e-3 and abs(run["coil"]) < 1e-3
    return ok, lines, {c.name: {"ok": c.ok, "found": c.found} for c in checks}


def footprints() -> Section:
    """Every pin on its symbol and on a pad; the netlist traced from the written sheets against the data."""
    parts = load()
    wrong = project.unmatched(parts)
    found, _, faults = trace.trace(build.OUT / items.FOLDER / f"{items.NAME}.kicad_sch")
    wanted = numbered(parts)
    differ = sorted(net for net in {*found, *wanted} if found.get(net) != wanted.get(net))
    pins = sum(len(numbers(p, pin)) for p in parts.values() for pin in p.pins)
    names = {footprint_of(p) for p in parts.values()}
    lines = [
        f"{len(parts)} parts, {len(names)} footprints, {pins} pins: each on its symbol and on a pad"
        if not wrong
        else f"{len(wrong)} do not match",
        f"{len(wanted)} nets traced from the sheets by sexpdata and networkx: {'as the data' if not differ else 'they differ'}",
    ]
    lines += (
        [f"NOT MATCHED: {w}" for w in wrong]
        + [f"NET DIFFERS: {n}" for n in differ]
        + [f"DRAWING: {f}" for f in faults]
    )
    return (
        not wrong and not differ and not faults,
        lines,
        {
            "parts": len(parts),
            "footprints": sorted(names),
            "pins": pins,
            "nets": len(wanted),
            "unmatched": wrong,
            "nets_that_differ": differ,
        },
    )


def checkout() -> Section:
    """Every measuring step of the check-out on the sound unit and on units with the faults that it has to find."""
    rows = checkout_sim.run()
    wrong = [r for r in rows if r["passes"] != r["wanted"]]
    lines = [
        f"{len(checkout_sim.trials())} steps pass on the sound unit, {sum(not r['wanted'] for r in rows)} faulty units do not"
    ]
    lines += [f"NOT TOLD APART: {r['step']}: {r['unit']}, {r['measured']}" for r in wrong]
    return not wrong, lines, {"rows": rows}
