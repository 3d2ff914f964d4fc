"""`rimward proof run` end to end on the virtual bench, with seconds in place of minutes, and what it refuses."""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from click.testing import CliRunner
from rimward import records
from rimward.ceiling import Rim, Tyre
from rimward.commands.proof import command
from rimward.errors import Refusal
from rimward.link import Client, LockstepTransport, verbs
from rimward.plant import compressor
from rimward.proof import bench, fromsession, keep, load, record, run
from rimward.sessions import read_session, replay
from rimward.virtual import VirtualInflator
from rimward_protocol import codes, enumerations, layout, session

from tests.unit.benchdesk import RING, desk, shortened

RIM = Rim.parse("622x23TSS", "5 bar")
TYRE = Tyre.parse("30-622", max_text="6 bar")


def test_of(top=None, label="Tern 23"):
    return bench.test_of(label, RIM, TYRE, top, None, "water")


test_of.__test__ = False


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
    assert found["limit_bar"] == 5.0 and 5.5 <= found["highest_bar"] < 5.62
    assert 2.9 < found["hold_s"] < 5.0 and found["retention_held"] is None  # seconds are not five minutes
    kinds = [kind for kind, _ in heard if kind != "sample"]
    assert kinds[:3] == ["confirm", "kept", "hold"] and kinds[-1] == "let-go"
    assert [facts["level_pa"] for kind, facts in heard if kind == "level" and facts["state"] == "leak-watch"] == [250_000, 500_000, 550_000]
    (row,) = load.read_file(tmp_path / "proof-bench001-1.csv")
    (sample,) = load.read_file(tmp_path / "proof-bench001-1.rws")
    assert row.release_bar == sample.release_bar == found["highest_bar"] and row.released == sample.released == "no"
    assert (row.known["medium"], row.known["rim_inner_mm"], row.known["stop_reason"]) == ("water", 23.0, "target-reached")
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
    assert 6.02 < found["highest_bar"] <= 6.1  # never above; a little under, at ten times the bench's ramp
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
    with desk(enrolled=False) as (_inflator, client, _hands), pytest.raises(Refusal, match="has no key"):
        run.run(client, test_of(), RING, tmp_path, lambda *_: None)


def test_nobody_at_the_bench_ends_in_a_refusal(tmp_path, monkeypatch):
    monkeypatch.setattr(run, "PERSON_S", 2.0)
    with desk() as (inflator, client, _hands):
        with pytest.raises(Refusal, match="did not arm"):
            run.run(client, test_of(), RING, tmp_path, lambda *_: None)
        assert inflator.plant.peak_pa < 100


def test_the_lower_maximum_and_the_class_limit_count():
    def limit(rim, rim_max, tyre_max):
        found = bench.test_of("a", Rim.parse(rim, rim_max), Tyre.parse("28-622", max_text=tyre_max), None, None)
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
    with pytest.raises(Refusal, match="no step above"):
        test_of("5.5 bar")
    assert test_of("").top_pa == 970_000  # twice the limit is above the bench's end
    assert bench.test_of("a", Rim.parse("622x19TC", "4 bar"), Tyre.parse("28-622", max_text="8 bar"), "", None).top_pa == 800_000


def test_a_limit_whose_110_percent_the_bench_does_not_reach_is_refused_with_that_reason():
    """8.81 bar is the highest: 9.70 bar less a hundredth. `--to` would help nothing."""
    for rim_max, fits in (("8.81 bar", True), ("8.82 bar", False), ("28 bar", False)):
        rim, tyre = Rim.parse("622x19TC", rim_max), Tyre.parse("28-622", max_text="30 bar")
        if fits:
            assert bench.test_of("a", rim, tyre, None, None).retention_pa <= 970_000
            continue
        for top in (None, "", "9.7 bar"):
            with pytest.raises(Refusal, match="need another bench") as refused:
                bench.test_of("a", rim, tyre, top, None)
            assert "--to" not in str(refused.value) and "110 %" in str(refused.value) and "9.70 bar" in str(refused.value)


def test_the_bench_record_carries_the_specimen():
    fields = records.unpack_profile(bench.profile_of(test_of(), RING), True)
    assert (fields["tyre_width_dmm"], fields["bead_seat_mm"], fields["rim_width_dmm"]) == (300, 622, 230)
    assert fields["rim_class"] == codes.RIM_TSS and fields["limit_source"] == codes.LIMIT_RIM_MARKED
    assert abs(fields["made_days"] * 86_400 + codes.EPOCH_DAY_UNIX_S - time.time()) < 2 * 86_400


@pytest.mark.parametrize("rim, tyre, why", [("622x23TSS", "28-584", "bead seats differ"), ("622x30TSS", "28-622", "not wider than the rim"), ("622x23TSS", "28-?", "not known")])
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
    done = CliRunner().invoke(command, ["run", "--label", "a", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "30-622", "--tyre-max", "6 bar", *words])
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
    for words in ("CAUTION", "eye protection", "Water hardly stores energy", "72.5 psi", "hold the run control", "scrap"):
        assert words in " ".join(done.stderr.split())


def live(*rows):
    recorder = record.Recorder()
    for tick, pa, vent in rows:
        head = record.HEAD.pack(tick, 10, 1, 5800, 5640, 5500)
        payload = head + record.RECORD.pack(pa // 100, pa // 100 + 2, pa // 100, 4 * vent, 6)
        buf = bytearray(8 + len(payload) + 4)
        buf[8:-4] = payload
        session.seal_block(buf, 0, layout.BLOCK_TRACE, 7, len(payload))
        recorder.take(bytes(buf))
    return recorder


def test_live_samples_are_the_lower_reading_once_each_in_order():
    recorder = live((100, 10_000, 0), (110, 20_000, 0), (110, 90_000, 0), (90, 90_000, 0), (140, 30_000, 1))
    recorder.take(b"not a block")
    t, low, vent = recorder.trace()
    assert t.tolist() == [0, 20, 80] and low.tolist() == [10_000, 20_000, 30_000] and vent.tolist() == [False, False, True]
    assert recorder.last == {"tick": 140, "t_s": 0.08, "low_pa": 30_000, "level_pa": 550_000, "state": "filling"}
    counts = [record.HEAD.unpack_from(payload)[2] for payload in recorder.payloads()]
    assert counts == [2, 1]  # a gap begins a new block


def test_a_damaged_record_of_the_bench_is_refused():
    with pytest.raises(Refusal, match="not whole"):
        record.whole_session(b"nothing", live((0, 1000, 0)))


def test_a_trace_that_begins_late_is_no_sample(short, tmp_path):
    run.run_virtual(test_of(), tmp_path, lambda *_: None)
    log = read_session(tmp_path / "proof-bench001-1.rws")
    log.trace = log.trace[np.flatnonzero(log.trace["tick"] > log.trace["tick"][0] + 6_000)]
    with pytest.raises(Refusal, match="begins after the test did"):
        fromsession.sample_of(log, "late.rws")


def interrupted(tmp_path, how):
    """A test that ends with `how` in the hold at the limit; gives its NAME.json."""

    def tell(kind, facts):
        if kind == "level" and facts["state"] == "leak-watch" and facts["level_pa"] == 500_000:
            raise how

    with pytest.raises(type(how)):
        run.run_virtual(test_of(), tmp_path, tell)
    (path,) = tmp_path.glob("*.json")
    return path


@pytest.mark.parametrize("how", [KeyboardInterrupt(), Refusal("The connection was lost.", "Begin again.")])
def test_what_was_heard_is_kept_and_made_a_row_when_a_test_is_interrupted(short, tmp_path, how):
    path = interrupted(tmp_path, how)
    (row,) = load.read_file(path.with_suffix(".csv"))
    assert row.released == "invalid" and row.known["stop_reason"] == "not closed: the record was not closed"
    assert row.release_bar == pytest.approx(5.0, abs=0.05) and row.known["medium"] == "water"
    heard = read_session(tmp_path / f"{path.stem}-live.rws")
    assert heard.trace["a_pa"].max() > 495_000 and heard.profile["label"] == "Tern 23"
    done = CliRunner().invoke(command, ["finish", str(path), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["released"] == "invalid"


def test_samples_are_on_disk_before_the_test_is_over(short, tmp_path):
    """A killed process leaves them: each push is written as it comes."""
    sizes = []

    def tell(kind, facts):
        if kind == "level" and facts["state"] == "leak-watch":
            sizes.append(sum(len(read_session(file).trace) for file in tmp_path.glob("*-live.rws")))

    run.run_virtual(test_of(), tmp_path, tell)
    assert len(sizes) == 3 and sizes[0] > 50 and sizes == sorted(set(sizes))


def test_an_interrupted_test_is_completed_with_the_benchs_own_record(short, tmp_path):
    """The computer goes at the limit; the bench stops and vents, closes its record, and gives it to whoever asks afterwards."""
    with desk(test_of()) as (inflator, client, hands):

        def tell(kind, facts):
            hands.tell(kind, facts)
            if kind == "level" and facts["state"] == "leak-watch" and facts["level_pa"] == 500_000:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            run.run(client, test_of(), RING, tmp_path, tell)
        (path,) = tmp_path.glob("*.json")
        inflator.advance(3)
        inflator.hands.run = False
        inflator.advance(3)
        found = run.finish(path, client, RING)
    assert found["cause"] == "beat-lost" and found["released"] == "no" and found["compared"]["differing"] == 0
    assert found["highest_bar"] == pytest.approx(5.0, abs=0.05) and found["compared"]["missed_live"] == 0
    log = read_session(path.with_suffix(".rws"))
    assert log.end is not None and len(log.trace) > len(read_session(tmp_path / f"{path.stem}-live.rws").trace)


def test_a_record_that_differs_from_what_was_heard_is_invalid(short, tmp_path):
    found = run.run_virtual(test_of(), tmp_path, lambda *_: None)
    live = record.from_journal((tmp_path / "proof-bench001-1-live.rws").read_bytes())
    _tick, _limits, values = live.rows[400]
    for at in (400, 401):
        live.rows[at] = (*live.rows[at][:2], (values[0] + 90, values[1] + 90, *values[2:]))
    compared = record.compare((tmp_path / "proof-bench001-1-bench.rws").read_bytes(), live)
    assert compared["samples"] == found["compared"]["samples"] and compared["differing"] == 1
    assert 5_000 < compared["largest_pa"] <= 9_500


def test_a_test_that_never_had_air_leaves_no_files(tmp_path, short, monkeypatch):
    monkeypatch.setattr(run, "PERSON_S", 2.0)
    with desk(test_of()) as (_inflator, client, person):

        def tell(kind, facts):
            if kind != "hold":
                person.tell(kind, facts)

        with pytest.raises(Refusal, match="Nobody held"):
            run.run(client, test_of(), RING, tmp_path, tell)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL, signal.SIGINT])
def test_a_command_that_is_ended_leaves_its_samples(tmp_path, how):
    """A process of its own, ended while the pressure rises; then `proof finish` makes the row that it could not."""
    env = os.environ | {"RIMWARD_DATA": str(tmp_path / "data"), "RIMWARD_KEYSTORE": "file"}
    words = ["proof", "run", "--virtual", "--label", "Tern 23", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "30-622", "--tyre-max", "6 bar"]
    process = subprocess.Popen([sys.executable, "-m", "rimward", *words, "-o", str(tmp_path)], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while not any(path.stat().st_size > 20_000 for path in tmp_path.glob("*-live.rws")):
        assert process.poll() is None and time.monotonic() < until
        time.sleep(0.1)
    process.send_signal(how)
    assert process.wait(60) != 0
    (path,) = tmp_path.glob("*.json")
    assert path.with_suffix(".csv").exists() == (how != signal.SIGKILL)
    done = CliRunner().invoke(command, ["finish", str(path), "--json"])
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["released"] == "invalid" and found["highest_bar"] > 0.5 and path.with_suffix(".csv").exists()
