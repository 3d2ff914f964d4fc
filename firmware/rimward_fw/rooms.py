"""Modules that are loaded when something first needs them, and dropped before a fill and some seconds after their last use.

Measured (`python -m tests.rig.heap`): with every module in memory the plain install leaves 83 KB of the chip's heap free at idle and 24 KB
in mid-fill with the record; 90 and 30 are asked. What a fill needs stays in memory, since loading a module takes the main loop 25 ms and
more. `rimward install` leaves these modules apart and writes `room(n)`, n being the place in ROOMS, where others use them; where modules are
frozen, or all loaded at the start, `room` is never called.
"""

import gc
import sys

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any

ROOMS = (
    "rimward_protocol.preset",
    "rimward_fw.board.pins",
    "rimward_fw.board.wiring",
    "rimward_fw.control.intake",
    "rimward_fw.control.pair",
    "rimward_fw.control.sense",
    "rimward_fw.control.setting_texts",
    "rimward_fw.link.store_requests",
    "rimward_fw.ui.display_facts",
)
REST_CALLS = 20  # of `rest`, which the main loop calls ten times a second

_loaded: dict[str, object] = {}
_calls = [0]  # of `rest` since the last use


def room(number: int) -> "Any":
    """Return the module at a place in ROOMS, loaded if it is not there."""
    _calls[0] = 0
    name = ROOMS[number]
    module = _loaded.get(name)
    if module is None:
        module = __import__(name, None, None, ("*",))
        _loaded[name] = module
    return module


def rest() -> None:
    """Drop the rooms once nothing has used them for REST_CALLS calls. Not while air may move: a collection takes 20 ms."""
    _calls[0] += 1
    if _calls[0] > REST_CALLS:
        drop()


def drop() -> None:
    """Forget all loaded rooms and collect their memory."""
    if _loaded:
        forget()
        gc.collect()


def forget() -> None:
    """Forget all loaded rooms."""
    for name in _loaded:
        del sys.modules[name]
        package, _, own = name.rpartition(".")
        sys.modules[package].__dict__.pop(own, None)
    _loaded.clear()
