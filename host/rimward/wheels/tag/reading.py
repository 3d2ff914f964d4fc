"""Reading a wheel tag from a photograph or scan, and its validity."""

import hashlib
from pathlib import Path
from typing import Any

import zxingcpp

from rimward.base.errors import Refusal
from rimward.wheels import profiles
from rimward.wheels.register.fields import LIMITING
from rimward.wheels.register.store import Register, Wheel
from rimward.wheels.tag.code import PREFIX, from_text

IMAGE_MAX_BYTES = 40_000_000
IMAGE_MAX_PIXELS = 60_000_000

# state -> meaning and next step
STATES = {
    "current": ("This is the newest profile of this wheel.", ""),
    "superseded": (
        "SUPERSEDED: a newer profile of this wheel has been made.",
        "Do not use it: send the newest, or make a new one with rimward profile make.",
    ),
    "wheel-changed": (
        "OUT OF DATE: this wheel was changed after this profile.",
        "Do not use it: make a new profile with rimward profile make.",
    ),
    "refused": (
        "REFUSED: by its present register entries this wheel has no such ceiling.",
        "Do not use it: correct the wheel's entries with rimward wheel edit, then make a new profile.",
    ),
    "retired": (
        "This wheel is retired.",
        "Do not use it; restore the wheel first if it is in use.",
    ),
    "differs": (
        "The register holds this revision with other contents.",
        "Do not use it; reprint it from the register.",
    ),
    "newer-than-register": (
        "This tag is newer than any revision in the register.",
        "Use the register that made it, or make a new profile.",
    ),
    "unknown-wheel": ("This wheel is not in the register.", "Use the register that made the tag."),
}


def code_texts(path: Path) -> list[str]:
    """Texts of all QR codes in a picture."""
    import numpy as np
    from PIL import Image, UnidentifiedImageError

    try:
        if path.stat().st_size > IMAGE_MAX_BYTES:
            raise Refusal(f"{path.name} is larger than 40 MB.", "Use a smaller picture.")
        with Image.open(path) as image:
            if image.width * image.height > IMAGE_MAX_PIXELS:
                raise Refusal(
                    f"{path.name} has more than 60 million pixels.", "Use a smaller picture."
                )
            grey = np.asarray(image.convert("L"))
    except (UnidentifiedImageError, ValueError, SyntaxError, Image.DecompressionBombError) as wrong:
        raise Refusal(
            f"{path.name} is not a readable picture.", "Use a PNG or JPEG of the tag."
        ) from wrong
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be read: {failed.strerror or 'damaged picture'}.",
            "Use a PNG or JPEG of the tag.",
        ) from failed
    found = zxingcpp.read_barcodes(
        np.ascontiguousarray(grey), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    )
    return [code.text for code in found if code.text]


def read(path: Path) -> bytes:
    """Read the profile of one wheel tag in a picture. Raises Refusal for none, or more than one."""
    texts = sorted({text for text in code_texts(path) if text.startswith(PREFIX)})
    if not texts:
        raise Refusal(
            f"No wheel tag was found in {path.name}.",
            "Take the picture straight on, sharp, with the whole code and its white edge.",
        )
    if len(texts) > 1:
        raise Refusal(
            f"{path.name} shows {len(texts)} different wheel tags.", "Take a picture of one tag."
        )
    return from_text(texts[0])


def standing(register: Register, profile: bytes, fields: dict[str, Any]) -> str:
    """State of a profile by the register, one of STATES."""
    wheel = register.by_id(fields["wheel_id"].hex())
    if wheel is None:
        return "unknown-wheel"
    return standing_of(wheel, profile, fields["revision"])


def standing_of(wheel: Wheel, profile: bytes, revision: int) -> str:
    """First state of STATES that applies."""

    newest = wheel.values.get("profile")
    if newest is None or revision > newest["revision"]:
        return "newer-than-register"
    rows = (
        (revision < newest["revision"], "superseded"),
        (wheel.retired, "retired"),
        (hashlib.sha256(profile).hexdigest() != newest["sha256"], "differs"),
        (bool(profiles.refusal_now(wheel.values)), "refused"),
        (bool(changed_since(wheel)), "wheel-changed"),
    )
    return next((state for holds, state in rows if holds), "current")


def changed_since(wheel: Wheel) -> list[str]:
    """Fields of the profile that were changed after the newest one."""
    issued = wheel.entries["profile"].seq
    return [
        name
        for name in (*LIMITING, "label")
        if name in wheel.entries and wheel.entries[name].seq > issued
    ]


def says(wheel: Wheel | None, state: str) -> str:
    """State as text: meaning, newest profile, changes since, next step."""
    what, fix = STATES[state]
    newest = wheel.values.get("profile") if wheel else None
    if newest and state in ("superseded", "differs"):
        what += f" The newest is revision {newest['revision']}."
    if wheel and state == "refused":
        what += f" {profiles.refusal_now(wheel.values)}"
    if wheel and state in ("wheel-changed", "refused") and changed_since(wheel):
        what += (
            f" Changed since: {', '.join(name.replace('_', '-') for name in changed_since(wheel))}."
        )
    return f"{what} {fix}".strip()
