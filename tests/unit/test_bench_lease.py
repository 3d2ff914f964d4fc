"""The lease: a condition on top of the person's hand, counted down in the tick."""

import os
import signal
import subprocess
import sys
import time
from array import array

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.sessions import read_session
from rimward.simulation.plant import layout as k
from rimward_fw.kernels import tick
from rimward_protocol import causes
from rimward_protocol import kernel_slots as slots

from tests.unit.benchdesk import armed, beat, desk, rising
from tests.unit.linkbench import RIMWARD, Inflator, Shop

RUN, BOTH = 1, 6


HELD, BEAT = 32768, 16384


def words(ticks, word=RUN | BOTH):
    """The switch words of so many ticks after a beat whose lease lasts `lease` ticks."""
    x = array("i", [0] * slots.WORDS_X)
    t = array("i", [0] * slots.WORDS_T)
    t[slots.T_LEASED] = 1

    def read(lease=None):
        if lease is not None:
            t[slots.T_LEASE] = lease
        x[slots.X_SW] = word
        tick.lease(x, t)
        return x[slots.X_SW]

    return [read(ticks)] + [read() for _ in range(ticks + 4)]


@pytest.mark.parametrize("ticks", [1, 2, 50, 250])
def test_the_run_control_counts_for_exactly_so_many_ticks(ticks):
    seen = words(ticks)
    assert [word & RUN for word in seen] == [1] * ticks + [0] * 5
    assert [bool(word & BEAT) for word in seen] == [True] * ticks + [False] * 5
    assert all(word & HELD for word in seen)


@pytest.mark.parametrize("word", [0, BOTH, BOTH | 512, BOTH | 4096])
def test_a_beat_alone_is_no_hand(word):
    assert words(250, word)[0] == word | BEAT


def test_without_a_beat_nothing_else_of_the_word_changes():
    assert words(0, RUN | BOTH | 8 | 2048)[0] == BOTH | 8 | 2048 | HELD


def test_an_ordinary_inflator_has_no_lease():
    x = array("i", [0] * slots.WORDS_X)
    x[slots.X_SW] = RUN
    tick.lease(x, array("i", [0] * slots.WORDS_T))
    assert x[slots.X_SW] == RUN


def off(inflator):
    return inflator.out & 3 == 0 and bool(inflator.drive & k.VENT)


@pytest.mark.parametrize("lease_ms", [100, 400, 500])
def test_a_host_that_dies_is_off_and_vented_within_the_lease_and_three_ticks(lease_ms):
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        number = rising(inflator, client)
        beat(client, number + 1, lease_ms)  # its answer is here: the lease began before this tick
        ticks = 0
        while not off(inflator):
            inflator.tick()
            ticks += 1
            assert ticks <= lease_ms // 2 + 3
        assert inflator.hands.run
        inflator.advance(3.0)
        assert not inflator.powered and inflator.plant.tyre_pa < 5e3
        peak = inflator.plant.peak_pa
        for more in range(20):  # and a beat that comes back starts nothing
            beat(client, 10_000 + more)
            inflator.advance(0.1)
        assert inflator.plant.peak_pa == peak and off(inflator)


def test_a_main_loop_that_hangs_is_off_and_vented_all_the_same():
    """The main loop accepts no more heartbeats; only the tick continues."""
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        rising(inflator, client)
        client.transport.write = lambda data: None
        ticks = 0
        while not off(inflator):
            inflator.tick()
            ticks += 1
            assert ticks <= 203


def test_the_same_beat_again_does_not_make_the_lease_longer():
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        number = rising(inflator, client)
        for _ in range(5):
            assert beat(client, number)["code"] == 0
            inflator.advance(0.1)
        assert off(inflator)


@pytest.mark.parametrize("lease_ms", [0, 501, 65_535])
def test_a_lease_of_no_time_or_too_much_is_refused(lease_ms):
    with desk() as (_inflator, client, _hands), pytest.raises(Refusal, match="bad-value"):
        beat(client, 1, lease_ms)


def test_a_person_who_lets_go_needs_no_lost_beat():
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        rising(inflator, client)
        inflator.hands.run = False
        inflator.advance(0.01)
        assert off(inflator)


WORDS = (
    "--label", "Tern 23", "--rim", "622x23TSS", "--tyre", "28-622", "--rim-max", "5 bar", "--tyre", "28-622", "--tyre-max", "6 bar", "--retention-only",
)  # fmt: skip
TRIES = 5  # on a busy machine a beat may be late by itself: the bench has stopped then, before anyone was killed


def started(shop, bench, log):
    """The real command, its person's presses done; None where no air came."""
    with log.open("w") as output:
        words = [sys.executable, "-u", *RIMWARD[1:], "proof", "run", "--port", bench.port, *WORDS]
        host = subprocess.Popen(words, env=shop.env, cwd=log.parent, stdout=output, stderr=output)

    def says(text):
        return text in " ".join(log.read_text().split())

    wait(lambda: says("confirm it there"))
    bench.say("enter")
    wait(lambda: says("hold the run control"))
    bench.say("hold")
    if within(lambda: hose(bench) > 0.2, 40):
        return host
    host.kill()
    host.wait()
    return None


def test_a_killed_proof_run_lets_the_bench_stop_and_vent(tmp_path):
    """The real command at a real port, killed while air goes in; a person still holds."""
    shop = Shop(tmp_path)
    shop.run("key", "new", "--purpose", "bench")
    for _ in range(TRIES):
        bench = Inflator(shop, "--bench", "--truth")
        try:
            bench.enrol(shop, "--purpose", "bench")
            host = started(shop, bench, tmp_path / "log")
            if host is None:
                continue
            os.kill(host.pid, signal.SIGKILL)
            host.wait()
            wait(lambda bench=bench: "air off" in bench.say("seen") and hose(bench) < 0.05)
            assert "run held" in bench.say("seen")
            return
        finally:
            bench.close()
    raise AssertionError("no air came")


def wait(holds, seconds=60):
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.1)


def within(holds, seconds):
    until = time.monotonic() + seconds
    while not holds() and time.monotonic() < until:
        time.sleep(0.1)
    return holds()


def hose(bench):
    return float(bench.say("seen").split("hose ")[1].split(" bar")[0])


def test_an_ordinary_inflator_takes_no_beat():
    from rimward.device.link import Client, LockstepTransport
    from rimward.simulation.plant import compressor
    from rimward.simulation.virtual import VirtualInflator

    with VirtualInflator(compressor()) as inflator, Client(LockstepTransport(inflator)) as client:
        with pytest.raises(Refusal, match="not-a-bench"):
            beat(client, 1)
        assert not verbs.is_bench(client)


@pytest.mark.parametrize("lost", [True, False])
def test_a_lost_beat_has_a_cause_of_its_own(lost, tmp_path):
    """On the bench's status and in its record's END, distinct from a released run control."""
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        last = rising(inflator, client)
        if lost:
            inflator.advance(1.0)
        else:
            inflator.hands.run = False
            beat(client, last + 1)
            inflator.advance(0.5)
        wanted = "beat-lost" if lost else "released"
        assert verbs.status(client)["stop_cause"] == wanted
        inflator.hands.run = False
        inflator.advance(4.0)
        verbs.pull_session(client, 0, tmp_path / "one.rws")
    log = read_session(tmp_path / "one.rws")
    assert causes.row_of(log.end["cause"])[1] == wanted
