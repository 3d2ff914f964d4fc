"""The whole firmware as `rimward install` writes it, on an emulated processor: MicroPython's core built for the chip's instruction set.

`port/` is a small port of MicroPython: files, time, pins and buses come from the host, registers are memory. The core's sources come from a
package (`interpreter.py`). It shows what memory, stack, import and the firmware's own order do on the chip. It does not show times: the tick
runs between two bytecodes (`tests/machine` counts its cycles), flash never waits, and there is no second processor.
"""
