"""Attacks with old profiles: every one was tagged by the workshop once, and none may come back. Ten thousand wheels over twenty years on one inflator."""

import random
from collections.abc import Iterator

import pytest
from rimward_fw.control import builtin
from rimward_fw.storage import wheels
from rimward_fw.storage.wheels import WHEELS_MAX, Wheels, loosened
from rimward_protocol import codes, layout, replies

DAY = 1440  # issue numbers go with the minutes


def profile_of(wheel: int, issue: int, **changed: object) -> bytes:
    return layout.seal_profile(
        {
            **builtin.BUILT_IN,
            "wheel_id": wheel.to_bytes(8, "big"),
            "revision": 1,
            "issue": issue,
            **changed,
        }
    )


class Memory:
    """Records in memory in place of flash: the calls that `Wheels` makes on a store and on `records`."""

    folder = "x"
    dropped = 0

    def __init__(self) -> None:
        self.bodies: dict[str, bytes] = {}
        self.numbers: dict[str, int] = {}

    def locked(self) -> bool:
        return False

    def number(self, name: str) -> int:
        return self.numbers.get(name, 0)

    def number_put(self, name: str, value: int) -> int:
        self.numbers[name] = value
        return replies.OK

    def write(self, path: str, body: bytes) -> int:
        self.bodies[path] = body
        return replies.OK

    def read(self, path: str) -> tuple[bytes, int, int] | None:
        return (self.bodies[path], 1, 0) if path in self.bodies else None

    def names(self, _folder: str) -> list[str]:
        return [path.split("/")[-1] + ".0" for path in self.bodies]

    def remove_file(self, path: str) -> bool:
        self.bodies.pop(path.rsplit(".", 1)[0], None)
        return True


@pytest.fixture
def memory(monkeypatch: pytest.MonkeyPatch) -> Iterator[Memory]:
    made = Memory()
    for name in ("read", "names", "remove_file"):
        monkeypatch.setattr(wheels.records, name, getattr(made, name))
    yield made


def offered(table: Wheels, wheel: int, issue: int, yes: bool = False) -> bool:
    """Whether the inflator takes this profile; `yes`: the person confirms it."""
    wheel_id = wheel.to_bytes(8, "big")
    if issue <= table.least_issue(wheel_id):
        return False
    assert table.put(profile_of(wheel, issue), False, table.is_far(issue))[0] == replies.OK
    if yes:
        table.confirm(wheel_id)
    return True


def test_ten_thousand_wheels_over_twenty_years(memory: Memory) -> None:
    """New wheels all the time, old ones made again, old files sent again: none older than the newest taken ever comes back, every new one is taken."""
    table, chance = Wheels(memory), random.Random(4)
    made: dict[int, list[int]] = {}
    taken: dict[int, int] = {}
    now, replayed, most = 3_000_000, 0, 0
    while len(made) < 10_000:
        now += chance.randrange(1, 2 * 20 * 365 * DAY // 15_000)
        wheel = (
            len(made)
            if not made or chance.random() < 0.6
            else chance.randrange(max(0, len(made) - 400), len(made))
        )
        made.setdefault(wheel, []).append(now)
        assert offered(table, wheel, now, yes=True), (
            "the newest profile of a workshop is always taken"
        )
        taken[wheel] = now
        old = chance.choice(
            list(made) if chance.random() < 0.2 else [wheel, max(0, wheel - chance.randrange(300))]
        )
        issue = chance.choice(made[old])
        came = offered(table, old, issue)
        assert not came or issue > taken.get(old, 0), (old, issue, taken[old])
        replayed += 1
        most = max(most, len(table.list()))
    assert replayed > 15_000 and most == WHEELS_MAX and memory.number("floor") > 3_000_000
    again = Wheels(memory)  # as after a restart
    for wheel, issues in made.items():
        assert not any(offered(again, wheel, issue) for issue in issues), wheel


def test_a_far_number_changes_nothing_without_confirmation(memory: Memory) -> None:
    table = Wheels(memory)
    assert offered(table, 1, 3_000_000, yes=True)
    assert table.is_far(codes.ISSUE_MAX) and not table.is_far(3_000_000 + codes.ISSUE_FAR)
    assert offered(table, 1, codes.ISSUE_MAX)
    assert table.get((1).to_bytes(8, "big"))[2] is False, "it waits for the person"
    assert offered(table, 1, 3_000_001, yes=True), (
        "the wheel is not ended: the next ordinary number is taken"
    )
    assert offered(table, 2, codes.ISSUE_MAX) and offered(table, 2, 3_000_002)
    assert offered(table, 3, codes.ISSUE_MAX, yes=True) and not offered(
        table, 3, codes.ISSUE_MAX - 1
    ), "after a yes it counts"


def test_far_numbers_do_not_raise_the_floor(
    memory: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wheels, "WHEELS_MAX", 3)
    table = Wheels(memory)
    for wheel in range(3):
        assert offered(table, wheel, 3_000_000 + wheel, yes=True)
    assert offered(table, 7, codes.ISSUE_MAX)
    for wheel in range(8, 30):
        assert offered(table, wheel, 3_000_100 + wheel, yes=True)
    assert memory.number("floor") < 3_000_200


@pytest.mark.parametrize(
    ("name", "value"),
    [("ceiling_pa", 420_001), ("limit_pa", 500_001), ("volume_low_ml", 801), ("volume_ml", 1251), ("rim_class", 5), ("chuck", 2), ("position", 1),
     ("tyre_width_dmm", 250), ("bead_seat_mm", 584)],
)  # fmt: skip
def test_what_loosens_is_named(name: str, value: int) -> None:
    values = dict(builtin.BUILT_IN)
    facts = wheels.facts_of(layout.seal_profile(values))
    assert loosened(facts, values) == []
    assert loosened(facts, {**values, name: value}) == [name]


@pytest.mark.parametrize("name", ["ceiling_pa", "limit_pa", "volume_low_ml", "volume_ml"])
def test_tighter_limits_ask_nothing(name: str) -> None:
    values = dict(builtin.BUILT_IN)
    assert (
        loosened(
            wheels.facts_of(layout.seal_profile(values)),
            {**values, name: values[name] - 1, "target_pa": 100_000},
        )
        == []
    )


def test_a_tighter_profile_does_not_lower_what_was_confirmed(memory: Memory) -> None:
    """What a person confirmed last stays confirmed: the same limits again ask nothing, one pascal more does."""
    table, wheel = Wheels(memory), (1).to_bytes(8, "big")
    table.put(profile_of(1, 10), False)
    assert table.row(wheel).facts is None
    table.confirm(wheel)
    facts = table.row(wheel).facts
    assert facts[0] == 420_000
    table.put(profile_of(1, 11, ceiling_pa=400_000), True)
    assert table.row(wheel).facts == facts and table.get(wheel)[2]
    table.delete(wheel)
    assert table.row(wheel).facts is None, "a deleted wheel is a new one"


def test_a_restart_finds_the_table_as_it_was(memory: Memory) -> None:
    table = Wheels(memory)
    for wheel in range(1, 6):
        assert offered(table, wheel, 3_000_000 + wheel, yes=True)
    table.delete((2).to_bytes(8, "big"))
    again = Wheels(memory)
    assert again.list() == table.list() == [wheel.to_bytes(8, "big") for wheel in (1, 3, 4, 5)]
    assert (
        again.row((2).to_bytes(8, "big")).flags == 0
        and again.least_issue((2).to_bytes(8, "big")) == 3_000_002
    )
    assert again.is_far(3_000_005 + codes.ISSUE_FAR + 1) and not again.is_far(
        3_000_005 + codes.ISSUE_FAR
    )


def test_a_failed_store_gives_its_code_and_changes_nothing(
    memory: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = Wheels(memory)
    assert table.put(b"short", False) == (replies.PROFILE_SIZE, 0, b"")
    monkeypatch.setattr(memory, "write", lambda *_row: replies.STORE_FULL)
    assert (
        table.put(profile_of(1, 10), False) == (replies.STORE_FULL, 0, b"") and table.list() == []
    )
    assert WHEELS_MAX == 200 and codes.ISSUE_FAR == 20_000_000, "38 years of minutes"


def test_a_floor_that_cannot_be_kept_drops_no_wheel(
    memory: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wheels, "WHEELS_MAX", 1)
    table = Wheels(memory)
    assert table.put(profile_of(1, 10), False)[0] == replies.OK
    monkeypatch.setattr(memory, "number_put", lambda *_row: replies.STORE_FULL)
    assert table.put(profile_of(2, 11), False) == (replies.STORE_FULL, 0, b"")
    assert table.list() == [(1).to_bytes(8, "big")] and memory.dropped == 0


def test_a_record_that_reads_back_differently_is_refused(
    memory: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = Wheels(memory)
    assert table.put(profile_of(1, 10), False)[0] == replies.OK
    write = memory.write
    monkeypatch.setattr(memory, "write", lambda path, body: write(path, body[:-1] + b"x"))
    assert table.put(profile_of(1, 11), False) == (replies.READ_BACK_DIFFERS, 0, b"")
