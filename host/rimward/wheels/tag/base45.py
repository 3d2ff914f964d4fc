"""Base45 (RFC 9285): bytes as characters of a QR code's alphanumeric mode, two bytes in three characters."""

from rimward.base.errors import Refusal

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
VALUES = {letter: value for value, letter in enumerate(ALPHABET)}


def encode(data: bytes) -> str:
    """Encode bytes as Base45 text."""
    out = []
    for i in range(0, len(data), 2):
        pair = data[i : i + 2]
        rest = int.from_bytes(pair, "big")
        for _ in range(len(pair) + 1):
            rest, low = divmod(rest, 45)
            out.append(ALPHABET[low])
    return "".join(out)


def decode(text: str) -> bytes:
    """Decode Base45 text. Raises Refusal for a foreign letter, an impossible length or a group that is too large."""
    if len(text) % 3 == 1 or any(letter not in VALUES for letter in text):
        raise Refusal(
            "The code is not Base45.", "Take the picture again, straight on and in even light."
        )
    out = bytearray()
    for i in range(0, len(text), 3):
        group = text[i : i + 3]
        size = len(group) - 1
        number = sum(VALUES[letter] * 45**place for place, letter in enumerate(group))
        if number >= 256**size:
            raise Refusal(
                "The code contains an invalid group.", "Take the picture again, or reprint the tag."
            )
        out += number.to_bytes(size, "big")
    return bytes(out)
