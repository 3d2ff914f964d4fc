"""What a function's registers and stack hold, as far as it matters: which runtime function is called, which function is meant, how deep the stack is.

Values are tuples: ("table", n) the runtime table n bytes in, ("runtime", k) its entry, ("name", i) a name of the module, ("global", i) the
module's object of that name, ("child", i) a function of its body, ("arg", i) a parameter as it came, ("number", n); anything else is unknown and absent.
"""

from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Any

from capstone import arm_const as arm

from tests.machine import runtime
from tests.machine.thumb import Step

Value = tuple[Any, ...]
STACK = "stack"
ENTRY: dict[Any, Value] = {
    arm.ARM_REG_R0: ("function",),
    arm.ARM_REG_R3: ("arguments",),
    STACK: ("depth", 0),
}
R0, R1, SP, PC = arm.ARM_REG_R0, arm.ARM_REG_R1, arm.ARM_REG_SP, arm.ARM_REG_PC
LOST_IN_CALL = (
    arm.ARM_REG_R0,
    arm.ARM_REG_R1,
    arm.ARM_REG_R2,
    arm.ARM_REG_R3,
    arm.ARM_REG_R12,
    arm.ARM_REG_LR,
)


@dataclass
class Call:
    """A call of a runtime function, with its first two arguments as far as they are known."""

    kind: int
    depth: int
    first: Value | None = None
    second: Value | None = None


@dataclass
class Flow:
    """What is known of a function: its calls by place, its own deepest stack in bytes."""

    calls: dict[int, Call] = field(default_factory=dict)
    depth: int = 0


def follow(steps: dict[int, Step], code: bytes) -> Flow:
    """Work out values along every way until nothing changes. ValueError where a call cannot be resolved."""
    states: dict[int, dict[Any, Value]] = {0: dict(ENTRY)}
    work, flow = [0], Flow()
    while work:
        at = heappop(work)
        after = _apply(steps[at], dict(states[at]), code, flow)
        for way in _ways(steps[at], flow):
            merged = (
                after
                if way not in states
                else {key: value for key, value in states[way].items() if after.get(key) == value}
            )
            if STACK not in merged:
                raise ValueError(f"Two ways meet at {way:#x} with different stacks.")
            if way not in states or merged != states[way]:
                states[way] = dict(merged)
                heappush(work, way)
    return flow


def _ways(step: Step, flow: Flow) -> list[int]:
    call = flow.calls.get(step.at)
    return step.after if call is None or runtime.TABLE[call.kind].returns else []


def _apply(step: Step, state: dict[Any, Value], code: bytes, flow: Flow) -> dict[Any, Value]:
    """The state after an instruction."""
    depth = state[STACK][1]
    if step.name == "blx":
        flow.calls[step.at] = _call(step, state, depth)
        result = _result(flow.calls[step.at], state)
        for register in LOST_IN_CALL:
            state.pop(register, None)
        if result:
            state[R0] = result
        return state
    changed = _stack_change(step)
    if changed:
        state[STACK] = ("depth", depth + changed)
        flow.depth = max(flow.depth, depth + changed)
    value = _value(step, state, code)
    for register in step.written:
        state.pop(register, None)
    if value:
        state[step.operands[0].reg] = value
    if step.name == "str":
        _store(step, state)
    return state


def _call(step: Step, state: dict[Any, Value], depth: int) -> Call:
    called = state.get(step.operands[0].reg)
    if not called or called[0] != "runtime" or called[1] >= len(runtime.TABLE):
        raise ValueError(f"A call at {step.at:#x} of something that is no runtime function.")
    return Call(called[1], depth, state.get(R0), state.get(R1))


def _result(call: Call, state: dict[Any, Value]) -> Value | None:
    given = state.get(R0)
    if call.kind in (runtime.LOAD_NAME, runtime.LOAD_GLOBAL) and given and given[0] == "name":
        return ("global", given[1])
    return given if call.kind == runtime.MAKE_FUNCTION and given and given[0] == "child" else None


def _stack_change(step: Step) -> int:
    """Bytes by which the stack grows."""
    operands = step.operands
    if step.name == "push":
        return 4 * len(operands)
    if step.name == "pop":
        return -4 * len(operands)
    if (
        operands
        and operands[0].type == arm.ARM_OP_REG
        and operands[0].reg == SP
        and step.name in ("add", "sub")
    ):
        sign = 1 if step.name == "sub" else -1
        if operands[-1].type != arm.ARM_OP_IMM:
            raise ValueError(f"A stack of unknown depth at {step.at:#x}: {step.text}")
        return sign * int(operands[-1].imm)
    return 0


def _store(step: Step, state: dict[Any, Value]) -> None:
    source, place = step.operands
    if place.mem.base != SP:
        return
    value = state.get(source.reg)
    slot = ("slot", state[STACK][1] - place.mem.disp)
    state.pop(slot, None)
    if value:
        state[slot] = value


def _value(step: Step, state: dict[Any, Value], code: bytes) -> Value | None:
    """What the first register holds afterwards, if it is something to remember."""
    operands = step.operands
    if step.name in ("ldr", "ldrh"):
        return _loaded(step, state, code)
    if step.name in ("mov", "movs"):
        return (
            ("number", operands[1].imm)
            if operands[1].type == arm.ARM_OP_IMM
            else state.get(operands[1].reg)
        )
    if step.name in ("adds", "add") and operands[-1].type == arm.ARM_OP_IMM:
        base = state.get(operands[-2].reg)
        if base and base[0] in ("table", "number"):
            return (base[0], base[1] + operands[-1].imm)
    return None


def _loaded(step: Step, state: dict[Any, Value], code: bytes) -> Value | None:
    place = step.operands[1].mem
    if place.base == PC:
        at = (step.at + 4 & ~3) + place.disp
        return ("number", int.from_bytes(code[at : at + 4], "little", signed=True))
    if place.base == SP:
        return state.get(("slot", state[STACK][1] - place.disp))
    base, index = state.get(place.base), ("number", 0)
    if place.index:
        index = state.get(place.index, ("",))
    if not base or index[0] != "number":
        return None
    return _member(base, place.disp + index[1])


def _member(base: Value, offset: int) -> Value | None:
    """A field of the function object, its module's tables, the runtime table, or the arguments."""
    fields: dict[tuple[str, int], Value] = {
        ("function", 4): ("context",), ("context", 4): ("globals",), ("context", 8): ("names",), ("context", 12): ("constants",), ("constants", 0): ("table", 0),
        ("function", 8): ("children",),
    }  # fmt: skip
    if base[0] == "table":
        return ("runtime", (base[1] + offset) // 4)
    if base[0] == "arguments":
        return ("arg", offset // 4)
    if base[0] == "names":
        return ("name", offset // 2)
    if base[0] == "children":
        return ("child", offset // 4)
    return fields.get((base[0], offset))
