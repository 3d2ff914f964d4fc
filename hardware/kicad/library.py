"""Committed libraries: the few symbols and footprints that the circuit uses.

`python -m hardware.kicad.library [FOLDER]` makes them again. FOLDER is the distribution's `kicad` folder with `symbols` and `footprints`
(packages kicad-symbols and kicad-footprints 6.0). Symbols that extend another are written out in full, since a schematic keeps them so.
Licence of the copies: LICENCE.md beside this file.
"""

import sys
from functools import cache
from pathlib import Path

from kiutils.footprint import Footprint
from kiutils.symbol import Symbol, SymbolLib

from hardware.circuit import load
from hardware.kicad import own
from hardware.kicad.pinout import flags, footprint_of, symbol_of

HERE = Path(__file__).resolve().parent
SYMBOLS, FOOTPRINTS = HERE / "symbols", HERE / "footprints"
OURS = "Rimward"
# A pin type that is wrong in the distribution: the part's second output is push-pull like its first.
CORRECTED = {("MCP6562", "7"): "output"}


def wanted() -> tuple[list[str], list[str]]:
    """Return (symbols, footprints) that the circuit names."""
    parts = load().values()
    return sorted({symbol_of(p) for p in (*parts, *flags().values())}), sorted(
        {footprint_of(p) for p in parts}
    )


def in_full(library: SymbolLib, name: str) -> Symbol:
    """Return a symbol with everything that it inherits. KeyError for an unknown name."""
    by_name = {s.entryName: s for s in library.symbols}
    made = by_name[name]
    if made.extends:
        base = in_full(library, made.extends)
        properties = {p.key: p for p in base.properties} | {p.key: p for p in made.properties}
        base.properties, base.entryName = list(properties.values()), name
        for unit in base.units:
            unit.entryName = name
        made = base
    for unit in made.units:
        for pin in unit.pins:
            pin.electricalType = CORRECTED.get((name, pin.number), pin.electricalType)
    return made


def copy(folder: Path) -> None:
    """Write `symbols` and `footprints` beside this file."""
    symbols, footprints = wanted()
    SYMBOLS.mkdir(exist_ok=True)
    for name in sorted({s.split(":")[0] for s in symbols}):
        made = SymbolLib(version="20211014", generator="rimward")
        entries = [s.split(":")[1] for s in symbols if s.startswith(name + ":")]
        if name == OURS:
            made.symbols = [own.symbol(e) for e in entries]
        else:
            made.symbols = [
                in_full(SymbolLib.from_file(str(folder / "symbols" / f"{name}.kicad_sym")), e)
                for e in entries
            ]
        made.to_file(str(SYMBOLS / f"{name}.kicad_sym"))
    for full in footprints:
        library, entry = full.split(":")
        place = FOOTPRINTS / f"{library}.pretty" / f"{entry}.kicad_mod"
        place.parent.mkdir(parents=True, exist_ok=True)
        if library == OURS:
            own.FOOTPRINTS[entry]().to_file(str(place))
        else:
            place.write_bytes(
                (folder / "footprints" / f"{library}.pretty" / f"{entry}.kicad_mod").read_bytes()
            )


@cache
def symbols_of(library: str) -> dict[str, Symbol]:
    """Symbols of a committed library by name."""
    return {
        s.entryName: s for s in SymbolLib.from_file(str(SYMBOLS / f"{library}.kicad_sym")).symbols
    }


def symbol(name: str) -> Symbol:
    """Return a committed symbol by `library:name`."""
    library, entry = name.split(":")
    return symbols_of(library)[entry]


@cache
def footprint(name: str) -> Footprint:
    """Return a committed footprint by `library:name`."""
    library, entry = name.split(":")
    return Footprint.from_file(str(FOOTPRINTS / f"{library}.pretty" / f"{entry}.kicad_mod"))


def pin_numbers(name: str) -> set[str]:
    """All pin numbers of a symbol."""
    return {pin.number for unit in symbol(name).units for pin in unit.pins}


def pad_numbers(name: str) -> set[str]:
    """All pad numbers of a footprint."""
    return {pad.number for pad in footprint(name).pads if pad.number}


if __name__ == "__main__":
    copy(Path(sys.argv[1] if len(sys.argv) > 1 else "/usr/share/kicad"))
