"""Profiles as files: JSON, binary, and the text of a tag's code."""

import calendar
import json
import re
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rimward_protocol import codes, enumerations
from rimward_protocol import profile as check

from rimward.base.errors import Refusal
from rimward.formats.records import pack_profile, unpack_profile
from rimward.wheels.profiles import DAY_S, PLAIN, WORDS, refuse_wrong
from rimward.wheels.register.issued import as_before as as_before
from rimward.wheels.register.issued import conditions_of as conditions_of
from rimward.wheels.tag.code import from_text

FORM = "rimward-profile-2"
FILE_MAX_BYTES = 65_536


def day_text(days: int) -> str:
    """Format a stored day as ISO date."""
    return time.strftime("%Y-%m-%d", time.gmtime(codes.EPOCH_DAY_UNIX_S + days * DAY_S))


def to_json(data: bytes) -> dict[str, Any]:
    """Return a profile as plain JSON; `from_json` restores the same bytes."""
    f = unpack_profile(data)
    return {
        "form": FORM,
        "wheel_id": f["wheel_id"].hex(),
        "label": f["label"],
        **{name: codes.word_of(table, f[name]) for name, table in WORDS.items()},
        **{name: f[name] for name in PLAIN},
        "flags": [word for bit, word, _ in enumerations.PROFILE_FLAGS if f["flags"] & bit],
        "made": day_text(f["made_days"]),
        "tag": f["tag"].hex() if check.is_tagged(data) else None,
    }


def from_json(given: Mapping[str, Any]) -> bytes:
    """Return the bytes of `to_json`. Raises Refusal naming the missing or wrong field."""
    if given.get("form") != FORM:
        raise Refusal(
            f"This JSON is not a profile: its form is not '{FORM}'.",
            "Make one: rimward profile show FILE --json.",
        )
    known = {"form", "wheel_id", "label", "flags", "made", "tag", *WORDS, *PLAIN}
    if set(given) != known:
        odd = sorted(set(given) ^ known)
        raise Refusal(
            f"The profile's JSON has missing or unknown fields: {', '.join(odd)}.",
            "Make one: rimward profile show FILE --json.",
        )
    name = ""
    try:
        fields: dict[str, Any] = {}
        for name in PLAIN:
            fields[name] = whole(given[name])
        for name, table in WORDS.items():
            fields[name] = codes.number_of(table, given[name])
        name = "flags"
        fields["flags"] = sum(
            {word: bit for bit, word, _ in enumerations.PROFILE_FLAGS}[one]
            for one in set(given["flags"])
        )
        name = "wheel_id"
        fields["wheel_id"] = exact_hex(given["wheel_id"], 8)
        name = "label"
        fields["label"] = given["label"].encode()
        name = "made"
        fields["made_days"] = day_number(given["made"])
        name = "tag"
        tag = (
            bytes(check.PROFILE_BYTES - check.TAG_AT)
            if given["tag"] is None
            else exact_hex(given["tag"], 16)
        )
        return pack_profile(fields)[: check.TAG_AT] + tag
    except (ValueError, KeyError, TypeError, AttributeError) as wrong:
        raise Refusal(f"The profile's JSON has a wrong {name}.", "Correct this value.") from wrong


def whole(value: Any) -> int:
    """Return a whole number that is not negative. ValueError otherwise."""
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(value)
    return value


def exact_hex(text: str, size: int) -> bytes:
    """Return exactly `size` bytes of lower-case hex. ValueError otherwise."""
    if not re.fullmatch(rf"[0-9a-f]{{{2 * size}}}", text):
        raise ValueError(text)
    return bytes.fromhex(text)


def day_number(text: str) -> int:
    """Days from 2020-01-01 to an ISO date. ValueError for a text that is none."""

    return int((calendar.timegm(time.strptime(text, "%Y-%m-%d")) - codes.EPOCH_DAY_UNIX_S) // DAY_S)


def read(path: Path) -> bytes:
    """Read a profile from a binary file, its JSON, or the text of a tag's code. Raises Refusal with the reason."""
    try:
        if path.stat().st_size > FILE_MAX_BYTES:
            raise Refusal(
                f"{path.name} is too large for a profile.",
                f"A profile file has {check.PROFILE_BYTES} bytes.",
            )
        data = path.read_bytes()
    except OSError as failed:
        raise Refusal(f"{path} cannot be read: {failed.strerror}.", "Check the name.") from failed
    if data.lstrip()[:1] == b"{":
        try:
            given = json.loads(data)
            return from_json(given.get("profile", given))
        except (ValueError, RecursionError) as wrong:
            raise Refusal(f"{path.name} is not JSON: {wrong}.", "Export it again.") from wrong
    if data.startswith(b"RW1:"):
        return from_text(data.decode("ascii", "replace").rstrip("\r\n"))
    refuse_wrong(data)
    return data


def write(path: Path, data: bytes) -> None:
    """Write a profile: JSON where the name ends in .json, else binary."""
    try:
        if path.suffix == ".json":
            path.write_text(
                json.dumps(to_json(data), indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
            )
        else:
            path.write_bytes(data)
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.", "Choose another place."
        ) from failed
