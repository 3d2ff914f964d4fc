"""A preset as the record that an inflator keeps: rider, both wheels with their targets, the ride. It holds no ceiling."""

import hashlib
import time
from typing import Any

from rimward_protocol import codes
from rimward_protocol import preset as check

from rimward import records
from rimward.errors import Refusal
from rimward.keys import Ring, next_issue
from rimward.preset import ENDS, Checked, Preset
from rimward.profiles import label_bytes
from rimward.units import show_limit

DAY_S = 86_400


def preset_id(preset: Preset) -> bytes:
    """Eight bytes that name a preset: the same for the same rider, name and wheels, so that it takes the place of an earlier one."""
    text = "\n".join([preset.rider, preset.name, preset.front.wheel_id, preset.rear.wheel_id])
    return hashlib.sha256(text.encode()).digest()[:8]


def record_of(preset: Preset, checked: list[Checked], ring: Ring) -> bytes:
    """The tagged record. Each target is carried over to the reference temperature of its wheel's newest profile.

    Refusal without a workshop key or where a wheel has no profile.
    """
    if not ring.keys:
        raise Refusal("A preset needs the workshop key.", "Make one with rimward key new, and enrol it in the inflator.")
    values: dict[str, Any] = {}
    for c in checked:
        held = c.wheel.values.get("profile")
        if not held:
            raise Refusal(f"{c.wheel.label} has no profile yet.", "Make both: rimward preset profiles FILE, then send each with rimward profile send.")
        fields = records.unpack_profile(bytes.fromhex(held["data"]))
        envelope = c.answer.envelope
        assert envelope is not None
        target = c.target_pa
        if fields["ref_temp_ck"] != envelope.fill_ck:
            target = int((c.target_pa + envelope.fill_ambient_pa) * fields["ref_temp_ck"] / envelope.fill_ck - envelope.fill_ambient_pa)
        values |= {f"{c.end}_wheel": bytes.fromhex(c.wheel.wheel_id), f"{c.end}_issue": fields["issue"], f"{c.end}_target_pa": target}
    envelopes = [c.answer.envelope for c in checked if c.answer.envelope is not None]
    values |= {
        "preset_id": preset_id(preset),
        "issue": next_issue(ring.current),
        "rider": label_bytes(preset.rider),
        "flags": codes.PRESET_RIDE_STATED if preset.ride is not None else 0,
        "temp_max_ck": max(one.hottest_ck for one in envelopes),
        "ambient_min_pa": int(min(one.lowest_ambient_pa for one in envelopes)),
        "made_days": int(time.time() - codes.EPOCH_DAY_UNIX_S) // DAY_S,
    }
    return check.tag_preset(ring.current.key, records.pack_preset(values))


def refuse_above_stop(checked: list[Checked], guard_pa: int) -> None:
    """Refusal for a target above where an inflator with this guard band stops."""
    for c in checked:
        ceiling = c.answer.ceiling_pa
        if ceiling is not None and c.target_pa > ceiling - guard_pa:
            stop = show_limit(ceiling - guard_pa)
            raise Refusal(f"The {c.end} target {show_limit(c.target_pa)} lies above where this inflator stops, {stop}.", "Lower it: rimward preset make.")


def to_json(data: bytes) -> dict[str, Any]:
    """A record in plain words."""
    fields = records.unpack_preset(data)
    ends = {end: {"wheel_id": fields[f"{end}_wheel"].hex(), "issue": fields[f"{end}_issue"], "target_pa": fields[f"{end}_target_pa"]} for end in ENDS}
    return {"preset_id": fields["preset_id"].hex(), "issue": fields["issue"], "rider": fields["rider"], **ends}
