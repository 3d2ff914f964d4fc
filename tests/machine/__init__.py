"""The machine code that goes on a board, on an emulated ARMv6-M processor: bits compared with CPython, cycles counted and bounded."""
