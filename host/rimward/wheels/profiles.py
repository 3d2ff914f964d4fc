"""Profiles: from a wheel and a target to the binary record, and back to JSON.

The ceiling always comes from `rimward.limits.ceiling.assess`; nothing here works one out or raises one.
"""

import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimward_protocol import codes, enumerations
from rimward_protocol import profile as check

from rimward.base.errors import Refusal
from rimward.base.units import floor_kpa, show_limit, show_minimum, show_reading
from rimward.formats.records import pack_profile, refusal_of
from rimward.limits.ceiling import assess
from rimward.limits.ceiling.cautions import below_minimum
from rimward.limits.ceiling.model import Assessment, Instrument, Note, Place, Ride, Rim, Tyre
from rimward.limits.volume import volumes
from rimward.wheels.keys import Ring, next_issue, which_key
from rimward.wheels.register.issued import as_before as as_before
from rimward.wheels.register.issued import conditions_of as conditions_of
from rimward.wheels.register.issued import entry_of, refuse_moved

if TYPE_CHECKING:
    from rimward.wheels.register.store import Register, Wheel
DAY_S = 86_400
REFERENCE_CK = 29315  # 20 °C, used where no fill temperature is stated
SLOW_DELIVERY_ML_S = (
    5_000 / 60
)  # our choice: half of a small compressor's delivery (5 L/min free air), so that no fill runs out of time
START_S, BUDGET_MAX_S = 60, 1800
STANDARD_AMBIENT_PA = 101_325

# the ceiling engine's limit ids -> LIMIT_SOURCES of the protocol
SOURCES = {
    "rim-maximum": codes.LIMIT_RIM_MARKED,
    "tyre-maximum": codes.LIMIT_TYRE_PRINTED,
    "straight-side-class": codes.LIMIT_STRAIGHT_SIDE,
    "rim-maximum-unknown": codes.LIMIT_CAREFUL_CAP,
    "maker-table": codes.LIMIT_MAKER_TABLE,
}

# fields that a profile's JSON gives as words: name -> protocol table
WORDS = {
    "rim_class": enumerations.RIM_CLASSES,
    "position": enumerations.POSITIONS,
    "chuck": enumerations.CHUCKS,
    "limit_source": enumerations.LIMIT_SOURCES,
}
PLAIN = (
    "revision", "issue", "tyre_width_dmm", "bead_seat_mm", "rim_width_dmm", "volume_low_ml", "volume_ml", "limit_pa", "ceiling_pa", "target_pa",
    "seat_pause_pa", "ambient_min_pa", "temp_max_ck", "ref_temp_ck", "time_budget_s",
)  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """A person's choices for a profile beside the wheel. None: the default in `build`."""

    target_pa: int
    place: Place
    ride: Ride | None = None
    instrument: Instrument | None = None
    maker_table: Any = None
    seat_pause_pa: int | None = None
    time_budget_s: int | None = None
    hold_at_fill: bool = False


def rim_of(values: Mapping[str, Any]) -> Rim:
    """Return the rim of a wheel's values."""
    return Rim.parse(values["rim"], values.get("rim_max"))


def tyre_of(values: Mapping[str, Any]) -> Tyre:
    """Return the tyre of a wheel's values; missing values are unknown."""
    return Tyre.parse(
        values["tyre"],
        values.get("tyre_range"),
        min_text=values.get("tyre_min"),
        max_text=values.get("tyre_max"),
        approved=values.get("approved", "unknown"),
        bead=values.get("bead", "unknown"),
        air=values.get("air", "unknown"),
    )


def assess_wheel(values: Mapping[str, Any], asked: Asked) -> Assessment:
    """Assess a wheel at this place on this ride. Raises Refusal with the first reason where no pressure is safe."""

    held_on = "fill" if asked.hold_at_fill else "ride"
    answer = assess(
        rim_of(values),
        tyre_of(values),
        asked.place,
        asked.ride,
        asked.instrument,
        asked.maker_table,
        held_on=held_on,
    )
    if answer.ceiling_pa is None:
        first = answer.refusals[0]
        raise Refusal(
            f"No ceiling for this wheel ({first.id}): {first.text}",
            "See `rimward ceiling` for every reason.",
        )
    return answer


def highest_pa(answer: Assessment) -> int:
    """Ceiling of a profile, Pa gauge: the wheel's, at most that of any inflator; 0 without one."""
    return min(answer.ceiling_pa or 0, codes.RIG_HIGH_CEILING_PA)


def check_target(target_pa: int, answer: Assessment, name: str = "The target") -> None:
    """Raise Refusal for a target above the ceiling, or above the stop reading of a stated instrument."""
    ceiling_pa = highest_pa(answer)
    if target_pa > ceiling_pa:
        raise Refusal(
            f"{name} of {above(target_pa, ceiling_pa)} is above the ceiling of {show_limit(ceiling_pa)}.",
            "Choose one at or below it.",
        )
    stop = answer.stop_reading_pa
    if stop is not None and target_pa > stop:
        text = f"{name} of {above(target_pa, stop)} is above this inflator's stop reading, {show_limit(stop)}."
        raise Refusal(text, "Choose one at or below it, or have the inflator calibrated.")


def cautions(target_pa: int, answer: Assessment, label: str = "") -> list[Note]:
    """Return the ceiling engine's warnings, those of a target below the tyre's printed minimum (at the fill, in the cold), and those of
    the label.
    """
    notes = [note for note in answer.warnings if note.id != "below-tyre-minimum-on-ride"]
    low = answer.window.min_pa
    coldest = answer.envelope.lowest_gauge(target_pa) if answer.envelope else None
    if low is not None and coldest is not None and coldest < low:
        assert answer.envelope is not None
        notes.append(
            below_minimum(f"The target {show_limit(target_pa)}", coldest, answer.envelope, low)
        )
    if low is not None and target_pa < low:
        notes.append(
            Note(
                "target-below-tyre-minimum",
                f"The target {show_limit(target_pa)} is below the tyre's printed minimum {show_minimum(low)}.",
            )
        )
    return notes + label_notes(label)


def above(pa: int, limit_pa: int) -> str:
    """Format a pressure that lies above a limit, never shown as equal to it."""
    return show_reading(pa, limit_pa)


def label_bytes(label: str) -> bytes:
    """Part of the label in a profile: 16 letters, one line of the display, in at most 24 bytes. `label_notes` reports what is cut."""
    return (
        label[: codes.LABEL_LETTERS]
        .encode()[: codes.LABEL_BYTES]
        .decode(errors="ignore")
        .strip()
        .encode()
    )


def label_notes(label: str) -> list[Note]:
    """Return cautions where the inflator's display shows a label shortened or in other letters."""
    kept = label_bytes(label).decode()
    shown = check.display_text(kept)
    notes = []
    if kept != label.strip():
        text = f"The label has more than {codes.LABEL_LETTERS} letters; the inflator shows '{shown}'. Give the wheel a shorter one: rimward wheel edit."
        notes.append(Note("label-shortened", text))
    elif shown != kept:
        notes.append(Note("label-letters", f"The inflator's display shows the label as '{shown}'."))
    return notes


def same_label(one: str, other: str) -> bool:
    """Return True if two labels look the same on an inflator's display."""
    return bool(
        check.display_text(label_bytes(one).decode()).lower()
        == check.display_text(label_bytes(other).decode()).lower()
    )


def issue_now() -> int:
    """Issue number of the present minute: minutes since 2020."""
    return max(1, int(time.time() - codes.EPOCH_DAY_UNIX_S) // 60)


def default_budget_s(volume_ml: int, ceiling_pa: int) -> int:
    """Time in which a slow compressor brings the whole volume to its ceiling, plus a minute for pauses, s."""
    air_ml = volume_ml * ceiling_pa / STANDARD_AMBIENT_PA
    return int(min(BUDGET_MAX_S, START_S + air_ml / SLOW_DELIVERY_ML_S))


def flags_of(values: Mapping[str, Any], asked: Asked, answer: Assessment, revision: int) -> int:
    """PROFILE_FLAGS of this profile."""
    ride_stated = asked.ride is not None and asked.ride.stated
    rows = (
        (values.get("air") == "tubeless", codes.FLAG_TUBELESS),
        (ride_stated, codes.FLAG_RIDE_STATED),
        (revision > 1, codes.FLAG_SUPERSEDES),
        (ride_stated and answer.held_on == "fill", codes.FLAG_LIMIT_AT_FILL),
    )
    return sum(bit for holds, bit in rows if holds)


def build(
    values: Mapping[str, Any],
    wheel_id: bytes,
    revision: int,
    asked: Asked,
    answer: Assessment | None = None,
    issue: int | None = None,
) -> bytes:
    """Build the untagged profile of a wheel. `issue`: its number under the key that will tag it (default: now). Raises Refusal where the
    wheel has no ceiling or the target lies above it.
    """

    answer = answer or assess_wheel(values, asked)
    check_target(asked.target_pa, answer)
    rim, tyre = rim_of(values), tyre_of(values)
    assert tyre.bead_seat_mm is not None  # an unknown bead seat was refused
    air = volumes(tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm)
    volume_ml = round(air.nominal_l * 1000)
    ceiling_pa = highest_pa(answer)
    envelope = answer.envelope
    assert envelope is not None and answer.limit_pa is not None and answer.governing is not None
    return pack_profile(
        {
            "revision": revision,
            "issue": issue or issue_now(),
            "wheel_id": wheel_id,
            "label": label_bytes(values["label"]),
            "rim_class": codes.number_of(enumerations.RIM_CLASSES, rim.type),
            "position": codes.number_of(enumerations.POSITIONS, values.get("position", "any")),
            "chuck": codes.number_of(enumerations.CHUCKS, values.get("chuck", "pressure-open")),
            "limit_source": SOURCES[answer.governing],
            "tyre_width_dmm": round(tyre.width_mm * 10),
            "bead_seat_mm": tyre.bead_seat_mm,
            "rim_width_dmm": round(rim.inner_mm * 10),
            "flags": flags_of(values, asked, answer, revision),
            "volume_low_ml": int(air.low_l * 1000),
            "volume_ml": volume_ml,
            "limit_pa": answer.limit_pa,
            "ceiling_pa": ceiling_pa,
            "target_pa": asked.target_pa,
            "seat_pause_pa": asked.seat_pause_pa
            or min(codes.SEAT_PAUSE_MAX_PA, floor_kpa(asked.target_pa)),
            "ambient_min_pa": int(envelope.lowest_ambient_pa),
            "temp_max_ck": envelope.hottest_ck,
            "ref_temp_ck": asked.place.temp_ck or REFERENCE_CK,
            "time_budget_s": asked.time_budget_s or default_budget_s(volume_ml, ceiling_pa),
            "made_days": int(time.time() - codes.EPOCH_DAY_UNIX_S) // DAY_S,
        }
    )


def refuse_wrong(data: bytes) -> None:
    """Raise Refusal with the protocol's text when these bytes are not a valid profile."""
    code = check.check_profile(data)
    if code:
        raise refusal_of(code)


def refuse_unmarked(values: Mapping[str, Any]) -> None:
    """Raise Refusal for a wheel without any pressure marking: a class limit alone does not justify a tag."""
    if rim_of(values).max_pa is None and tyre_of(values).max_pa is None:
        raise Refusal(
            "No pressure is marked on rim or tyre, so this wheel gets no tagged profile.",
            "Enter the pressures printed on sidewall and rim: rimward wheel ask WHEEL.",
        )


def refusal_now(values: Mapping[str, Any]) -> str:
    """Why the newest profile of a wheel could not be made again, for its own place, ride and target; empty where it could."""
    entry = values["profile"]
    asked, _kept = as_before(
        Asked(entry["target_pa"], Place.of(None, 0), hold_at_fill=bool(entry.get("held_at_fill"))),
        entry,
    )
    try:
        check_target(asked.target_pa, assess_wheel(values, asked))
        if check.is_tagged(bytes.fromhex(entry["data"])):
            refuse_unmarked(values)
    except Refusal as refusal:
        return refusal.text
    return ""


def tagged(data: bytes, ring: Ring) -> bytes:
    """Return the profile with the workshop's tag."""
    return bytes(check.tag_profile(ring.current.key, data))


def origin(data: bytes, ring: Ring) -> dict[str, Any]:
    """Return the origin of a profile's tag: `state` is untagged, ours, ours-earlier (a rotated key) or foreign."""
    if not check.is_tagged(data):
        return {"state": "untagged", "key_id": None}
    key = which_key(ring, data[: check.TAG_AT], data[check.TAG_AT :])
    if key is None:
        return {"state": "foreign", "key_id": None}
    return {"state": "ours" if key == ring.keys[0] else "ours-earlier", "key_id": key.key_id}


def new_wheel_id() -> bytes:
    """Random id for a wheel outside any register."""
    return secrets.token_bytes(8)


def issue(
    register: "Register", wheel: "Wheel", asked: Asked, ring: Ring | None, who: str = ""
) -> bytes:
    """Make and record the next profile of a registered wheel: tagged where there is a key, its revision one above the last.

    The whole record is stored, so that a tag can be printed again and an older one recognised.
    """
    made: list[bytes] = []

    def make(now: "Wheel") -> dict[str, Any]:
        revision = (now.values["profile"]["revision"] if "profile" in now.values else 0) + 1
        refuse_moved(wheel, now)
        if ring and ring.keys:
            refuse_unmarked(now.values)
        before = now.values["profile"].get("issue", 0) if "profile" in now.values else 0
        number = next_issue(ring.current, before) if ring and ring.keys else None
        data = build(now.values, bytes.fromhex(now.wheel_id), revision, asked, issue=number)
        made[:] = [tagged(data, ring) if ring and ring.keys else data]
        return {"profile": entry_of(made[0], revision, asked)}

    register.record(wheel.wheel_id, make, who)
    return made[0]
