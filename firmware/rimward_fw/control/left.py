"""What wheels were left at, as the inflator keeps it: one small record, a row a wheel. Loaded before a fill and after one (`rooms`).

A row: unix s when the wheel was left and its pressure then, Pa absolute at 20 °C (both 0: not known); sum of its losses, Pa, and of their seconds,
intervals in both; closing pressure of its core, Pa, learnt as a fill began from empty (0: not known), and the tyre that it was learnt with.
"""

import struct

from rimward_protocol import codes
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.storage.store import Store

    Row = tuple[int, int, int, int, int, int, int]

KEPT = 24  # wheels
NOTHING = (0, 0, 0, 0, 0, 0, 0)
_NAME = "left"
_ROW = "<8sIiiIBHI"
_OLD_ROW = "<8sIiiIB"  # before springs were kept; no table of up to KEPT such rows has the length of one of new rows


def tyre_of(values: "Record") -> int:
    """Return a number that another tyre volume, or a tube put in or left out, changes: the core is then another one too."""
    return int(values["volume_ml"]) << 1 | values["flags"] & codes.FLAG_TUBELESS


def row_of(store: "Store", wheel: bytes, values: "Record") -> "Row":
    """Row of a wheel whose profile has `values`; NOTHING where it has none. The spring only where it is this tyre's."""
    row = _rows(store).get(bytes(wheel), NOTHING)
    return row if row[6] == tyre_of(values) else row[:5] + NOTHING[5:]


def keep(
    store: "Store", wheel: bytes, found: tuple[int, ...], spring: int, values: "Record"
) -> None:
    """Replace a wheel's row by what a fill `found` and the spring, by none where nothing is known; the wheel left longest ago makes room."""
    wheel = bytes(wheel)
    rows = _rows(store)
    rows.pop(wheel, None)
    kept = sorted(rows.items(), key=_when)[: KEPT - 1]
    if found[0] or spring:
        kept.append((wheel, found + (spring, tyre_of(values))))
    store.put(_NAME, b"".join([struct.pack(_ROW, one, *held) for one, held in kept]))


def _rows(store: "Store") -> "dict[bytes, Any]":
    held = store.get(_NAME)
    body = held[0] if held else b""
    form = _OLD_ROW if len(body) % struct.calcsize(_ROW) else _ROW
    size = struct.calcsize(form)
    found = {}
    if len(body) % size == 0:
        for at in range(0, len(body), size):
            row = struct.unpack_from(form, body, at)
            found[row[0]] = (row[1:] + NOTHING[5:])[:7]
    return found


def _when(item: "tuple[bytes, Row]") -> int:
    """Those left last come first."""
    return -item[1][0]
