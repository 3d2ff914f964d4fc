"""Preset record for an inflator: rider, both wheels with their targets, the ride. It holds no ceiling."""

import hashlib
import time
from typing import Any

from rimward_protocol import codes
from rimward_protocol import preset as check

from rimward.base.errors import Refusal
from rimward.base.units import show_limit
from rimward.formats import records
from rimward.wheels.keys import Ring, next_issue
from rimward.wheels.preset import ENDS, Checked, Preset
from rimward.wheels.profiles import label_bytes

DAY_S = 86_400


def preset_id(preset: Preset) -> bytes:
    """Eight bytes that identify a preset: the same for the same rider, name and wheels, so that it replaces an earlier one."""
    text = "\n".join([preset.rider, preset.name, preset.front.wheel_id, preset.rear.wheel_id])
    return hashlib.sha256(text.encode()).digest()[:8]


def record_of(preset: Preset, checked: list[Checked], ring: Ring) -> bytes:
    """Return the tagged record. Each target is converted to the reference temperature of its wheel's newest profile.

    Refusal without a workshop key or where a wheel has no profile.
    """
    if not ring.keys:
        raise Refusal(
            "A preset needs the workshop key.",
            "Make one with rimward key new and enrol it in the inflator.",
        )
    values: dict[str, Any] = {}
    for c in checked:
        held = c.wheel.values.get("profile")
        if not held:
            raise Refusal(
                f"{c.wheel.label} has no profile yet.", "Make both: rimward preset profiles FILE."
            )
        fields = records.unpack_profile(bytes.fromhex(held["data"]))
        envelope = c.answer.envelope
        assert envelope is not None
        target = c.target_pa
        if fields["ref_temp_ck"] != envelope.fill_ck:
            target = int(
                (c.target_pa + envelope.fill_ambient_pa) * fields["ref_temp_ck"] / envelope.fill_ck
                - envelope.fill_ambient_pa
            )
        values |= {
            f"{c.end}_wheel": bytes.fromhex(c.wheel.wheel_id),
            f"{c.end}_issue": fields["issue"],
            f"{c.end}_target_pa": target,
        }
    envelopes = [c.answer.envelope for c in checked if c.answer.envelope is not None]
    values |= {
        "preset_id": preset_id(preset),
        "issue": next_issue(ring.current),
        "rider": label_bytes(preset.rider),
        "flags": codes.PRESET_RIDE_STATED if any(c.asked.ride is not None for c in checked) else 0,
        "temp_max_ck": max(one.hottest_ck for one in envelopes),
        "ambient_min_pa": int(min(one.lowest_ambient_pa for one in envelopes)),
        "made_days": int(time.time() - codes.EPOCH_DAY_UNIX_S) // DAY_S,
    }
    return bytes(check.tag_preset(ring.current.key, records.pack_preset(values)))


def refuse_above_stop(checked: list[Checked], guard_pa: int) -> None:
    """Raise Refusal for a target above the stop reading of an inflator with this guard band."""
    for c in checked:
        ceiling = c.answer.ceiling_pa
        if ceiling is not None and c.target_pa > ceiling - guard_pa:
            stop = show_limit(ceiling - guard_pa)
            raise Refusal(
                f"The {c.end} target {show_limit(c.target_pa)} lies above this inflator's stop reading, {stop}.",
                "Lower it: rimward preset make.",
            )


def to_json(data: bytes) -> dict[str, Any]:
    """Describe a record in words, as JSON."""
    fields = records.unpack_preset(data)
    ends = {
        end: {
            "wheel_id": fields[f"{end}_wheel"].hex(),
            "issue": fields[f"{end}_issue"],
            "target_pa": fields[f"{end}_target_pa"],
        }
        for end in ENDS
    }
    return {
        "preset_id": fields["preset_id"].hex(),
        "issue": fields["issue"],
        "rider": fields["rider"],
        **ends,
    }
