"""Phases of a fill cycle."""

NOBODY = bytes(8)  # wheel id of an unregistered wheel
IDLE = 0
ASK_WHEEL = 1
ASK_STOOD = 2
ASK_COLD = 3
LOADING = 4
ARMED = 5
OVER = 6
