"""`rimward proof run` end to end on the virtual bench, with seconds in place of minutes, and what it refuses."""

import json
import time

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.commands.proof import command
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.formats import records
from rimward.limits.ceiling import Rim, Tyre
from rimward.proof import bench, keep, reading, run
from rimward.sessions import read_session, replay
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes, enumerations

from tests.unit.benchdesk import RING, desk, shortened, test_of


@pytest.fixture
def short(monkeypatch):
    shortened(monkeypatch)


def said():
    heard = []
    return heard, lambda kind, facts: heard.append((kind, facts))


def test_retention_from_profile_to_row(short, tmp_path):
    heard, tell = said()
    found = run.run_virtual(test_of(), tmp_path, tell)
    assert (found["ended"], found["cause"]) == ("done", "target-reached")
    assert found["limit_bar"] == 5.0 and 5.66 <= found["highest_bar"] < 5.78
    assert (
        2.9 < found["hold_s"] < 5.0 and found["retention_held"] is None
    )  # seconds are not five minutes
    kinds = [kind for kind, _ in heard if kind != "sample"]
    if kinds[0] == "compiling":
        kinds = kinds[1:]  # where no machine code of the plant is kept yet
    assert kinds[:3] == ["confirm", "kept", "hold"] and kinds[-1] == "let-go"
    assert [
        facts["level_pa"]
        for kind, facts in heard
        if kind == "level" and facts["state"] == "leak-watch"
    ] == [250_000, 500_000, 566_000]
    (row,) = reading.read_file(tmp_path / "proof-bench001-1.csv")
    (sample,) = reading.read_file(tmp_path / "proof-bench001-1.rws")
    assert (
        row.release_bar == sample.release_bar == found["highest_bar"]
        and row.released == sample.released == "no"
    )
    assert (row.known["medium"], row.known["rim_inner_mm"], row.known["stop_reason"]) == (
        "water",
        23.0,
        "target-reached",
    )
    log = read_session(tmp_path / "proof-bench001-1.rws")
    assert not log.damage and log.bench and log.end is not None
    assert replay(log).identical
    stored = read_session(tmp_path / "proof-bench001-1-bench.rws")
    assert stored.chained and log.chained
    assert found["compared"]["samples"] > 800 and found["compared"]["differing"] == 0
    facts = json.loads((tmp_path / "proof-bench001-1.json").read_text())
    assert facts["specimen"]["label"] == "Tern 23" and facts["result"]["row"] == found["row"]
    heard = read_session(tmp_path / "proof-bench001-1-live.rws")
    assert heard.end is None and heard.profile == log.profile and len(heard.trace) > 800


def test_release_on_the_ramp_is_found_live_and_in_the_row(short, tmp_path):
    heard, tell = said()
    found = run.run_virtual(test_of("7 bar"), tmp_path, tell, blow_off="6.1 bar")
    assert found["ended"] == "released" and found["cause"] == "hose-or-tyre"
    assert found["row"]["released"] == "yes"
    assert (
        6.02 < found["highest_bar"] <= 6.1
    )  # never above; a little under, at ten times the bench's ramp
    assert found["margin"] == pytest.approx(found["highest_bar"] / 5)
    assert [facts["kind"] for kind, facts in heard if kind == "event"].count("release") == 1
    assert found["events"][-1]["kind"] == "release"


def test_letting_go_is_no_release(short, tmp_path):
    """The vent empties the fixture within a second: a commanded fall."""

    def lets_go(kind, facts):
        if kind == "level" and facts["state"] == "leak-watch" and facts["level_pa"] == 500_000:
            held.append(True)
            inflators[0].hands.run = False

    held, inflators, first = [], [], bench.Hands.__init__

    def remember(self, inflator):
        inflators.append(inflator)
        first(self, inflator)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bench.Hands, "__init__", remember)
        found = run.run_virtual(test_of(), tmp_path, lets_go)
    assert held and found["ended"] == "stopped" and found["cause"] == "released"
    assert found["row"]["released"] == "no" and found["highest_bar"] == pytest.approx(5.0, abs=0.1)


def test_an_ordinary_inflator_is_refused(tmp_path):
    with VirtualInflator(compressor()) as inflator, Client(LockstepTransport(inflator)) as client:
        with pytest.raises(Refusal, match="not a proof bench"):
            run.run(client, test_of(), RING, tmp_path, lambda *_: None)
        assert verbs.list_profiles(client) == []
    assert list(tmp_path.iterdir()) == []


def test_a_bench_without_a_key_is_refused(tmp_path):
    with (
        desk(enrolled=False) as (_inflator, client, _hands),
        pytest.raises(Refusal, match="has no key"),
    ):
        run.run(client, test_of(), RING, tmp_path, lambda *_: None)


def test_an_unattended_bench_ends_in_a_refusal(tmp_path, monkeypatch):
    monkeypatch.setattr(run, "PERSON_S", 2.0)
    with desk() as (inflator, client, _hands):
        with pytest.raises(Refusal, match="did not arm"):
            run.run(client, test_of(), RING, tmp_path, lambda *_: None)
        assert inflator.plant.peak_pa < 100


def test_the_lower_maximum_and_the_class_limit_count():
    def limit(rim, rim_max, tyre_max):
        found = bench.test_of(
            "a", Rim.parse(rim, rim_max), Tyre.parse("28-622", max_text=tyre_max), None, None
        )
        return found.limit_pa, codes.word_of(enumerations.LIMIT_SOURCES, found.limit_source)

    assert limit("622x23TSS", "5 bar", "4.5 bar") == (450_000, "tyre-printed")
    assert limit("622x23TSS", "7 bar", "8 bar") == (500_000, "straight-side-class")
    assert limit("622x19TC", "7 bar", "8 bar") == (700_000, "rim-marked")


def test_levels_that_the_bench_does_not_reach_are_refused():
    with pytest.raises(Refusal, match="above what the bench reaches"):
        bench.profile_of(test_of("9.71 bar"), RING)
    assert bench.profile_of(test_of("9.7 bar"), RING)
    with pytest.raises(Refusal, match="above what the bench reaches"):
        bench.profile_of(bench.Test(900_000), RING)
    for top in ("5.5 bar", "5.66 bar"):
        with pytest.raises(Refusal, match="no step above"):
            test_of(top)
    assert test_of("").top_pa == 970_000  # twice the limit is above the bench's end
    assert (
        bench.test_of(
            "a", Rim.parse("622x19TC", "4 bar"), Tyre.parse("28-622", max_text="8 bar"), "", None
        ).top_pa
        == 800_000
    )


def test_a_limit_whose_110_percent_the_bench_does_not_reach_is_refused_with_that_reason():
    """8.67 bar is the highest: 110 % of it and 0.16 bar of U come to 9.70 bar less a hundredth. `--to` would not help."""
    for rim_max, fits in (("8.67 bar", True), ("8.68 bar", False), ("28 bar", False)):
        rim, tyre = Rim.parse("622x19TC", rim_max), Tyre.parse("28-622", max_text="30 bar")
        if fits:
            assert bench.test_of("a", rim, tyre, None, None).hold_pa <= 970_000
            continue
        for top in (None, "", "9.7 bar"):
            with pytest.raises(Refusal, match="need another bench") as refused:
                bench.test_of("a", rim, tyre, top, None)
            assert (
                "--to" not in str(refused.value)
                and "110 %" in str(refused.value)
                and "9.70 bar" in str(refused.value)
            )


def test_the_bench_record_carries_the_specimen():
    fields = records.unpack_profile(bench.profile_of(test_of(), RING), True)
    assert (fields["tyre_width_dmm"], fields["bead_seat_mm"], fields["rim_width_dmm"]) == (
        300,
        622,
        230,
    )
    assert fields["rim_class"] == codes.RIM_TSS and fields["limit_source"] == codes.LIMIT_RIM_MARKED
    assert abs(fields["made_days"] * 86_400 + codes.EPOCH_DAY_UNIX_S - time.time()) < 2 * 86_400


@pytest.mark.parametrize(
    "rim, tyre, why",
    [
        ("622x23TSS", "28-584", "bead seats differ"),
        ("622x30TSS", "28-622", "not wider than the rim"),
        ("622x23TSS", "28-?", "bead seat is unknown"),
    ],
)
def test_what_cannot_be_mounted_is_refused(rim, tyre, why):
    with pytest.raises(Refusal, match=why):
        bench.test_of("a", Rim.parse(rim, "5 bar"), Tyre.parse(tyre, max_text="6 bar"), None, None)


@pytest.mark.parametrize("label", ["", "a" * 17, "ä" * 13, "a\nb"])
def test_a_name_that_the_bench_cannot_show_whole_is_refused(label):
    with pytest.raises(Refusal, match="1 to 16 letters"):
        test_of(label=label)


def test_no_test_is_written_over_another(tmp_path):
    assert keep.free_name(tmp_path, "proof-b-1") == "proof-b-1"
    (tmp_path / "proof-b-1.csv").write_text("kept")
    (tmp_path / "proof-b-1-2-bench.rws").write_text("kept")
    assert keep.free_name(tmp_path, "proof-b-1") == "proof-b-1-3"


@pytest.mark.parametrize(
    "words,wanted",
    [
        ([], "--port of the bench, or --virtual"),
        (["--port", "x", "--virtual"], "--port of the bench, or --virtual"),
        (["--port", "x", "--blow-off", "6 bar"], "--blow-off is for --virtual"),
        (["--virtual", "--medium", "air"], "--air-l"),
        (["--virtual", "--retention-only", "--to", "7 bar"], "Give one of them"),
    ],
)
def test_wrong_usage(words, wanted):
    done = CliRunner().invoke(
        command,
        [
            "run",
            "--label",
            "a",
            "--rim",
            "622x23TSS",
            "--rim-max",
            "5 bar",
            "--tyre",
            "30-622",
            "--tyre-max",
            "6 bar",
            *words,
        ],
    )
    assert done.exit_code == 2 and wanted in done.stderr


def test_the_command_prints_one_json_document_and_progress_beside_it(short, tmp_path):
    asked = [
        "run",
        "--virtual",
        "--label",
        "Tern 23",
        "--rim",
        "622x23TSS",
        "--rim-max",
        "5 bar",
        "--tyre",
        "30-622",
        "--tyre-max",
        "6 bar",
        "--retention-only",
    ]
    done = CliRunner().invoke(command, [*asked, "-o", str(tmp_path), "--json"])
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["ended"] == "done"
    for words in (
        "CAUTION",
        "eye protection",
        "Water hardly stores energy",
        "72.5 psi",
        "hold the run control",
        "scrap",
    ):
        assert words in " ".join(done.stderr.split())
