"""What is said of a record: verified, recorded by other kernels, with another key, edited; one function says it everywhere."""

import dataclasses

import pytest
from rimward.kernels import fingerprint
from rimward.keys import Key
from rimward.sessions import read_session
from rimward.sessions.facts import facts, verdict_text
from rimward.sessions.verification import DEMO_KEY, verdict_of, verification_rows, verify
from rimward_protocol import session, sessionread
from rimward_protocol.mac import hmac_sha256

from tests.web.record import recorded

WORKSHOP = Key(b"w" * 32, "2026-01-01").key
NAMED = bytes(range(8))


def rewritten(data, key, **header):
    """The same record with other fields in its header, its check codes and its chain made again with `key`."""
    _why, head, found, _good = sessionread.read_blocks(data)
    fields = {name: value for name, value in head.items() if name not in ("magic", "version", "header_bytes", "reserved", "crc")}
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
    assert found.holds and found.same_kernels is True and verdict_of(found).startswith("verified: whole")


def test_a_record_of_other_kernels_is_neither_forged_nor_verified_and_names_its_version(fill):
    """The chain fits and every word is there: only the hash in the header says that other kernels decided."""
    data = ours(fill, kernel_hash=NAMED)
    found = said(data)
    assert found.chain is True and found.same_kernels is False and found.replay_ticks == 0 and not found.holds
    text = verdict_of(found)
    assert "recorded by other kernels (firmware " in text and NAMED.hex() in text and "decided otherwise" not in text
    assert NAMED.hex() in dict((key, words) for key, _name, words in verification_rows(found))["replay"]
    assert verdict_text(facts(data, data, keys=(WORKSHOP,))) == text


def test_a_record_that_does_not_name_its_kernels_is_replayed_all_the_same(fill):
    found = said(ours(fill, kernel_hash=bytes(8)))
    assert found.same_kernels is None and found.holds


def test_the_demo_s_own_record_is_told_as_one_of_another_key(fill):
    data = rewritten(fill, DEMO_KEY, kernel_hash=fingerprint.kernel_hash())
    for keys in ((WORKSHOP,), ()):
        found = said(data, keys)
        assert not found.holds and found.chain is None and verdict_of(found).startswith("RECORDED WITH ANOTHER KEY, the demo's")
    assert said(data, (DEMO_KEY,)).holds  # its own shop has the key


def test_an_edited_record_is_not_excused_by_the_demo_s_key(fill):
    """Signed again with the key that anyone has: never verified. With a stranger's: the chain does not fit."""
    data = rewritten(fill, b"s" * 32, kernel_hash=fingerprint.kernel_hash())
    assert verdict_of(said(data)).startswith("NOT VERIFIED: the chain of check codes does not fit")
    found = dataclasses.replace(said(rewritten(fill, DEMO_KEY)), replay_identical=False)
    assert verdict_of(found).startswith("NOT VERIFIED") and not found.holds


def test_comments_docstrings_and_layout_do_not_change_the_hash_and_a_constant_does():
    import ast

    plain = "LIMIT = const(5)\ndef step(g):\n    return g[0] + LIMIT\n"
    talked = '"""Module."""\n# why\nLIMIT = const(5)\n\n\ndef step(g):\n    """Doc."""\n    return (g[0] +\n            LIMIT)\n'
    one, two, other = (fingerprint.normalised(ast.parse(text)) for text in (plain, talked, plain.replace("5", "6")))
    assert one == two != other
    assert fingerprint.kernel_hash() != fingerprint.kernel_hash(bench=True)


def test_the_firmware_carries_the_hash_of_its_kernels():
    from rimward_fw import kernelhash

    both = (fingerprint.kernel_hash(), fingerprint.kernel_hash(bench=True))
    assert (kernelhash.KERNEL_HASH, kernelhash.BENCH_KERNEL_HASH) == both, "run: python -m tests.interpreter.make_spec"


def test_a_record_of_this_firmware_names_its_kernels(fill):
    assert bytes(read_session(fill).header["kernel_hash"]) == fingerprint.kernel_hash()
