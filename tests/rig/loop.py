"""Section of the rig report about the closed loop: lemmas on the guard's source, the induction, its numbers, and the failures without a bound."""

from typing import Any

from tests.trust import closed_bounds, closed_fill, closed_loop, closed_plant

LEAKING_PA, FILLS_UNDER_PA = 46_000, 16_000  # as hardware/README.md and H164 say
NOT_PROVED = (
    "a line behind a pressure-open chuck before flow was seen, whose valve shuts later than it opens by more than a burst allows: drawn fills alone (FAULTS.md, WORLD.md)",
    "a tyre that the reading does not show (pressure-open chuck, core shut) and that lies nearer to its ceiling than `clear` as its core opens: attached so with the compressor, "
    "or asked for air past its target while the hose leaks (H164). One opening may lift it over by `entry`, which is proved; a hose that keeps leaking opens it again, "
    "and then only over-pressure, budgets and the independent cutoff end it. Fills by the fill controller stand for that",
    "smaller tyres than stated, with the compressor under 0.66 L above 2400 m and under 1.15 L in the high range; higher than 3000 m",
)


def bar(pa: float) -> str:
    return f"{pa / 1e5:.3f} bar ({pa / 6894.757:.2f} psi)"


def outcome(holds: bool | None) -> str:
    """Word for a proof: z3 that gave up has shown nothing."""
    return {True: "proved", False: "BROKEN", None: "GAVE UP"}[holds]


def hidden() -> tuple[bool, list[str], dict[str, Any]]:
    """A tyre that the reading does not show: one opening, a hose that keeps leaking, and fills by the fill controller."""
    once = [closed_plant.peak_pa(w) - w.job.ceiling_pa for w in closed_plant.HIDDEN]
    again = [closed_plant.peak_pa(w) - w.job.ceiling_pa for w in closed_plant.LEAKING]
    count, highest = closed_fill.highest()
    entry = closed_bounds.line_room(1150, 101_325, "pressure-open").entry
    lines = [
        f"plant, line, a tyre that the reading does not show: at most {bar(max(once))} over its ceiling in n = {len(once)} chosen cases of 1.15 L, "
        f"entry {bar(entry)}",
        f"plant, the same with a hose that keeps leaking, the guard alone asked for air throughout: at most {bar(max(again))} over in n = {len(again)} "
        "chosen cases of 0.63 and 1.15 L",
        f"plant, the same with the fill controller: highest of n = {count} fills {bar(highest)} over (negative: under) its ceiling",
    ]
    figures = {
        "hidden_over_pa": max(once),
        "hidden_cases": len(once),
        "leaking_over_pa": max(again),
        "leaking_cases": len(again),
        "fills_over_pa": highest,
        "fills": count,
    }
    return (
        max(once) < entry and max(again) < LEAKING_PA and highest < -FILLS_UNDER_PA,
        lines,
        figures,
    )


def report() -> tuple[bool, list[str], dict[str, Any]]:
    """Hold only if every lemma and step is proved, each defect and each left-out bound found, and the numbers of both sources close."""
    lemmas = [closed_loop.prove_lemma(r.name) for r in closed_loop.LEMMAS]
    lines = [
        f"{outcome(p.holds)} {p.name}: planted defect {'found' if p.defect_found else 'NOT FOUND'}"
        for p in lemmas
    ]
    ok = all(p.holds and p.defect_found for p in lemmas)
    for step in closed_loop.STEPS:
        whole = closed_loop.prove_step(step)
        without = {name: closed_loop.prove_step(step, name).holds is False for name in step.needed}
        ok = ok and whole.holds is True and all(without.values())
        lines.append(
            f"{outcome(whole.holds)} {step.name}; a counterexample without any one of {', '.join(n for n, found in without.items() if found)}"
        )
    peaks = {name: (closed_plant.peak_pa(w), w) for name, w in closed_plant.worlds().items()}
    for name, (peak, w) in peaks.items():
        passed = peak > w.job.ceiling_pa
        ok = ok and passed == bool(w.why)
        lines.append(
            f"plant, {name}: {w.why or 'every bound kept'}: {bar(peak)}, ceiling {bar(w.job.ceiling_pa)}"
        )
    below, more, found = hidden()
    ok = ok and below
    lines += more
    rooms = closed_bounds.rooms()
    ok = ok and all(r.closes and r.target_is_clear for r in rooms)
    lines += [
        f"{r.source}, {r.chuck}, {r.volume_ml} mL, {r.ambient_pa} Pa: needs {r.needed:.0f} of {r.overrun} Pa, hidden: entry {r.entry:.0f} Pa, clear {r.clear:.0f} Pa of the {r.free} Pa that arming keeps every target under the ceiling"
        for r in rooms
    ]
    smallest = {pa: closed_bounds.smallest_ml(pa) for pa in (101_325, 70_100)}
    lines += [f"closes from {ml} mL on at {pa} Pa" for pa, ml in smallest.items()]
    main = closed_bounds.highest_main_pa()
    lines.append(
        f"line, one burst into a closed manifold: {bar(closed_bounds.burst_pa(900_000))} at a main of 9 bar, bound {bar(closed_bounds.first_lift_pa())}; kept up to a main of {bar(main)}"
    )
    ok = ok and main > 900_000
    lines += [
        f"bound `{name}`: {text}; hazard rows {', '.join(rows)}"
        for name, (text, rows) in closed_bounds.SOURCES.items()
    ]
    lines += [f"not proved: {text}" for text in NOT_PROVED]
    figures = {
        "rooms": [
            vars(r) | {"needed": r.needed, "closes": r.closes, "target_is_clear": r.target_is_clear}
            for r in rooms
        ],
        "smallest_ml": smallest,
        "highest_main_pa": main,
        **found,
        "peaks_pa": {name: peak for name, (peak, _) in peaks.items()},
    }
    return ok, lines, figures
