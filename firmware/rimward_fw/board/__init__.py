"""Boards: one module each, all with the same small interface. To add one, add its module and a row here."""

import sys


def here():
    """The board this interpreter runs on."""
    if sys.platform == "rp2":
        from . import pico

        return pico.Board()
    from . import simulated

    return simulated.Board()
