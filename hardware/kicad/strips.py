"""Layout of the sheets: the strips of `hardware.draw.LAYOUT` on KiCad's grid, in mm, y downwards.

Each row of the layout is one labelled block. Wires only ever meet at their ends, where pins and labels are too, so no connection depends
on how a program treats a wire that touches another in its middle.
"""

from dataclasses import dataclass, field
from math import ceil

from hardware.circuit import Part
from hardware.draw import LAYOUT, NotJoined
from hardware.kicad import library
from hardware.kicad.pinout import flags, numbers, symbol_of

GRID, STUB, CHAR, FLAG = (
    2.54,
    2.54,
    0.95,
    3.0,
)  # mm: grid, wire at a pin, width of a letter, frame of a global label
MARGIN, GAP = 25.4, 10.16
LETTERS = 12.7  # space for reference and value beside an upright part
FLAG_TITLE = "For the editor's electrical check: supplied through fuses, a diode and the net ties"
Point = tuple[float, float]


@dataclass(frozen=True)
class Placed:
    """One unit of a part: angle counter-clockwise in degrees."""

    ref: str
    unit: int
    x: float
    y: float
    angle: int
    upright: bool


@dataclass
class Block:
    """One row with its contents and frame."""

    title: str
    placed: list[Placed] = field(default_factory=list)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    labels: list[tuple[str, float, float, int]] = field(default_factory=list)
    crosses: list[Point] = field(default_factory=list)
    left: float = 0.0
    top: float = 0.0
    right: float = 0.0
    bottom: float = 0.0

    def reach(self, x: float, y: float) -> None:
        """Extend the frame to a point."""
        self.left, self.right = min(self.left, x), max(self.right, x)
        self.top, self.bottom = min(self.top, y), max(self.bottom, y)

    def moved(self, dx: float, dy: float) -> "Block":
        """Return the block moved by an offset."""
        at = lambda p: (round(p[0] + dx, 3), round(p[1] + dy, 3))  # noqa: E731
        return Block(
            self.title,
            [Placed(p.ref, p.unit, *at((p.x, p.y)), p.angle, p.upright) for p in self.placed],
            [(at(a), at(b)) for a, b in self.wires],
            [(net, *at((x, y)), angle) for net, x, y, angle in self.labels],
            [at(c) for c in self.crosses],
            self.left + dx,
            self.top + dy,
            self.right + dx,
            self.bottom + dy,
        )


def up(mm: float) -> float:
    """Round up to the grid."""
    return ceil(mm / GRID - 1e-9) * GRID


def turned(x: float, y: float, angle: int) -> Point:
    """Return a point of a symbol (y upwards) as an offset on the sheet (y downwards), the symbol turned counter-clockwise."""
    c, s = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}[angle % 360]
    return round(x * c - y * s, 3), round(-(x * s + y * c), 3)


def pins_of(part: Part, unit: int | None = None) -> dict[str, tuple[float, float, int]]:
    """Return number -> (x, y, angle) in the symbol, of one unit with the pins shared by all units."""
    return {
        p.number: (p.position.X, p.position.Y, int(p.position.angle or 0))
        for u in library.symbol(symbol_of(part)).units
        if unit is None or u.unitId in (0, unit)
        for p in u.pins
    }


def units_of(part: Part) -> list[int]:
    """Numbers of units with pins of their own; unit 1 for a symbol whose pins are all shared."""
    return sorted(
        {u.unitId for u in library.symbol(symbol_of(part)).units if u.pins and u.unitId}
    ) or [1]


class Pen:
    """Draw one row of the layout, left to right."""

    def __init__(self, block: Block, parts: dict[str, Part], shared: set[str]) -> None:
        self.block, self.parts, self.shared = block, parts, shared
        self.x, self.y, self.net = 0.0, 0.0, ""

    def width(self, net: str) -> float:
        """Width of a label, mm."""
        return up(len(net) * CHAR + (FLAG if net in self.shared else 0.5))

    def label(self, net: str, x: float, y: float, angle: int) -> None:
        """Add a label whose text points in the direction of the angle (0 right, 90 up, 180 left, 270 down)."""
        self.block.labels.append((net, round(x, 3), round(y, 3), angle))
        dx, dy = turned(self.width(net), 0, angle)
        self.block.reach(x + dx, y + dy)

    def wire(self, a: Point, b: Point) -> None:
        """Add a wire between two points."""
        if a != b:
            self.block.wires.append(
                ((round(a[0], 3), round(a[1], 3)), (round(b[0], 3), round(b[1], 3)))
            )
        self.block.reach(*b)

    def line(self, length: float) -> None:
        """Add a wire to the right."""
        self.wire((self.x, self.y), (self.x + length, self.y))
        self.x = round(self.x + length, 3)

    def begin(self, net: str) -> None:
        """Start a strip at a net."""
        self.net = net
        self.x = round(self.x + self.width(net), 3)
        self.label(net, self.x, self.y, 180)
        self.line(STUB)

    def between(self, ref: str, way: Point) -> tuple[Part, int, Point, Point]:
        """Return (part, angle, offset of its pin on this net, offset of the other), pointing `way`. NotJoined when it is not on this
        net.
        """
        part = self.parts[ref]
        names = list(part.pins)
        here = [p for p in names if part.pins[p] == self.net]
        if len(names) != 2 or not here:
            raise NotJoined(f"{ref} is not on {self.net}")
        first = here[0]
        other = names[1] if first == names[0] else names[0]
        spots = pins_of(part)
        for angle in (0, 90, 180, 270):
            a, b = (turned(*spots[numbers(part, p)[0]][:2], angle) for p in (first, other))
            if (
                (b[0] - a[0]) * way[0] > 0
                and b[1] == a[1]
                or (b[1] - a[1]) * way[1] > 0
                and b[0] == a[0]
            ):
                self.net = part.pins[first]
                return part, angle, a, b
        raise NotJoined(f"{ref}: its two pins are not in one line")

    def two_pin(self, ref: str, way: Point) -> tuple[str, Point]:
        """Place a part from here. Return (net at its other end, that point)."""
        part, angle, a, b = self.between(ref, way)
        self.block.placed.append(
            Placed(ref, 1, round(self.x - a[0], 3), round(self.y - a[1], 3), angle, way[0] == 0)
        )
        end = (round(self.x - a[0] + b[0], 3), round(self.y - a[1] + b[1], 3))
        self.block.reach(*end)
        return next(
            n
            for p, n in part.pins.items()
            if (n != self.net) or list(part.pins.values()).count(n) == 2
        ), end

    def series(self, ref: str, last: bool) -> None:
        """Place a part in series."""
        self.block.reach(self.x, self.y - 7.62)
        self.block.reach(self.x, self.y + 5.08)
        net, (self.x, _) = self.two_pin(ref, (1, 0))
        self.net = net
        if net in self.shared and not last:
            self.wire((self.x, self.y), (self.x, self.y - STUB))
            self.label(net, self.x, self.y - STUB, 90)
            self.line(STUB * 2)
        elif last:
            self.line(STUB)
            self.label(net, self.x, self.y, 0)
            self.x = round(self.x + self.width(net), 3)
        else:
            self.label(net, self.x, self.y, 0)
            self.line(self.width(net) + STUB)

    def shunt(self, ref: str, upwards: bool, last: bool) -> None:
        """Place a part from the node down or up."""
        net, end = self.two_pin(ref, (0, -1 if upwards else 1))
        self.label(net, *end, 90 if upwards else 270)
        if last:
            self.block.reach(self.x + LETTERS, self.y)
            self.x = round(self.x + LETTERS, 3)
        else:
            self.line(LETTERS)

    def clamp(self, ref: str) -> None:
        """Return a series pair of diodes below the node: its middle pin up."""
        part = self.parts[ref]
        if part.pins["C"] != self.net:
            raise NotJoined(f"{ref} is not on {self.net}")
        left = self.width(part.pins["K"]) + 7.62
        self.line(up(max(left - LETTERS, 0.0) + 7.62))
        self.hang(ref, 1, 180, "C")
        self.x = round(self.x + 7.62 + self.width(part.pins["A"]), 3)

    def transistor(self, ref: str, pin: str) -> None:
        """Place a transistor with its control pin on the node."""
        part = self.parts[ref]
        if part.pins[pin] != self.net:
            raise NotJoined(f"{ref} is not on {self.net}")
        self.hang(ref, 1, 0, pin)
        self.x = up(self.x + 12.7 + 1.27 * len(part.value))
        self.block.reach(self.x, self.y)

    def hang(self, ref: str, unit: int, angle: int, pin: str) -> None:
        """Place a part with one pin here and labels at the others."""
        part = self.parts[ref]
        x, y, _ = pins_of(part, unit)[numbers(part, pin)[0]]
        dx, dy = turned(x, y, angle)
        self.place(
            part,
            unit,
            (round(self.x - dx, 3), round(self.y - dy, 3), angle),
            {numbers(part, pin)[0]},
            0.0,
        )

    def place(
        self, part: Part, unit: int, at: tuple[float, float, int], without: set[str], stub: float
    ) -> None:
        """Place one unit at (x, y, angle) with a label (or a cross) at each pin except `without`."""
        x, y, angle = at
        self.block.placed.append(Placed(part.ref, unit, x, y, angle, True))
        nets = {number: net for name, net in part.pins.items() for number in numbers(part, name)}
        for number, (px, py, turn) in pins_of(part, unit).items():
            dx, dy = turned(px, py, angle)
            pin = (round(x + dx, 3), round(y + dy, 3))
            self.block.reach(*pin)
            away = (turn + 180 + angle) % 360
            if number in without or number not in nets:
                continue
            if nets[number] == "NC":
                self.block.crosses.append(pin)
                continue
            ox, oy = turned(stub, 0, away)
            end = (round(pin[0] + ox, 3), round(pin[1] + oy, 3))
            self.wire(pin, end)
            self.label(nets[number], *end, away)

    def chip(self, ref: str) -> None:
        """Every unit of a part with a label at each pin."""
        part = self.parts[ref]
        nets = {number: net for name, net in part.pins.items() for number in numbers(part, name)}
        for unit in units_of(part):
            spots = pins_of(part, unit)
            reach = {0: 0.0, 180: 0.0}
            for number, (px, _, turn) in spots.items():
                away = (turn + 180) % 360
                room = abs(px) + (STUB + self.width(nets.get(number, "")) if away in reach else 0.0)
                side = away if away in reach else (0 if px > 0 else 180)
                reach[side] = max(reach[side], room)
            self.x = up(self.x + max(reach[180], 7.62))
            self.block.reach(self.x, self.y + min(-spot[1] for spot in spots.values()) - 10.16)
            self.block.reach(self.x, self.y + max(-spot[1] for spot in spots.values()) + 5.08)
            self.place(part, unit, (self.x, self.y, 0), set(), STUB)
            self.x = up(self.x + max(reach[0], 12.7, 5.08 + 1.27 * len(part.value)) + GRID)
            self.block.reach(self.x, self.y)


def draw_strip(pen: Pen, words: str) -> None:
    """Draw one strip of the layout's language (see hardware/draw.py)."""
    tokens = words.split()
    if len(tokens) == 2 and tokens[1] in pen.parts and len(pins_of(pen.parts[tokens[1]])) > 2:
        tokens = [
            "#" + tokens[1]
        ]  # a single part whose symbol has more pins than the data: a box with a label at each
    for i, token in enumerate(tokens):
        if token.startswith("#"):
            pen.chip(token[1:])
        elif token[0] in "/^":
            pen.shunt(token[1:], token[0] == "^", i == len(tokens) - 1)
        elif token.startswith("%"):
            pen.clamp(token[1:])
        elif "." in token:
            pen.transistor(*token.split("."))
        elif token in pen.parts:
            pen.series(token, i == len(tokens) - 1)
        else:
            pen.begin(token)


def flag_block(flagged: dict[str, Part], shared: set[str], title: str) -> Block:
    """Place the power flags side by side, each on its net's name."""
    block = Block(title)
    pen = Pen(block, flagged, shared)
    for part in flagged.values():
        pen.x = up(pen.x + LETTERS)
        block.reach(pen.x - LETTERS, pen.y - 7.62)
        block.reach(pen.x + LETTERS, pen.y)
        pen.place(part, 1, (pen.x, pen.y, 0), {"1"}, 0.0)
        pen.label(part.pins["1"], pen.x, pen.y, 270)
        pen.x = up(pen.x + LETTERS)
    return block


def blocks_of(
    sheet: str, parts: dict[str, Part], shared: set[str], titles: tuple[str, ...]
) -> list[Block]:
    """Return the blocks of a sheet, one below the other."""
    made: list[Block] = []
    rows: list[Block] = []
    y = MARGIN
    for title, row in zip(titles, LAYOUT[sheet], strict=True):
        block = Block(title)
        pen = Pen(block, parts, shared)
        for words in row.split("|"):
            draw_strip(pen, words)
            pen.x = up(pen.x + GAP)
        block.reach(pen.x - GAP, pen.y)
        rows.append(block)
    if sheet == "power":
        rows.append(flag_block(flags(), shared, FLAG_TITLE))
    for block in rows:
        dy = up(y + 2 * GRID - block.top)
        made.append(block.moved(up(MARGIN + GRID - block.left), dy))
        y = made[-1].bottom + 4 * GRID
    return made
