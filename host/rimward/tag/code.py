"""The text in a tag's QR code: `RW1:` and the profile in Base45; and the code's modules."""

from rimward import profiles
from rimward.errors import Refusal
from rimward.tag import base45

PREFIX = "RW1:"
QUIET_MODULES = 4  # ISO/IEC 18004, from memory: four light modules all round


def to_text(profile: bytes) -> str:
    """The code's text. Every letter is in the QR alphanumeric set."""
    return PREFIX + base45.encode(profile)


def from_text(text: str) -> bytes:
    """The profile of a code's text, checked as strictly as one from a cable."""
    if not text.startswith(PREFIX):
        raise Refusal("This code is no wheel tag.", "Read the code on a tag that Rimward printed.")
    data = base45.decode(text[len(PREFIX) :])
    profiles.refuse_wrong(data)
    return data


def modules(profile: bytes) -> tuple[tuple[bool, ...], ...]:
    """The code's dark modules, error correction level M, without its quiet zone."""
    import segno

    made = segno.make_qr(to_text(profile), error="m", mode="alphanumeric", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in made.matrix)
