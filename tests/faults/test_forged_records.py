"""Attacks on a kept record: whoever edits one, makes its check codes right again and strips or remakes its chain never gets `verified`."""

import pytest
from rimward.formats import records
from rimward.kernels.fingerprint import kernel_hash
from rimward.sessions import read_session
from rimward.sessions.facts import facts, verdict_text
from rimward.sessions.verification import DEMO_KEY
from rimward_protocol import layout, session, sessionread
from rimward_protocol.mac import hmac_sha256

from tests.web.record import recorded

OWNERS = b"o" * 32
STRANGERS = b"s" * 32
LOWER_PA = 87_000


def remade(data, key, edit=None, **header):
    """Rewrite the record block by block: `edit(kind, payload)` changes a payload, `key` makes a new chain, None leaves it unchained."""
    _why, head, found, _good = sessionread.read_blocks(data)
    fields = {
        name: value
        for name, value in head.items()
        if name not in ("magic", "version", "header_bytes", "reserved", "crc")
    }
    out = bytearray(session.seal_header({**fields, "kernel_hash": kernel_hash(), **header}))
    chain = None if key is None else hmac_sha256(key, b"session")
    mac = b"" if chain is None else session.chain_start(chain, bytes(out))
    for kind, start, stop in found:
        payload = edit(kind, data[start:stop]) if edit else data[start:stop]
        block = bytearray(len(payload) + 12 + (16 if chain else 0))
        block[8 : 8 + len(payload)] = payload
        end = session.seal_block(
            block,
            0,
            kind,
            int.from_bytes(data[start - 4 : start], "little"),
            len(payload),
            session.FLAG_MAC if chain else 0,
        )
        if chain:
            mac = session.add_mac(block, 0, end, chain, mac)
        out += block
    return bytes(out)


def lowered(kind, payload):
    """The settled pressure that the record ends with, lower than it was."""
    if kind != layout.BLOCK_END:
        return payload
    return layout.pack(
        layout.END, {**records.unpack_record(layout.END, payload), "tyre_pa": LOWER_PA}
    )


@pytest.fixture(scope="module")
def fill():
    return remade(recorded(), OWNERS)


def said(data):
    found = facts(data, data, keys=(OWNERS,))
    return found, verdict_text(found)


def test_the_untouched_record_is_verified(fill):
    found, text = said(fill)
    assert found.verification.holds and text.startswith("verified")


@pytest.mark.parametrize("key", [None, STRANGERS, DEMO_KEY])
@pytest.mark.parametrize(
    "header",
    [{}, {"kernel_hash": bytes(8)}, {"kernel_hash": b"12345678"}, {"unix_s": 1_700_000_000}],
)
def test_an_edited_settled_pressure_is_never_verified(fill, key, header):
    """Chain stripped, made with a stranger's key or with the demo's; kernels left, not named, or named otherwise; another time."""
    data = remade(fill, key, lowered, **header)
    found, text = said(data)
    assert read_session(data).damage == "" and found.tyre_pa == LOWER_PA
    assert not found.verification.holds and not text.startswith("verified")
    assert text.startswith(("NOT VERIFIED", "RECORDED WITH ANOTHER KEY"))


def test_a_block_taken_out_is_never_verified(fill):
    _why, _head, found, _good = sessionread.read_blocks(fill)
    kind, start, stop = found[len(found) // 2]
    data = fill[: start - 8] + fill[stop + 20 :]
    assert kind and not said(data)[0].verification.holds


def test_the_owner_s_key_can_write_a_record_that_replays_the_same(fill):
    """Stated limit: whoever has the key can write a record. The kernels' decisions are still compared."""
    assert said(remade(fill, OWNERS, lowered))[0].verification.chain is True
    other = remade(fill, OWNERS, kernel_hash=b"12345678")
    assert "recorded by other kernels" in said(other)[1]
