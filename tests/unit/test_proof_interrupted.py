"""A proof test that is interrupted, ended or damaged: what its samples and record become."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.commands.proof import command
from rimward.proof import fromsession, memory, reading, record, run
from rimward.sessions import read_session
from rimward.web.wording import on_page
from rimward_protocol import layout, session

from tests.unit import benchdesk
from tests.unit.benchdesk import RING, desk, shortened, test_of


@pytest.fixture
def short(monkeypatch):
    shortened(monkeypatch)


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
    recorder = live(
        (100, 10_000, 0), (110, 20_000, 0), (110, 90_000, 0), (90, 90_000, 0), (140, 30_000, 1)
    )
    recorder.take(b"not a block")
    t, low, vent = recorder.trace()
    assert (
        t.tolist() == [0, 20, 80]
        and low.tolist() == [10_000, 20_000, 30_000]
        and vent.tolist() == [False, False, True]
    )
    assert recorder.last == {
        "tick": 140,
        "t_s": 0.08,
        "low_pa": 30_000,
        "level_pa": 550_000,
        "state": "filling",
    }
    counts = [record.HEAD.unpack_from(payload)[2] for payload in recorder.payloads()]
    assert counts == [2, 1]  # a gap begins a new block


def test_a_damaged_record_of_the_bench_is_refused():
    with pytest.raises(Refusal, match="incomplete"):
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


@pytest.mark.parametrize(
    "how", [KeyboardInterrupt(), Refusal("The connection was lost.", "Begin again.")]
)
def test_received_samples_become_a_row_when_a_test_is_interrupted(short, tmp_path, how):
    path = interrupted(tmp_path, how)
    (row,) = reading.read_file(path.with_suffix(".csv"))
    assert (
        row.released == "invalid"
        and row.known["stop_reason"] == "not closed: the record was not closed"
    )
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
    assert (
        found["cause"] == "beat-lost"
        and found["released"] == "no"
        and found["compared"]["differing"] == 0
    )
    assert (
        found["highest_bar"] == pytest.approx(5.0, abs=0.05)
        and found["compared"]["missed_live"] == 0
    )
    log = read_session(path.with_suffix(".rws"))
    assert log.end is not None and len(log.trace) > len(
        read_session(tmp_path / f"{path.stem}-live.rws").trace
    )


def test_a_record_that_differs_from_the_live_samples_is_invalid(short, tmp_path):
    found = run.run_virtual(test_of(), tmp_path, lambda *_: None)
    live = record.from_journal((tmp_path / "proof-bench001-1-live.rws").read_bytes())
    _tick, _limits, values = live.rows[400]
    for at in (400, 401):
        live.rows[at] = (*live.rows[at][:2], (values[0] + 90, values[1] + 90, *values[2:]))
    compared = record.compare((tmp_path / "proof-bench001-1-bench.rws").read_bytes(), live)
    assert compared["samples"] == found["compared"]["samples"] and compared["differing"] == 1
    assert 5_000 < compared["largest_pa"] <= 10_000  # 90 hPa, and what lies between two samples


def test_a_test_without_air_leaves_no_files(tmp_path, short, monkeypatch):
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
    words = [
        "proof",
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
    ]
    process = subprocess.Popen(
        [sys.executable, "-m", "rimward", *words, "-o", str(tmp_path)],
        env=env,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
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
    assert (
        found["released"] == "invalid"
        and found["highest_bar"] > 0.5
        and path.with_suffix(".csv").exists()
    )


def test_a_benchs_own_record_covers_the_whole_test_in_little_memory(monkeypatch, tmp_path):
    """The computer confirms what it has on disk; the bench then keeps every eighth sample of it, and the joined record lacks none."""
    monkeypatch.setitem(benchdesk.SHORT, "RAMP_PA_S = 5_000", "RAMP_PA_S = 8_000")
    shortened(monkeypatch, trace_bytes=3_072)
    found = run.run_virtual(test_of("6.1 bar"), tmp_path, lambda *_: None)
    own = read_session(tmp_path / "proof-bench001-1-bench.rws")
    whole = read_session(tmp_path / "proof-bench001-1.rws")
    (armed,) = (event["tick"] for event in own.events if event["event"] == "armed")
    distances = np.diff(own.trace["tick"])
    assert own.trace["tick"][0] - armed < 100 and not own.damage
    assert distances.max() == 80 and np.sum(distances == 80) > 50
    assert np.all(distances[-100:] == 10)  # the newest seconds in full
    assert np.diff(whole.trace["tick"]).max() <= 20 and len(whole.trace) > 1.5 * len(own.trace)
    assert found["compared"]["missed_live"] == 0 and found["compared"]["differing"] == 0
    with pytest.raises(Refusal, match="every eighth sample"):
        fromsession.sample_of(own, "own.rws")


def test_a_bench_whose_memory_ends_before_the_test_is_refused_before_it_begins(tmp_path):
    """30 KB: the modules as plain files on the chip. 135 KB: frozen. Without a word the bench's own record is at the full rate."""
    memory.check_memory(135 * 1024, test_of(None))  # 110 % alone
    memory.check_memory(0, test_of(""))  # an interpreter that does not report it
    memory.check_memory(400 * 1024, test_of(""))  # more memory than the trace takes
    with pytest.raises(Refusal, match=r"135 KB, holds 15 minutes .* full rate; this") as refused:
        memory.check_memory(135 * 1024, test_of(""))
    assert "End the steps at 6.66 bar" in refused.value.fix and "--thinned" in refused.value.fix
    assert "--" not in on_page(refused.value.fix) and "rimward" not in on_page(refused.value.fix)
    memory.check_memory(135 * 1024, test_of("6.66 bar"))
    with pytest.raises(Refusal, match="full rate"):
        memory.check_memory(135 * 1024, test_of("6.91 bar"))
    memory.check_memory(135 * 1024, replace(test_of(""), thinned=True))
    for test in (test_of(""), replace(test_of(""), thinned=True), test_of(None)):
        with pytest.raises(Refusal, match=r"30 KB, holds 0 minutes") as refused:
            memory.check_memory(30 * 1024, test)
        assert "--frozen" in refused.value.fix and "--to " not in refused.value.fix.split("`")[0]
    monkey = {"heap_free": 30 * 1024}
    with (
        desk(test_of("6.1 bar")) as (_bench, client, _hands),
        pytest.MonkeyPatch.context() as patch,
    ):
        whole = run.verbs.status
        patch.setattr(run.verbs, "status", lambda asked: {**whole(asked), **monkey})
        with pytest.raises(Refusal, match="holds 0 minutes"):
            run.run(client, test_of("6.1 bar"), RING, tmp_path, lambda *_: None)
    assert list(tmp_path.iterdir()) == []


def test_a_bench_that_is_still_held_after_its_test_is_waited_for(monkeypatch):
    """It answers nothing of its store while the run control is held: that is no end of the test."""
    held = Refusal("The pump is enabled; nothing is stored meanwhile (busy-filling).", "Wait.")
    answers = [held, held, [{"session": 4, "ended": True}], [{"session": 5, "ended": True}]]

    def listed(_client):
        found = answers.pop(0)
        if isinstance(found, Refusal):
            raise found
        return found

    monkeypatch.setattr(run.verbs, "list_sessions", listed)
    waits = []
    now = SimpleNamespace(client=None, now=lambda: 0.0, until=lambda _done, s: waits.append(s))
    run._closed(now, {4})
    assert answers == [] and waits == [0.5] * 3
    answers.append(Refusal("The line is gone (other).", "Look."))
    with pytest.raises(Refusal, match="line is gone"):
        run._closed(now, {4})
