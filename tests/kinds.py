"""Markers of tests by what they need, the order of a run, and what a quick test may not do.

Files and single tests are named in one table. Every kind is `slow` too; `pytest -m "not slow"` is the quick set. A quick test that starts a process, asks
for a proof or compiles a kernel fails and says so, so that the set stays quick.
"""

import gc
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import wraps
from pathlib import Path
from typing import Any

import pytest

SLOW = "slow"
QUICK = "not slow"
U, F = "tests/unit/test_", "tests/faults/test_"
# kind -> (meaning, folders, files or tests)
KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "browser": ("drives Chromium", ("tests/web/",)),
    "interpreter": (
        "runs the firmware on MicroPython",
        (
            "tests/interpreter/", f"{F}cable.py", f"{F}forged_records.py", f"{F}halt.py", f"{F}powercut.py", f"{F}small_flash.py", "tests/fuzz/test_flood.py", "tests/fuzz/test_frames.py",
            f"{U}bench_firmware.py", f"{U}bench_lease.py", f"{U}bringup.py", f"{U}calibration_command.py", f"{U}calibration_age.py", f"{U}calibration_bench.py",
            f"{U}cutoff_check.py", f"{U}daily_use.py", f"{U}inflators_set.py", f"{U}journeys.py", f"{U}link_client.py::test_a_host_that_slept_watches_and_holds_again",
            f"{U}link_condition.py", f"{U}link_pull.py", f"{U}link_session.py", f"{U}preset_inflator.py", f"{U}preset_send.py", f"{U}proof_evidence.py", f"{U}proof_hold.py", f"{U}proof_run.py", f"{U}proof_interrupted.py",
            f"{U}proof_specimen.py", f"{U}sample_age.py", f"{U}screen.py", f"{U}selfcheck.py", f"{U}session_kept.py", f"{U}settings.py", f"{U}status_cause.py", f"{U}targets.py",
            f"{U}uncertainty.py", f"{U}virtual_", f"{U}web_trial.py", f"{U}wheel_loss.py", f"{U}zero_check.py",
        ),
    ),
    "machine": ("runs the board's machine code on an emulated processor, or makes it", ("tests/board/", "tests/machine/", f"{U}bench_build.py", f"{U}long_texts.py", f"{U}rooms.py", f"{U}short_names.py")),
    "proof": (
        "proves with z3, or judges mutants by it",
        (f"{U}bench_guard_rules.py", f"{U}closed_loop.py", f"{U}guard_mutation.py", f"{U}guard_proof.py", f"{U}guard_sweep.py", f"{U}host_mutation.py", f"{U}profile_mutation.py"),
    ),
    "circuit": (
        "runs ngspice",
        ("tests/outside/test_comparator.py", "tests/rig/", f"{U}hardware_checkout.py", f"{U}hardware_faults.py", f"{U}hardware_polarity.py", f"{U}hardware_shared.py", f"{U}hardware_thermal.py"),
    ),
    "database": ("starts a PostgreSQL server", (f"{U}register_server.py",)),
    "process": (
        "starts other programs",
        (f"{U}absent_modules.py", f"{U}bench_table.py", f"{U}ceiling_command.py::test_the_answer_loads_no_heavy_library", f"{U}command_line.py", f"{U}library.py", f"{U}ran.py", f"{U}register.py"),
    ),
    "compiled": ("needs kernels or plant compiled by numba", (f"{F}confusion.py", f"{F}every_fault.py", f"{U}campaign.py", f"{U}cracked_hose.py", f"{U}fill_hose.py", f"{U}fill_warm.py", f"{U}fill_width.py", f"{U}plant_effects.py", f"{U}plant_faults.py", f"{U}plant_hardware.py", f"{U}plant_parts.py", f"{U}springs.py", f"{U}stuck_gate.py", f"{U}tyre_range.py")),
    "long": (
        "computes, or loads a library, for seconds",
        (
            f"{F}old_profiles.py", f"{F}consent.py", f"{F}consent_limits.py", "tests/fuzz/test_conversation.py", "tests/outside/test_ceiling_oracle.py", "tests/outside/test_co2.py", "tests/outside/test_onset_limit.py",
            "tests/outside/test_weibull.py", "tests/sessions/", f"{U}bench_fill.py", f"{U}bench_trace.py", f"{U}fill_behaviour.py", f"{U}full_rate.py", f"{U}hardware_kicad.py", f"{U}hardware_rules.py",
            f"{U}loss.py", f"{U}plant_balance.py", f"{U}proof_commands.py", f"{U}proof_coverage.py", f"{U}proof_events.py", f"{U}proof_load.py::test_any_text_is_read_or_refused",
            f"{U}proof_plant_events.py", f"{U}proof_session.py", f"{U}record_edges.py", f"{U}report.py", f"{U}trust_report.py::test_the_page_is_the_kept_figures", f"{U}ride.py::test_the_heat_map_shows_the_limit", f"{U}tag.py", f"{U}untyped.py::test_a_board_gets_no_annotation_outside_the_kernels", f"{U}verification.py", f"{U}web_wording.py",
        ),
    ),
}  # fmt: skip
# The longest files, first of all, what waits for an inflator's time or a browser among what computes: the workers then end together.
FIRST = (
    f"{U}campaign.py", f"{U}virtual_port.py", "tests/web/test_bench.py", f"{U}guard_proof.py", "tests/web/test_looks.py", "tests/board/test_visit.py", f"{U}journeys.py",
    f"{U}bench_guard_rules.py", "tests/web/test_instrument.py", f"{U}proof_run.py", "tests/web/test_mechanic.py", f"{U}guard_mutation.py", "tests/web/test_states.py", "tests/board/",
    "tests/web/test_live.py", "tests/interpreter/test_install.py", "tests/web/test_robust.py", f"{F}powercut.py", "tests/web/test_first_run.py", "tests/machine/", f"{U}absent_modules.py",
    f"{U}calibration_command.py", "tests/interpreter/", "tests/web/", f"{F}every_fault.py",
)  # fmt: skip


def kinds_of(node_id: str) -> list[str]:
    """Return the kinds of a test, or of a whole file, by its id."""
    return [kind for kind, (_meaning, places) in KINDS.items() if node_id.startswith(places)]


def place_in_order(node_id: str) -> int:
    """Return the rank of a test's file in a run: the longest, then what is slow, then the quick ones."""
    for rank, place in enumerate(FIRST):
        if node_id.startswith(place):
            return rank
    return len(FIRST) + (not kinds_of(node_id.partition("::")[0]))


class Kinds:
    """A plugin: marks and orders tests, and holds one without the marker `slow` to what a quick test may do."""

    def __init__(self) -> None:
        self.running: pytest.Item | None = None
        self.file: Path | None = None
        self.watched: set[str] = set()

    def pytest_configure(self, config: pytest.Config) -> None:
        for kind, (meaning, _places) in KINDS.items():
            config.addinivalue_line("markers", f"{kind}: {meaning}; slow")

    def pytest_ignore_collect(self, collection_path: Path, config: pytest.Config) -> bool | None:
        """Leave out files that are slow as a whole where the quick set is asked for: importing them takes longer than running the rest."""
        if config.option.markexpr != QUICK or not collection_path.is_relative_to(config.rootpath):
            return None
        place = collection_path.relative_to(config.rootpath).as_posix()
        return True if kinds_of(place + "/" * collection_path.is_dir()) else None

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        for item in items:
            for kind in kinds_of(item.nodeid):
                item.add_marker(kind)
            if any(item.get_closest_marker(kind) for kind in KINDS):
                item.add_marker(SLOW)
        items.sort(key=lambda item: place_in_order(item.nodeid))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.watch()
        if item.path != self.file:
            self.file = item.path
            gc.collect()
            gc.freeze()  # firmware and garbage collector look through new objects only, not through all that imports have left
        self.running = item
        try:
            return (yield)
        finally:
            self.running = None

    def watch(self) -> None:
        """Refuse quick tests what takes long: once for each library that is there by now."""
        self._refuse("process", subprocess.Popen, "__init__", "starts a process")
        self._refuse("spawned", os, "posix_spawn", "starts a process")
        if "z3" in sys.modules:
            self._refuse("proof", sys.modules["z3"].Solver, "check", "asks for a proof")
        if "numba.core.registry" in sys.modules:
            self._refuse(
                "compiled", sys.modules["numba.core.registry"].CPUDispatcher, "compile", "compiles"
            )

    def _refuse(self, name: str, owner: Any, attribute: str, what: str) -> None:
        if name not in self.watched:
            self.watched.add(name)
            setattr(owner, attribute, self.refusing(getattr(owner, attribute), what))

    def refusing(self, plain: Callable[..., Any], what: str) -> Callable[..., Any]:
        """Return `plain`, refused while a quick test runs."""

        @wraps(plain)
        def call(*args: Any, **named: Any) -> Any:
            assert self.running is None or self.running.get_closest_marker(SLOW), (
                f"a test without the marker `{SLOW}` {what}: give it its kind in tests/kinds.py"
            )
            return plain(*args, **named)

        return call
