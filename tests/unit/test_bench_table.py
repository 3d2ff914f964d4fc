"""The bench's table: every part gives its rows, and the document is one. What machines reach is measured by the bench, not asserted here."""

import json
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).parents[2]
# the figures the bench exists for, by words of their names
FIGURES = (
    "true tyre pressure / ceiling", "last pump-off / ideal, compressor, target <= 0.92", "last pump-off / ideal, workshop line, target <= 0.92",
    "settled and verified / ideal", "baseline plain cutoff / ideal", "baseline fixed pulses / ideal", "settled - target after cooling",
    "compiled kernels / CPython", "campaign ticks a second a core", "session decoding", ".mpy bytes", "emulated time", "pulling a session",
)  # fmt: skip


def test_the_quick_bench_gives_every_row() -> None:
    done = subprocess.run([sys.executable, "-m", "tests.bench", "--quick", "--json"], cwd=TOP, capture_output=True, text=True, timeout=300)
    assert done.returncode in (0, 1), done.stderr
    told = json.loads(done.stdout)
    assert told["quick"] and told["ok"] == all(row["ok"] is not False for row in told["rows"]) == (done.returncode == 0)
    names = [row["figure"] for row in told["rows"]]
    missing = [figure for figure in FIGURES if not any(figure in name for name in names)]
    assert not missing, names
    (highest,) = (row for row in told["rows"] if row["figure"].startswith("true tyre pressure"))
    assert highest["ok"] and highest["measured"][1] == 0, "no session of the quick campaign passes its ceiling"
    assert len(done.stderr.splitlines()) == len(names), "a line for each row goes to stderr as it comes"
