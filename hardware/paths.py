"""Ways through resistors from one net to others."""

from hardware.circuit import GROUNDS, Part, ohms
from hardware.pintypes import SYMMETRIC, TYPES

FEEDS = ("diode-schottky", "diode-feed")  # conduct in normal operation


def ends_at(parts: dict[str, Part], net: str, stop: set[str] | None = None) -> set[tuple[str, str]]:
    """Return (reference, pin) of everything except resistors, capacitors and clamps on the nets that resistors join to this one."""
    found: set[tuple[str, str]] = set()
    if net in GROUNDS:
        return found
    for other in walk(parts, net, stop or set()):
        if other in GROUNDS:
            continue
        found |= {
            (p.ref, pin)
            for p in parts.values()
            for pin, at in p.pins.items()
            if at == other and p.kind not in SYMMETRIC
        }
    return found


def through(parts: dict[str, Part], net: str) -> set[str]:
    """Return the net and those one resistor away that are neither rail nor return."""
    beside = {
        other
        for p in parts.values()
        if p.kind in RESISTORS and net in p.pins.values()
        for other in p.pins.values()
    }
    return {net} | {n for n in beside if n not in GROUNDS and not rail(parts, n)}


def ratio(parts: dict[str, Part], net: str, supply: str) -> float:
    """Share of the supply at a net from the resistors between it and supply or return, one step away."""
    up = down = 0.0
    for p in parts.values():
        if p.kind in RESISTORS and net in p.pins.values():
            (other,) = set(p.pins.values()) - {net} or {net}
            up += 1 / ohms(p.value) if other == supply else 0.0
            down += 1 / ohms(p.value) if other in GROUNDS else 0.0
    return up / (up + down) if up + down else 0.0


RESISTORS = ("res", "res-precision", "res-power")


def walk(parts: dict[str, Part], start: str, stop: set[str]) -> set[str]:
    """Nets reached from one through resistors, ending at a rail, a return or a net in `stop`."""
    seen, todo = {start}, [start]
    while todo:
        net = todo.pop()
        if net != start and (net in GROUNDS or net in stop or rail(parts, net)):
            continue
        for part in parts.values():
            if part.kind in RESISTORS and net in part.pins.values():
                for other in set(part.pins.values()) - seen:
                    seen.add(other)
                    todo.append(other)
    return seen


def rail(parts: dict[str, Part], net: str) -> bool:
    """Return True for a net driven by a regulator's output, a fuse, a feeding diode or the resistor in a supply."""
    for part in parts.values():
        for pin, at in part.pins.items():
            if at == net and (
                TYPES[part.kind].get(pin) == "out+"
                or part.kind.startswith("fuse")
                or part.kind in (*FEEDS, "res-power")
            ):
                return True
    return False
