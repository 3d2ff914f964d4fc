"""What wheels were left at, as the inflator keeps it: one small record, a row a wheel. Loaded before a fill and after one (`rooms`).

A row: unix s when the wheel was left and its pressure then, Pa absolute at 20 °C (both 0: not known); sum of its losses, Pa, and of their seconds,
intervals in both; closing pressure of its core, Pa, learnt as a fill began from empty (0: not known), and a number for the tyre that it was learnt with.
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
_NAME = "left"
# A row before springs were kept lacks the last two; no table of up to KEPT such rows is as long as one of these.
_ROW = "<8sIiiIBHI"
_LATER = 2  # letters


def row_of(store: "Store", wheel: bytes, values: "Record") -> "Row":
    """Row of a wheel whose profile has `values`, zeros where nothing is known. Another air volume, or a tube put in or left out, is another tyre:
    its core is another one too.
    """
    tyre = values["volume_ml"] << 1 | values["flags"] & codes.FLAG_TUBELESS
    row = _rows(store).get(bytes(wheel)) or (0,) * 7
    return row[:5] + (row[5] if row[6] == tyre else 0, tyre)


def keep(store: "Store", wheel: bytes, row: "Row") -> None:
    """Replace a wheel's row, by none where nothing is known; the wheel that was left longest ago makes room."""
    wheel = bytes(wheel)
    rows = _rows(store)
    rows.pop(wheel, None)
    kept = sorted(rows.items(), key=lambda item: -item[1][0])[: KEPT - 1]
    if row[0] or row[5]:
        kept.append((wheel, row))
    store.put(_NAME, b"".join([struct.pack(_ROW, one, *held) for one, held in kept]))


def _rows(store: "Store") -> "dict[bytes, Any]":
    held = store.get(_NAME)
    body = held[0] if held else b""
    form = _ROW[:-_LATER] if len(body) % struct.calcsize(_ROW) else _ROW
    size = struct.calcsize(form)
    found = {}
    if len(body) % size == 0:
        for at in range(0, len(body), size):
            row = struct.unpack_from(form, body, at)
            found[row[0]] = (row[1:] + (0, 0))[:7]
    return found
