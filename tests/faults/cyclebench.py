"""The fill cycle alone, on arrays that stand in for the kernels. Shared by the tests of its answers and of its ends."""

from array import array
from types import SimpleNamespace
from typing import Any

import pytest
from rimward_fw.control import builtin, cycle
from rimward_fw.control.cycle import FillCycle
from rimward_fw.ui import buttons
from rimward_protocol import codes

WHEEL = b"wheel-01"
RUN = buttons.RUN
# words of the kernels and slots of the tick, as their tables number them
SW, CEIL, CHK, JOB_SLOT = 2, 7, 15, 70
CAUSE, WHY, READ = 0, 3, 39
STATE, REASON, TYRE, VOLUME = 0, 1, 2, 28
ZERO_PA = 600_000  # of the guard's reading


class Engine:
    """Words that a test sets; slow words are taken unless `full`."""

    def __init__(self) -> None:
        self.g, self.x, self.f, self.y, self.t = (array("i", [0] * 90) for _ in range(5))
        self.answers = self.head = 0
        self.full = False
        self.offered: list[tuple[int, int]] = []

    def offer(self, slot: int, value: int) -> bool:
        if not self.full:
            self.offered.append((slot, value))
        return not self.full


class App:
    """As much of the application as a cycle uses; `did` is what it asked for."""

    def __init__(self) -> None:
        self.engine = Engine()
        self.did: list[tuple[Any, ...]] = []
        self.noted: list[tuple[int, ...]] = []
        self.held = 0
        self.recorder = SimpleNamespace(
            active=False,
            waiting=lambda: self.held,
            leave=lambda: self.did.append(("recorder left",)),
        )
        self.facts: Any = SimpleNamespace(facts=(1, 2))
        self.store = SimpleNamespace(
            wheels=SimpleNamespace(row=lambda _wheel: self.facts),
            profile_confirm=lambda wheel: self.did.append(("confirm", wheel)),
        )
        self.entry = SimpleNamespace(step=10, value=lambda: 77)
        self.air = SimpleNamespace(again=lambda: self.did.append(("again",)))
        self.keep_session = lambda: self.did.append(("keep",))
        self.keep_trip = lambda cause: self.did.append(("trip", cause))
        self.close_session = lambda cause: self.did.append(("close", cause))
        self.air_ck = lambda: 29_000

    def note(self, event: int, cause: int, value: int, value2: int = 0) -> None:
        self.noted.append((event, cause, value, value2))


class Losses:
    """Calls in the order in which they came."""

    def __init__(self, did: list[tuple[Any, ...]]) -> None:
        self.clear = lambda: did.append(("clear",))
        self.seen = lambda _cycle: did.append(("seen",))
        self.work = lambda: did.append(("losses",))
        self.end = lambda _cycle, cause: did.append(("end", cause))


@pytest.fixture
def visit() -> FillCycle:
    one = FillCycle(App())
    one.losses = Losses(one.app.did)
    one.arm = lambda *what: one.app.did.append(("arm", *what))
    return one


@pytest.fixture
def armed(visit: FillCycle) -> FillCycle:
    """Armed and ready, the run control open, nothing to do."""
    visit.choose(WHEEL, builtin.profile(300_000, 200_000), True)
    visit.phase = cycle.ARMED
    visit.app.engine.f[STATE] = codes.READY
    visit.app.engine.g[READ] = ZERO_PA
    visit.app.engine.f[TYRE] = -1
    visit.work()
    visit.app.did.clear()
    visit.app.noted.clear()
    return visit
