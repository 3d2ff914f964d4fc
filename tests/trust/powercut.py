"""The store's part of the trust report: power cuts, planted defects, and the device's own digests on MicroPython."""

from typing import Any

from tests.faults import cutdefects, powercut

QUICK_DEFECTS = 2
DIGESTS = (
    "import json\nfrom tests.outside import code_values\nprint(json.dumps(code_values.problems()))"
)


def cuts(quick: bool) -> dict[str, Any]:
    """Every action, cut at, in and around every flash operation."""
    return powercut.summary(powercut.run(quick, workers=1 if quick else powercut.WORKERS))


def defects(quick: bool) -> dict[str, Any]:
    """Stores as they must not be: the cuts find each."""
    names = [row[0] for row in cutdefects.DEFECTS][: QUICK_DEFECTS if quick else None]
    missed = []
    for name in names:
        found = list(powercut.on_device(f"cutrun.plant({name!r}, 3)", 300))
        if not found or not all(line["failures"] for line in found):
            missed.append(name)
    return {
        "ok": not missed,
        "planted": len(names),
        "found": len(names) - len(missed),
        "missed": missed,
    }


def digests(quick: bool) -> dict[str, Any]:
    """RFC 4231, FIPS 180-4 and the other published values through the device's own code."""
    problems, tried = next(powercut.on_device(DIGESTS, 60))
    return {"ok": not problems and tried > 0, "published_values": tried, "problems": problems}


CHECKS = {"power cuts": cuts, "planted defects": defects, "digests on the device": digests}
