"""`rimward ceiling`: exit codes, the documented JSON, the text for people, and a quick answer."""

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from rimward.cli.main import cli

from tests.unit.schema import validate

PAIR = ("--rim", "622x23TSS", "--tyre", "28-622", "--approved", "yes")
MOUNTAIN = (
    "--fill-temp",
    "18",
    "--fill-altitude",
    "200",
    "--ride-altitude-max",
    "2400",
    "--ride-temp-max",
    "45",
)


def run(*args: str) -> Result:
    return CliRunner().invoke(cli, ["ceiling", *args])


def answer(*args: str, code: int = 0) -> dict:
    result = run(*args, "--json")
    assert result.exit_code == code, result.output
    found = json.loads(result.stdout)
    validate(found, "ceiling")
    assert (found["status"] == "ok") == (code == 0) == (found["refusals"] == [])
    return found


def test_the_schema_can_fail() -> None:
    with pytest.raises(jsonschema.ValidationError):
        validate({"status": "ok"}, "ceiling")


def test_the_mountain_ride() -> None:
    found = answer(*PAIR, "--rim-max", "5 bar", "--tyre-range", "4-6 bar", *MOUNTAIN)
    assert (found["ceiling_pa"], found["stop_reading_pa"], found["governing"]) == (
        427_000,
        None,
        "rim-maximum",
    )
    assert found["window"] == {"min_pa": 400_000, "max_pa": 427_000}
    assert found["envelope"]["fill_ceiling_pa"] == 427_837
    assert found["envelope"]["highest_gauge_if_filled_to_limit_pa"] == 578_855
    assert found["envelope"]["highest_gauge_if_filled_to_ceiling_pa"] <= 500_000


def test_people_see_every_step_in_both_units_with_the_arithmetic() -> None:
    text = run(*PAIR, "--rim-max", "5 bar", *MOUNTAIN).stdout
    assert (
        "limit 5.00 bar → ride −0.73 → ceiling 4.27" in text
        and "limit 72.5 psi → ride −10.6 → ceiling 61.9" in text
    )
    assert "(500.0 + 75.63) kPa x 291.15 K / 318.15 K − 98.95 kPa = 427.84 kPa" in text
    assert "CEILING   4.27 bar (61.9 psi) gauge" in text and "eye protection" in text


def test_a_step_is_named_after_what_it_is() -> None:
    """72.5 psi is 499.87 kPa, the ceiling 499 kPa: no ride takes that, rounding does."""
    unstated = run(*PAIR, "--rim-max", "72.5 psi").stdout
    assert (
        "limit 72.5 psi → rounded down −0.2 → ceiling 72.3" in unstated and "→ ride" not in unstated
    )
    assert "limit 4.99 bar → rounded down −0.00" not in unstated
    assert "limit 5.00 bar → ceiling 5.00" in run(*PAIR, "--rim-max", "5 bar").stdout
    stated = run(*PAIR, "--rim-max", "5 bar", "--fill-temp", "18", "--ride-temp-max", "18").stdout
    assert "limit 5.00 bar → ride −0.00 → ceiling 5.00" in stated
    warm = run(
        *PAIR,
        "--rim-max",
        "72.5 psi",
        "--fill-temp",
        "20",
        "--ride-temp-max",
        "21",
        "--limit-at-fill-only",
    ).stdout
    assert "limit 72.5 psi → rounded down −0.2 → ceiling 72.3" in warm


def test_the_stop_reading_of_an_inflator(tmp_path: Path) -> None:
    file = tmp_path / "inflator.json"
    file.write_text(json.dumps({"name": "bench one", "guard": "0.10 bar"}), encoding="utf-8")
    found = answer(*PAIR, "--rim-max", "5 bar", *MOUNTAIN, "--instrument", str(file))
    assert (found["ceiling_pa"], found["stop_reading_pa"]) == (427_000, 417_000)
    text = run(*PAIR, "--rim-max", "5 bar", *MOUNTAIN, "--instrument", str(file)).stdout
    assert (
        "limit 5.00 bar → ride −0.73 → ceiling 4.27 → this inflator −0.10 → stops at 4.17" in text
    )


def test_the_guard_band_says_what_it_rests_on(tmp_path: Path) -> None:
    file = tmp_path / "inflator.json"
    file.write_text(
        json.dumps({"full_scale": "10 bar", "total_error_band_percent": 0.5}), encoding="utf-8"
    )
    text = run(*PAIR, "--rim-max", "5 bar", "--instrument", str(file)).stdout
    assert "class bound, not calibrated" in text
    assert "false accept 2.28% for a reading exactly at the stop reading" in text


def test_refused_still_prints_its_answer() -> None:
    found = answer(*PAIR, "--tyre-range", "85–120 psi", code=1)
    assert found["ceiling_pa"] is None and [note["id"] for note in found["refusals"]] == [
        "tyre-minimum-above-ceiling"
    ]
    assert found["governing"] == "straight-side-class" and found["window"]["min_pa"] == 586_055
    assert "REFUSED   tyre-minimum-above-ceiling" in run(*PAIR, "--tyre-range", "85–120 psi").stdout


def test_what_cannot_be_read_is_refused_all_at_once() -> None:
    found = answer("--rim", "622x23TSS", "--rim-max", "5", "--tyre", "26x1 3/4", code=1)
    assert [note["id"] for note in found["refusals"]] == ["unit-missing", "size-not-understood"]


@pytest.mark.parametrize(
    "args",
    [
        (),
        ("--rim", "622x23TSS"),
        (*PAIR, "--tyre-range", "4-6 bar", "--tyre-max", "6 bar"),
        (*PAIR, "--approved", "maybe"),
        (*PAIR, "--fill-temp", "warm"),
        (*PAIR, "--ride-altitude-max", "20000"),
        (*PAIR, "--fill-temp", "nan"),
    ],
)
def test_wrong_usage_is_2(args: tuple[str, ...]) -> None:
    result = run(*args)
    assert result.exit_code == 2 and "Traceback" not in result.output


@pytest.mark.parametrize(
    ("option", "id"),
    [
        ("--instrument", "instrument-not-understood"),
        ("--maker-table", "maker-table-not-understood"),
        ("--ride-route", "route-not-understood"),
    ],
)
def test_files_that_are_not_there(option: str, id: str, tmp_path: Path) -> None:
    assert answer(*PAIR, option, str(tmp_path / "none"), code=1)["refusals"][0]["id"] == id


def test_limit_at_fill_only() -> None:
    found = answer(
        *PAIR,
        "--rim-max",
        "5 bar",
        "--fill-temp",
        "20",
        "--ride-temp-max",
        "30",
        "--limit-at-fill-only",
    )
    assert found["ceiling_pa"] == 500_000 and "limit-held-at-fill-only" in [
        note["id"] for note in found["warnings"]
    ]
    assert (
        answer(*PAIR, "--rim-max", "5 bar", *MOUNTAIN, "--limit-at-fill-only", code=1)["refusals"][
            0
        ]["id"]
        == "limit-exceeded-on-ride"
    )


def test_the_answer_loads_no_heavy_library() -> None:
    code = (
        "import sys, rimward.cli.commands.ceiling as c;"
        "c.command.main(['--rim','622x23TSS','--tyre','28-622','--approved','yes','--json'], standalone_mode=False);"
        "sys.exit(len({'numpy', 'matplotlib', 'scipy', 'gpxpy', 'uncertainties'} & set(sys.modules)))"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=60).returncode
        == 0
    )
