"""Sections of the rig report that come from hardware/: calculation and, where there is electronics, ngspice beside it."""

from collections import Counter
from functools import cache
from typing import Any

from rimward.simulation.plant.faults import FAULTS

from hardware import air, build, cutoff, draws, gate, hazards, rules, spice
from hardware.params import (
    HIGH_BAND_TOP_PA,
    HIGH_CEILING_PA,
    LOW_BAND_TOP_PA,
    LOW_CEILING_PA,
    pressure,
)
from tests import ran

Section = tuple[bool, list[str], dict[str, Any]]
PSI = 6894.757293168361


@cache
def simulated() -> dict[str, float]:
    return spice.all_runs()


def bar(pa: float) -> str:
    return f"{pa / 1e5:.3f} bar ({pa / PSI:.2f} psi)"


def comparator_band() -> Section:
    lines, figures, ok = [], {}, True
    for high, name, floor, top in (
        (False, "low", LOW_CEILING_PA, LOW_BAND_TOP_PA),
        (True, "high", HIGH_CEILING_PA, HIGH_BAND_TOP_PA),
    ):
        low, nominal, most = cutoff.band(high)
        drawn = cutoff.monte_carlo(high)
        run_pa = pressure(simulated()[f"cutoff_{name}_trip"])
        ok = ok and floor < low and most <= top and abs(run_pa - nominal) < 1000
        lines.append(
            f"{name}: worst case {bar(low)} to {bar(most)}, wanted over {bar(floor)} and not over {bar(top)}"
        )
        lines.append(
            f"{name}: Monte Carlo {bar(drawn['min_pa'])} to {bar(drawn['max_pa'])}; nominal {bar(nominal)}, ngspice {bar(run_pa)}"
        )
        lines.append(f"{name}: {draws.text(int(drawn['count']))}")
        figures[name] = {
            "worst_case_pa": [low, nominal, most],
            "monte_carlo": drawn,
            "share_above_95": draws.above_share(int(drawn["count"])),
            "ngspice_pa": run_pa,
        }
    return ok, lines, figures


def ordering() -> Section:
    lines, figures, ok = [], {}, True
    for high, name in ((False, "low"), (True, "high")):
        margins, peaks = cutoff.margins(high), cutoff.overshoots(high)
        ok = (
            ok
            and all(m["margin_pa"] > 0 for m in margins)
            and all(p["margin_pa"] > 0 for p in peaks)
        )
        lines += [
            f"{name}: {m['below']} -> {m['above']}: margin {bar(m['margin_pa'])}" for m in margins
        ]
        lines += [
            f"{name}: smallest tyre after a trip, {p['source']}: {bar(p['tyre_pa'])}, margin to 110 % {bar(p['margin_pa'])}; with one element stuck on as well {bar(p['one_element_stuck_pa'])}"
            for p in peaks
        ]
        figures[name] = {"margins": margins, "after_a_trip": peaks}
    return ok, lines, figures


def choices() -> Section:
    rows = cutoff.choices()
    lines = [
        f"{'meets' if c.meets else 'DOES NOT MEET'}: {c.name}: {bar(c.low_pa)} to {bar(c.high_pa)}"
        for c in rows
    ]
    return (
        rows[0].meets,
        lines,
        {c.name: {"low_pa": c.low_pa, "high_pa": c.high_pa, "meets": c.meets} for c in rows},
    )


def gate_band() -> Section:
    report, run = gate.report(), simulated()
    inside = (
        report["gate_min_ms"] <= run["gate_low_ms"] and run["gate_high_ms"] <= report["gate_max_ms"]
    )
    ok = report["gate_min_ms"] > 4.0 and report["sum_max_ms"] <= 20.0 and inside
    lines = [f"{k.replace('_', ' ')}: {v:.2f}" for k, v in report.items()]
    lines.append(
        f"ngspice: {run['gate_low_ms']:.2f}, {run['gate_nominal_ms']:.2f}, {run['gate_high_ms']:.2f} ms"
    )
    return (
        ok,
        lines,
        {**report, "ngspice_ms": [run["gate_low_ms"], run["gate_nominal_ms"], run["gate_high_ms"]]},
    )


def air_balance() -> Section:
    rows = air.report()
    factors = {"compressor": air.capacity_factor(False), "workshop line": air.capacity_factor(True)}
    lines = [
        f"{r['source']}, {r['place']}, {r['case']}: {bar(r['gauge_pa'])}, allowed {bar(r['allowed_pa'])}"
        for r in rows
    ]
    lines += [
        f"vent flow over inlet flow at the low ceiling, {name}: {f:.2f} (1.5 wanted)"
        for name, f in factors.items()
    ]
    return (
        all(r["ok"] for r in rows) and min(factors.values()) >= air.FACTOR,
        lines,
        {"rows": rows, "factors": factors},
    )


def rule_checks() -> Section:
    checks = rules.run_all()
    lines = [f"{'ok  ' if c.ok else 'FAIL'} {c.name}: {c.found}" for c in checks]
    return (
        all(c.ok for c in checks),
        lines,
        {c.name: {"ok": c.ok, "found": c.found} for c in checks},
    )


def hazard_rows() -> Section:
    names = list(FAULTS)
    rows, absent = hazards.load(), hazards.missing_tests()
    lacking = hazards.missing_rows() + hazards.missing_promises() + hazards.missing_faults(names)
    backed = [r for r in rows if r.tests and all(hazards.test_exists(t) for t in r.tests)]
    lines = [
        f"{len(rows)} rows, {len(backed)} with every named test in the tree; {len(names)} plant faults, {len(hazards.PROMISES)} promises"
    ]
    lines += [f"no such test: {t}" for t in absent] + [f"no row: {x}" for x in lacking]
    named = {t for r in rows for t in r.tests}
    ran.run_lacking(named)
    ended = ran.status(named)
    counts = Counter(ended.values())
    lines.append(
        "their tests, as they last ended here: "
        + ", ".join(f"{counts[how]} {how}" for how in sorted(counts))
    )
    lines += [f"{how}: {t}" for t, how in sorted(ended.items()) if how != ran.PASSED]
    status = {r.id: {t: ended[t] for t in r.tests} for r in rows}
    return (
        len(rows) >= 40 and not absent and not lacking and set(counts) <= {ran.PASSED},
        lines,
        {"rows": len(rows), "missing_tests": absent, "no_row": lacking, "tests": status},
    )


def generated() -> Section:
    old = [name for name in build.stale() if not name.startswith("schematic_")]
    return (
        not old,
        [f"not current: {n}" for n in old] or [f"{len(build.products())} files in hardware/out"],
        {"stale": old},
    )
