"""Section of the rig report about the safety case: its structure, and every solution bound to the present files."""

from typing import Any

from hardware import case_data, safety_case


def report() -> tuple[bool, list[str], dict[str, Any]]:
    """Hold only if no solution is stale or missing."""
    wrong, states = safety_case.faults_of_structure(), safety_case.states()
    red = safety_case.reds()
    lines = [
        case_data.BANNER,
        f"{len(case_data.NODES)} elements, {len(states)} solutions, {len(red)} of them RED",
    ]
    lines += [f"structure: {text}" for text in wrong] + [f"RED: {line}" for line in red]
    return (
        not wrong and not red,
        lines,
        {
            s.node.id: {
                "ok": s.ok,
                "why": list(s.why),
                "rests_on": sorted(safety_case.digests(s.node)),
            }
            for s in states
        },
    )
