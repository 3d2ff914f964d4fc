"""The commands as used: exit codes, one document on standard output, self-contained reports."""

import json
import re

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.commands.proof import command

HEAD = "sample,release_bar,limit_bar,released,batch"
ROWS = [f"S{i},{8 + 0.1 * i},5,yes,FW-12" for i in range(10)]
PLAN = [
    "plan",
    "--rim",
    "622x23TSS",
    "--rim-max",
    "5 bar",
    "--tyre",
    "28-622",
    "--tyre-max",
    "6 bar",
]


def call(*args):
    return CliRunner().invoke(command, [str(arg) for arg in args])


@pytest.fixture
def lab(tmp_path):
    path = tmp_path / "lab.csv"
    path.write_text("\n".join([HEAD, *ROWS, "N1,9.5,5,no,FW-14"]) + "\n", encoding="utf-8")
    return path


def test_analyse_json_is_one_document(lab):
    done = call("analyse", lab, "--json")
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert {"normal_margin", "normal_pa", "rank_margin", "rank_pa", "rank_order", "reason"} <= set(
        found["lower_tolerance"]
    )
    assert found["lower_tolerance"]["reason"] == "censored"


def test_analyse_for_people_says_headline_and_warnings(lab):
    done = call("analyse", lab)
    assert done.exit_code == 0 and "Batch FW-1" in done.stdout and "NOTE:" in done.stdout


@pytest.mark.parametrize(
    "options",
    [
        ["--coverage", "95"],
        ["--confidence", "1"],
        ["--coverage", "x"],
        ["--effect", "colour"],
        ["-o", "r.docx"],
    ],
)
def test_wrong_usage_is_2(lab, options):
    assert call("analyse", lab, *options).exit_code == 2


def test_a_missing_file_is_2(tmp_path):
    assert call("analyse", tmp_path / "none.csv").exit_code == 2


def test_a_bad_row_is_refused(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text(f"{HEAD}\nA,7.5,5,perhaps,B\n", encoding="utf-8")
    done = call("analyse", bad, "--json")
    assert (
        isinstance(done.exception, Refusal)
        and "bad.csv row 2" in str(done.exception)
        and done.stdout == ""
    )


def test_gauge_u_is_read_with_its_unit(lab):
    plain, less = (
        json.loads(call("analyse", lab, "--json", *more).stdout)
        for more in ([], ["--gauge-u", "5 kPa"])
    )
    batch = [found["batches"][0]["lower_tolerance"]["normal_pa"] for found in (plain, less)]
    assert batch[0] - batch[1] == pytest.approx(5000)
    assert isinstance(call("analyse", lab, "--gauge-u", "5").exception, Refusal)


def test_the_report_is_self_contained(lab, tmp_path):
    out = tmp_path / "r.html"
    assert call("analyse", lab, "-o", out).exit_code == 0
    page = out.read_text(encoding="utf-8")
    assert page.count("<svg") == 2 and "cannot prove a normal" in page and "FW-12" in page
    assert not re.search(r"<(script|link|img|iframe)|@import|url\(http", page)


def test_report_escapes_what_a_lab_wrote(tmp_path):
    path, out = tmp_path / "x.csv", tmp_path / "r.html"
    path.write_text(
        f"{HEAD}\n" + "".join(f"<script>{i},{8 + i / 10},5,yes,<b>lot\n" for i in range(5)),
        encoding="utf-8",
    )
    assert call("analyse", path, "-o", out).exit_code == 0
    page = out.read_text(encoding="utf-8")
    assert "<script>" not in page and "<b>lot" not in page and "&lt;script&gt;0" in page


def test_report_is_the_same_twice(lab, tmp_path):
    for name in ("a.html", "b.html"):
        call("analyse", lab, "-o", tmp_path / name)
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_merge_joins_and_finds_repeated_rows(lab, tmp_path):
    other, out = tmp_path / "other.csv", tmp_path / "joined.csv"
    other.write_text(
        f"{HEAD},rim_id,operator\n{ROWS[0]},,\nS1,7.7,5,yes,FW-15,R1,mk\nS99,7.7,5,yes,FW-15,R1,mk\n",
        encoding="utf-8",
    )
    done = call("merge", lab, other, "-o", out, "--json")
    found = json.loads(done.stdout)
    assert [row["sample"] for row in found["repeated"]] == ["S0"]
    assert {row["to"] for row in found["renamed"]} == {"lab:S1", "other:S1"}
    assert [pair["second"]["sample"] for pair in found["suspects"]] == ["S99"]
    assert found["rows"] == 13 and "operator" in out.read_text(encoding="utf-8").splitlines()[0]
    assert json.loads(call("analyse", out, "--json").stdout)["counts"]["rows"] == 13


def test_merge_distinguishes_files_of_one_name_and_reports_a_repeated_test(tmp_path):
    """Two labs' first samples are two specimens; the same result with more columns in one file is reported."""
    head = "sample,release_bar,limit_bar,released"
    texts = {
        "fern": f"{head}\n1,7.1,5,yes\n2,8,5,no\n",
        "hollow": f"{head},rim_id\n1,7.4,5,yes,\n2,8,5,no,R2\n",
    }
    paths = [tmp_path / lab / "tests.csv" for lab in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
    assert json.loads(call("analyse", *paths, "--json").stdout)["n"] == 4
    found = json.loads(call("merge", *paths, "-o", tmp_path / "joined.csv", "--json").stdout)
    assert {row["to"] for row in found["renamed"]} == {
        "fern/tests:1",
        "hollow/tests:1",
        "fern/tests:2",
        "hollow/tests:2",
    }
    assert [(pair["first"]["sample"], pair["second"]["sample"]) for pair in found["suspects"]] == [
        ("fern/tests:2", "hollow/tests:2")
    ]
    assert json.loads(call("analyse", tmp_path / "joined.csv", "--json").stdout)["n"] == 4


def test_analyse_for_people_says_how_many_more_and_why_no_effects(tmp_path):
    path = tmp_path / "a.csv"
    rows = [f"A{i},{5.3 + 0.3 * (i % 3)},5,yes,{20 + i}" for i in range(6)]
    path.write_text(
        "\n".join(["sample,release_bar,limit_bar,released,temp_c", *rows]) + "\n", encoding="utf-8"
    )
    found, said = (
        json.loads(call("analyse", path, "--json").stdout),
        " ".join(call("analyse", path).stdout.split()),
    )
    assert found["more_samples"]["for_normal_claim"] > 0
    assert (
        f"a normal bound at the limit needs {found['more_samples']['for_normal_claim']} more"
        in said
    )
    assert "temp_c: none formed (under ten samples a term; 10 specimens needed)" in said


def test_merge_writes_csv_to_standard_output(lab):
    done = call("merge", lab, lab)
    assert done.stdout.splitlines()[0] == HEAD and len(done.stdout.splitlines()) == 12


def test_merge_json_needs_a_file(lab):
    assert call("merge", lab, "--json").exit_code == 2


def test_schema():
    assert "release_bar" in call("schema").stdout
    assert (
        json.loads(call("schema", "--json").stdout)["tableSchema"]["columns"][0]["name"] == "sample"
    )


def test_plan_takes_110_percent_of_the_lowest_for_five_minutes():
    made = json.loads(call(*PLAN, "--recommended", "4.5 bar", "--json").stdout)
    assert (made["limit_pa"], made["governing"], made["retention_pa"], made["hold_s"]) == (
        500_000,
        "rim-marked",
        550_000,
        300,
    )
    assert made["us_law_pa"] == 495_000 and made["medium"] == "water"
    # the holds, the rise at 5 kPa/s, two minutes for the beads; 60 KB beside the trace, 80 bytes a second of it, thinned 20
    holds = sum(step["hold_s"] or 0 for step in made["steps"])
    assert made["longest_s"] == pytest.approx(holds + made["top_pa"] / 5_000 + 120, abs=1)
    assert made["bench_heap_bytes"] == pytest.approx(61_440 + 80 * made["longest_s"], abs=80)
    assert made["bench_heap_thinned_bytes"] == pytest.approx(
        61_440 + 20 * made["longest_s"], abs=20
    )
    assert (made["gauge_u_pa"], made["hold_pa"]) == (16_000, 566_000)
    held = [step for step in made["steps"] if step["gauge_pa"] == 566_000]
    assert [step["hold_s"] for step in held] == [300]
    assert (
        made["steps"][-1]["gauge_pa"] == 0
        and max(step["gauge_pa"] for step in made["steps"]) == made["top_pa"] == 970_000
    )  # the bench's end


def test_plan_holds_a_straight_side_rim_to_five_bar_whatever_is_printed():
    made = json.loads(call(*PLAN[:3], "--rim-max", "7 bar", *PLAN[5:], "--json").stdout)
    assert (made["limit_pa"], made["governing"]) == (500_000, "straight-side")
    crochet = json.loads(
        call("plan", "--rim", "622x23TC", "--rim-max", "7 bar", *PLAN[5:], "--json").stdout
    )
    assert (crochet["limit_pa"], crochet["governing"]) == (600_000, "tyre-marked")


def test_plan_shows_the_methods_and_where_they_disagree():
    made = json.loads(call(*PLAN, "--volume-l", "1.5", "--json").stdout)
    at_limit = {row["id"]: row["energy_j"] for row in made["energy"][0]["air"]}
    assert at_limit["isentropic"] == pytest.approx(899.245014) and at_limit[
        "brode"
    ] == pytest.approx(1875)
    assert made["energy"][0]["water_j"] < 1 and made["stand_off"]["later_editions_m"] == 30
    assert made["stand_off"]["scaled_factor_2_m"] > made["stand_off"]["scaled_factor_1_m"]
    assert made["screen"]["withstands_pa"] == 1_455_000 and made["ppe"] and made["cautions"]


def test_plan_for_people_keeps_the_cautions():
    text = call(*PLAN).stdout
    assert (
        "CAUTION:" in text
        and "5.50 bar (79.8 psi)" in text
        and "5.00 bar (72.5 psi)" in text
        and "it states no time" in text
    )


@pytest.mark.parametrize("more", [["--to", "5.5 bar"], ["--step", "0.001 bar"]])
def test_plan_refuses_a_ramp_without_steps(more):
    assert isinstance(call(*PLAN, *more).exception, Refusal)


@pytest.mark.parametrize(
    "more, why",
    [
        (["--to", "28 bar"], "above what the bench reaches, 9.70 bar"),
        (["--rim-max", "9 bar"], "need another bench"),
    ],
)
def test_plan_respects_the_end_of_the_bench(more, why):
    done = call(
        "plan",
        "--rim",
        "622x23TC",
        "--rim-max",
        "7 bar",
        "--tyre",
        "28-622",
        "--tyre-max",
        "9.5 bar",
        *more,
    )
    assert isinstance(done.exception, Refusal) and why in str(done.exception)


@pytest.mark.parametrize(
    "rim, tyre, why",
    [
        ("622x23TSS", "28-584", "bead seats differ"),
        ("622x23TSS", "20-622", "not wider than the rim"),
    ],
)
def test_plan_refuses_what_cannot_be_mounted(rim, tyre, why):
    for more in ([], ["--volume-l", "1"]):
        done = call(
            "plan", "--rim", rim, "--rim-max", "5 bar", "--tyre", tyre, "--tyre-max", "6 bar", *more
        )
        assert isinstance(done.exception, Refusal) and why in str(done.exception)


def test_plan_accepts_an_unapproved_pair():
    """A straight-side rim with a tyre whose bead and approval are not known: that is what the bench is for."""
    assert call(*PLAN).exit_code == 0


def test_plan_and_progress_round_the_retention_pressure_alike(capsys):
    from rich.console import Console
    from rimward.proof import bench, show

    test = bench.Test(500_000, 641_000)
    say, words = show.teller(Console(width=200), test), " ".join(show.before_run(test, "water"))
    for pa in (566_000, 591_000):
        say("level", {"t_s": 1.0, "low_pa": pa, "level_pa": pa, "state": "leak-watch"})
    said = capsys.readouterr().out
    assert "level 5.66 bar (82.1 psi)" in said and "level 5.91 bar (85.7 psi)" in said
    for shown in (words, call(*PLAN).stdout):
        assert "5.50 bar (79.8 psi)" in shown and "5.66 bar (82.1 psi)" in shown


def test_plan_retention_only_has_no_ramp():
    made = json.loads(call(*PLAN, "--retention-only", "--json").stdout)
    assert made["top_pa"] is None and max(step["gauge_pa"] for step in made["steps"]) == 566_000


def test_plan_holds_at_the_uncertainty_of_the_gauge_that_is_used():
    made = json.loads(call(*PLAN, "--retention-only", "--gauge-u", "0.05 bar", "--json").stdout)
    assert (made["retention_pa"], made["hold_pa"]) == (550_000, 555_000)
