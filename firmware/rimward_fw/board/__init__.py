"""Boards: one module each with the interface of `simulated.Board`. A new board adds its module and a row here."""

import sys

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.shapes import Board


def here() -> "Board":
    """Return the board this interpreter runs on."""
    if sys.platform == "rp2":
        from rimward_fw.board import pico

        return pico.Board()
    from rimward_fw.board import simulated

    return simulated.Board()
