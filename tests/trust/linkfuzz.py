"""The link under attack, counted: damaged frames past every parser, the whole firmware under them, and the tick while the line is attacked."""

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

from tests.fuzz import flood, frames, linkruns, reference

BLOCK = 12_500
FULL = {
    "compared": 1_000_000,
    "frames": 50_000,
    "device_here": 50_000,
    "device": 50_000,
    "attack_s": 20.0,
}
QUICK = {
    "compared": 10_000,
    "frames": 1_500,
    "device_here": 1_000,
    "device": 1_000,
    "attack_s": 1.0,
}
SEED = 4000


def size(name: str, quick: bool) -> float:
    """How much of one check."""
    return (QUICK if quick else FULL)[name]


def compared(quick: bool) -> dict[str, Any]:
    """Common parsers against a COBS library, zlib and construct, in seeded blocks over all cores; a difference is never passed over."""
    count = int(size("compared", quick))
    blocks = [
        (SEED + 100 + n, min(BLOCK, count - n * BLOCK)) for n in range((count + BLOCK - 1) // BLOCK)
    ]
    total: dict[str, int] = {}
    problems = []
    with ProcessPoolExecutor(min(len(blocks), os.cpu_count() or 1), get_context("spawn")) as pool:
        for future in [pool.submit(reference.compare, *block) for block in blocks]:
            try:
                for name, value in future.result().items():
                    total[name] = total.get(name, 0) + value
            except Exception as wrong:  # an exception out of a parser is what this looks for
                problems.append(f"{type(wrong).__name__}: {str(wrong)[:200]}")
    done = (
        total.get("pieces") == count and total["profiles_wrong"] > 0 and total["profiles_right"] > 0
    )
    return {"ok": done and not problems, **total, "problems": problems}


def same_on_micropython(quick: bool) -> dict[str, Any]:
    """The same check code over all that both interpreters made of the same pieces."""
    count = int(size("frames", quick))
    here, there = frames.run(SEED, count), linkruns.on_micropython("frames", SEED, count)
    return {"ok": here == there, "pieces": count, "frames": here[1], "check_code": f"{here[0]:08x}"}


def here(quick: bool) -> dict[str, Any]:
    """The whole firmware on CPython."""
    count = int(size("device_here", quick))
    return soaked(linkruns.soak_here(SEED + 1, count, True), count)


def there(quick: bool) -> dict[str, Any]:
    """The whole firmware on MicroPython."""
    count = int(size("device", quick))
    return soaked(linkruns.on_micropython("device", SEED + 2, count, True), count)


def soaked(seen: dict[str, Any], pieces: int) -> dict[str, Any]:
    """Figures of one soak, and what it must not show."""
    problems = linkruns.problems_of(seen, pieces)
    return {"ok": not problems, **seen, "problems": problems}


def attacked(quick: bool) -> dict[str, Any]:
    """Every attack in mid-fill on MicroPython; slowest tick over all of them, wall time of this machine."""
    names = [
        name
        for name in flood.ATTACKS
        if not quick
        or name in ("noise", "uploads one behind the other", "everything watched, nothing read")
    ]
    seen = [flood.attack(name, size("attack_s", quick)) for name in names]
    problems = [
        f"{one.attack}: {', '.join(flood.problems_of(one))}"
        for one in seen
        if flood.problems_of(one)
    ]
    return {
        "ok": not problems,
        "attacks": len(seen),
        "bytes_offered": sum(one.bytes_offered for one in seen),
        "halted_ticks": sum(one.halted_ticks for one in seen),
        "slowest_tick_ms": max(one.slowest_ms for one in seen),
        "problems": problems,
    }


CHECKS = {
    "frames: common parsers against COBS library, zlib and construct": compared,
    "frames: MicroPython judges as CPython": same_on_micropython,
    "whole firmware under damaged frames, CPython": here,
    "whole firmware under damaged frames, MicroPython": there,
    "tick while the line is attacked in mid-fill": attacked,
}
