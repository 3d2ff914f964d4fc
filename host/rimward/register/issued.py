"""What the register keeps of an issued profile beside its bytes: the fill place, ride and time that its ceiling was worked out for."""

import hashlib
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rimward_protocol import profile as check

from rimward.ceiling.model import Ride
from rimward.errors import Refusal
from rimward.records import unpack_profile
from rimward.register.fields import LIMITING

if TYPE_CHECKING:
    from rimward.profiles import Asked


def refuse_moved(shown: Any, now: Any) -> None:
    """Raise Refusal where what a profile depends on is no longer what was shown, or the wheel was retired."""
    changed = [name.replace("_", "-") for name in (*LIMITING, "retired") if shown.values.get(name) != now.values.get(name)]
    if changed:
        raise Refusal(f"{now.label} was changed meanwhile: {', '.join(changed)}.", "Look at its ceiling again, then make the profile.")


def as_before(asked: "Asked", entry: Mapping[str, Any]) -> tuple["Asked", list[str]]:
    """What is asked, with what is not stated taken from the last profile's record; and the names of what was taken."""
    kept = []
    place, ride = asked.place, asked.ride or Ride()
    for name, held, now in (("fill_ck", "temp_ck", place.temp_ck), ("fill_altitude_m", "altitude_m", place.altitude_m or None)):
        if now is None and entry.get(name):
            place = replace(place, **{held: entry[name]})
            kept.append(name)
    for name in ("altitude_max_m", "temp_max_ck", "temp_min_ck"):
        if getattr(ride, name) is None and entry.get(f"ride_{name}") is not None:
            ride = replace(ride, **{name: entry[f"ride_{name}"]})
            kept.append(f"ride_{name}")
    return replace(asked, place=place, ride=None if ride.empty else ride), kept


def conditions_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Fill place, ride and time that a profile's ceiling was worked out for, out of its record in the register."""
    names = ("fill_ck", "fill_altitude_m", "ride_altitude_max_m", "ride_temp_max_ck", "ride_temp_min_ck", "held_at_fill", "made")
    return {name: entry.get(name) for name in names}


def entry_of(data: bytes, revision: int, asked: "Asked") -> dict[str, Any]:
    """What the register keeps of an issued profile."""
    ride = asked.ride
    return {
        "revision": revision,
        "issue": unpack_profile(data)["issue"],
        "data": data.hex(),
        "sha256": hashlib.sha256(data).hexdigest(),
        "target_pa": asked.target_pa,
        "ceiling_pa": check.ceiling_of(data),
        "fill_ck": asked.place.temp_ck,
        "fill_altitude_m": asked.place.altitude_m,
        "ride_altitude_max_m": ride.altitude_max_m if ride else None,
        "ride_temp_max_ck": ride.temp_max_ck if ride else None,
        "ride_temp_min_ck": ride.temp_min_ck if ride else None,
        "held_at_fill": asked.hold_at_fill,
        "made": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
    }
