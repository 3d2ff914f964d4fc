"""Which page's heartbeats are passed on to the proof bench; what a page receives of a test."""

from types import SimpleNamespace

import pytest
from rimward.base.errors import Refusal
from rimward.proof import bench
from rimward.web.hold import GRACE_S, Hold
from rimward.web.lease import FRESH_S, SEEN_SAMPLES, Lease
from rimward.web.ring import Ring
from rimward.web.trial import GONE_S, Trial

ROW = (0, 0, 0, 0, 0, 0, 0, 0)


class Desk:
    """A hold of page `a`, a ring of 100 samples, a clock that is moved by hand."""

    def __init__(self) -> None:
        self.at = 100.0
        self.hold = Hold(lambda: self.at)
        self.ring = Ring()
        self.ring.add([ROW] * 100)
        self.lease = Lease(self.hold, self.ring, lambda: self.at)
        self.token = self.hold.take("a", "Maren Holt")

    def beat(self, number: int, page: str = "a", token: str = "", seen: int = 100) -> bool:
        return self.lease.beat(token or self.token, page, number, seen)


def test_a_beat_is_passed_on_once() -> None:
    desk = Desk()
    assert desk.beat(1) and desk.lease.take() and not desk.lease.take()
    assert not desk.beat(1) and not desk.lease.take()
    assert desk.beat(2) and desk.beat(3) and desk.lease.take() and not desk.lease.take()


def test_only_the_page_that_holds_the_bench_beats() -> None:
    desk = Desk()
    assert not desk.beat(1, page="b") and not desk.beat(1, token="x" * 24) and not desk.lease.take()
    desk.hold.left("a")
    assert not desk.beat(2), "its line has ended"
    assert desk.hold.present(desk.token, "b") and desk.beat(3, page="b") and not desk.beat(4)
    desk.hold.give(desk.token)
    assert not desk.beat(5, page="b")


def test_a_page_without_new_samples_sends_no_heartbeat() -> None:
    desk = Desk()
    assert desk.beat(1, seen=100 - SEEN_SAMPLES)
    assert not desk.beat(2, seen=100 - SEEN_SAMPLES - 1)
    assert not desk.beat(3, seen=101) and not desk.beat(4, seen=-1)


def test_a_delayed_heartbeat_does_not_count() -> None:
    desk = Desk()
    desk.beat(1)
    desk.at += FRESH_S + 0.01
    assert not desk.lease.take()
    desk.beat(2)
    desk.lease.begin()
    assert not desk.lease.take(), "what came before a test is no beat of it"


def trial(desk: Desk, told: list | None = None) -> Trial:
    heard = told if told is not None else []
    ring = SimpleNamespace(keys=())
    return Trial(
        bench.Test(500_000, 970_000),
        ring,
        desk.lease,
        lambda _trial, status: heard.append(status),
        medium="water",
        who="Maren Holt",
    )  # type: ignore[arg-type]


def test_after_cancelling_no_more_heartbeats() -> None:
    desk = Desk()
    led = trial(desk)
    desk.beat(1)
    assert led.beats(0.0) and not led.gone()
    led.call_off()
    desk.beat(2)
    assert not led.beats(0.0) and "called off" in led.gone()


def test_a_page_that_left_ends_a_waiting_test() -> None:
    desk = Desk()
    led = trial(desk)
    desk.beat(1)
    assert not led.gone()
    desk.at += GONE_S + 0.1
    assert "has gone" in led.gone()
    assert GONE_S > GRACE_S, "a reload keeps the hold and the test that waits for a person"


def test_the_levels_are_those_of_the_bench_s_own_firmware() -> None:
    names = [(name, pa, hold_s) for name, pa, hold_s in bench.Test(500_000, 620_000).levels()]
    assert names == [
        ("seating", 250_000, 60), ("limit", 500_000, 60), ("retention, 110 % + U", 566_000, 302), ("step 1", 591_000, 60), ("step 2", 616_000, 60),
        ("step 3", 620_000, 60),
    ]  # fmt: skip
    assert [pa for _name, pa, _s in bench.Test(700_000).levels()] == [
        275_000,
        700_000,
        786_000,
    ]  # 110 % and the band of 16 kPa


def test_the_page_s_level_is_the_nearest_and_never_falls() -> None:
    desk = Desk()
    led = trial(desk)
    for pa, at in ((250_000, 0), (499_900, 1), (566_000, 2), (499_900, 2), (590_900, 3)):
        led.hear(
            "level", {"tick": 7, "t_s": 1.0, "low_pa": pa, "level_pa": pa, "state": "leak-watch"}
        )
        assert led.facts["at"] == at
    led.hear("level", {"tick": 9, "t_s": 1.0, "low_pa": 0, "level_pa": 0, "state": "stopped"})
    assert led.facts["at"] == 3 and led.facts["phase"] == "run"


def test_a_lost_line_is_reported() -> None:
    desk = Desk()
    led = trial(desk)
    done = SimpleNamespace(
        cancelled=lambda: False,
        exception=lambda: Refusal("The connection was lost.", "Plug the cable in."),
    )
    led.over(done)  # type: ignore[arg-type]
    assert (
        not led.running
        and led.facts["phase"] == "refused"
        and "lost" in led.facts["refused"]
        and not led.facts["running"]
    )


@pytest.mark.parametrize("seen", [0, 50, 99])
def test_an_empty_ring_accepts_no_future_heartbeat(seen: int) -> None:
    desk = Desk()
    empty = Lease(desk.hold, Ring(), lambda: desk.at)
    assert empty.beat(desk.token, "a", 1, seen) == (seen == 0)


def test_a_reloaded_page_sends_no_heartbeat_for_the_test_it_led() -> None:
    """Every time: whether its old line is seen to end first, or the new page's first beat comes before that."""
    for old_line_first in (True, False):
        desk = Desk()
        desk.lease.begin()
        assert desk.beat(1, page="a") and desk.lease.take()
        if old_line_first:
            desk.lease.left("a")
        desk.hold.left("a")
        assert desk.hold.present(desk.token, "a2")
        assert not desk.beat(2, page="a2") and not desk.lease.take()
        desk.lease.left("a")
        assert desk.lease.broken and not desk.beat(3, page="a2") and not desk.beat(4, page="a")
        desk.lease.begin()  # the next test
        assert desk.beat(5, page="a2") and desk.lease.take() and not desk.lease.broken


def test_a_watching_page_may_leave() -> None:
    desk = Desk()
    desk.lease.begin()
    assert desk.beat(1)
    desk.lease.left("b")
    assert not desk.lease.broken and desk.lease.take() and desk.beat(2)
