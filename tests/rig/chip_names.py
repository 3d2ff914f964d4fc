"""Names in the board's interpreter, from MicroPython's published stubs."""

import ast
from functools import cache
from importlib import metadata


@cache
def known() -> frozenset[str]:
    """Functions, classes and attributes of the modules built into the board's interpreter."""
    found: set[str] = set()
    for file in metadata.files("micropython-rp2-rpi-pico-stubs") or ():
        if file.suffix == ".pyi" and "asyncio" not in file.parts:
            for node in ast.walk(ast.parse(file.read_text())):
                if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                    found.add(node.name)
                elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                    found.add(node.target.id)
    return frozenset(found)
