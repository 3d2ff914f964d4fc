"""Section of the rig report about the closed loop: lemmas on the guard's source, the induction, its numbers, and what breaks without a bound."""

from typing import Any

from tests.trust import closed_bounds, closed_loop, closed_plant

NOT_PROVED = (
    "workshop line once flow into a tyre was seen, and any line whose valve differs by more than its burst allows: drawn fills alone (FAULTS.md, WORLD.md)",
    "a tyre behind a closed core that begins within `entry` of its ceiling may end as much above where it began (pressure-open chuck)",
    "smaller tyres than stated, higher than 3000 m",
)


def bar(pa: float) -> str:
    return f"{pa / 1e5:.3f} bar ({pa / 6894.757:.2f} psi)"


def report() -> tuple[bool, list[str], dict[str, Any]]:
    """Holds only if every lemma and step is proved, each defect and each left-out bound found, and the compressor's numbers close."""
    lemmas = [closed_loop.prove_lemma(r.name) for r in closed_loop.LEMMAS]
    lines = [f"{'proved ' if p.holds else 'NOT PROVED '}{p.name}: planted defect {'found' if p.defect_found else 'NOT FOUND'}" for p in lemmas]
    ok = all(p.holds and p.defect_found for p in lemmas)
    for step in closed_loop.STEPS:
        whole = closed_loop.prove_step(step)
        without = {name: closed_loop.prove_step(step, name).holds is False for name in step.needed}
        ok = ok and whole.holds is True and all(without.values())
        lines.append(f"{'proved ' if whole.holds else 'NOT PROVED '}{step.name}; a counterexample without any one of {', '.join(n for n, found in without.items() if found)}")
    peaks = {name: (closed_plant.peak_pa(w), w) for name, w in {**closed_plant.SOUND, **closed_plant.BROKEN}.items()}
    for name, (peak, w) in peaks.items():
        passed = peak > w.job.ceiling_pa
        ok = ok and passed == bool(w.why)
        lines.append(f"plant, {name}: {w.why or 'every bound kept'}: {bar(peak)}, ceiling {bar(w.job.ceiling_pa)}")
    rooms = closed_bounds.rooms()
    ok = ok and all(r.closes for r in rooms)
    lines += [f"{r.source}, {r.chuck}, {r.volume_ml} mL, {r.ambient_pa} Pa: needs {r.needed:.0f} of {r.overrun} Pa, entry {r.entry:.0f} Pa" for r in rooms]
    smallest = {pa: closed_bounds.smallest_ml(pa) for pa in (101_325, 70_100)}
    lines += [f"closes from {ml} mL on at {pa} Pa" for pa, ml in smallest.items()]
    main = closed_bounds.highest_main_pa()
    lines.append(f"line, one burst into a closed manifold: {bar(closed_bounds.burst_pa(900_000))} at a main of 9 bar, bound {bar(closed_bounds.first_lift_pa())}; kept up to a main of {bar(main)}")
    ok = ok and main > 900_000
    lines += [f"bound `{name}`: {text}; hazard rows {', '.join(rows)}" for name, (text, rows) in closed_bounds.SOURCES.items()]
    lines += [f"not proved: {text}" for text in NOT_PROVED]
    figures = {"rooms": [vars(r) | {"needed": r.needed, "closes": r.closes} for r in rooms], "smallest_ml": smallest, "highest_main_pa": main,
               "peaks_pa": {name: peak for name, (peak, _) in peaks.items()}}
    return ok, lines, figures
