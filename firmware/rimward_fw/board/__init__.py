"""Boards: one module each, all with the same small interface. To add one, add its module and a row here."""

import sys


def here():
    """The board this interpreter runs on."""
    if sys.platform == "rp2":
        from rimward_fw.board import pico

        return pico.Board()
    from rimward_fw.board import simulated

    return simulated.Board()
