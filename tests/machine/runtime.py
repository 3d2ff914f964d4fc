"""The runtime functions that viper code calls: which are allowed in a tick, and what each is charged.

The order is that of MicroPython's `mp_fun_table` (py/nativeglue.h). Charges are cycles at 125 MHz without flash waits. Measured on the
emulated board: an empty callback of a hard timer 7.4 us, a call of a kernel with two arrays 5.6 us more than its own code, an imported name
5.1 us, a call of a leaf through a global 11 us, a division 0.4 us. The split of a call between its runtime functions is an estimate whose sums
are those figures; so are the bytes of stack, which the interpreter's C functions take.
"""

from dataclasses import dataclass

CYCLES_PER_US = 125
FLASH_WAITS = 1.8  # an imported name: 9.2 us with a wait of 64 cycles for every miss of the flash cache, 5.1 without
DISPATCH_CYCLES, DISPATCH_STACK = (
    925,
    320,
)  # interrupt entry, alarm pool, timer, call of the callback, and all the way back


@dataclass(frozen=True)
class Runtime:
    """One entry. `allowed`: may happen in a tick; `returns`: else it raises."""

    name: str
    cycles: int = 0
    stack_bytes: int = 0
    allowed: bool = False
    returns: bool = True


def _allowed(name: str, cycles: int, stack_bytes: int) -> Runtime:
    return Runtime(name, cycles, stack_bytes, True)


TABLE = (
    *(Runtime(name) for name in ("None", "False", "True")),
    _allowed("convert object to native", 100, 56),
    _allowed("convert native to object", 50, 8),
    _allowed("swap globals", 40, 8),
    Runtime("load name"),
    _allowed("load global", 640, 72),
    *(Runtime(f"load {what}") for what in ("build class", "attribute", "method", "super method")),
    *(Runtime(f"store {what}") for what in ("name", "global", "attribute")),
    *(
        Runtime(name)
        for name in (
            "subscript of an object",
            "truth of an object",
            "unary operation on an object",
            "binary operation on objects",
        )
    ),
    *(Runtime(f"build {what}") for what in ("tuple", "list", "map", "set")),
    *(
        Runtime(name)
        for name in ("store in set", "append to list", "store in map", "make function")
    ),
    _allowed("call function", 450, 64),
    *(
        Runtime(name)
        for name in (
            "call method",
            "call method with a sequence",
            "get iterator",
            "next of an iterator",
        )
    ),
    _allowed("save exception handler", 60, 0),
    _allowed("drop exception handler", 40, 0),
    Runtime("raise", returns=False),
    *(Runtime(f"import {what}") for what in ("name", "from", "all")),
    *(
        Runtime(name)
        for name in (
            "new slice",
            "unpack sequence",
            "unpack with a rest",
            "delete name",
            "delete global",
            "make closure",
        )
    ),
    Runtime("refuse the number of arguments", returns=False),
    Runtime("set up bytecode"),
    _allowed("floor division", 50, 32),
    _allowed("modulo", 70, 32),
    Runtime("yield from"),
    Runtime("set jump"),
)
BY_NAME = {entry.name: entry for entry in TABLE}
FROM_OBJECT, TO_OBJECT, SWAP_GLOBALS, LOAD_NAME, LOAD_GLOBAL = 3, 4, 5, 6, 7
STORE_NAME, STORE_GLOBAL, BUILD_TUPLE, MAKE_FUNCTION, CALL, RAISE = 12, 13, 19, 26, 27, 34
PUSH_HANDLER, POP_HANDLER, IMPORT_NAME, IMPORT_FROM, DIVIDE, MODULO = 32, 33, 35, 36, 46, 47


def microseconds(cycles: float) -> float:
    """At the processor's 125 MHz."""
    return round(cycles / CYCLES_PER_US, 2)
