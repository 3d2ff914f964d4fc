"""Whose kernels decided in a record: by the numbers of words and by the hash, each word list for itself; and which part of a record was replayed."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from rimward.kernels.fingerprint import kernel_hash
from rimward.sessions import verification as module
from rimward.sessions.verification import recorded_by_ours, verify
from rimward_protocol import kernel_words

HASH = kernel_hash()
WORDS = {
    "words_g": len(kernel_words.GUARD_STATE), "words_x": len(kernel_words.GUARD_INPUT), "words_f": len(kernel_words.FILL_STATE),
    "words_y": len(kernel_words.FILL_INPUT),
}  # fmt: skip


def record(ticks: tuple[int, ...] = (0, 99), **changed: Any) -> Any:
    header = {**WORDS, "kernel_hash": HASH, **changed.pop("header", {})}
    series = np.array([(tick,) for tick in ticks], dtype=[("tick", np.int64)])
    fields = {
        "header": header, "bench": False, "meta": {"firmware": b"1.2.3"}, "damage": "", "chained": False, "broken_spans": 0,
        "series": lambda: series,
    }  # fmt: skip
    return SimpleNamespace(**{**fields, **changed})


@pytest.mark.parametrize(
    ("header", "ours"),
    [
        ({}, True),
        ({"kernel_hash": bytes(8)}, None),
        ({"kernel_hash": bytes(7) + b"x"}, False),
        *(({name: WORDS[name] + more}, False) for name in WORDS for more in (1, -1)),
        *(({name: WORDS[name] + 1, "kernel_hash": bytes(8)}, False) for name in WORDS),
    ],
)
def test_whose_kernels(header: dict[str, Any], ours: bool | None) -> None:
    assert recorded_by_ours(record(header=header)) is ours


def test_a_bench_has_kernels_of_its_own() -> None:
    assert recorded_by_ours(record(bench=True)) is False
    bench = {"kernel_hash": kernel_hash(bench=True)}
    assert recorded_by_ours(record(header=bench, bench=True)) is True
    assert recorded_by_ours(record(header=bench)) is False


@pytest.mark.parametrize(
    ("ticks", "replayed", "share"),
    [((0, 99), 50, 0.5), ((100, 199), 100, 1.0), ((0, 99), 101, 1.0), ((0, 2), 1, 0.3333), ((), 5, 0.0), ((7,), 1, 1.0), ((0, 9_999), 1, 0.0001)],
)  # fmt: skip
def test_the_share_that_was_replayed(
    monkeypatch: pytest.MonkeyPatch, ticks: tuple[int, ...], replayed: int, share: float
) -> None:
    again = SimpleNamespace(identical=True, ticks=replayed, spans=((0, 1), (2, 3)))
    monkeypatch.setattr(module, "replay", lambda _log: again)
    found = verify(record(ticks), None)
    assert (found.replay_share, found.replay_ticks, found.replay_spans) == (share, replayed, 2)
    assert found.replay_identical is True and found.chain is None and not found.known_key


@pytest.mark.parametrize("how", ["unchecked", "other kernels", "nothing replayed"])
def test_what_was_not_replayed_is_no_result(monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    again = SimpleNamespace(identical=True, ticks=0, spans=())
    monkeypatch.setattr(module, "replay", lambda _log: again)
    header = {"kernel_hash": b"another-"} if how == "other kernels" else {}
    found = verify(record(header=header), None, check=how != "unchecked")
    assert found.replay_identical is None
    assert (found.replay_ticks, found.replay_spans, found.replay_share) == (0, 0, 0.0)


@pytest.mark.parametrize("chained", [True, False])
@pytest.mark.parametrize("raw", [b"raw", None])
@pytest.mark.parametrize(
    ("keys", "fits", "chain", "known"),
    [
        ((), "", None, False),
        ((b"ours",), "ours", True, False),
        ((b"old", b"ours"), "ours", True, False),
        ((b"ours",), "", False, False),
        ((b"ours",), "demo", None, True),
        ((), "demo", None, True),
        ((module.DEMO_KEY,), "demo", True, False),
    ],
)
def test_whose_key_made_the_chain(
    monkeypatch: pytest.MonkeyPatch, chained: bool, raw: bytes | None, keys: tuple[bytes, ...], fits: str,
    chain: bool | None, known: bool,
) -> None:  # fmt: skip
    """A chain is looked at only where there is one and the bytes are at hand."""
    maker = {"ours": b"ours", "demo": module.DEMO_KEY, "": b"a stranger's"}[fits]
    monkeypatch.setattr(module, "hmac_sha256", lambda key, purpose: (key, purpose))
    monkeypatch.setattr(
        module.sessionread, "chain_holds", lambda _raw, start: start == (maker, b"session")
    )
    found = verify(record(chained=chained), raw, keys, check=False)
    looked = chained and raw is not None
    assert (found.chain, found.known_key) == ((chain, known) if looked else (None, False))


def test_a_version_that_is_not_recorded_is_named_so() -> None:
    text = f"firmware 1.2.3, kernels {HASH.hex()}"
    assert module.kernels_text(record()) == text
    assert module.kernels_text(record(meta={})) == text.replace("1.2.3", "not recorded")
    assert verify(record(damage="torn", broken_spans=3), None, check=False).by == text
    torn = verify(record(damage="torn", broken_spans=3), None, check=False)
    assert (torn.whole, torn.damage, torn.lost_spans) == (False, "torn", 3)
