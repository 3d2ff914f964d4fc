"""Counts the instructions of an emulated processor by a function in this computer's machine code: a Python callback for every basic block takes ten
times as long.

An instruction of compiled C takes `CYCLES` cycles on a Cortex-M0+ (loads, stores and taken branches two), and as much again by half where the
flash cache misses: what the interpreter's idle collection takes here and took on the board that was measured from outside (17 ms) sets
`US_AN_INSTRUCTION`.
"""

import ctypes
import hashlib
import shutil
import subprocess
from pathlib import Path
from typing import Any

import unicorn
from platformdirs import user_cache_path
from unicorn.unicorn_py3.unicorn import uclib

from tests.board.interpreter import Missing

CYCLES, MHZ, FLASH_WAITS = 1.4, 125.0, 1.5
US_AN_INSTRUCTION = CYCLES * FLASH_WAITS / MHZ
COMPILER = "cc"
# A basic block's bytes by two: ARMv6-M has few longer instructions.
SOURCE = """
void block(void *processor, unsigned long long address, unsigned size, unsigned long long *count) { *count += size >> 1; }
"""


def library() -> Path:
    """Return the compiled function, making it where this one is not kept. Missing without a compiler."""
    place = user_cache_path("rimward-tests") / (
        f"counting-{hashlib.sha256(SOURCE.encode()).hexdigest()[:16]}.so"
    )
    if not place.exists():
        if shutil.which(COMPILER) is None:
            raise Missing(f"Install {COMPILER}: apt-get install gcc")
        place.parent.mkdir(parents=True, exist_ok=True)
        made = place.with_suffix(f".{id(place)}")
        command = [COMPILER, "-O2", "-shared", "-fPIC", "-x", "c", "-", "-o", str(made)]
        subprocess.run(command, input=SOURCE.encode(), check=True, timeout=60)
        made.replace(place)
    return place


def count(processor: Any) -> ctypes.c_uint64:
    """Count from now on, before the processor first runs. Return what grows."""
    counted, hook = ctypes.c_uint64(), ctypes.c_size_t()
    function = ctypes.CDLL(str(library())).block
    status = uclib.uc_hook_add(
        processor._uch, ctypes.byref(hook), unicorn.UC_HOOK_BLOCK, ctypes.cast(function, ctypes.c_void_p),
        ctypes.byref(counted), ctypes.c_uint64(1), ctypes.c_uint64(0),
    )  # fmt: skip
    if status != unicorn.UC_ERR_OK:
        raise unicorn.UcError(status)
    return counted
