"""KiCad project as text: one sheet for each part of the circuit, a root sheet that holds them as labelled blocks, library tables.

Written by kiutils in the format of version 6, with the instances of every symbol in the first sheet. Identifiers are made from names, so
that the same data give the same files.
"""

import json
import tempfile
from copy import deepcopy
from pathlib import Path
from textwrap import wrap

from kiutils.items.common import (
    ColorRGBA,
    Effects,
    Font,
    Justify,
    PageSettings,
    Position,
    Property,
    Stroke,
)
from kiutils.items.schitems import (
    Connection,
    GlobalLabel,
    HierarchicalSheet,
    HierarchicalSheetInstance,
    Junction,
    NoConnect,
    PolyLine,
    SymbolInstance,
    Text,
)
from kiutils.schematic import Schematic
from kiutils.symbol import Symbol

from hardware.circuit import SHEET_TITLES, SHEETS, Part, load
from hardware.kicad import library
from hardware.kicad.items import (
    FOLDER,
    NAME,
    SHAPE,
    effects,
    frame,
    ident,
    junctions,
    label_at,
    shared_nets,
    symbol_at,
    title_block,
)
from hardware.kicad.pinout import FLAG, SPARE, SYMBOLS, flags, footprint_of, numbers, symbol_of
from hardware.kicad.strips import MARGIN, blocks_of

TITLES: dict[str, tuple[str, ...]] = {
    "power": (
        "Input, main fuse, surge and reversed supply; logic fuse",
        "Cutoff's own fuse; coils' fuse; logic regulator",
        "Regulators of transducers and of the cutoff",
        "Analog supply; star point of the four returns",
    ),
    "air": (
        "Pulse coupling: a falling edge tops up the store",
        "Store: drop-out time",
        "Driver and switching element M1",
        "Relay contact, terminals of the air source, free-wheel and clamps",
    ),
    "coils": (
        "Run switch; the cutoff's switch in the relay coil",
        "Firmware's switch in the relay coil, clamp, feed of M1's gate",
        "The cutoff's switch in the vent coil; vent terminals",
        "Firmware's switch in the vent coil, clamp",
        "What firmware sees of cutoff and run switch",
    ),
    "cutoff": (
        "Transducer C and its filter",
        "Thresholds",
        "Test button; comparator",
        "Consent, not too high: relay coil and vent",
        "Consent, transducer alive; latch's release; supervisor",
        "Latch",
    ),
    "monitor": ("Second converter", "C's signal", "C's supply", "Threshold", "Relay coil"),
    "sense": (
        "Transducer A and its converter",
        "Converter's wires at rest",
        "Transducer B and its divider",
        "Supply's divider; barometer",
    ),
    "panel": (
        "Processor, display, range key, id plug",
        "Display's bus; panel's feed",
        "Buttons",
        "Range key and workshop contact",
        "Bench number",
        "Sparks from hands",
        "Buzzer and lamp",
    ),
}


def sheet_of(sheet: str, parts: dict[str, Part]) -> Schematic:
    """Build one sheet. ValueError when one of its parts is not drawn or drawn twice."""
    shared = shared_nets(parts)
    blocks = blocks_of(sheet, parts, shared, TITLES[sheet])
    parts = parts | flags()
    made = Schematic(version="20211123", generator="eeschema", uuid=ident(sheet, "sheet"))
    wide, high = max(b.right for b in blocks) + MARGIN, max(b.bottom for b in blocks) + MARGIN + 40
    made.paper = PageSettings(
        "User", width=round(max(wide, 297.0), 1), height=round(max(high, 210.0), 1)
    )
    made.titleBlock = title_block(SHEET_TITLES[sheet])
    count = 0
    for number, block in enumerate(blocks):
        for spot in block.placed:
            made.schematicSymbols.append(symbol_at(sheet, parts[spot.ref], spot))
        for a, b in block.wires:
            made.graphicalItems.append(
                Connection(
                    "wire",
                    [Position(*a), Position(*b)],
                    Stroke(0, "default", ColorRGBA(0, 0, 0, 0)),
                    ident(sheet, "wire", a, b),
                )
            )
        for net, x, y, angle in block.labels:
            count += 1
            label = label_at(sheet, net, Position(x, y, angle), net in shared, count)
            (made.globalLabels if isinstance(label, GlobalLabel) else made.labels).append(label)
        made.noConnects += [NoConnect(Position(*c), ident(sheet, "open", c)) for c in block.crosses]
        made.junctions += [
            Junction(Position(*p), 0, ColorRGBA(0, 0, 0, 0), ident(sheet, "junction", p))
            for p in junctions(block)
        ]
        corners = frame(block)
        for a, b in zip(corners, corners[1:]):  # version 6 accepts only lines of two points
            made.graphicalItems.append(
                PolyLine([Position(*a), Position(*b)], SHAPE, ident(sheet, "frame", number, a))
            )
        made.texts.append(
            Text(
                block.title,
                Position(corners[0][0], corners[0][1] - 1.27, 0),
                effects(2.0, "left", bold=True),
                ident(sheet, "title", number),
            )
        )
    drawn = {s.ref for b in blocks for s in b.placed}
    missing = {row[0] for row in SHEETS[sheet]} ^ {ref for ref in drawn if parts[ref].kind != FLAG}
    if missing:
        raise ValueError(
            f"sheet {sheet}: not drawn, or of another sheet: {', '.join(sorted(missing))}"
        )
    made.libSymbols = [library_copy(name) for name in sorted({symbol_of(parts[r]) for r in drawn})]
    return made


def library_copy(name: str) -> Symbol:
    """Library symbol as stored in a schematic: with its library's name."""
    made = deepcopy(library.symbol(name))
    made.libraryNickname = name.split(":", maxsplit=1)[0]
    return made


def first_sheet(sheets: dict[str, Schematic], parts: dict[str, Part]) -> Schematic:
    """Root sheet: every other sheet as a labelled block, and the instances of all symbols."""
    made = Schematic(version="20211123", generator="eeschema", uuid=ident("first"))
    made.paper, made.titleBlock = PageSettings("A4"), title_block("all sheets")
    made.sheetInstances = [HierarchicalSheetInstance("/", "1")]
    everything = parts | flags()
    for n, (name, sheet) in enumerate(sheets.items()):
        x, y = 25.4 + n % 3 * 81.28, 30.48 + n // 3 * 45.72
        block = HierarchicalSheet(
            position=Position(x, y),
            width=66.04,
            height=25.4,
            uuid=ident(name, "block"),
            stroke=Stroke(0.15, "solid", ColorRGBA(0, 0, 0, 0)),
            fill=ColorRGBA(255, 255, 255, 0),
        )
        block.sheetName = Property(
            "Sheet name", name, 0, Position(x, y - 0.8, 0), effects(1.8, "left")
        )
        block.fileName = Property(
            "Sheet file",
            f"{name}.kicad_sch",
            1,
            Position(x, y + 26.2, 0),
            Effects(font=Font(height=1.27, width=1.27), justify=Justify("left", "top")),
        )
        made.sheets.append(block)
        made.texts.append(
            Text(
                wrapped(SHEET_TITLES[name]),
                Position(x + 2.54, y + 12.7, 0),
                effects(1.5, "left"),
                ident(name, "words"),
            )
        )
        made.sheetInstances.append(HierarchicalSheetInstance(f"/{block.uuid}", str(n + 2)))
        for symbol in sheet.schematicSymbols:
            part = everything[symbol.properties[0].value]
            made.symbolInstances.append(
                SymbolInstance(
                    f"/{block.uuid}/{symbol.uuid}",
                    part.ref,
                    symbol.unit or 1,
                    part.value,
                    footprint_of(part),
                )
            )
    made.texts.append(
        Text(
            "Returns: PGND motor and coils, GND logic, SGND transducers A and B, CGND the independent cutoff; they meet in NT1 to NT3 alone.",
            Position(25.4, 165.1, 0),
            effects(1.8, "left"),
            ident("returns"),
        )
    )
    return made


def wrapped(text: str, width: int = 38) -> str:
    """Wrap text with escaped line ends."""
    return "\\n".join(wrap(text, width))


def text_of(schematic: Schematic) -> str:
    """Return the text of a schematic file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.kicad_sch"
        schematic.to_file(str(path))
        return path.read_text(encoding="utf-8")


def unmatched(parts: dict[str, Part]) -> list[str]:
    """Differences between data, symbol and footprint: one line each, none when every pin has a pad."""
    wrong = []
    for part in parts.values():
        try:
            symbol, pads = (
                library.pin_numbers(symbol_of(part)),
                library.pad_numbers(footprint_of(part)),
            )
        except Exception as error:  # kiutils raises plain Exception for a missing file; any failure is a finding here
            wrong.append(
                f"{part.ref}: {symbol_of(part) if part.kind in SYMBOLS else part.kind}, {footprint_of(part)}: {error}"
            )
            continue
        used = [number for pin in part.pins for number in numbers(part, pin)]
        wrong += [f"{part.ref}: {n} is used twice" for n in {n for n in used if used.count(n) > 1}]
        wrong += [f"{part.ref}: {n} is not on {symbol_of(part)}" for n in used if n not in symbol]
        wrong += [
            f"{part.ref}: {n} has no pad on {footprint_of(part)}" for n in used if n not in pads
        ]
        wrong += [
            f"{part.ref}: pad or pin {n} is not in the data"
            for n in sorted((symbol | pads) - set(used) - set(SPARE.get(part.kind, {})))
        ]
    return wrong


def tables() -> dict[str, str]:
    """Return the project's library tables: the committed folders, under the distribution's names."""
    here = "${KIPRJMOD}/../../kicad"
    symbols, footprints = library.wanted()
    rows = {
        "sym-lib-table": [
            f'  (lib (name "{n}")(type "KiCad")(uri "{here}/symbols/{n}.kicad_sym")(options "")(descr ""))'
            for n in sorted({s.split(":")[0] for s in symbols})
        ],
        "fp-lib-table": [
            f'  (lib (name "{n}")(type "KiCad")(uri "{here}/footprints/{n}.pretty")(options "")(descr ""))'
            for n in sorted({f.split(":")[0] for f in footprints})
        ],
    }
    return {
        name: "\n".join([f"({name.replace('-', '_')}", *lines, ")", ""])
        for name, lines in rows.items()
    }


def products() -> dict[str, str]:
    """File name under hardware/out -> text."""
    parts = load()
    sheets = {name: sheet_of(name, parts) for name in SHEETS}
    made = {f"{name}.kicad_sch": text_of(sheet) for name, sheet in sheets.items()}
    made[f"{NAME}.kicad_sch"] = text_of(first_sheet(sheets, parts))
    made[f"{NAME}.kicad_pro"] = (
        json.dumps(
            {
                "meta": {"filename": f"{NAME}.kicad_pro", "version": 1},
                "schematic": {"legacy_lib_dir": "", "legacy_lib_list": []},
                "sheets": [],
                "text_variables": {},
            },
            indent=2,
        )
        + "\n"
    )
    made |= tables()
    return {f"{FOLDER}/{name}": text for name, text in made.items()}
