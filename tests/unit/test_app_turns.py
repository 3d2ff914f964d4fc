"""Who gets a turn of the main loop: a source of constant requests does not delay the others."""

from itertools import pairwise
from types import SimpleNamespace

import pytest
from rimward_fw import rooms
from rimward_fw.app import WORK_TICKS, App
from rimward_fw.chores import (
    COLLECT_BYTES,
    COLLECT_TICKS,
    COUNT_EVERY,
    SCREEN_BYTES,
    SLOW_TICKS,
    Chores,
)


def asked(**busy: bool) -> tuple[SimpleNamespace, list[str]]:
    """An application of which some parts always have something to do, and what was done."""
    done: list[str] = []

    def part(name: str, result: object) -> object:
        return lambda *_: (done.append(name), result)[1]

    app = SimpleNamespace(
        buttons=SimpleNamespace(poll=lambda: (busy.get("person", False), False)),
        interface=SimpleNamespace(pressed=part("person", None)),
        settings_stale=busy.get("setting", False),
        read_settings=part("setting", None),
        cycle=SimpleNamespace(
            reload=part("reload", None), step=part("step", busy.get("step", False))
        ),
        link=SimpleNamespace(poll=part("host", busy.get("host", False))),
        transducers={},
        _host_first=False,
    )
    return app, done


def test_a_host_that_never_stops_asking_leaves_every_second_turn_to_a_start() -> None:
    app, done = asked(host=True, step=True)
    for _ in range(4):
        assert App._asked(app)  # type: ignore[arg-type]
    assert done == ["host", "step"] * 2


def test_a_stored_setting_is_read_before_the_next_press_and_a_press_comes_before_a_host() -> None:
    app, done = asked(setting=True, person=True, host=True)
    assert App._asked(app) and done == ["setting", "reload"]  # type: ignore[arg-type]
    assert App._asked(app) and done[2:] == ["person"]  # type: ignore[arg-type]
    app, done = asked(setting=True, host=True)
    assert App._asked(app) and App._asked(app)  # type: ignore[arg-type]
    assert done == ["setting", "reload", "host"]


def test_where_nobody_asks_both_are_looked_at_and_the_turn_is_free() -> None:
    app, done = asked()
    assert not App._asked(app) and done == ["host", "step"]  # type: ignore[arg-type]


def test_a_record_is_drained_and_written_though_host_and_heap_always_want_a_turn() -> None:
    done: list[str] = []
    engine = SimpleNamespace(head=0, out=0)

    def recorded(_sample: object, _limits: object, drain: bool) -> bool:
        done.append("record" if drain else "sample")
        return False

    app = SimpleNamespace(
        board=SimpleNamespace(idle=lambda: None, ticks_ms=lambda: 0, feed=lambda: None),
        engine=engine,
        link=SimpleNamespace(opened=True, poll=lambda: (done.append("host"), True)[1]),
        chores=SimpleNamespace(left=lambda _: None, work=lambda _: (done.append("chore"), True)[1]),
        consent=SimpleNamespace(work=lambda: None),
        cycle=SimpleNamespace(work=lambda: None),
        cutoff=SimpleNamespace(work=lambda: None),
        recorder=SimpleNamespace(work=recorded, active=True),
        sample=lambda: None,
        _limits=lambda: None,
        _asked=lambda: (done.append("asked"), True)[1],
        _keep=lambda: done.append("keep"),
        _next_work=0,
        _head=-1,
        _head_ms=0,
        _busy=False,
        _owed=False,
    )
    for engine.head in range(6 * WORK_TICKS):
        App.work(app)  # type: ignore[arg-type]
    turns = [what for what in done if what not in ("host", "sample")]
    assert turns == ["asked", "chore", "record", "keep"] * 2
    assert done.count("host") == 4 * (WORK_TICKS - 1)  # none while the record waits for its turn


@pytest.fixture
def housed(monkeypatch: pytest.MonkeyPatch) -> tuple[Chores, list[str], list[bool]]:
    """Chores with an interpreter that counts its heap, what ran, and what the slow tasks answer next."""
    ran: list[str] = []
    more = [False]
    monkeypatch.setattr("rimward_fw.chores.gc.collect", lambda: ran.append("collect"))
    monkeypatch.setattr("rimward_fw.chores.heap_free", lambda: (ran.append("count"), 90_000)[1])
    app = SimpleNamespace(heap_free=1, slow=lambda: (ran.append("slow"), more[0])[1])
    return Chores(app), ran, more  # type: ignore[arg-type]


def test_slow_tasks_run_ten_times_a_second_and_a_collection_in_a_turn_of_its_own(
    housed: tuple[Chores, list[str], list[bool]],
) -> None:
    chores, ran, _more = housed
    turns = [tick for tick in range(0, 2 * COLLECT_TICKS, 5) if chores.work(tick)]
    assert ran.count("slow") == 2 * COLLECT_TICKS // SLOW_TICKS
    assert 1 <= ran.count("collect") <= 2 and len(turns) == len(ran)


def test_what_leaves_much_on_the_heap_is_collected_at_once(
    housed: tuple[Chores, list[str], list[bool]],
) -> None:
    chores, ran, more = housed
    chores.work(0)
    chores.left(COLLECT_BYTES - 1)
    assert not chores.work(5)
    chores.left(1)
    assert chores.work(10) and ran[-1] == "collect" and not chores.work(15)
    assert SCREEN_BYTES >= COLLECT_BYTES
    more[0] = True
    assert chores.work(SLOW_TICKS) and ran[-1] == "slow"
    more[0] = False
    assert [chores.work(SLOW_TICKS + tick) for tick in (5, 10, 15)] == [True, True, False]
    assert ran[-2:] == ["collect", "slow"]


def test_the_heap_is_counted_after_some_collections_and_not_where_the_interpreter_counts_none(
    housed: tuple[Chores, list[str], list[bool]],
) -> None:
    chores, ran, _more = housed
    for tick in range(0, COUNT_EVERY * 10 * COLLECT_TICKS, 5):
        chores.work(tick)
    collections = [n for n, what in enumerate(ran) if what == "collect"]
    counts = [n for n, what in enumerate(ran) if what == "count"]
    between = [sum(first < n < last for n in collections) for first, last in pairwise(counts)]
    assert len(counts) > 5 and set(between) == {COUNT_EVERY}
    assert chores.app.heap_free == 90_000
    chores.app.heap_free = 0
    del ran[:]
    for tick in range(0, 4 * COLLECT_TICKS, 5):
        chores.work(tick)
    assert "collect" not in ran and "count" not in ran


def test_rooms_that_are_loaded_ahead_are_named_by_their_places() -> None:
    named = {
        rooms.PRESET: "rimward_protocol.preset",
        rooms.INTAKE: "rimward_fw.control.intake",
        rooms.SENSE: "rimward_fw.control.sense",
        rooms.STORE_REQUESTS: "rimward_fw.link.store_requests",
        rooms.DISPLAY_FACTS: "rimward_fw.ui.display_facts",
        rooms.LEFT: "rimward_fw.control.left",
    }
    assert {place: rooms.ROOMS[place] for place in named} == named


def test_one_room_is_loaded_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    there = {rooms.ROOMS[rooms.SENSE]: object()}
    monkeypatch.setattr(rooms, "sys", SimpleNamespace(modules=there))
    monkeypatch.setattr(
        rooms, "room", lambda number: there.__setitem__(rooms.ROOMS[number], object())
    )
    asked_for = (rooms.SENSE, rooms.INTAKE, rooms.PRESET)
    assert [rooms.ready(*asked_for) for _ in range(3)] == [False, False, True]
    assert len(there) == 3
