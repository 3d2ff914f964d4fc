"""Rules of the processor's pins: firmware's pin table, board modules and circuit agree."""

import ast
from pathlib import Path
from typing import Any

from rimward_fw.board import pins as pin_table

from hardware.check import Check, listing
from hardware.circuit import Part

BOARD = Path(__file__).resolve().parent.parent / "firmware" / "rimward_fw" / "board"
CHIP_INPUTS = {
    "comparator": ("INA+", "INA-", "INB+", "INB-"),
    "adc16": ("AINP", "CONVST", "SCLK", "DIN", "REF"),
    "adc-i2c": ("AIN0", "AIN1", "AIN2", "AIN3", "SDA", "SCL", "ADDR"),
    "barometer": ("SDI", "SCK", "CSB", "SDO"),
}
SPI0 = {"miso": (0, 4, 16, 20), "sck": (2, 6, 18, 22), "mosi": (3, 7, 19, 23)}
I2C = {
    0: {"sda": (0, 4, 8, 12, 16, 20), "scl": (1, 5, 9, 13, 17, 21)},
    1: {"sda": (2, 6, 10, 14, 18, 26), "scl": (3, 7, 11, 15, 19, 27)},
}
ADC_PINS = (26, 27, 28)


def pins_match(parts: dict[str, Part]) -> Check:
    """Check that the firmware's pin table and the board agree, both ways."""
    firmware = {f"GP{number}": net for _, number, _, net in pin_table.PINS}
    board = {
        pin: net for pin, net in parts["U1"].pins.items() if pin.startswith("GP") and net != "NC"
    }
    wrong = [
        f"{pin}: firmware {firmware.get(pin)}, board {board.get(pin)}"
        for pin in sorted({**firmware, **board})
        if firmware.get(pin) != board.get(pin)
    ]
    return Check(
        "pins: firmware table and board agree",
        not wrong,
        listing(wrong) if wrong else f"{len(board)} pins agree",
    )


def pins_possible(parts: dict[str, Part]) -> Check:
    """Check that each pin has the required function on an RP2040, and that no number or name is used twice."""
    rows = pin_table.PINS
    wrong = [n for n, g, d, _ in rows if d == "adc" and g not in ADC_PINS]
    wrong += [n for n, g, d, _ in rows if d == "spi" and g not in SPI0[n.split("_")[1].lower()]]
    for bus, names in ((0, "BARO"), (1, "DISPLAY")):
        wrong += [
            n
            for n, g, d, _ in rows
            if d == "i2c" and n.startswith(names) and g not in I2C[bus][n.split("_")[1].lower()]
        ]
    wrong += [n for n, _, d, _ in rows if d not in ("in", "out", "adc", "spi", "i2c")]
    for column in (0, 1, 3):
        values = [row[column] for row in rows]
        wrong += [f"{v} twice" for v in set(values) if values.count(v) > 1]
    return Check("pins: each function exists on that pin", not wrong, listing(wrong))


def first_arguments(path: Path, callees: tuple[str, ...], kind: type) -> list[tuple[int, Any]]:
    """Line and first argument of each call of these names whose first argument is a constant of this type."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        (node.lineno, node.args[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and getattr(node.func, "attr", getattr(node.func, "id", "")) in callees
        and node.args
        and isinstance(node.args[0], ast.Constant)
        and isinstance(node.args[0].value, kind)
    ]


def numbers_in(path: Path) -> list[str]:
    """Return the calls of Pin or ADC with a number written out, in a board module."""
    return [f"{path.name}:{line}" for line, _ in first_arguments(path, ("Pin", "ADC"), int)]


def names_in(path: Path) -> list[str]:
    """Names passed to `gpio(...)` in a board module."""
    return [name for _, name in first_arguments(path, ("gpio",), str)]


def strings_in(path: Path) -> set[str]:
    """Strings in a board module: names that a loop passes to `gpio` are in tuples."""
    return {
        n.value
        for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(n, ast.Constant) and isinstance(n.value, str)
    }


def board_uses_table(parts: dict[str, Part]) -> Check:
    """Check that board code uses no pin numbers of its own, and that the Pico's modules use exactly the wires of the board."""
    wrong = [
        w for path in sorted(BOARD.glob("*.py")) if path.name != "pins.py" for w in numbers_in(path)
    ]
    paths = [BOARD / "pico.py", BOARD / "wiring.py"]
    absent = [path.name for path in paths if not path.is_file()]
    if absent:
        return Check(
            "pins: board code takes them from the table",
            False,
            f"firmware/rimward_fw/board has no {', '.join(absent)}",
        )
    asked, known = {n for path in paths for n in names_in(path)}, {row[0] for row in pin_table.PINS}
    used = asked | known & set().union(*(strings_in(path) for path in paths))
    wrong += [f"board code asks for unknown {n}" for n in sorted(asked - known)] + [
        f"board code leaves {n} unused" for n in sorted(known - used)
    ]
    return Check("pins: board code takes them from the table", not wrong, listing(wrong))
