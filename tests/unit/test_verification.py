"""Verdict on a record: verified, recorded by other kernels, with another key, edited; one function gives it everywhere."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from rimward.kernels import fingerprint
from rimward.sessions import read_session
from rimward.sessions.decisions import compare, decisions
from rimward.sessions.facts import facts, verdict_text
from rimward.sessions.replay import Difference, out_words, replay
from rimward.sessions.verification import (
    DEMO_KEY,
    Verification,
    _share,
    verdict_of,
    verification_rows,
    verify,
)
from rimward.wheels.keys import Key
from rimward_protocol import session, sessionread
from rimward_protocol.mac import hmac_sha256

from tests.web.record import recorded

WORKSHOP = Key(b"w" * 32, "2026-01-01").key
NAMED = bytes(range(8))


def rewritten(data, key, **header):
    """The same record with other fields in its header, its check codes and its chain made again with `key`."""
    _why, head, found, _good = sessionread.read_blocks(data)
    fields = {
        name: value
        for name, value in head.items()
        if name not in ("magic", "version", "header_bytes", "reserved", "crc")
    }
    out = bytearray(session.seal_header({**fields, **header}))
    chain = hmac_sha256(key, b"session")
    mac = session.chain_start(chain, bytes(out))
    for kind, start, stop in found:
        sequence = int.from_bytes(data[start - 4 : start], "little")
        block = bytearray(stop - start + 8 + 4 + 16)
        block[8 : 8 + stop - start] = data[start:stop]
        end = session.seal_block(block, 0, kind, sequence, stop - start, session.FLAG_MAC)
        mac = session.add_mac(block, 0, end, chain, mac)
        out += block
    return bytes(out)


def said(data, keys=(WORKSHOP,)):
    log = read_session(data)
    return verify(log, data, keys)


@pytest.fixture(scope="module")
def fill():
    return recorded()


def ours(fill, **header):
    return rewritten(fill, WORKSHOP, **{"kernel_hash": fingerprint.kernel_hash(), **header})


def test_verified_needs_chain_replay_and_the_same_kernels(fill):
    found = said(ours(fill))
    assert (
        found.holds
        and found.same_kernels is True
        and verdict_of(found).startswith("verified: complete")
    )


def test_a_record_of_other_kernels_is_neither_forged_nor_verified_and_names_its_version(fill):
    """The chain fits and every word is there: only the hash in the header says that other kernels decided."""
    data = ours(fill, kernel_hash=NAMED)
    found = said(data)
    assert (
        found.chain is True
        and found.same_kernels is False
        and found.replay_ticks == 0
        and not found.holds
    )
    text = verdict_of(found)
    assert (
        "recorded by other kernels (firmware " in text
        and NAMED.hex() in text
        and "decided otherwise" not in text
    )
    assert NAMED.hex() in {key: words for key, _name, words in verification_rows(found)}["replay"]
    assert verdict_text(facts(data, data, keys=(WORKSHOP,))) == text


def test_a_record_that_does_not_name_its_kernels_is_replayed_and_not_called_verified(fill):
    found = said(ours(fill, kernel_hash=bytes(8)))
    assert (
        found.same_kernels is None
        and found.chain is True
        and found.replay_identical is True
        and not found.holds
    )
    assert verdict_of(found).startswith(
        "NOT VERIFIED: it does not name the kernels"
    ) and "to the same decisions" in verdict_of(found)


def test_the_demo_s_record_is_reported_as_one_of_another_key(fill):
    data = rewritten(fill, DEMO_KEY, kernel_hash=fingerprint.kernel_hash())
    for keys in ((WORKSHOP,), ()):
        found = said(data, keys)
        assert (
            not found.holds
            and found.chain is None
            and verdict_of(found).startswith("RECORDED WITH ANOTHER KEY, the demo's")
        )
    assert said(data, (DEMO_KEY,)).holds  # its own shop has the key


def test_an_edited_record_is_not_accepted_with_the_demo_s_key(fill):
    """Signed again with the key that anyone has: never verified. With a stranger's: the chain does not fit."""
    data = rewritten(fill, b"s" * 32, kernel_hash=fingerprint.kernel_hash())
    assert verdict_of(said(data)).startswith("NOT VERIFIED: the chain of check codes does not fit")
    found = dataclasses.replace(said(rewritten(fill, DEMO_KEY)), replay_identical=False)
    assert verdict_of(found).startswith("NOT VERIFIED") and not found.holds


def test_comments_docstrings_and_layout_do_not_change_the_hash_and_a_constant_does():
    import ast

    plain = "LIMIT = const(5)\ndef step(g):\n    return g[0] + LIMIT\n"
    talked = '"""Module."""\n# why\nLIMIT = const(5)\n\n\ndef step(g):\n    """Doc."""\n    return (g[0] +\n            LIMIT)\n'
    one, two, other = (
        fingerprint.normalised(ast.parse(text)) for text in (plain, talked, plain.replace("5", "6"))
    )
    assert one == two != other
    assert fingerprint.kernel_hash() != fingerprint.kernel_hash(bench=True)


def test_the_firmware_carries_the_hash_of_its_kernels():
    from rimward_fw import kernelhash

    both = (fingerprint.kernel_hash(), fingerprint.kernel_hash(bench=True))
    assert both == (kernelhash.KERNEL_HASH, kernelhash.BENCH_KERNEL_HASH), (
        "run: python -m tests.interpreter.make_spec"
    )


def test_a_record_of_this_firmware_names_its_kernels(fill):
    assert bytes(read_session(fill).header["kernel_hash"]) == fingerprint.kernel_hash()


def test_the_decisions_of_a_record_are_its_changes_in_order(fill):
    log = read_session(fill)
    found = decisions(log)
    assert [one.tick for one in found] == sorted(one.tick for one in found) and found[
        0
    ].tick == log.spans[0].tick
    assert {"filling", "done"} <= {one.state for one in found} and "GATE" in " ".join(
        one.out for one in found
    )
    pairs = zip(found, found[1:])
    assert all(
        (a.out, a.state, a.cause, a.stop) != (b.out, b.state, b.cause, b.stop)
        or b.tick in {span.tick for span in log.spans}
        for a, b in pairs
    )
    series = log.series(1)
    assert max(one.reading_pa for one in found) == pytest.approx(
        max(series["a_pa"].max(), series["b_pa"].max()), abs=10_000
    )
    rows = [one.row() for one in found]
    assert compare(rows, found) == [] and len(compare(rows[:-1], found)) == 1
    assert len(compare([], found)) == 6 and compare(rows, found[:-1])[0].endswith("now nothing")


def test_a_state_that_was_recorded_otherwise_is_a_difference_with_its_reading(fill):
    log = read_session(fill)
    span = next(span for span in log.spans if span.marks)
    tick, mark = next(iter(span.marks.items()))
    mark["g"][0] += 1
    found = replay(log)
    assert (
        not found.identical
        and found.differences[0].tick == tick
        and found.differences[0].what == "state"
    )
    at = int(np.searchsorted(log.series(1)["tick"], tick))
    near = log.series(1)[at]
    assert found.differences[0].reading_pa == pytest.approx(
        max(near["a_pa"], near["b_pa"]), abs=8_000
    )  # the guard's own is filtered


SOUND = Verification(True, "", True, True, True, True, 500, 2, 0.29, 0)


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({}, "verified: complete, and 29 % of it replayed to the same decisions"),
        ({"replay_share": 1.0}, "verified: complete, and 100 % of it replayed to the same decisions"),
        ({"chain": None}, "NOT VERIFIED: this computer has no workshop key to check it with"),
        ({"chain": None, "bench": True}, "NOT VERIFIED: this computer has no bench key to check it with"),
        ({"chain": None, "chained": False}, "NOT VERIFIED: it is not chained to a workshop key"),
        ({"chain": None, "replay_identical": False}, "NOT VERIFIED: this computer has no workshop key to check it with"),
        ({"chain": None, "whole": False, "damage": "block 3 is damaged"}, "NOT VERIFIED: block 3 is damaged"),
        ({"chain": False}, "NOT VERIFIED: the chain of check codes does not fit this workshop's key"),
        ({"chain": False, "bench": True}, "NOT VERIFIED: the chain of check codes does not fit this computer's bench key"),
        ({"whole": False, "damage": "block 3 is damaged"}, "NOT VERIFIED: block 3 is damaged"),
        ({"same_kernels": False, "by": "firmware 0.1"}, "NOT VERIFIED: recorded by other kernels (firmware 0.1); replay it with the host of that version"),
        ({"same_kernels": None}, "NOT VERIFIED: it does not name the kernels that decided; 29 % of it replayed to the same decisions with those of this host"),
        ({"replay_identical": False}, "NOT VERIFIED: the replay decided otherwise"),
        ({"replay_identical": None}, "NOT VERIFIED: no full-rate record to replay"),
        ({"chain": None, "known_key": True}, "RECORDED WITH ANOTHER KEY, the demo's, which is public: complete, and 29 % of it replayed to the same decisions"),
        ({"chain": None, "known_key": True, "replay_identical": False}, "NOT VERIFIED: recorded with another key, the demo's, and the replay decided otherwise"),
        ({"chain": None, "known_key": True, "whole": False, "damage": "cut"}, "NOT VERIFIED: cut"),
    ],
)  # fmt: skip
def test_each_verdict_in_words(changed, text):
    found = dataclasses.replace(SOUND, **changed)
    assert verdict_of(found) == text and found.holds is text.startswith("verified")


@pytest.mark.parametrize(
    ("changed", "key", "text"),
    [
        ({}, "whole", "whole"),
        ({"whole": False, "damage": "cut"}, "whole", "cut"),
        ({}, "chain", "fits this workshop's key"),
        ({"chain": False}, "chain", "DOES NOT FIT this workshop's key"),
        ({"chain": None}, "chain", "not checked: no key on this computer"),
        ({"chain": None, "known_key": True}, "chain", "fits the demo's key, which is public"),
        ({"chained": False, "chain": None}, "chain", "this inflator had no key: the record is not chained"),
        ({}, "replay", "500 ticks in 2 stretches, 29 % of the record: the same decisions"),
        ({"replay_spans": 1}, "replay", "500 ticks in 1 stretch, 29 % of the record: the same decisions"),
        ({"replay_identical": False}, "replay", "500 ticks in 2 stretches, 29 % of the record: OTHER DECISIONS"),
        ({"replay_identical": None}, "replay", "500 ticks in 2 stretches, 29 % of the record: nothing to replay"),
        ({"replay_identical": None, "same_kernels": False, "by": "x"}, "replay",
         "500 ticks in 2 stretches, 29 % of the record: recorded by other kernels (x); replay it with the host of that version"),
        ({"lost_spans": 1}, "replay", "500 ticks in 2 stretches, 29 % of the record: the same decisions; 1 stretch lost their beginning to newer ticks and can only be read"),
    ],
)  # fmt: skip
def test_each_check_in_words(changed, key, text):
    rows = verification_rows(dataclasses.replace(SOUND, **changed))
    assert {row[0]: row[2] for row in rows}[key] == text
    assert [row[0] for row in rows] == ["verified", "whole", "chain", "replay"]


@pytest.mark.parametrize(
    ("ticks", "replayed", "share"),
    [((0, 1, 2), 1, 0.3333), ((10, 12), 3, 1.0), ((10, 12), 5, 1.0), ((7,), 1, 1.0), ((), 0, 0.0)],
)
def test_the_share_is_of_the_ticks_from_first_to_last(ticks, replayed, share):
    series = np.array([(tick,) for tick in ticks], dtype=[("tick", "i4")])
    assert _share(SimpleNamespace(series=lambda: series), replayed) == share


def test_a_record_without_full_rate_data_replays_to_nothing(fill):
    """Nothing replayed is no agreement."""
    log = read_session(fill)
    log.spans.clear()
    found = replay(log)
    assert (found.identical, found.ticks, found.spans) == (False, 0, ())
    verdict = verify(log, fill, (WORKSHOP,))
    assert verdict.replay_identical is None and (verdict.replay_ticks, verdict.replay_spans) == (
        0,
        0,
    )
    unread = verify(read_session(fill), fill, (WORKSHOP,), check=False)
    assert unread.replay_identical is None and (unread.replay_ticks, unread.replay_share) == (0, 0)
    assert unread.replay_spans == 0


def test_a_stretch_that_decides_otherwise_shows_its_first_five_ticks(fill):
    log = read_session(fill)
    log.spans[1:] = []
    log.spans[0].marks.clear()
    log.spans[0].out[:] ^= 64
    found = replay(log)
    first = log.spans[0].tick
    assert [one.tick for one in found.differences] == [first + n for n in range(5)]
    assert {one.what for one in found.differences} == {"outputs"}


def test_a_difference_in_one_line():
    one = Difference(7, "outputs", "GATE", "nothing", 123_456, "filling", "none")
    assert one.line() == (
        "tick 7: outputs: recorded GATE, replayed nothing (reading 1.235 bar, filling, cause none)"
    )


def test_outputs_in_words():
    assert (
        out_words(0) == "nothing"
        and out_words(3 | 5 << 8) == "GATE+RELAY+want+beep"
        and out_words(4 | 2 << 8) == "VENT+bleed"
    )
