"""The rig report: a table of sections, each a function that returns (ok, lines for people, figures for programs)."""

import importlib
from typing import Any

# (title, "module:function"). A section whose module is not there fails and says so.
SECTIONS = (
    ("independent cutoff: trip band in both ranges", "tests.rig.hardware:comparator_band"),
    ("order of the limits and margins", "tests.rig.hardware:ordering"),
    ("what common parts give in the low range", "tests.rig.hardware:choices"),
    ("gate drop-out and relay release", "tests.rig.hardware:gate_band"),
    ("vent, restrictor and relief", "tests.rig.hardware:air_balance"),
    ("electrical rules", "tests.rig.hardware:rule_checks"),
    ("polarity", "tests.rig.circuit:polarity"),
    ("shorts and opens", "tests.rig.circuit:shorts_and_opens"),
    ("thermal", "tests.rig.circuit:heat"),
    ("common cause", "tests.rig.circuit:common_cause"),
    ("footprints", "tests.rig.circuit:footprints"),
    ("check-out done in simulation", "tests.rig.circuit:checkout"),
    ("hazard analysis", "tests.rig.hardware:hazard_rows"),
    ("closed loop", "tests.rig.loop:report"),
    ("safety case", "tests.rig.case:report"),
    ("generated files current", "tests.rig.hardware:generated"),
    ("firmware sizes", "tests.rig.sizes:report"),
    ("heap of the idle firmware", "tests.rig.heap:report"),
    ("screens drawn by the real framebuf", "tests.rig.screens:report"),
)


def run(title: str, where: str) -> dict[str, Any]:
    """One section's result; an import that fails or an exception is a section that does not hold."""
    module, name = where.split(":")
    try:
        ok, lines, figures = getattr(importlib.import_module(module), name)()
    except Exception as error:  # a report must not die half-way: the failure itself is the finding
        ok, lines, figures = False, [f"{type(error).__name__}: {error}"], {}
    return {"title": title, "ok": bool(ok), "lines": lines, "figures": figures}
