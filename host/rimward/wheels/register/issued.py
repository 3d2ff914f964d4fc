"""Register entry of an issued profile beside its bytes: the place of the fill, ride and time for its ceiling."""

import hashlib
import time
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rimward_protocol import profile as check

from rimward.base.errors import Refusal
from rimward.formats.records import unpack_profile
from rimward.limits.ceiling.model import Ride
from rimward.wheels.register.fields import LIMITING

if TYPE_CHECKING:
    from rimward.wheels.profiles import Asked


KEPT_WORDS = {
    "fill_ck": "fill temperature",
    "fill_altitude_m": "fill altitude",
    "ride_altitude_max_m": "highest point",
    "ride_temp_max_ck": "hottest tyre",
    "ride_temp_min_ck": "coldest tyre",
}


def kept_words(kept: Iterable[str]) -> str:
    """Names of what `as_before` took over, for a person."""
    return ", ".join(KEPT_WORDS[name] for name in kept)


def refuse_moved(shown: Any, now: Any) -> None:
    """Raise Refusal where a profile's inputs differ from those shown, or the wheel was retired."""
    changed = [
        name.replace("_", "-")
        for name in (*LIMITING, "retired")
        if shown.values.get(name) != now.values.get(name)
    ]
    if changed:
        raise Refusal(
            f"{now.label} was changed meanwhile: {', '.join(changed)}.",
            "Check its ceiling again, then make the profile.",
        )


def as_before(asked: "Asked", entry: Mapping[str, Any]) -> tuple["Asked", list[str]]:
    """Fill in unstated choices from the last profile's record. Return them with the names of those taken over."""
    kept = []
    place, ride = asked.place, asked.ride or Ride()
    for name, held, now in (
        ("fill_ck", "temp_ck", place.temp_ck),
        ("fill_altitude_m", "altitude_m", place.altitude_m or None),
    ):
        if now is None and entry.get(name):
            place = replace(place, **{held: entry[name]})
            kept.append(name)
    for name in ("altitude_max_m", "temp_max_ck", "temp_min_ck"):
        if getattr(ride, name) is None and entry.get(f"ride_{name}") is not None:
            ride = replace(ride, **{name: entry[f"ride_{name}"]})
            kept.append(f"ride_{name}")
    return replace(asked, place=place, ride=None if ride.empty else ride), kept


def conditions_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return place of the fill, ride and time of a profile's ceiling from its record."""
    names = (
        "fill_ck",
        "fill_altitude_m",
        "ride_altitude_max_m",
        "ride_temp_max_ck",
        "ride_temp_min_ck",
        "held_at_fill",
        "made",
    )
    return {name: entry.get(name) for name in names}


def entry_of(data: bytes, revision: int, asked: "Asked") -> dict[str, Any]:
    """Return the register's entry of an issued profile."""
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
