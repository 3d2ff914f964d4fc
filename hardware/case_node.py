"""Elements of the safety case in Goal Structuring Notation (GSN Community Standard, from memory)."""

from dataclasses import dataclass

GOAL, STRATEGY, SOLUTION, CONTEXT, ASSUMPTION, JUSTIFICATION = (
    "goal",
    "strategy",
    "solution",
    "context",
    "assumption",
    "justification",
)


@dataclass(frozen=True)
class Node:
    """One element. `under`: the element it supports or, for contexts and assumptions, belongs to. `files`: patterns from the top of the
    tree.
    """

    id: str
    kind: str
    text: str
    under: str = ""
    files: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    figure: tuple[
        str, ...
    ] = ()  # file, then keys down to a number or truth value that must not be false, 0 or absent
    undeveloped: bool = False


GUARD = (
    "firmware/rimward_fw/kernels/guard*.py",
    "tests/trust/executor.py",
    "tests/trust/program.py",
    "tests/trust/terms.py",
    "tests/trust/guard_model.py",
)
TRUST = "tests/trust/figures.json"
CIRCUIT = ("hardware/circuit.py", "hardware/circuit.csv", "hardware/params.py")
