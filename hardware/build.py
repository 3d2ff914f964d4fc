"""Generate hardware/out from the data: `python -m hardware.build`; `--check` tests whether it is current.

Both name the solutions of the safety case whose evidence is stale or missing, and then exit with 1.
"""

import csv
import io
import sys
from math import floor
from pathlib import Path
from typing import Any

from hardware import (
    air,
    bench,
    cutoff,
    draw,
    draws,
    gate,
    hazards,
    orders,
    overview,
    pneumatic,
    safety_case,
    sheets,
    wiring,
)
from hardware.air_parts import AIR_PARTS
from hardware.circuit import Part, load, nets
from hardware.kicad import project
from hardware.kicad.pinout import footprint_of, numbers
from hardware.params import PARAMS
from hardware.sources import KINDS, MECHANICAL

OUT = Path(__file__).resolve().parent / "out"


def netlist() -> str:
    """Return the netlist in KiCad's format (version E); pins carry the pad numbers, and the data's pin names as their function."""
    parts = load()
    lines = ['(export (version "E")', '  (design (source "hardware/circuit.py"))', "  (components"]
    for p in parts.values():
        lines.append(
            f'    (comp (ref "{p.ref}") (value "{p.value}") (footprint "{footprint_of(p)}") '
            f'(property (name "rating") (value "{p.rating}")) (property (name "sheet") (value "{p.sheet}")))'
        )
    lines += ["  )", "  (nets"]
    for code, (net, pins) in enumerate(sorted(nets(parts).items()), 1):
        nodes = " ".join(
            f'(node (ref "{ref}") (pin "{number}") (pinfunction "{pin}"))'
            for ref, pin in pins
            for number in numbers(parts[ref], pin)
        )
        lines.append(f'    (net (code "{code}") (name "{net}") {nodes})')
    return "\n".join([*lines, "  )", ")", ""])


BOM_HEAD = (
    "references",
    "quantity",
    "class",
    "value",
    "rating and tolerance",
    "order, for example",
    "number checked",
    "what it must be",
    "critical",
    "sources that fit",
    "when changing source",
)


def bom_rows() -> list[tuple[str, ...]]:
    """Rows of the bill of materials: parts of one class, value and rating on one line; parts off the board and pneumatic parts last."""
    groups: dict[tuple[str, str, str], list[Part]] = {}
    for p in load().values():
        groups.setdefault((p.kind, p.value, p.rating), []).append(p)
    rows: list[tuple[str, ...]] = []
    for (kind, value, rating), found in groups.items():
        k = KINDS[kind]
        rows.append(
            (
                " ".join(p.ref for p in found),
                str(len(found)),
                kind,
                value,
                rating,
                orders.number(found[0]),
                orders.checked(kind),
                k.text,
                "yes" if k.critical else "",
                "; ".join(k.series),
                k.note,
            )
        )
    by_figures = ("by figures only", orders.UNCHECKED)
    rows += [
        (ref, "1", "mechanical", text, figures, *by_figures, why, "yes", "by figures only", "")
        for ref, text, figures, why in MECHANICAL
    ]
    rows += [
        (
            a.ref,
            "1",
            a.symbol,
            a.text,
            a.rating,
            *by_figures,
            a.why,
            "yes" if len(a.sources) > 1 else "",
            "; ".join(a.sources),
            "",
        )
        for a in AIR_PARTS
    ]
    return rows


def bom_csv() -> str:
    """Return the bill of materials as CSV."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(BOM_HEAD)
    writer.writerows(bom_rows())
    return buffer.getvalue()


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    """Return a Markdown table as lines."""
    return [
        "| " + " | ".join(head) + " |",
        "|" + " --- |" * len(head),
        *("| " + " | ".join(r) + " |" for r in rows),
        "",
    ]


def bom_md() -> str:
    """Return the bill of materials as Markdown."""
    intro = "Numbers and series are examples that fit the figures; the maker's sheet goes before this table, and nearly all were written from memory. Where a class is critical, two sources can take each other's place."
    return "\n".join(["# Bill of materials", "", intro, "", *table(BOM_HEAD, bom_rows())])


def bar(pa: float) -> str:
    """Format Pa as bar and psi; psi rounded down."""
    return f"{pa / 1e5:.3f} ({floor(pa / sheets.PSI * 10) / 10:.1f} psi)"


def bench_lines() -> list[str]:
    """Return the proof bench's order of limits and its changed parts, as lines."""
    lines = ["## Proof bench (third key position, 16 bar transducers): order of the limits", ""]
    lines += table(
        ("limit", "from", "to"), [(r.name, bar(r.low_pa), bar(r.high_pa)) for r in bench.ladder()]
    )
    lines += table(
        ("below", "above", "margin"),
        [(m["below"], m["above"], bar(m["margin_pa"])) for m in bench.margins()],
    )
    low, high = bench.band(False)[0], bench.band(False)[2]
    lines += [
        f"In any other key position its cutoff opens between {bar(low)} and {bar(high)}. After a trip the smallest fixture goes up to "
        f"{bar(bench.overshoot_pa())} further. Both valves stuck open: {bar(bench.stuck_pa(True))} on the vent, {bar(bench.stuck_pa(False))} on RV3 alone.",
        f"Energy at {bar(bench.CEILING_PA)}: 1.15 L of air {bench.energy_j(1150):.0f} J, 0.25 L of air in the transfer bottle "
        f"{bench.energy_j(250):.0f} J, 1.15 L of water {bench.water_j(1150):.2f} J.",
        "",
    ]
    built: list[tuple[str, ...]] = [
        (ref, value, why) for ref, (value, _, why) in bench.VARIED.items()
    ]
    built += [(a.ref, f"{a.text}; {a.rating}", a.why) for a in bench.AIR_PARTS]
    lines += table(("part", "on the bench", "why"), built)
    lines += [f"Not on the bench: {', '.join(bench.REMOVED)}.", ""]
    return lines + table(
        ("name", "low", "nominal", "high", "unit", "source"),
        [
            (k, f"{p.low:g}", f"{p.nom:g}", f"{p.high:g}", p.unit, p.source)
            for k, p in bench.PARAMS_BENCH.items()
        ],
    )


def range_lines(high: bool) -> list[str]:
    """Order of the limits of one range, its Monte Carlo, and the tyre after a trip."""
    name = "High" if high else "Low"
    lines = [f"## {name} range: order of the limits", ""]
    lines += table(
        ("limit", "from", "to"),
        [(r.name, bar(r.low_pa), bar(r.high_pa)) for r in cutoff.ladder(high)],
    )
    lines += table(
        ("below", "above", "margin"),
        [(m["below"], m["above"], bar(m["margin_pa"])) for m in cutoff.margins(high)],
    )
    mc = cutoff.monte_carlo(high)
    lines += [
        f"Monte Carlo, {mc['count']} units, every term even between its ends: {bar(mc['min_pa'])} to {bar(mc['max_pa'])}, "
        f"99.8 % within {bar(mc['q001_pa'])} to {bar(mc['q999_pa'])}; {draws.text(mc['count'])}.",
        "",
    ]
    lines += table(
        (
            "source",
            "smallest tyre after a trip, worst: adiabatic, every lag",
            "110 %",
            "margin",
            "one element stuck on as well",
        ),
        [
            (
                o["source"],
                bar(o["tyre_pa"]),
                bar(o["limit_pa"]),
                bar(o["margin_pa"]),
                bar(o["one_element_stuck_pa"]),
            )
            for o in cutoff.overshoots(high)
        ],
    )
    return lines


def element_lines() -> list[str]:
    """Choice of the sensing element, gate and relay, and the manifold with the inlet stuck open."""
    lines = [
        "## What sensing element the low range needs",
        "",
        "The whole band must lie over 5.00 bar (72.5 psi) and not over 5.50 bar (79.7 psi). What commonly available parts give:",
        "",
    ]
    lines += table(
        ("element", "from", "to", "meets", "source"),
        [
            (c.name, bar(c.low_pa), bar(c.high_pa), "yes" if c.meets else "NO", c.source)
            for c in cutoff.choices()
        ],
    )
    lines += [
        f"A sealed element would trip {bar(cutoff.sealed_shift_pa(3000))} late at 3000 m.",
        "",
        "## Gate and relay, ms",
        "",
    ]
    lines += table(
        ("figure", "ms"), [(k.replace("_", " "), f"{v:.2f}") for k, v in gate.report().items()]
    )
    lines += ["## Manifold with the inlet stuck open", ""]
    lines += table(
        ("source", "place", "case", "settles at", "allowed", "holds"),
        [
            (
                r["source"],
                r["place"],
                r["case"],
                bar(r["gauge_pa"]),
                bar(r["allowed_pa"]),
                "yes" if r["ok"] else "NO",
            )
            for r in air.report()
        ],
    )
    return lines


def limits_md() -> str:
    """Return the page of all calculated figures with the source of every parameter."""
    lines = [
        "# Limits as calculated",
        "",
        "Pressures gauge, in bar and (rounded down) psi. Worst case over tolerance, temperature 0 to 50 degC, supply; the cutoff is vented, so altitude",
        "does not move it. Computed by `hardware/cutoff.py`, `gate.py`, `air.py`; the electronic part is run in ngspice by the tests.",
        "",
    ]
    lines += [*range_lines(False), *range_lines(True), *bench_lines(), *element_lines()]
    lines += [
        f"Vent flow over inlet flow at 5.0 bar (72.5 psi): compressor {air.capacity_factor(False):.2f}, workshop line {air.capacity_factor(True):.2f} "
        "(1.5 wanted).",
        "",
        "## Parameters",
        "",
    ]
    lines += table(
        ("name", "low", "nominal", "high", "unit", "source"),
        [
            (k, f"{p.low:g}", f"{p.nom:g}", f"{p.high:g}", p.unit, p.source)
            for k, p in PARAMS.items()
        ],
    )
    return "\n".join(lines)


def products() -> dict[str, str]:
    """File name -> text of every generated file."""
    made: dict[str, Any] = {f"schematic_{s}.svg": draw.sheet_svg(s) for s in draw.LAYOUT}
    return {
        **made,
        **project.products(),
        "power_chain.svg": overview.power_chain(),
        "stop_chain.svg": overview.stop_chain(),
        "wiring.md": wiring.markdown(),
        "pneumatics.svg": pneumatic.diagram(),
        "rimward.net": netlist(),
        "bom.csv": bom_csv(),
        "bom.md": bom_md(),
        "limits.md": limits_md(),
        "hazards.md": hazards.markdown(),
        "hazards.html": hazards.html(),
        "checkout.md": sheets.markdown(),
        "checkout.html": sheets.html(),
    }


def stale() -> list[str]:
    """Names of files in hardware/out that are missing or not current."""
    return [
        name
        for name, text in products().items()
        if not (OUT / name).is_file() or (OUT / name).read_text(encoding="utf-8") != text
    ]


def main() -> int:
    """Run the command. Return 0, or 1 if anything is stale."""
    if "--check" in sys.argv[1:]:
        wrong = [f"not current: {name}" for name in stale()] + [
            f"RED: {line}" for line in safety_case.reds()
        ]
        print("\n".join(wrong) or "hardware/out is current")
        return 1 if wrong else 0
    for name, text in products().items():
        (OUT / name).parent.mkdir(parents=True, exist_ok=True)
        (OUT / name).write_text(text, encoding="utf-8")
        print(f"hardware/out/{name}")
    safety_case.write_pages()
    red = safety_case.reds()
    print(
        "\n".join(
            [
                "hardware/out/safety_case.html",
                "hardware/out/safety_case.md",
                *(f"RED: {line}" for line in red),
            ]
        )
    )
    return 1 if red else 0


if __name__ == "__main__":
    sys.exit(main())
