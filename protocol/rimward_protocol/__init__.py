"""What host and firmware must agree on: layouts, numbers, frames, check codes.

Every module here is the common subset of CPython and MicroPython and imports nothing but the standard library.
"""
