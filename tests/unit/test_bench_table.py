"""The benchmark document: rows, verdict and exit code agree. The bench itself, with what machines reach, is `python -m tests.bench`; the short parts run here."""

import importlib
import json
import subprocess
import sys
from pathlib import Path

from tests.bench import __main__ as bench

TOP = Path(__file__).parents[2]
SHORT = {"decoding": "session decoding", "device": "machine code: "}


def test_the_document_has_every_row_of_its_parts() -> None:
    chosen = [word for part in SHORT for word in ("--part", part)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "--quick", "--json", *chosen],
        cwd=TOP,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode in (0, 1), done.stderr
    told = json.loads(done.stdout)
    assert told["quick"] and told["ok"] == all(row["ok"] is not False for row in told["rows"]) == (
        done.returncode == 0
    )
    names = [row["figure"] for row in told["rows"]]
    assert all(any(name.startswith(words) for name in names) for words in SHORT.values()), names
    assert len(done.stderr.splitlines()) == len(names), (
        "a line for each row goes to stderr as it comes"
    )


def test_every_part_can_be_asked_for_rows() -> None:
    assert set(SHORT) < set(bench.PARTS) and all(
        callable(importlib.import_module(module).rows) for module in bench.PARTS.values()
    )
