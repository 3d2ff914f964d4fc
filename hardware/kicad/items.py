"""Items of a KiCad sheet: symbols, labels, junctions, frames and the title block."""

from uuid import NAMESPACE_URL, uuid5

from kiutils.items.common import (
    ColorRGBA,
    Effects,
    Font,
    Justify,
    Position,
    Property,
    Stroke,
    TitleBlock,
)
from kiutils.items.schitems import GlobalLabel, LocalLabel, SchematicSymbol

from hardware.circuit import GROUNDS, Part, nets
from hardware.kicad import library
from hardware.kicad.pinout import FLAG, footprint_of, symbol_of
from hardware.kicad.strips import Block, Placed

NAME, FOLDER = "rimward", "kicad"
UPRIGHT = ("npn", "pnp", "nmos", "pmos", "nmos-power")  # reference and value to their right
SHAPE = Stroke(width=0.15, type="dash", color=ColorRGBA(120, 120, 120, 1))


def ident(*words: object) -> str:
    """Return an identifier that depends only on the words."""
    return str(uuid5(NAMESPACE_URL, "rimward/" + "/".join(str(w) for w in words)))


def shared_nets(parts: dict[str, Part]) -> set[str]:
    """Nets on more than one sheet, and the returns: these get global labels."""
    return {
        net for net, pins in nets(parts).items() if len({parts[ref].sheet for ref, _ in pins}) > 1
    } | set(GROUNDS)


LABEL = 1.0  # mm: height of a net's name


def effects(
    size: float = 1.27, justify: str | None = None, hide: bool = False, bold: bool = False
) -> Effects:
    """Text effects on a sheet."""
    return Effects(
        font=Font(height=size, width=size, bold=bold),
        justify=Justify(horizontally=justify),
        hide=hide,
    )


def words_at(
    part: Part, spot: Placed
) -> tuple[tuple[float, float], tuple[float, float], str | None]:
    """Return (place of the reference, of the value, side): above and below a lying part, beside an upright one, above a box."""
    if not spot.upright:
        return (spot.x, spot.y - 5.08), (spot.x, spot.y + 3.81), None
    pins = [
        p.position
        for u in library.symbol(symbol_of(part)).units
        if u.unitId in (0, spot.unit)
        for p in u.pins
    ]
    if len(part.pins) == len(pins) == 2 and part.kind not in ("conn-power", "conn-small"):
        return (
            (spot.x + 2.54, spot.y - 1.27),
            (spot.x + 2.54, spot.y + 1.27),
            "right" if spot.angle == 180 else "left",
        )
    if part.kind in UPRIGHT:
        return (spot.x + 6.35, spot.y - 1.27), (spot.x + 6.35, spot.y + 1.27), "left"
    if spot.angle == 180:
        return (spot.x - 2.54, spot.y + 5.08), (spot.x - 2.54, spot.y + 7.62), "right"
    x = spot.x + max((p.X for p in pins if p.angle == 270), default=0.0) + 3.81
    y = spot.y - max(p.Y for p in pins) - 6.35
    return (x, y - 1.27), (x, y + 1.27), "left"


def symbol_at(sheet: str, part: Part, spot: Placed) -> SchematicSymbol:
    """Return one unit on the sheet, with reference and value at readable places."""
    made = SchematicSymbol(
        inBom=part.kind != FLAG,
        onBoard=True,
        uuid=ident(sheet, spot.ref, spot.unit),
        unit=spot.unit,
        position=Position(spot.x, spot.y, spot.angle),
    )
    made.libId = symbol_of(part)
    turn = 90 if spot.angle in (90, 270) else 0
    (rx, ry), (vx, vy), justify = words_at(part, spot)
    hidden = effects(hide=True)
    made.properties = [
        Property("Reference", spot.ref, 0, Position(rx, ry, turn), effects(justify=justify)),
        Property("Value", part.value, 1, Position(vx, vy, turn), effects(justify=justify)),
        Property("Footprint", footprint_of(part), 2, Position(spot.x, spot.y, 0), hidden),
        Property("Datasheet", "~", 3, Position(spot.x, spot.y, 0), hidden),
        Property("Rating", part.rating, 4, Position(spot.x, spot.y, 0), hidden),
        Property("Class", part.kind, 5, Position(spot.x, spot.y, 0), hidden),
    ]
    made.pins = {
        p.number: ident(sheet, spot.ref, spot.unit, p.number)
        for u in library.symbol(symbol_of(part)).units
        if u.unitId in (0, spot.unit)
        for p in u.pins
    }
    return made


def label_at(
    sheet: str, net: str, where: Position, everywhere: bool, count: int
) -> GlobalLabel | LocalLabel:
    """Return a label: global for a net that other sheets also have."""
    side = "right" if where.angle in (180, 270) else "left"
    uuid = ident(sheet, "label", net, count)
    if everywhere:
        made = GlobalLabel(
            text=net, shape="passive", position=where, effects=effects(LABEL, side), uuid=uuid
        )
        made.properties = [
            Property(
                "Intersheet References",
                "${INTERSHEET_REFS}",
                0,
                Position(where.X, where.Y, 0),
                effects(hide=True),
            )
        ]
        return made
    return LocalLabel(
        text=net,
        position=where,
        effects=Effects(
            font=Font(height=LABEL, width=LABEL),
            justify=Justify(horizontally=side, vertically="bottom"),
        ),
        uuid=uuid,
    )


def junctions(block: Block) -> list[tuple[float, float]]:
    """Points where more than two wire ends, or a pin and two, meet."""
    ends: dict[tuple[float, float], int] = {}
    for pair in block.wires:
        for point in pair:
            ends[point] = ends.get(point, 0) + 1
    return sorted(p for p, n in ends.items() if n > 1)


def frame(block: Block) -> list[tuple[float, float]]:
    """Corners of a frame, closed."""
    left, right, top, bottom = (
        block.left - 3.81,
        block.right + 3.81,
        block.top - 3.81,
        block.bottom + 3.81,
    )
    return [
        (round(x, 3), round(y, 3))
        for x, y in ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))
    ]


def title_block(title: str) -> TitleBlock:
    """Title block of a sheet."""
    return TitleBlock(
        title="Rimward",
        revision="data",
        comments={
            1: title,
            2: "Made from hardware/circuit.py: change the data, not this sheet",
            3: "Nothing here has been built. A board layout is not given",
        },
    )
