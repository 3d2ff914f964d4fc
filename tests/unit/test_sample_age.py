"""The age of what is shown: measured in the stream, a constant delay counts, and what is old never looks live."""

from collections import deque

import pytest
from rimward.device.link import Client, LockstepTransport
from rimward.device.link.age import SampleClock, is_old
from rimward.device.link.live import Watcher
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator


class Late(LockstepTransport):
    """A line on which every byte from the inflator takes `delay_s` of its time; None: nothing comes any more."""

    delay_s: float | None = 0.0

    def __init__(self, inflator):
        super().__init__(inflator)
        self.way: deque = deque()

    def read(self):
        data = super().read()
        if data:
            self.way.append((self.now_s(), data))
        out = b""
        while (
            self.delay_s is not None and self.way and self.way[0][0] + self.delay_s <= self.now_s()
        ):
            out += self.way.popleft()[1]
        return out


@pytest.fixture
def line():
    with VirtualInflator(compressor(pin_open=True), compiled=False) as inflator:
        yield Late(inflator)


def watch(watcher, seconds):
    rows, until = [], watcher.client.transport.now_s() + seconds
    while watcher.client.transport.now_s() < until:
        rows += watcher.turn()
    return rows


@pytest.mark.parametrize("delay_s", [0.0, 0.4, 1.5])
def test_a_constant_delay_counts(line, delay_s):
    line.delay_s = delay_s
    watcher = Watcher(Client(line, reply_s=8.0), 20)
    inflator = line.inflator
    row = watcher.seen(watch(watcher, 3.0)[-1])
    true = (inflator.ticks - row["tick"]) * 0.002  # its counter begins when the firmware has booted
    booted = inflator.ticks - inflator.now_s / 0.002
    assert booted == 0 and row["age_s"] >= delay_s
    assert row["age_s"] <= true + delay_s + 0.6 and row["old"] is (row["age_s"] > 1.0)
    assert row["old"] is (delay_s > 1.0)


def test_samples_that_stop_coming_age_and_are_not_shown_as_live(line):
    watcher = Watcher(Client(line), 10)
    last = watch(watcher, 2.0)[-1]
    now = watcher.seen(last)
    assert not now["old"] and now["age_s"] < 0.5
    text = watcher.panel(now).renderable.plain
    assert "OLD" not in text and "idle, air off" in text and "Never calibrated" in text
    line.delay_s = None
    line.inflator.advance(1.6)
    then = watcher.seen(last)
    assert then["old"] and then["status_old"] and then["age_s"] > 1.5
    text = watcher.panel(then).renderable.plain
    assert (
        text.startswith("OLD: ")
        and "state unknown; last state idle" in text
        and "next:" not in text
    )


def test_state_and_instruction_age_when_only_the_status_stops(line):
    watcher = Watcher(Client(line), 10)
    row = watch(watcher, 1.0)[-1]
    watcher._pending = 1  # an answer that never comes
    watcher._asked = line.now_s()
    rows = watch(watcher, 1.7)
    seen = watcher.seen(rows[-1])
    assert not seen["old"] and seen["status_old"] and row["tick"] < rows[-1]["tick"]
    assert "state unknown" in watcher.panel(seen).renderable.plain


def test_ages_are_never_too_small_for_any_delay_of_the_line():
    """Questions that take from 0 to 2 s there and back, asked and answered at known times: true age at most the age shown."""
    import random

    draw, clock = random.Random(7), SampleClock()
    assert clock.age_s(5, 100.0) is None and is_old(None)
    for n in range(200):
        asked = 10.0 + n
        ticked = asked + draw.uniform(
            0.0, 1.0
        )  # true time at which the inflator answered; its tick 0 was at 3.0
        clock.answered(asked, round((ticked - 3.0) / 0.002))
        now = ticked + draw.uniform(0.0, 1.0)
        tick = round((ticked - 0.1 - 3.0) / 0.002)
        assert clock.age_s(tick, now) >= now - (ticked - 0.1) - 0.003


def test_a_restart_clears_the_ages_and_a_wrap_does_not():
    clock = SampleClock()
    clock.answered(100.0, (1 << 30) - 500)
    assert clock.age_s((1 << 30) - 500, 100.5) == pytest.approx(0.5)
    clock.answered(102.0, 500)
    assert clock.age_s(500, 102.25) == pytest.approx(0.25)
    clock.answered(200.0, 20)  # restarted
    assert clock.age_s(20, 200.5) == pytest.approx(0.5)
