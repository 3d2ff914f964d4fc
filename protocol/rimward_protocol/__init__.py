"""Shared definitions of host and firmware: layouts, numbers, frames, check codes.

Every module is written in the common subset of CPython and MicroPython and imports only the standard library.
"""
