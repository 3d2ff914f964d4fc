"""QR code of a tag: its text, `RW1:` and the profile in Base45, and its modules."""

from rimward.base.errors import Refusal
from rimward.wheels import profiles
from rimward.wheels.tag import base45

PREFIX = "RW1:"
QUIET_MODULES = 4  # ISO/IEC 18004, from memory: four light modules on each side


def to_text(profile: bytes) -> str:
    """Return the code's text; every letter is in the QR alphanumeric set."""
    return PREFIX + base45.encode(profile)


def from_text(text: str) -> bytes:
    """Return the profile of a code's text, checked as strictly as one from a cable."""
    if not text.startswith(PREFIX):
        raise Refusal("Not a Rimward wheel tag.", "Use a tag printed by Rimward.")
    data = base45.decode(text[len(PREFIX) :])
    profiles.refuse_wrong(data)
    return data


def modules(profile: bytes) -> tuple[tuple[bool, ...], ...]:
    """Dark modules of the code, error correction level M, without quiet zone."""
    import segno

    made = segno.make_qr(to_text(profile), error="m", mode="alphanumeric", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in made.matrix)
