"""Read a .mpy file of version 6: names, constants, functions with their machine code.

Source of the layout: MicroPython's documentation, "MicroPython .mpy files", and what mpy-cross writes.
"""

import struct
import subprocess
import tempfile
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from rimward.device.install import plan

ARMV6M = 4
BYTECODE, NATIVE, VIPER, ASSEMBLER = 2, 3, 4, 5
RODATA, BSS, RELOCATED = (
    0x20,
    0x40,
    0x10,
)  # scope flags of hand-linked native modules, which mpy-cross never makes from Python
FUN_TABLE = object()  # the constant that stands for the table of runtime functions
SMALL_CONSTANTS: dict[int, Any] = {0: FUN_TABLE, 1: None, 2: False, 3: True, 4: ...}
MAKE_FUNCTION, STORE_NAME = 0x32, 0x16


@dataclass
class Code:
    """One function's raw code. `name` is known once the module's body is read or run."""

    kind: int
    data: bytes
    flags: int = 0
    children: list["Code"] = field(default_factory=list)
    name: str = ""


@dataclass
class Module:
    """A whole file: names and constants shared by its functions, and the module's body."""

    names: list[str]
    constants: list[Any]
    body: Code
    data: bytes


class Reader:
    """Bytes from front to back."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def take(self, count: int) -> bytes:
        """The next bytes. ValueError where the file ends early."""
        piece = self.data[self.at : self.at + count]
        if len(piece) != count:
            raise ValueError("Not a whole .mpy file: it ends early.")
        self.at += count
        return piece

    def byte(self) -> int:
        return self.take(1)[0]

    def number(self) -> int:
        """Seven bits a byte, most significant first."""
        value = 0
        while True:
            byte = self.byte()
            value = value << 7 | byte & 127
            if byte < 128:
                return value


def read(data: bytes) -> Module:
    """The module in a .mpy file. ValueError for another version or processor."""
    reader = Reader(data)
    mark, version, feature, bits = struct.unpack("4B", reader.take(4))
    if mark != ord("M") or version != 6 or bits != 31:
        raise ValueError("Not a .mpy file of version 6 with 31-bit small integers.")
    arch = feature >> 2 & 15
    if feature & 0x40 or arch not in (0, ARMV6M):
        raise ValueError(
            f"Machine code for another processor (architecture {arch}); compile with -march=armv6m."
        )
    names, constants = reader.number(), reader.number()
    module = Module(
        [_name(reader) for _ in range(names)],
        [_constant(reader) for _ in range(constants)],
        _code(reader),
        data,
    )
    if reader.at != len(data):
        raise ValueError("Not a whole .mpy file: bytes are left over.")
    if module.body.kind == BYTECODE:
        _name_children(module)
    return module


def _name(reader: Reader) -> str:
    """A name; one of the interpreter's own is `#number`."""
    length = reader.number()
    return f"#{length >> 1}" if length & 1 else reader.take((length >> 1) + 1)[:-1].decode()


def _constant(reader: Reader) -> Any:
    kind = reader.byte()
    if kind in SMALL_CONSTANTS:
        return SMALL_CONSTANTS[kind]
    count = reader.number()
    if kind == 10:
        return tuple(_constant(reader) for _ in range(count))
    text = reader.take(count + (kind in (5, 6)))[:count]
    return {5: bytes.decode, 6: bytes, 7: int, 8: float, 9: complex}[kind](text)


def _code(reader: Reader) -> Code:
    head = reader.number()
    code = Code((head & 3) + BYTECODE, reader.take(head >> 3))
    if code.kind in (NATIVE, ASSEMBLER):
        raise ValueError("Native or assembler functions are not expected here, viper ones are.")
    if code.kind == VIPER:
        code.flags = reader.number()
        if code.flags & (RODATA | BSS | RELOCATED):
            raise ValueError("Relocated native code is not expected from Python source.")
    if head & 4:
        code.children = [_code(reader) for _ in range(reader.number())]
    return code


def _name_children(module: Module) -> None:
    """Name the functions that a body of bytecode makes and stores."""
    child = None
    for opcode, operand in _operations(module.body.data):
        if opcode == MAKE_FUNCTION:
            child = module.body.children[operand]
        elif opcode == STORE_NAME and child is not None:
            child.name = module.names[operand]
            child = None


def _operations(data: bytes) -> list[tuple[int, int]]:
    """(operation, operand) of bytecode without its prelude; the operand's form follows from the operation's high half."""
    reader, found = Reader(data), []
    while reader.byte() & 128:
        pass
    sizes, shift, info, cells = reader.byte(), 0, 0, 0
    while True:
        info |= (sizes >> 1 & 63) << 6 * shift
        cells |= (sizes & 1) << shift
        if not sizes & 128:
            break
        sizes, shift = reader.byte(), shift + 1
    reader.take(info + cells)
    while reader.at < len(data):
        opcode = reader.byte()
        form = 0x3A4 >> 2 * (opcode >> 4) & 3
        operand = reader.number() if form in (1, 2) else 0
        if form == 3:
            operand = reader.byte()
            if operand & 128:
                operand = operand & 127 | reader.byte() << 7
        found.append((opcode, operand))
    return found


@cache
def known_as(name: str) -> str:
    """The form in which a .mpy file refers to a name: itself, or `#number` where every interpreter has it. Asks mpy-cross."""
    if not name.isidentifier():
        return name
    with tempfile.TemporaryDirectory() as folder:
        made = plan.cross_compile(
            _written(Path(folder), f"{name}_ = {name}\n"), "name.py", Path(folder)
        )
    return [found for found in read(made).names if found != f"{name}_"][-1]


def _written(folder: Path, text: str) -> Path:
    path = folder / "source.py"
    path.write_text(text, encoding="utf-8")
    return path


def compiled(source: Path, *options: str) -> bytes:
    """A source file as machine code, with the compiler's own words in a RuntimeError."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.mpy"
        command = [
            *plan.compiler(),
            plan.OPTIMISE,
            *options,
            f"-march={plan.ARCH}",
            "-s",
            source.name,
            "-o",
            str(out),
            str(source),
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        if done.returncode:
            raise RuntimeError(
                f"mpy-cross could not compile {source.name}: {(done.stderr or done.stdout).strip()}"
            )
        return out.read_bytes()
