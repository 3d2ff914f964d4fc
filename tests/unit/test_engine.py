"""The tick's owner alone: what it gives to board and tick at its start, how it halts, and how a slow word is handed in. Board and kernels are stood in for."""

from types import SimpleNamespace
from typing import Any

import pytest
from rimward_fw.control import engine as module
from rimward_fw.control.engine import Engine
from rimward_protocol import kernel_slots as slots


class Board:
    """Record the calls."""

    def __init__(self) -> None:
        self.did: list[tuple[Any, ...]] = []

    def context(self, arrays: list[Any]) -> str:
        self.did.append(("context", [len(one) for one in arrays]))
        return "context"

    def set_pins(self, words: Any) -> None:
        self.did.append(("pins", words))

    def start(self, one: Engine, tick: Any) -> None:
        self.did.append(("start", one, tick))

    def off(self) -> None:
        self.did.append(("off",))


def kernel(name: str) -> Any:
    return SimpleNamespace(step=f"{name} step", boot=lambda words: words.__setitem__(3, 77))


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """Calls of the tick."""
    calls: list[tuple[Any, ...]] = []
    told = {
        name: (lambda *what, name=name: calls.append((name, *what)))
        for name in ("bind", "step", "decide")
    }
    monkeypatch.setattr(module, "tick", SimpleNamespace(**told))
    return calls


def made() -> tuple[Engine, Board]:
    board: Any = Board()
    return Engine(board, (kernel("guard"), kernel("fill"))), board


def test_the_start_gives_the_tick_its_arrays_pins_and_kernels(ran: list[tuple[Any, ...]]) -> None:
    one, board = made()
    sizes = [
        slots.WORDS_G,
        slots.WORDS_X,
        slots.WORDS_F,
        slots.WORDS_Y,
        slots.WORDS_T,
        slots.RING_TICKS * slots.RING_WORDS,
    ]
    assert board.did == [("context", sizes), ("pins", one.t)] and board.did[1][1] is one.t
    assert ran == [("bind", "guard step", "fill step", "context")]
    assert list(one.g).index(77) == 3 and sum(one.g) == 77 and one.error is None, (
        "booted by its own kernel"
    )
    assert not any(sum(words) for words in (one.x, one.f, one.y, one.t, one.ring))
    one.start()
    assert board.did[2:] == [("start", one, module.tick)]


@pytest.mark.parametrize("name", ["step", "decide"])
def test_a_tick_runs_both_kernels_on_the_context(ran: list[tuple[Any, ...]], name: str) -> None:
    one, board = made()
    one.t[slots.T_OUT] = 5
    assert getattr(one, name)() == (5 if name == "decide" else None)
    assert ran[1:] == [(name, "guard step", "fill step", "context")]
    assert not one.failed and ("off",) not in board.did


@pytest.mark.parametrize("name", ["step", "decide"])
@pytest.mark.parametrize("error", [ValueError("x"), MemoryError(), KeyboardInterrupt()])
def test_any_exception_halts_with_the_vent_open(
    ran: list[tuple[Any, ...]], monkeypatch: pytest.MonkeyPatch, name: str, error: BaseException
) -> None:
    one, board = made()

    def fails(*_what: Any) -> None:
        raise error

    monkeypatch.setattr(module.tick, name, fails)
    one.t[slots.T_OUT] = 3
    assert getattr(one, name)() == (slots.OUT_VENT if name == "decide" else None)
    assert (one.t[slots.T_HALT], one.out, one.failed, one.error) == (
        1, slots.OUT_VENT, True, error
    )  # fmt: skip
    assert board.did[2:] == [("off",)]
    monkeypatch.setattr(module.tick, "decide", lambda *_what: one.t.__setitem__(slots.T_OUT, 3))
    assert one.decide() == slots.OUT_VENT, "no kernel runs again"


def test_a_slow_word_waits_for_the_one_before(ran: list[tuple[Any, ...]]) -> None:
    one, _board = made()
    assert one.offer(7, 123_456) and (one.t[slots.T_SLOT], one.t[slots.T_VALUE]) == (7, 123_456)
    assert not one.offer(8, 1) and (one.t[slots.T_SLOT], one.t[slots.T_VALUE]) == (7, 123_456)
    one.t[slots.T_SLOT] = 0
    assert one.offer(8, 0) and (one.t[slots.T_SLOT], one.t[slots.T_VALUE]) == (8, 0)


def test_what_is_read_of_the_tick(ran: list[tuple[Any, ...]]) -> None:
    one, _board = made()
    one.answers = 9
    one.t[slots.T_HEAD], one.t[slots.T_OUT], one.t[slots.T_LOAD_MAX] = 41, 42, 43
    assert (one.answers, one.t[slots.T_ANSWERS], one.head, one.out) == (9, 9, 41, 42)
    assert one.longest_us == 43 * slots.LOAD_US
    for halted in (0, 1, 2):
        one.t[slots.T_HALT] = halted
        assert one.failed is bool(halted)
