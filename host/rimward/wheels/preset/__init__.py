"""Presets: a rider's front and rear target and the ride, in one file.

A preset holds no ceiling. Each wheel's ceiling is computed from its own rim and tyre at each use, and none is copied from one wheel to the
other.
"""

import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.limits.ceiling.model import Assessment, Instrument, Place, Ride
from rimward.wheels.profiles import Asked, assess_wheel, check_target
from rimward.wheels.register.issued import as_before
from rimward.wheels.register.store import Register, Wheel

FORM = "rimward-preset-1"
ENDS = ("front", "rear")
FILE_MAX_BYTES = 65_536
RIDE_NUMBERS = (
    "fill_temp_c",
    "fill_altitude_m",
    "ride_altitude_max_m",
    "ride_temp_max_c",
    "ride_temp_min_c",
)
LATER = {"ride_temp_min_c"}  # absent from files of earlier versions
NAME_MAX = 60


@dataclass(frozen=True)
class End:
    """One wheel of the pair and the rider's target, gauge pascal."""

    wheel_id: str
    label: str
    target_pa: int


@dataclass(frozen=True)
class Preset:
    """A rider's pair of targets for one kind of ride."""

    name: str
    rider: str
    made: str
    place: Place
    ride: Ride | None
    front: End
    rear: End


@dataclass(frozen=True)
class Checked:
    """One end of a preset checked today: the wheel, its assessment and the target. `kept`: what `asked` has from its last profile."""

    end: str
    wheel: Wheel
    target_pa: int
    answer: Assessment
    asked: Asked
    kept: tuple[str, ...] = ()


def make(register: Register, name: str, rider: str, wheels: Mapping[str, str], targets: Mapping[str, int], place: Place, ride: Ride | None,
         instrument: Instrument | None = None) -> tuple[Preset, list[Checked]]:  # fmt: skip
    """Make a preset of two registered wheels, each target checked against its own wheel's ceiling."""
    ends = {}
    for end in ENDS:
        wheel = register.get(wheels[end])
        ends[end] = End(wheel.wheel_id, wheel.label, targets[end])
    for text in (name, rider):
        if len(text) > NAME_MAX or not text.isprintable() or not text.strip():
            raise Refusal(
                "The preset's name or rider is empty, too long or not printable.",
                f"Give 1 to {NAME_MAX} printable characters.",
            )
    preset = Preset(
        name,
        rider,
        time.strftime("%Y-%m-%d", time.gmtime()),
        place,
        ride if ride and not ride.empty else None,
        ends["front"],
        ends["rear"],
    )
    return preset, check(register, preset, instrument)


def check(
    register: Register, preset: Preset, instrument: Instrument | None = None
) -> list[Checked]:
    """Recompute each wheel's ceiling and check its target. Raises Refusal naming the wheel."""
    if preset.front.wheel_id == preset.rear.wheel_id:
        raise Refusal(
            "Front and rear are the same wheel.", "Give two wheels; each has its own ceiling."
        )
    return [check_end(register, preset, end, instrument) for end in ENDS]


def check_end(
    register: Register, preset: Preset, end: str, instrument: Instrument | None
) -> Checked:
    """Check one end of a preset against the register. Raises Refusal naming the wheel.

    What the preset leaves open of the ride is as for the wheel's last profile: an omission must not raise a ceiling.
    """
    stated: End = getattr(preset, end)
    wheel = register.by_id(stated.wheel_id)
    if wheel is None or wheel.retired:
        state = "not in this register" if wheel is None else "retired"
        raise Refusal(
            f"The {end} wheel {stated.label} is {state}.",
            "Make the preset again with a wheel in use.",
        )
    if wheel.values.get("position", "any") not in ("any", end):
        raise Refusal(
            f"{wheel.label} is a {wheel.values['position']} wheel, asked for as {end}.",
            "Swap them, or correct the wheel's position.",
        )
    asked = Asked(stated.target_pa, preset.place, preset.ride, instrument)
    kept: list[str] = []
    if "profile" in wheel.values:
        asked, kept = as_before(asked, wheel.values["profile"])
    try:
        answer = assess_wheel(wheel.values, asked)
        check_target(stated.target_pa, answer)
    except Refusal as refused:
        raise Refusal(f"{end.capitalize()} ({wheel.label}): {refused.text}", refused.fix) from None
    return Checked(end, wheel, stated.target_pa, answer, asked, tuple(kept))


def celsius_or_none(centikelvin: int | None) -> float | None:
    """Convert centikelvin to Celsius; None stays None."""
    return None if centikelvin is None else (centikelvin - 27315) / 100


def to_json(preset: Preset) -> dict[str, Any]:
    """Return the preset's file as JSON; it has no field for a ceiling."""
    ride = preset.ride
    return {
        "form": FORM,
        "name": preset.name,
        "rider": preset.rider,
        "made": preset.made,
        "ride": {
            "fill_temp_c": celsius_or_none(preset.place.temp_ck),
            "fill_altitude_m": preset.place.altitude_m,
            "ride_altitude_max_m": ride.altitude_max_m if ride else None,
            "ride_temp_max_c": celsius_or_none(ride.temp_max_ck) if ride else None,
            "ride_temp_min_c": celsius_or_none(ride.temp_min_ck) if ride else None,
        },
        **{end: vars(getattr(preset, end)) for end in ENDS},
    }


def from_json(given: Any) -> Preset:
    """Build a preset from its file's content. Anything unknown in it, such as a ceiling, is refused."""
    shape = {
        "": {"form", "name", "rider", "made", "ride", *ENDS},
        "ride": set(RIDE_NUMBERS),
        **{end: {"wheel_id", "label", "target_pa"} for end in ENDS},
    }
    for part, keys in shape.items():
        held = given.get(part) if part and isinstance(given, dict) else given
        if not isinstance(held, dict) or set(held) | (keys & LATER) != keys:
            odd = (
                ", ".join(sorted(set(held) ^ keys))
                if isinstance(held, dict)
                else part or "everything"
            )
            raise Refusal(
                f"Not a preset: missing or unknown fields {odd}.", "Make one: rimward preset make."
            )
    if given["form"] != FORM:
        raise Refusal(
            f"This preset has the form '{given['form']}', not '{FORM}'.",
            "Make it again: rimward preset make.",
        )
    place, ride = conditions(given["ride"])
    ends = [end_of(end, given[end]) for end in ENDS]
    if not all(isinstance(given[name], str) for name in ("name", "rider", "made")):
        raise Refusal(
            "The preset's name, rider or date is not text.", "Make it again: rimward preset make."
        )
    return Preset(given["name"], given["rider"], given["made"], place, ride, *ends)


def conditions(numbers: Mapping[str, Any]) -> tuple[Place, Ride | None]:
    """Return place of the fill and ride from the file."""
    for name in RIDE_NUMBERS:
        value = numbers.get(name)
        if value is not None and (
            isinstance(value, bool)
            or not isinstance(value, (int, float))
            or not -1000 <= value <= 11000
        ):
            raise Refusal(
                f"The preset's {name} is not a number in range.",
                "Make it again: rimward preset make.",
            )
    ride = Ride.of(
        numbers["ride_altitude_max_m"],
        numbers["ride_temp_max_c"],
        temp_min_c=numbers.get("ride_temp_min_c"),
    )
    return Place.of(
        numbers["fill_temp_c"], numbers["fill_altitude_m"]
    ), None if ride.empty else ride


def end_of(end: str, held: Mapping[str, Any]) -> End:
    """Return one wheel of the file."""
    target = held["target_pa"]
    if (
        not isinstance(target, int)
        or isinstance(target, bool)
        or target <= 0
        or not all(isinstance(held[k], str) for k in ("wheel_id", "label"))
    ):
        raise Refusal(
            f"The preset's {end} wheel is damaged.", "Make it again: rimward preset make."
        )
    return End(held["wheel_id"], held["label"], target)


def read(path: Path) -> Preset:
    """Read a preset from its file."""
    try:
        if path.stat().st_size > FILE_MAX_BYTES:
            raise Refusal(
                f"{path.name} is too large for a preset.",
                "Use a file written by rimward preset make.",
            )
        return from_json(json.loads(path.read_text(encoding="utf-8")))
    except OSError as failed:
        raise Refusal(f"{path} cannot be read: {failed.strerror}.", "Check the name.") from failed
    except (ValueError, RecursionError) as wrong:
        raise Refusal(
            f"{path.name} is not a preset.", "Use a file written by rimward preset make."
        ) from wrong


def write(path: Path, preset: Preset) -> None:
    """Write the preset's file."""
    try:
        path.write_text(
            json.dumps(to_json(preset), indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
        )
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.", "Choose another place."
        ) from failed


def with_target(preset: Preset, end: str, target_pa: int) -> Preset:
    """Return the preset with another target for one wheel; the other wheel is unchanged."""
    return replace(preset, **{end: replace(getattr(preset, end), target_pa=target_pa)})
