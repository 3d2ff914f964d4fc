"""The longest path of a function through its machine code, in cycles, and its deepest stack, functions that it calls included.

Code without a backward jump needs nothing more. A loop needs a stated bound: how often its backward jump is taken at most.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.machine import flow, mpyfile, runtime, thumb

OFTEN = (
    "step",
    "start",
    "stop",
    "tick",
    "run",
)  # names of functions that every interpreter may know by number


@dataclass
class Bound:
    """`cycles` of the longest path, `stack_bytes` of the deepest; on that path: instructions, calls of runtime functions by name."""

    cycles: int
    stack_bytes: int
    steps: int
    calls: Counter[str]
    problems: list[str]
    path: list[tuple[str, int]] = field(default_factory=list)

    def add(self, other: "Bound", depth: int) -> None:
        """Include a called function; `depth` is the caller's stack at the call."""
        self.cycles += other.cycles
        self.steps += other.steps
        self.calls += other.calls
        self.problems += [problem for problem in other.problems if problem not in self.problems]
        self.path += other.path
        self.stack_bytes = max(self.stack_bytes, depth + other.stack_bytes)


@dataclass
class Function:
    """A function to bound. `callees`: functions meant by its parameters, by index, and by globals, by name; `loops`: by function, how often each loop repeats, by address."""

    module: mpyfile.Module
    code: mpyfile.Code
    callees: Mapping[int | str, "Function"] = field(default_factory=dict)
    loops: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


def load(data: bytes) -> mpyfile.Module:
    """The module in a .mpy file, its functions named."""
    module = mpyfile.read(data)
    if module.body.kind == mpyfile.VIPER:
        steps = thumb.steps(module.body.data)
        for call in flow.follow(steps, module.body.data).calls.values():
            if (
                call.kind in (runtime.STORE_NAME, runtime.STORE_GLOBAL)
                and call.first
                and call.second
                and call.second[0] == "child"
            ):
                module.body.children[call.second[1]].name = module.names[call.first[1]]
    own = {mpyfile.known_as(name): name for name in OFTEN}
    for code in module.body.children:
        code.name = own.get(code.name, code.name)
    return module


def function(module: mpyfile.Module, name: str) -> mpyfile.Code:
    """The module's function of that name. KeyError if it has none."""
    for code in module.body.children:
        if code.name == name:
            return code
    raise KeyError(
        f"The module has no function {name}; it has {', '.join(code.name for code in module.body.children)}."
    )


def bound(what: Function, inside: tuple[int, ...] = ()) -> Bound:
    """Longest path and deepest stack. ValueError for bytecode, recursion, or a loop without a stated bound."""
    if what.code.kind != mpyfile.VIPER:
        raise ValueError(f"{what.code.name} is bytecode.")
    if id(what.code) in inside:
        raise ValueError(f"{what.code.name} calls itself.")
    steps = thumb.steps(what.code.data)
    known = flow.follow(steps, what.code.data)
    costs = {at: Bound(step.cycles, 0, 1, Counter(), []) for at, step in steps.items()}
    for at, call in known.calls.items():
        if at in costs:
            costs[at].add(_call(what, call, inside + (id(what.code),)), call.depth)
    graph = {
        at: step.after
        if at not in known.calls or runtime.TABLE[known.calls[at].kind].returns
        else []
        for at, step in steps.items()
    }
    found = _longest(what, steps, graph, costs)
    found.stack_bytes = max(known.depth, *(cost.stack_bytes for cost in costs.values()))
    found.problems = [problem for cost in costs.values() for problem in cost.problems]
    return found


def _call(what: Function, call: flow.Call, inside: tuple[int, ...]) -> Bound:
    """Cost of a runtime function, and of the function that it calls."""
    entry = runtime.TABLE[call.kind]
    made = Bound(entry.cycles, entry.stack_bytes, 0, Counter([entry.name]), [])
    if not entry.allowed and entry.returns:
        made.problems.append(f"not allowed in a tick: {entry.name}")
    if call.kind == runtime.CALL:
        callee = _callee(what, call.first)
        if callee is None or callee.code.kind != mpyfile.VIPER:
            made.problems.append(
                f"call of {_called(what, call.first)}, which is no machine code of this module"
            )
        else:
            made.add(bound(callee, inside), entry.stack_bytes)
    return made


def _called(what: Function, target: flow.Value | None) -> str:
    """The name of what is called, for a message."""
    if target and target[0] in ("arg", "global"):
        return what.module.names[target[1]] if target[0] == "global" else f"parameter {target[1]}"
    return "an unknown object"


def _callee(what: Function, target: flow.Value | None) -> Function | None:
    if target and target[0] == "arg":
        return what.callees.get(target[1])
    if target and target[0] == "global":
        named = what.module.names[target[1]]
        if named in what.callees:
            return what.callees[named]
        codes = [
            code
            for code in what.module.body.children
            if named in (code.name, mpyfile.known_as(code.name))
        ]
        return Function(what.module, codes[0], what.callees, what.loops) if codes else None
    return None


def _longest(
    what: Function,
    steps: dict[int, thumb.Step],
    graph: dict[int, list[int]],
    costs: dict[int, Bound],
) -> Bound:
    """From the start to any end. Jumps back are taken out and charged where their loop is entered."""
    back = sorted((way, at) for at, ways in graph.items() for way in ways if way <= at)
    heads = sorted({head for head, _ in back})
    stated = what.loops.get(what.code.name, ())
    if len(heads) != len(stated):
        places = ", ".join(hex(head) for head in heads)
        raise ValueError(
            f"{what.code.name} has {len(heads)} loops ({places}) and {len(stated)} stated bounds: state how often each repeats at most."
        )
    spans = sorted(
        (
            (head, max(at for way, at in back if way == head), times)
            for head, times in zip(heads, stated)
        ),
        key=lambda span: span[1] - span[0],
    )
    loops: list[tuple[int, int, int]] = []
    for head, last, times in spans:
        once = _from(head, last, steps, graph, costs, loops)[0]
        loops.append((head, last, times * (once + 1)))
    cycles, path = _from(0, None, steps, graph, costs, loops)
    made = Bound(cycles, 0, len(path), Counter(), [], [(what.code.name, at) for at in path])
    for at in path:
        made.calls += costs[at].calls
    return made


def _from(
    start: int,
    last: int | None,
    steps: dict[int, thumb.Step],
    graph: dict[int, list[int]],
    costs: dict[int, Bound],
    loops: list[tuple[int, int, int]],
) -> tuple[int, list[int]]:
    """Cycles and places of the longest forward path from `start`, to `last` if given."""
    best: dict[int, tuple[int, int | None]] = {}
    for at in sorted(
        (at for at in graph if at >= start and (last is None or at <= last)), reverse=True
    ):
        ways = []
        for number, way in enumerate(graph[at]):
            if way > at and way in best:
                entered = sum(
                    extra
                    for head, end, extra in loops
                    if head <= way <= end and not head <= at <= end
                )
                ways.append((best[way][0] + (steps[at].taken if number else 0) + entered, way))
        if ways or at == last or last is None and not any(way > at for way in graph[at]):
            ahead, way = max(ways, default=(0, -1))
            best[at] = (costs[at].cycles + ahead, way if way >= 0 else None)
    path, place = [], start
    while place is not None:
        path.append(place)
        place = best[place][1]
    return best[start][0], path
