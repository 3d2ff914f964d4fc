"""Check codes, stuffing and digests against published values (sources beside the rows in code_values)."""

import hashlib
import hmac
import random
import zlib

import pytest
from cobs import cobs
from rimward_protocol import frame, mac
from rimward_protocol.compat import crc32, sha256

from tests.outside import code_values as values


def stuffed(data: bytes) -> bytes:
    out = bytearray(len(data) + len(data) // 254 + 2)
    return bytes(out[: frame.stuff(data, len(data), out, 0)])


@pytest.mark.parametrize(("source", "data", "want"), values.CRC32)
def test_crc32_published(source: str, data: bytes, want: int) -> None:
    assert crc32(data) == want


def test_crc32_residue() -> None:
    # CRC catalogue: running a message with its own CRC behind it leaves 0xDEBB20E3 before the final XOR, 0x2144DF1C after it
    for _source, data, _want in values.CRC32:
        assert crc32(data + crc32(data).to_bytes(4, "little")) == 0x2144DF1C


@pytest.mark.parametrize(("source", "data", "want"), values.COBS)
def test_cobs_published(source: str, data: bytes, want: bytes) -> None:
    assert stuffed(data) == want
    assert cobs.encode(data) == want


def test_cobs_against_the_cobs_package() -> None:
    draw = random.Random(1999)
    for length in [*range(40), *range(250, 260), *range(505, 521)]:
        for zeros in (0.0, 0.02, 0.5, 1.0):
            data = bytes(
                0 if draw.random() < zeros else draw.randrange(1, 256) for _ in range(length)
            )
            assert stuffed(data) == cobs.encode(data)


def test_cobs_worst_overhead() -> None:
    # one byte in 254, rounded up (Cheshire and Baker 1999; table in Wikipedia's article on COBS): 254 -> 1, 255 -> 2, 1500 -> 6
    for length, extra in ((254, 1), (255, 2), (1500, 6)):
        assert len(stuffed(b"\1" * length)) == length + extra


@pytest.mark.parametrize(("section", "key", "data", "want"), values.RFC4231)
def test_hmac_rfc4231(section: str, key: bytes, data: bytes, want: str) -> None:
    assert mac.hmac_sha256(key, data).hex()[: len(want)] == want
    assert mac.tag16(key, data).hex() == want[:32]


@pytest.mark.parametrize(("source", "data", "want"), values.SHA256)
def test_sha256_fips_180_4(source: str, data: bytes, want: str) -> None:
    assert sha256(data).hex() == want


def test_against_cpython_libraries() -> None:
    draw = random.Random(4231)
    for length in range(0, 200, 7):
        key, data = draw.randbytes(length), draw.randbytes(3 * length)
        assert (
            mac.hmac_sha256(key, data[:length], data[length:])
            == hmac.new(key, data, hashlib.sha256).digest()
        )
        assert crc32(data) == zlib.crc32(data)


def test_comparing_tags() -> None:
    assert mac.same(b"ab", b"ab") and mac.same(b"", b"")
    assert not mac.same(b"ab", b"ac") and not mac.same(b"ab", b"abc") and not mac.same(b"ab", b"")


def test_the_table_as_the_interpreters_run_it() -> None:
    assert values.problems() == ([], 26)
