"""Published values of the check codes, stuffing and digests, in the common subset so that MicroPython runs them too.

Each row: source, input, published output.
"""

from binascii import unhexlify


def h(text):
    return unhexlify(text.replace(" ", ""))


# CRC-32/ISO-HDLC, the check value of the CRC catalogues (reveng): CRC of the nine digits.
# The pangram's is widely printed (common practice) and equals zlib's.
CRC32 = (
    ("CRC catalogue, CRC-32/ISO-HDLC check", b"123456789", 0xCBF43926),
    ("widely printed, equals zlib", b"The quick brown fox jumps over the lazy dog", 0x414FA339),
    ("definition: nothing", b"", 0),
)

# Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions on Networking 7(2), 1999:
# the example packet (figure from memory, its encoding recomputed). The other rows: Wikipedia's COBS examples and `cobs` 1.2.2.
COBS = (
    (
        "Cheshire and Baker 1999, example packet",
        h("45 00 00 2C 4C 79 00 00 40 06 4F 37"),
        h("02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
    ),
    ("cobs 1.2.2", b"", h("01")),
    ("cobs 1.2.2", h("00"), h("01 01")),
    ("cobs 1.2.2", h("00 00"), h("01 01 01")),
    ("cobs 1.2.2", h("00 11 00"), h("01 02 11 01")),
    ("cobs 1.2.2", h("11 22 00 33"), h("03 11 22 02 33")),
    ("cobs 1.2.2", h("11 22 33 44"), h("05 11 22 33 44")),
    ("cobs 1.2.2", h("11 00 00 00"), h("02 11 01 01 01")),
    ("cobs 1.2.2: 254 bytes, no trailing 01", bytes(range(1, 255)), h("FF") + bytes(range(1, 255))),
    ("cobs 1.2.2: zero, then 254", bytes(range(255)), h("01 FF") + bytes(range(1, 255))),
    ("cobs 1.2.2: 255 bytes", bytes(range(1, 256)), h("FF") + bytes(range(1, 255)) + h("02 FF")),
    (
        "cobs 1.2.2: 254 and a zero",
        bytes(range(2, 256)) + b"\0",
        h("FF") + bytes(range(2, 256)) + h("01 01"),
    ),
    (
        "cobs 1.2.2: 253, a zero, one",
        bytes(range(3, 256)) + h("00 01"),
        h("FE") + bytes(range(3, 256)) + h("02 01"),
    ),
)

# RFC 4231, section 4: key, data, HMAC-SHA-256. Case 5 is published cut to 128 bits.
RFC4231 = (
    (
        "4.2",
        b"\x0b" * 20,
        b"Hi There",
        "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
    ),
    (
        "4.3",
        b"Jefe",
        b"what do ya want for nothing?",
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
    ),
    (
        "4.4",
        b"\xaa" * 20,
        b"\xdd" * 50,
        "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
    ),
    (
        "4.5",
        bytes(range(1, 26)),
        b"\xcd" * 50,
        "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
    ),
    ("4.6", b"\x0c" * 20, b"Test With Truncation", "a3b6167473100ee06e0c796c2955552b"),
    (
        "4.7",
        b"\xaa" * 131,
        b"Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
    (
        "4.8",
        b"\xaa" * 131,
        (
            b"This is a test using a larger than block-size key and a larger than block-size data. "
            b"The key needs to be hashed before being used by the HMAC algorithm."
        ),
        "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
    ),
)

# FIPS 180-4 by its example computations; the second and third from memory.
SHA256 = (
    (
        "FIPS 180-4, one block",
        b"abc",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    ),
    (
        "FIPS 180-4, two blocks, from memory",
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (
        "empty message, from memory",
        b"",
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    ),
)


def problems():
    """Which published values rimward_protocol does not give, as lines; how many were looked at."""
    from binascii import hexlify

    from rimward_protocol import frame, mac
    from rimward_protocol.compat import crc32, sha256

    bad = []
    for source, data, want in CRC32:
        if crc32(data) != want:
            bad.append("crc32 " + source)
    for source, data, want in COBS:
        out = bytearray(len(data) + 4)
        if bytes(out[: frame.stuff(data, len(data), out, 0)]) != want:
            bad.append("cobs " + source + " " + str(len(data)))
    for section, key, data, want in RFC4231:
        got = hexlify(mac.hmac_sha256(key, data)).decode()
        if got[: len(want)] != want:
            bad.append("RFC 4231 " + section)
    for source, data, want in SHA256:
        if hexlify(sha256(data)).decode() != want:
            bad.append("sha256 " + source)
    return bad, len(CRC32) + len(COBS) + len(RFC4231) + len(SHA256)
