"""Edges of the firmware's arming, visit and store, each against literals: values that a small change of the code would move."""

from pathlib import Path

import pytest
from rimward_fw.control import arming, configuration, events, intake, unregistered
from rimward_fw.storage.store import Store
from rimward_fw.ui import buttons
from rimward_protocol import codes, replies
from rimward_protocol import kernel_slots as slots

from tests.faults.consentbench import Inflator
from tests.faults.test_visit import asked_about
from tests.unit.test_fill_arming import HERE, PROFILE, words
from tests.unit.test_store_sessions import fill

NO_RIDE = PROFILE | {"flags": 0, "ambient_min_pa": HERE["ambient_pa"]}


@pytest.mark.parametrize(
    ("rim_class", "straight"),
    [
        (codes.RIM_SS, True),
        (codes.RIM_TSS, True),
        (codes.RIM_HB, False),
        (codes.RIM_TC, False),
        (codes.RIM_TC + 1, True),  # a class that this firmware does not know
    ],
)
def test_which_rims_are_straight_sided(rim_class: int, straight: bool) -> None:
    _code, x, _y = words(NO_RIDE | {"rim_class": rim_class})
    assert bool(x["flags"] & slots.STRAIGHT_SIDE) is straight


def test_a_target_may_reach_the_stop_reading_less_one_bursts_rise() -> None:
    """With an open core there is no spring to overcome."""
    code, x, _y = words(NO_RIDE)
    assert code == replies.OK
    highest = x["ceil_pa"] - x["band_pa"] - x["rise_pa"]
    for target_pa, wanted in ((highest, replies.OK), (highest + 1, replies.TARGET_ABOVE_STOP)):
        here = words(NO_RIDE | {"target_pa": target_pa})
        assert here[0] == wanted, (target_pa, highest)
        assert wanted != replies.OK or here[2]["target_pa"] == target_pa


def test_words_of_the_hose_and_of_the_watch() -> None:
    """0.23 dm3/(s bar) as 308: 308,000 through 1,027 hPa. A tyre is watched for 10 s after its fill."""
    _code, _x, y = words(NO_RIDE | {"ambient_min_pa": 102_700}, HERE | {"ambient_pa": 102_700})
    assert (y["path"], y["crack_pa"], y["coast_ticks"]) == (299, 20_000, 22)
    assert arming.WATCH_TICKS == y["watch_ticks"] == 5_000
    assert configuration.HARDWARE[configuration.LINE]["crack_pa"] == 20_000


def test_another_wheel_does_not_show_the_last_one_s_loss(inflator: Inflator) -> None:
    inflator.app.cycle.losses.rate = 900
    inflator.app.cycle.losses.slow_leak = True
    visit = asked_about(inflator)
    assert visit.losses.rate is None and not visit.losses.slow_leak


def test_an_answer_that_cleared_a_fault_is_used_up(inflator: Inflator) -> None:
    """Else the same press would clear the next fault unseen."""
    visit, engine = inflator.app.cycle, inflator.app.engine
    engine.answers |= buttons.CLEAR
    assert engine.g[slots.G_CAUSE] == 0
    visit.work()
    assert not engine.answers & buttons.CLEAR
    engine.g[slots.G_CAUSE] = 1
    engine.answers |= buttons.CLEAR
    visit.work()
    assert engine.answers & buttons.CLEAR


def test_a_profile_that_is_no_newer_is_refused_unless_it_is_the_same(inflator: Inflator) -> None:
    assert inflator.send(10) == replies.WAITING_FOR_PERSON
    assert inflator.send(10) in (replies.OK, replies.WAITING_FOR_PERSON)
    assert inflator.send(9) == replies.ISSUE_NOT_NEWER
    assert inflator.send(10, revision=11) == replies.ISSUE_NOT_NEWER
    assert inflator.send(11) == replies.WAITING_FOR_PERSON


def test_a_key_that_could_not_be_stored_is_not_recorded_as_enrolled(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inflator.app.keys, "enrol", lambda _key: replies.STORE_FULL)
    assert intake.enrol(inflator.app, bytes(range(32))) == replies.STORE_FULL
    assert events.KEY_ENROLLED not in [event for event, *_ in inflator.events]


def test_the_entry_for_an_unregistered_wheel_ends_with_one_yes(inflator: Inflator) -> None:
    entry = unregistered.Entry(inflator.app)
    entry.begin()
    entry.step = unregistered.TARGET
    entry.printed_pa = 450_000
    assert entry.pressed(buttons.ENTER) == 0  # no target yet
    entry.target_pa = 300_000
    assert entry.pressed(buttons.ENTER) == 1


def test_the_first_session_makes_room_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(str(tmp_path), lambda: False)
    store.boot()
    assert [fill(store, 1), fill(store, 1), fill(store, 1)] == [1, 2, 3]
    monkeypatch.setattr(store, "_fits", lambda _count, _reserve: False)
    assert store.make_way(store.session_new(), 4096)
    assert store.session_list() == [3, 2]
    assert store.make_way(store.session_new(), 4096)
    assert store.make_way(store.session_new(), 4096)
    assert store.session_list() == [] and not store.make_way(store.session_new(), 4096)
