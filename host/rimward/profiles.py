"""Profiles: from a wheel and a target to the binary record, and back to words.

The ceiling always comes from `rimward.ceiling.assess`; nothing here works one out or raises one.
"""

import json
import re
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimward_protocol import codes, enumerations
from rimward_protocol import profile as check

from rimward.ceiling.cautions import below_minimum
from rimward.ceiling.model import Assessment, Instrument, Note, Place, Ride, Rim, Tyre
from rimward.errors import Refusal
from rimward.keys import Ring, next_issue, which_key
from rimward.records import pack_profile, refusal_of, unpack_profile
from rimward.register.issued import as_before as as_before
from rimward.register.issued import conditions_of as conditions_of
from rimward.register.issued import entry_of, refuse_moved
from rimward.units import floor_kpa, show_limit, show_minimum, show_reading

if TYPE_CHECKING:
    from rimward.register.store import Register, Wheel

FORM = "rimward-profile-2"
DAY_S = 86_400
REFERENCE_CK = 29315  # 20 °C, where no fill temperature is stated
SLOW_DELIVERY_ML_S = 5_000 / 60  # our choice: half of what a small compressor delivers (5 L/min free air), so that no fill runs out of time
START_S, BUDGET_MIN_S, BUDGET_MAX_S = 60, 60, 1800
STANDARD_AMBIENT_PA = 101_325
FILE_MAX_BYTES = 65_536

# the ceiling engine's limit ids -> LIMIT_SOURCES of the protocol
SOURCES = {
    "rim-maximum": codes.LIMIT_RIM_MARKED,
    "tyre-maximum": codes.LIMIT_TYRE_PRINTED,
    "straight-side-class": codes.LIMIT_STRAIGHT_SIDE,
    "rim-maximum-unknown": codes.LIMIT_CAREFUL_CAP,
    "maker-table": codes.LIMIT_MAKER_TABLE,
}

# fields that a profile's JSON gives as words: name -> protocol table
WORDS = {"rim_class": enumerations.RIM_CLASSES, "position": enumerations.POSITIONS, "chuck": enumerations.CHUCKS, "limit_source": enumerations.LIMIT_SOURCES}
PLAIN = (
    "revision", "issue", "tyre_width_dmm", "bead_seat_mm", "rim_width_dmm", "volume_low_ml", "volume_ml", "limit_pa", "ceiling_pa", "target_pa",
    "seat_pause_pa", "ambient_min_pa", "temp_max_ck", "ref_temp_ck", "time_budget_s",
)  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What a person asks of a profile beside the wheel. None: the default in `build` applies."""

    target_pa: int
    place: Place
    ride: Ride | None = None
    instrument: Instrument | None = None
    maker_table: Any = None
    seat_pause_pa: int | None = None
    time_budget_s: int | None = None
    hold_at_fill: bool = False


def rim_of(values: Mapping[str, Any]) -> Rim:
    """The rim of a wheel's values."""
    return Rim.parse(values["rim"], values.get("rim_max"))


def tyre_of(values: Mapping[str, Any]) -> Tyre:
    """The tyre of a wheel's values; what the register does not hold is unknown."""
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
    """What this wheel may have at this place on this ride. Raises Refusal with the first reason where there is no safe pressure."""
    from rimward.ceiling import assess

    held_on = "fill" if asked.hold_at_fill else "ride"
    answer = assess(rim_of(values), tyre_of(values), asked.place, asked.ride, asked.instrument, asked.maker_table, held_on=held_on)
    if answer.ceiling_pa is None:
        first = answer.refusals[0]
        raise Refusal(f"No ceiling for this wheel ({first.id}): {first.text}", "See `rimward ceiling` for every reason.")
    return answer


def check_target(target_pa: int, answer: Assessment, name: str = "The target") -> None:
    """Raises Refusal for a target above the ceiling, or above the stop reading of a stated instrument."""
    ceiling_pa = min(answer.ceiling_pa or 0, codes.RIG_HIGH_CEILING_PA)
    if target_pa > ceiling_pa:
        raise Refusal(f"{name} of {above(target_pa, ceiling_pa)} is above the ceiling of {show_limit(ceiling_pa)}.", "Choose one at or below it.")
    stop = answer.stop_reading_pa
    if stop is not None and target_pa > stop:
        text = f"{name} of {above(target_pa, stop)} is above where this inflator stops, {show_limit(stop)}."
        raise Refusal(text, "Choose one at or below that, or have the inflator calibrated.")


def cautions(target_pa: int, answer: Assessment, label: str = "") -> list[Note]:
    """The ceiling engine's warnings, one each for a target below the tyre's printed minimum where it is filled and in the cold, those of the label."""
    notes = [note for note in answer.warnings if note.id != "below-tyre-minimum-on-ride"]
    low = answer.window.min_pa
    coldest = answer.envelope.lowest_gauge(target_pa) if answer.envelope else None
    if low is not None and coldest is not None and coldest < low:
        assert answer.envelope is not None
        notes.append(below_minimum(f"The target {show_limit(target_pa)}", coldest, answer.envelope, low))
    if low is not None and target_pa < low:
        notes.append(Note("target-below-tyre-minimum", f"The target {show_limit(target_pa)} is below the tyre's printed minimum {show_minimum(low)}."))
    return notes + label_notes(label)


def above(pa: int, limit_pa: int) -> str:
    """A pressure that lies above a limit, never shown as equal to it."""
    return show_reading(pa, limit_pa)


def label_bytes(label: str) -> bytes:
    """What of the label goes into a profile: 16 letters, one line of the display, in at most 24 bytes. `label_notes` says what is left out."""
    return label[: codes.LABEL_LETTERS].encode()[: codes.LABEL_BYTES].decode(errors="ignore").strip().encode()


def label_notes(label: str) -> list[Note]:
    """A caution where the inflator's display shows a wheel's label shortened or in other letters."""
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
    """Whether two labels look alike on an inflator's display."""
    return check.display_text(label_bytes(one).decode()).lower() == check.display_text(label_bytes(other).decode()).lower()


def issue_now() -> int:
    """Issue number of now: minutes since 2020."""
    return max(1, int(time.time() - codes.EPOCH_DAY_UNIX_S) // 60)


def default_budget_s(volume_ml: int, ceiling_pa: int) -> int:
    """Time for a slow compressor to bring the whole volume to its ceiling, plus a minute for pauses of the pump."""
    air_ml = volume_ml * ceiling_pa / STANDARD_AMBIENT_PA
    return int(min(BUDGET_MAX_S, max(BUDGET_MIN_S, START_S + air_ml / SLOW_DELIVERY_ML_S)))


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
    values: Mapping[str, Any], wheel_id: bytes, revision: int, asked: Asked, answer: Assessment | None = None, issue: int | None = None
) -> bytes:
    """The untagged profile of a wheel; `issue`: its number under the key that will tag it (default: that of now). Raises Refusal where the wheel has no ceiling or the target lies above it."""
    from rimward.volume import volumes

    answer = answer or assess_wheel(values, asked)
    check_target(asked.target_pa, answer)
    rim, tyre = rim_of(values), tyre_of(values)
    assert tyre.bead_seat_mm is not None  # an unknown bead seat was refused
    air = volumes(tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm)
    volume_ml = round(air.nominal_l * 1000)
    ceiling_pa = min(answer.ceiling_pa or 0, codes.RIG_HIGH_CEILING_PA)
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
            "seat_pause_pa": asked.seat_pause_pa or min(codes.SEAT_PAUSE_MAX_PA, floor_kpa(asked.target_pa)),
            "ambient_min_pa": int(envelope.lowest_ambient_pa),
            "temp_max_ck": envelope.hottest_ck,
            "ref_temp_ck": asked.place.temp_ck or REFERENCE_CK,
            "time_budget_s": asked.time_budget_s or default_budget_s(volume_ml, ceiling_pa),
            "made_days": int(time.time() - codes.EPOCH_DAY_UNIX_S) // DAY_S,
        }
    )


def refuse_wrong(data: bytes) -> None:
    """Raises Refusal with the words of the protocol when these bytes are not a good profile."""
    code = check.check_profile(data)
    if code:
        raise refusal_of(code)


def refuse_unmarked(values: Mapping[str, Any]) -> None:
    """Raise Refusal for a wheel without any pressure marking: a class limit alone is no ground for a tag."""
    if rim_of(values).max_pa is None and tyre_of(values).max_pa is None:
        raise Refusal(
            "No pressure is marked on rim or tyre, so no tagged profile is made of this wheel.",
            "Read the sidewall and the rim and enter what is printed: rimward wheel ask WHEEL.",
        )


def tagged(data: bytes, ring: Ring) -> bytes:
    """The profile with the workshop's tag."""
    return check.tag_profile(ring.current.key, data)


def origin(data: bytes, ring: Ring) -> dict[str, Any]:
    """Whose tag a profile carries: `state` is untagged, ours, ours-earlier (a rotated key) or foreign."""
    if not check.is_tagged(data):
        return {"state": "untagged", "key_id": None}
    key = which_key(ring, data[: check.TAG_AT], data[check.TAG_AT :])
    if key is None:
        return {"state": "foreign", "key_id": None}
    return {"state": "ours" if key == ring.keys[0] else "ours-earlier", "key_id": key.key_id}


def new_wheel_id() -> bytes:
    """A random id for a wheel that no register holds."""
    return secrets.token_bytes(8)


def day_text(days: int) -> str:
    """A stored day as ISO date."""
    return time.strftime("%Y-%m-%d", time.gmtime(codes.EPOCH_DAY_UNIX_S + days * DAY_S))


def to_json(data: bytes) -> dict[str, Any]:
    """A profile as plain JSON; `from_json` gives the same bytes back."""
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
    """The bytes of `to_json`. Raises Refusal naming the field that is missing or wrong."""
    if given.get("form") != FORM:
        raise Refusal(f"This JSON is no profile: its form is not '{FORM}'.", "Make one: rimward profile show FILE --json.")
    known = {"form", "wheel_id", "label", "flags", "made", "tag", *WORDS, *PLAIN}
    if set(given) != known:
        odd = sorted(set(given) ^ known)
        raise Refusal(f"The profile's JSON lacks or does not know: {', '.join(odd)}.", "Make one: rimward profile show FILE --json.")
    name = ""
    try:
        fields: dict[str, Any] = {}
        for name in PLAIN:
            fields[name] = whole(given[name])
        for name, table in WORDS.items():
            fields[name] = codes.number_of(table, given[name])
        name = "flags"
        fields["flags"] = sum({word: bit for bit, word, _ in enumerations.PROFILE_FLAGS}[one] for one in set(given["flags"]))
        name = "wheel_id"
        fields["wheel_id"] = exact_hex(given["wheel_id"], 8)
        name = "label"
        fields["label"] = given["label"].encode()
        name = "made"
        fields["made_days"] = day_number(given["made"])
        name = "tag"
        tag = bytes(check.PROFILE_BYTES - check.TAG_AT) if given["tag"] is None else exact_hex(given["tag"], 16)
        return pack_profile(fields)[: check.TAG_AT] + tag
    except (ValueError, KeyError, TypeError, AttributeError) as wrong:
        raise Refusal(f"The profile's JSON has a wrong {name}.", "Mend that value.") from wrong


def whole(value: Any) -> int:
    """A whole number that is not negative. ValueError otherwise."""
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(value)
    return value


def exact_hex(text: str, size: int) -> bytes:
    """The bytes of exactly `size` bytes in lower-case hex. ValueError otherwise."""
    if not re.fullmatch(rf"[0-9a-f]{{{2 * size}}}", text):
        raise ValueError(text)
    return bytes.fromhex(text)


def day_number(text: str) -> int:
    """Days from 2020-01-01 to an ISO date. ValueError for a text that is none."""
    import calendar

    return (calendar.timegm(time.strptime(text, "%Y-%m-%d")) - codes.EPOCH_DAY_UNIX_S) // DAY_S


def read(path: Path) -> bytes:
    """A profile from a binary file, its JSON, or the text of a tag's code. Raises Refusal with what is wrong."""
    try:
        if path.stat().st_size > FILE_MAX_BYTES:
            raise Refusal(f"{path.name} is too large for a profile.", f"A profile file has {check.PROFILE_BYTES} bytes.")
        data = path.read_bytes()
    except OSError as failed:
        raise Refusal(f"{path} cannot be read: {failed.strerror}.", "Check the name.") from failed
    if data.lstrip()[:1] == b"{":
        try:
            given = json.loads(data)
            return from_json(given.get("profile", given))
        except (ValueError, RecursionError) as wrong:
            raise Refusal(f"{path.name} is no JSON: {wrong}.", "Export it again.") from wrong
    if data.startswith(b"RW1:"):
        from rimward.tag.code import from_text

        return from_text(data.decode("ascii", "replace").rstrip("\r\n"))
    refuse_wrong(data)
    return data


def write(path: Path, data: bytes) -> None:
    """Writes a profile: JSON where the name ends in .json, else binary."""
    try:
        if path.suffix == ".json":
            path.write_text(json.dumps(to_json(data), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        else:
            path.write_bytes(data)
    except OSError as failed:
        raise Refusal(f"{path} cannot be written: {failed.strerror}.", "Give another place.") from failed


def issue(register: "Register", wheel: "Wheel", asked: Asked, ring: Ring | None, who: str = "") -> bytes:
    """Makes the next profile of a registered wheel and records it: tagged where there is a key, its revision one above the last.

    The whole record is kept, so that a tag can be printed again and an older one recognised.
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
