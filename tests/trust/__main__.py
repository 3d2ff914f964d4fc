"""`python -m tests.trust [--quick] [--json] [--write]`: all checks behind this inflator's trust, with figures.

`ok` is true only if every check of every part holds. `--quick` takes seeded parts of the long ones. A part is one line below.
`--write` keeps the figures of a whole run, or of those checks of it that were chosen, in FIGURES.md.
"""

import argparse
import importlib
import json
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from typing import Any

from tests.trust import page

# name -> module with CHECKS {name: function(quick) -> {"ok": bool, figures...}}; ONLY_WHOLE names those that the quick run leaves out
PARTS = {
    "guard": "tests.trust.guard_part",
    "profile": "tests.trust.profile_part",
    "store": "tests.trust.powercut",
    "link": "tests.trust.linkfuzz",
    "soak": "tests.trust.soak",
}
LONGEST_FIRST = (
    "power cuts",
    "mutants-killed",
    "rules-proved",
    "executor-agrees",
    "fills one after the other on MicroPython",
)


def tasks(quick: bool, parts: list[str], checks: list[str]) -> list[tuple[str, str]]:
    """(part, check) of all that is asked for, the long ones first, so that no core idles at the end."""
    found = []
    for part, module in PARTS.items():
        loaded = importlib.import_module(module)
        left_out = getattr(loaded, "ONLY_WHOLE", ()) if quick else ()
        found += [
            (part, check)
            for check in loaded.CHECKS
            if check not in left_out
            and (not parts or part in parts)
            and (not checks or check in checks)
        ]
    return sorted(
        found,
        key=lambda task: (
            LONGEST_FIRST.index(task[1]) if task[1] in LONGEST_FIRST else len(LONGEST_FIRST)
        ),
    )


def perform(part: str, check: str, quick: bool) -> dict[str, Any]:
    """One check with its seconds. An exception out of it is a failure of the check."""
    start = time.monotonic()
    try:
        found = dict(importlib.import_module(PARTS[part]).CHECKS[check](quick))
    except Exception as wrong:
        found = {"ok": False, "raised": f"{type(wrong).__name__}: {wrong}"[:400]}
    return {**found, "seconds": round(time.monotonic() - start, 1)}


def report(
    quick: bool, parts: list[str] | None = None, checks: list[str] | None = None
) -> dict[str, Any]:
    """All checks over two processes; `ok` only if every one of them holds."""
    start = time.monotonic()
    chosen = tasks(quick, parts or [], checks or [])
    of = {
        part: page.digest(part) for part, _ in chosen if part in page.SOURCES
    }  # before the run, which takes an hour
    for part in dict.fromkeys(part for part, _ in chosen):
        prepare = getattr(importlib.import_module(PARTS[part]), "prepare", None)
        if prepare:
            prepare()
    found: dict[str, dict[str, Any]] = {
        part: {} for part in PARTS if any(part == p for p, _ in chosen)
    }
    with ProcessPoolExecutor(min(2, os.cpu_count() or 1), get_context("fork")) as pool:
        running = {
            pool.submit(perform, part, check, quick): (part, check) for part, check in chosen
        }
        for done in as_completed(running):
            part, check = running[done]
            found[part][check] = done.result() | ({"of": of[part]} if part in of else {})
            print(line_of(part, check, found[part][check]), file=sys.stderr, flush=True)
    ordered = {
        part: {
            c: found[part][c]
            for c in importlib.import_module(PARTS[part]).CHECKS
            if c in found[part]
        }
        for part in found
    }
    told = {
        part: {"ok": all(c["ok"] for c in rows.values()), "checks": rows}
        for part, rows in ordered.items()
    }
    ok = bool(chosen) and all(part["ok"] for part in told.values())
    figures = page.figures(told)
    return {
        "ok": ok,
        "quick": quick,
        "seconds": round(time.monotonic() - start, 1),
        "figures": figures,
        "parts": told,
    }


def line_of(part: str, check: str, figures: dict[str, Any]) -> str:
    """One check for people."""
    rest = ", ".join(
        f"{name} {value}"
        for name, value in figures.items()
        if name != "ok" and value not in ([], {})
    )
    return f"{'holds' if figures['ok'] else 'FAILS'}  {part}: {check}  ({rest})"


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.trust", description="What the inflator's trust rests on, checked."
    )
    parser.add_argument(
        "--quick", action="store_true", help="seeded parts of the long checks, within 45 s"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
    parser.add_argument(
        "--part",
        action="append",
        default=[],
        choices=sorted(PARTS),
        help="this part only; may be repeated",
    )
    parser.add_argument(
        "--check", action="append", default=[], help="the checks of this name only; may be repeated"
    )
    parser.add_argument(
        "--write",
        action="store_true",
        help="keep the figures of these checks, taken whole, in FIGURES.md",
    )
    chosen = parser.parse_args()
    if chosen.write and chosen.quick:
        parser.error("--write keeps whole checks; leave out --quick")
    found = report(chosen.quick, chosen.part, chosen.check)
    if chosen.write:
        page.keep(found["parts"])
    if chosen.json:
        print(json.dumps(found))
    else:
        for name, value in found["figures"].items():
            print(f"{name}: {value}")
        print(
            f"{'all hold' if found['ok'] else 'NOT ALL HOLD'}, {found['seconds']} s{', quick' if found['quick'] else ''}"
        )
    return 0 if found["ok"] else 1


if __name__ == "__main__":
    sys.exit(main())
