"""Facts of one session, computed once: page, report and command line show these figures and these texts.

Pressures gauge pascal unless named ambient (absolute); temperatures centikelvin; times seconds.
"""

import struct
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from rimward_protocol import causes, codes, enumerations

from rimward.base.closed_core import show_between, tyre_between
from rimward.base.instrument import instrument_of
from rimward.base.units import celsius, show_limit, show_minimum, show_reading
from rimward.formats import records
from rimward.sessions import beat
from rimward.sessions.log import SessionLog, read_session
from rimward.sessions.targets import asked_of, targets_of
from rimward.sessions.verification import Verification, verdict_of, verification_rows, verify

TICK_S = codes.TICK_US / 1e6
EPOCH_S = codes.EPOCH_DAY_UNIX_S
DAY_S = 86_400
TARGET_STEP_PA = 200  # a trace stores whole hectopascals
CAUTIONS = (
    "Wear eye protection whenever a tyre is being filled.",
    "Stay out of the plane of the wheel, and keep others out of it.",
    "The makers' own limits for rim and tyre, and local codes, come first.",
    "A qualified person decides whether a wheel may be ridden. These figures are limits and readings, not advice on what to ride.",
)


@dataclass(frozen=True)
class Facts:
    """Figures of one session. None: not in the session."""

    session: int
    device: str
    board: str
    firmware: str
    interpreter: str
    boot: int
    unix_s: int
    who: str
    wheel_id: str | None
    label: str
    position: str | None
    revision: int | None
    made: str | None
    size: str | None
    rim_class: str | None
    limit_pa: int | None
    limit_source: str | None
    profile_ceiling_pa: int | None
    ceiling_pa: int | None
    guard_pa: int | None
    stop_pa: int | None
    asked_target_pa: int | None
    rider: str
    targets_pa: tuple[int, ...]
    target_pa: int | None
    ride_stated: bool | None
    ambient_min_pa: int | None
    temp_max_ck: int | None
    ref_temp_ck: int | None
    ambient_pa: int | None
    air_ck: int | None
    tyre_ck: int | None
    highest_pa: int | None
    tyre_pa: int | None
    tyre_low_pa: int | None
    tyre_high_pa: int | None
    cause: str
    cause_reason: str
    cause_next: str
    seconds: float
    air_on_s: float | None
    calibration_a: str
    calibration_b: str
    guard_set: str | None
    calibration_age: str
    verification: Verification

    def to_json(self) -> dict[str, Any]:
        """Return every figure by name."""
        return {**asdict(self), "verified": self.verification.holds}


def facts(
    source: bytes | SessionLog,
    data: bytes | None = None,
    who: str = "",
    keys: Sequence[bytes] = (),
    check: bool = True,
) -> Facts:
    """Return the facts of a session. `keys`: workshop keys to check the chain with; `check=False` omits the replay."""
    log = read_session(source) if isinstance(source, bytes) else source
    raw = source if isinstance(source, bytes) else data
    profile, here, end = log.profile, log.conditions, log.end
    ended = _ended(log)
    series = log.series(1)
    asked = asked_of(log)
    targets = tuple(pa for _tick, pa in targets_of(log))
    return Facts(
        session=log.header["session"],
        device=device_text(log.header["device_id"]),
        board=_text(log, "board"),
        firmware=_text(log, "firmware"),
        interpreter=_text(log, "interpreter"),
        boot=log.header["boot"],
        unix_s=log.header["unix_s"],
        who=_text(log, "person") or who,
        **_wheel(profile),
        ceiling_pa=here.get("ceiling_pa"),
        guard_pa=here["ceiling_pa"] - here["stop_pa"] if here else None,
        stop_pa=here.get("stop_pa"),
        asked_target_pa=asked.pa,
        rider=asked.rider,
        targets_pa=targets,
        target_pa=targets[-1] if targets else None,
        ride_stated=asked.ride_stated,
        ambient_min_pa=asked.ambient_min_pa,
        temp_max_ck=asked.temp_max_ck,
        ambient_pa=here.get("ambient_pa"),
        air_ck=here.get("air_ck"),
        tyre_ck=here.get("t0_ck"),
        highest_pa=_highest(series, end),
        **_settled(end, profile),
        cause=ended[0],
        cause_reason=ended[1],
        cause_next=ended[2],
        seconds=round(float(series["tick"][-1] - series["tick"][0]) * TICK_S, 1)
        if len(series)
        else 0.0,
        air_on_s=round(end["pump_ticks"] * TICK_S, 1) if end else None,
        calibration_a=_calibration(log.meta.get("calibration-a")),
        calibration_b=_calibration(log.meta.get("calibration-b")),
        guard_set=_guard_set(log.meta.get("guard-band")),
        calibration_age=_calibration_age(log),
        verification=verify(log, raw, keys, check),
    )


def _ended(log: SessionLog) -> tuple[str, str, str]:
    """Return (cause, likely reason, next step); a bench has its own texts."""
    if log.bench:
        return beat.words_of(log)
    if log.end is None:
        return (
            "not closed",
            "the record ends before the fill was closed",
            "pull it again, or check the inflator's power",
        )
    _number, word, reason, step = causes.row_of(log.end["cause"])
    return word, reason, step


def device_text(raw: bytes) -> str:
    """Format an inflator's id: as text where it is text."""
    return records.text_of(raw) if raw.isascii() else raw.hex()


def _wheel(profile: dict[str, Any] | None) -> dict[str, Any]:
    names: tuple[str, ...] = (
        "wheel_id",
        "position",
        "revision",
        "made",
        "size",
        "rim_class",
        "limit_pa",
        "limit_source",
        "profile_ceiling_pa",
    )
    names += ("ref_temp_ck",)
    if profile is None:
        return {**dict.fromkeys(names), "label": "no wheel recorded"}
    return {
        "wheel_id": profile["wheel_id"].hex(),
        "label": profile["label"],
        "position": codes.word_of(enumerations.POSITIONS, profile["position"]),
        "revision": profile["revision"],
        "made": time.strftime("%Y-%m-%d", time.gmtime(EPOCH_S + profile["made_days"] * DAY_S)),
        "size": f"{profile['tyre_width_dmm'] / 10:g}-{profile['bead_seat_mm']} on a rim {profile['rim_width_dmm'] / 10:g} mm wide inside",
        "rim_class": codes.word_of(enumerations.RIM_CLASSES, profile["rim_class"]),
        "limit_pa": profile["limit_pa"],
        "limit_source": codes.word_of(enumerations.LIMIT_SOURCES, profile["limit_source"]),
        "profile_ceiling_pa": profile["ceiling_pa"],
        "ref_temp_ck": profile["ref_temp_ck"],
    }


def _text(log: SessionLog, key: str) -> str:
    return records.text_of(log.meta.get(key, b""))


def _highest(series: np.ndarray, end: dict[str, Any] | None) -> int | None:
    """Highest reading of either transducer: over the whole trace, every full-rate tick, and the inflator's own maximum."""
    seen = [int(series["a_pa"].max()), int(series["b_pa"].max())] if len(series) else []
    if end:
        seen.append(end["peak_pa"])
    return max(seen, default=None)


def _calibration(raw: bytes | None) -> str:
    if not raw or len(raw) != struct.calcsize("<iiIiH"):
        return "never calibrated"
    gain, offset, days, hysteresis, certificate = struct.unpack("<iiIiH", raw)
    day = time.strftime("%Y-%m-%d", time.gmtime(EPOCH_S + days * DAY_S))
    return f"{day}, certificate {certificate}: gain {gain / 65536:.5f}, offset {offset} Pa, hysteresis {hysteresis} Pa"


def _guard_set(raw: bytes | None) -> str | None:
    if not raw or len(raw) != 8:
        return None
    pa, days = struct.unpack("<iI", raw)
    return f"{show_minimum(pa)}, found on {time.strftime('%Y-%m-%d', time.gmtime(EPOCH_S + days * DAY_S))}"


def _calibration_age(log: SessionLog) -> str:
    """Age and due date of the calibration at this fill."""
    if not log.header["unix_s"]:
        return "unknown: the inflator's clock was not set"
    return instrument_of(log.meta.get("guard-band", b""), log.header["unix_s"]).words()


# Texts


def when_text(unix_s: int) -> str:
    """Format a stored time in UTC."""
    return (
        time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(unix_s))
        if unix_s
        else "unknown: the inflator's clock was not set"
    )


def limit_text(pa: int | None) -> str:
    """Format a limit in both units, or state that none is recorded."""
    return f"{show_limit(pa)} gauge" if pa else "not recorded"


def reading_text(pa: int | None, limit_pa: int | None = None) -> str:
    """Format a reading in both units, never as equal to a limit that it exceeds."""
    return "unknown" if pa is None else f"{show_reading(pa, limit_pa)} gauge"


def range_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    """Return the row that gives the range of a tyre behind a closed core; none where the figure is the tyre's."""
    low, high = f.tyre_low_pa, f.tyre_high_pa
    if low is None or high is None or low == high:
        return ()
    return (("range", "In it, behind a closed core", show_between((low, high))),)


def _settled(end: dict[str, Any] | None, profile: Any) -> dict[str, Any]:
    pa = end["tyre_pa"] if end and end["tyre_pa"] >= 0 else None
    low, high = (pa, pa) if pa is None or not profile else tyre_between(pa, profile["chuck"])
    return {"tyre_pa": pa, "tyre_low_pa": low, "tyre_high_pa": high}


def degrees(centikelvin: int | None) -> str:
    """Degrees Celsius."""
    return "not recorded" if centikelvin is None else f"{celsius(centikelvin):.1f} °C"


def verdict_text(f: Facts) -> str:
    """Return the result of the verification in one line."""
    return verdict_of(f.verification)


def sections(f: Facts) -> tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...]:
    """All figures in words: (heading, ((key, name, text), ...)). A key names the same row everywhere."""
    return (
        ("The fill", _fill_rows(f)),
        ("The wheel", _wheel_rows(f)),
        ("Limits, step by step", _limit_rows(f)),
        ("Conditions", _condition_rows(f)),
        ("Instrument", _instrument_rows(f)),
        ("Verification", verification_rows(f.verification)),
    )


def _fill_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    return (
        ("session", "Record", f"number {f.session} of inflator {f.device}"),
        ("when", "When", when_text(f.unix_s)),
        ("who", "Who", f.who or "not recorded"),
        ("tyre", "Settled in the tyre, at the end", reading_text(f.tyre_pa, f.ceiling_pa)),
        *range_rows(f),
        ("highest", "Highest reading at the hose", reading_text(f.highest_pa, f.ceiling_pa)),
        ("target", "Target in force", target_text(f)),
        ("ended", "Ended by", f.cause),
        ("reason", "Likely reason", f.cause_reason),
        ("next", "What to do next", f.cause_next),
        (
            "seconds",
            "Time on the hose",
            f"{f.seconds:.1f} s, air on for {'an unknown time' if f.air_on_s is None else f'{f.air_on_s:.1f} s'}",
        ),
    )


def target_text(f: Facts) -> str:
    """Target in force, with the reason where it differs from the requested one: tyre temperature and ambient pressure, or a person."""
    text = limit_text(f.target_pa)
    if len(f.targets_pa) > 1:
        return f"{text}, changed at the inflator from {', then '.join(limit_text(pa) for pa in f.targets_pa[:-1])}"
    known = (f.target_pa, f.asked_target_pa, f.ref_temp_ck, f.tyre_ck, f.ambient_pa)
    if any(value is None for value in known) or f.target_pa == f.asked_target_pa:
        return text
    here, asked, ref, tyre, ambient = (int(value or 0) for value in known)
    if abs((asked + ambient) * tyre / ref - ambient - here) > TARGET_STEP_PA:
        return f"{text}, not the requested {limit_text(asked)}; the record does not show why"
    return f"{text}: equivalent of {limit_text(asked)} at {degrees(ref)} for {degrees(tyre)} and this ambient pressure"


def _wheel_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    if f.wheel_id is None:
        return (("label", "Wheel", f.label),)
    rim = "unknown, treated as straight-side" if f.rim_class == "unknown" else f.rim_class
    return (
        ("label", "Wheel", f"{f.label} ({f.position})"),
        ("wheel_id", "Id", f.wheel_id),
        ("size", "Tyre and rim", f.size or ""),
        ("rim_class", "Rim type", rim or ""),
        ("revision", "Profile", f"revision {f.revision} of {f.made}"),
    )


def _limit_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    meaning = next((row[2] for row in enumerations.LIMIT_SOURCES if row[1] == f.limit_source), "")
    ride = "no ride stated: the limit is kept at the fill only"
    if f.ride_stated and f.ambient_min_pa is not None:
        ride = f"lowest ambient {show_reading(f.ambient_min_pa)} absolute, tyre up to {degrees(f.temp_max_ck)}"
    return (
        (
            "limit",
            "Limit",
            f"{limit_text(f.limit_pa)} ({f.limit_source}: {meaning})"
            if f.limit_pa
            else "not recorded",
        ),
        ("ride", "Ride", ride if f.limit_pa else "not recorded"),
        ("profile_ceiling", "Ceiling of the profile", limit_text(f.profile_ceiling_pa)),
        ("ceiling", "Ceiling in force here", limit_text(f.ceiling_pa)),
        (
            "guard",
            "This inflator's guard band",
            show_minimum(f.guard_pa) if f.guard_pa is not None else "not recorded",
        ),
        ("stop", "Stop reading", limit_text(f.stop_pa)),
        (
            "asked_target",
            "Requested target",
            limit_text(f.asked_target_pa) + (f", by the preset of {f.rider}" if f.rider else ""),
        ),
    )


def _condition_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    ambient = "not recorded" if f.ambient_pa is None else f"{f.ambient_pa / 100:.1f} hPa absolute"
    return (
        ("ambient", "Ambient", ambient),
        ("air", "Air", degrees(f.air_ck)),
        ("t0", "Tyre at the start", degrees(f.tyre_ck)),
    )


def _instrument_rows(f: Facts) -> tuple[tuple[str, str, str], ...]:
    return (
        (
            "inflator",
            "Inflator",
            f"{f.device}, {f.board or 'board not recorded'}, firmware {f.firmware or 'not recorded'}",
        ),
        ("calibration_a", "Transducer A", f.calibration_a),
        ("calibration_b", "Transducer B", f.calibration_b),
        ("guard_set", "Guard band stored", f.guard_set or "none: the class bound is used"),
        ("calibration_age", "Calibration at this fill", f.calibration_age),
    )
