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
    "rimward_fw.control.left",
    "rimward_fw.control.stored",
    "rimward_fw.storage.presets",
    "rimward_fw.control.builtin",
)
PRESET, INTAKE, SENSE, STORE_REQUESTS, DISPLAY_FACTS, LEFT = 0, 3, 5, 7, 8, 9  # places, for `ready`
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


def ready(*numbers: int) -> bool:
    """Load the first of these rooms that is not there, which takes a turn of the main loop. Return True if all were there."""
    for number in numbers:
        if ROOMS[number] not in sys.modules:
            room(number)
            return False
    return True


def rest() -> None:
    """Forget the rooms once nothing has used them for REST_CALLS calls; the main loop's next collection frees their memory."""
    _calls[0] += 1
    if _calls[0] > REST_CALLS:
        forget()


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
