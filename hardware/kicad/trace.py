"""Netlist traced from the written sheets, independent of the code that wrote them: sexpdata reads the files, networkx joins touching
items.

Rules of connection, as the editor has them: pins, wire ends and labels at one point are one net; labels of one name join within a sheet,
global labels everywhere. A point that lies inside another wire without an end of it there is reported, since programs differ on it.
"""

from collections.abc import Iterator
from math import cos, radians, sin
from pathlib import Path
from typing import Any

import networkx as nx
import sexpdata

Tree = list[Any]
Point = tuple[int, int]  # hundredths of a millimetre


def name_of(item: Any) -> str:
    """Text of a symbol or string item."""
    return str(item.value()) if isinstance(item, sexpdata.Symbol) else str(item)


def children(tree: Tree, name: str) -> Iterator[Tree]:
    """Return the lists inside `tree` that begin with this word."""
    return (item for item in tree if isinstance(item, list) and item and name_of(item[0]) == name)


def child(tree: Tree, name: str) -> Tree:
    """First list inside `tree` that begins with this word. StopIteration without one."""
    return next(children(tree, name))


def point(x: float, y: float) -> Point:
    """Point in hundredths of a millimetre."""
    return round(x * 100), round(y * 100)


def place(tree: Tree) -> tuple[float, float, float]:
    """Return (x, y, angle) of an item."""
    at = child(tree, "at")
    return float(at[1]), float(at[2]), float(at[3]) if len(at) > 3 else 0.0


def library_pins(sheet: Tree) -> dict[str, list[tuple[int, str, float, float]]]:
    """Symbol -> [(unit, number, x, y)], read from the copies inside the sheet."""
    found: dict[str, list[tuple[int, str, float, float]]] = {}
    for symbol in children(child(sheet, "lib_symbols"), "symbol"):
        rows = found.setdefault(str(symbol[1]), [])
        for part in children(symbol, "symbol"):
            unit = int(str(part[1]).rsplit("_", 2)[1])
            for pin in children(part, "pin"):
                x, y, _ = place(pin)
                rows.append((unit, str(child(pin, "number")[1]), x, y))
    return found


def instance_pins(sheet: Tree) -> Iterator[tuple[str, str, Point]]:
    """Return (reference, pin number, point) of every pin on the sheet."""
    pins = library_pins(sheet)
    for symbol in children(sheet, "symbol"):
        x0, y0, angle = place(symbol)
        if any(True for _ in children(symbol, "mirror")):
            raise ValueError("mirrored symbols are not expected")
        unit = int(child(symbol, "unit")[1])
        reference = next(str(p[2]) for p in children(symbol, "property") if p[1] == "Reference")
        if reference.startswith("#"):  # power flags and the like are not on the board
            continue
        c, s = cos(radians(angle)), sin(radians(angle))
        for own, number, x, y in pins[str(child(symbol, "lib_id")[1])]:
            if own in (0, unit):
                yield reference, number, point(x0 + x * c - y * s, y0 - (x * s + y * c))


def wires(sheet: Tree) -> list[tuple[Point, Point]]:
    """Both ends of every wire of a sheet."""
    return [
        (point(*a[1:3]), point(*b[1:3]))
        for wire in children(sheet, "wire")
        for a, b in [list(children(child(wire, "pts"), "xy"))]
    ]


def inside(at: Point, a: Point, b: Point) -> bool:
    """Return True if the point lies on the straight wire, apart from its ends."""
    (x, y), (ax, ay), (bx, by) = at, a, b
    if at in (a, b) or (bx - ax) * (y - ay) != (by - ay) * (x - ax):
        return False
    return min(ax, bx) <= x <= max(ax, bx) and min(ay, by) <= y <= max(ay, by)


def read(path: Path) -> Tree:
    """Read a sheet's file."""
    tree: Tree = sexpdata.loads(path.read_text(encoding="utf-8"))
    return tree


def sheets_of(root: Path) -> dict[str, Tree]:
    """Name of a sheet -> its file, from the first sheet."""
    found = {}
    for block in children(read(root), "sheet"):
        words = {str(p[1]): str(p[2]) for p in children(block, "property")}
        found[words["Sheet name"]] = read(root.parent / words["Sheet file"])
    return found


def graph_of(sheets: dict[str, Tree]) -> tuple[nx.Graph, list[str]]:
    """Return (graph of everything joined, points that touch a wire in its middle)."""
    graph, loose = nx.Graph(), []
    for name, sheet in sheets.items():
        lines = wires(sheet)
        for a, b in lines:
            graph.add_edge((name, a), (name, b))
        spots = {p for line in lines for p in line}
        for reference, number, at in instance_pins(sheet):
            graph.add_edge((name, at), ("pin", reference, number))
            spots.add(at)
        for kind in ("label", "global_label"):
            for label in children(sheet, kind):
                at = point(*place(label)[:2])
                graph.add_edge(
                    (name, at),
                    ("net", label[1]) if kind == "global_label" else ("net", name, label[1]),
                )
                spots.add(at)
        loose += [f"{name}: {at}" for at in sorted(spots) for a, b in lines if inside(at, a, b)]
    return graph, loose


def trace(root: Path) -> tuple[dict[str, set[tuple[str, str]]], set[tuple[str, str]], list[str]]:
    """Return (net -> {(reference, number)}, pins joined to no label, faults of the drawing) of the project with first sheet `root`."""
    graph, faults = graph_of(sheets_of(root))
    found: dict[str, set[tuple[str, str]]] = {}
    alone: set[tuple[str, str]] = set()
    for group in nx.connected_components(graph):
        names = {node[-1] for node in group if node[0] == "net"}
        pins = {(node[1], node[2]) for node in group if node[0] == "pin"}
        if len(names) > 1:
            faults.append(f"one net has the names {', '.join(sorted(names))}")
        if not names:
            alone |= pins
            continue
        name = min(names)
        if name in found:
            faults.append(f"{name}: two nets of this name")
        found.setdefault(name, set()).update(pins)
    return found, alone, faults


def instances(root: Path) -> dict[tuple[str, int], tuple[str, str]]:
    """Return (reference, unit) -> (value, footprint) as the first sheet lists them."""
    rows = children(child(read(root), "symbol_instances"), "path")
    return {
        (str(child(r, "reference")[1]), int(child(r, "unit")[1])): (
            str(child(r, "value")[1]),
            str(child(r, "footprint")[1]),
        )
        for r in rows
    }
