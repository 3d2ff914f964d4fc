"""Base45 against RFC 9285.

The encoding examples of section 4.3 and the decoding example of section 4.4 are from memory; `Hello!!` was also seen in the readme of a
published implementation. The limits of a group are arithmetic: 45^3 > 65536, 45^2 > 256.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.wheels.tag.base45 import decode, encode

RFC_9285_4_3 = ((b"AB", "BB8"), (b"Hello!!", "%69 VD92EX0"), (b"base-45", "UJCLQE7W581"))
RFC_9285_4_4 = ((b"ietf!", "QED8WEX0"),)
# RFC 9285 table 1: value -> letter, as the QR alphanumeric set
TABLE_1 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"


@pytest.mark.parametrize("data, text", RFC_9285_4_3 + RFC_9285_4_4)
def test_examples_of_the_rfc(data, text):
    assert encode(data) == text
    assert decode(text) == data


def test_alphabet_is_the_table():
    assert [encode(bytes([value]))[0] for value in range(45)] == list(TABLE_1)


@pytest.mark.parametrize(
    "text", ["GGW", ":::", "V5", "::", "A", "AAAA", "bb8", "BB8\n", "B,8", "ÄB8"]
)
def test_what_no_bytes_give_is_refused(text):
    # GGW is 65536 and V5 is 256: the first values past each group's end
    with pytest.raises(Refusal):
        decode(text)


@pytest.mark.parametrize(
    "text, data",
    [("FGW", b"\xff\xff"), ("U5", b"\xff"), ("000", b"\0\0"), ("00", b"\0"), ("", b"")],
)
def test_first_and_last_values_of_a_group(text, data):
    assert decode(text) == data
    assert encode(data) == text


@given(st.binary(max_size=120))
def test_there_and_back(data):
    text = encode(data)
    assert decode(text) == data
    assert len(text) == 3 * (len(data) // 2) + 2 * (len(data) % 2)
    assert set(text) <= set(TABLE_1)
