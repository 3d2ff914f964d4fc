"""Every field of a profile against literals, with the clock held: what is taken over, rounded, counted and left to a default."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rimward.base.errors import Refusal
from rimward.formats.records import unpack_profile
from rimward.limits.ceiling import Place, Ride
from rimward.wheels import keys, profiles
from rimward.wheels.keys import Key, Ring
from rimward.wheels.profiles import Asked, build, check_target, issue, issue_now, refuse_wrong
from rimward_protocol import codes, replies
from rimward_protocol import profile as check

from tests.unit.test_profiles import WHEEL, WHEEL_ID

DAY_S, START_S = 86_400, 1_577_836_800  # 2020-01-01T00:00:00Z
ODD = WHEEL | {
    "rim": "622x22.96TC",
    "tyre": "30.26-622",
    "tyre_range": "3-5 bar",
    "rim_max": "5 bar",
}
HERE = Place.of(18, 200)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Seconds since 1970 that the package reads."""
    now = [float(START_S)]
    told = SimpleNamespace(time=lambda: now[0])
    monkeypatch.setattr(profiles, "time", told)
    monkeypatch.setattr(keys, "time", told)
    return now


def fields(values: dict[str, Any], asked: Asked, **more: Any) -> dict[str, Any]:
    return dict(unpack_profile(build(values, WHEEL_ID, 1, asked, **more)))


def test_every_field_of_a_profile(clock: list[float]) -> None:
    """Widths in tenths of a millimetre, to the nearest; the low volume rounded down; the day and the minute it was made, both rounded down."""
    clock[0] += 2_500 * DAY_S + 86_399.9
    found = fields(ODD, Asked(300_500, HERE, Ride.of(2_400, 45)))
    assert {name: found[name] for name in found.keys() - {"tag", "crc", "magic", "version"}} == {
        "revision": 1, "issue": 2_501 * 1_440 - 1, "wheel_id": WHEEL_ID, "label": "Aspen race", "rim_class": codes.RIM_TC,
        "position": 1, "chuck": codes.CHUCK_PRESSURE_OPEN, "limit_source": codes.LIMIT_RIM_MARKED, "tyre_width_dmm": 303, "bead_seat_mm": 622,
        "rim_width_dmm": 230, "flags": codes.FLAG_RIDE_STATED | codes.FLAG_TUBELESS, "volume_low_ml": found["volume_low_ml"],
        "volume_ml": found["volume_ml"], "limit_pa": 500_000, "ceiling_pa": 427_000, "target_pa": 300_500, "seat_pause_pa": 275_000,
        "ambient_min_pa": 75_634, "temp_max_ck": 31_815, "ref_temp_ck": 29_115, "time_budget_s": found["time_budget_s"], "made_days": 2_500,
    }  # fmt: skip
    air = profiles.volumes(30.26, 622, 22.96)
    assert found["volume_low_ml"] == int(air.low_l * 1000)
    assert found["volume_ml"] == round(air.nominal_l * 1000)
    assert found["time_budget_s"] == int(60 + found["volume_ml"] * 427_000 / 101_325 / (5_000 / 60))


@pytest.mark.parametrize(
    ("name", "stated", "asked", "wanted"),
    [
        ("position", {"position": "rear"}, {}, 2), ("position", {"position": None}, {}, 0),
        ("chuck", {"chuck": "pin-open"}, {}, codes.CHUCK_PIN_OPEN), ("flags", {"air": "tube"}, {}, 0),
        ("label", {"label": "  Aspen "}, {}, "Aspen"), ("label", {"label": "seventeen letters"}, {}, "seventeen letter"),
        ("seat_pause_pa", {}, {"seat_pause_pa": 123_456}, 123_456), ("seat_pause_pa", {"tyre_range": "1-5 bar"}, {"target_pa": 250_999}, 250_000),
        ("time_budget_s", {}, {"time_budget_s": 77}, 77), ("ref_temp_ck", {}, {"place": Place.of(None, 200)}, 29_315),
        ("ref_temp_ck", {}, {"place": Place.of(-5, 200)}, 26_815),
    ],
)  # fmt: skip
def test_what_is_stated_and_what_is_left_out(
    name: str, stated: dict[str, Any], asked: dict[str, Any], wanted: Any
) -> None:
    values = {key: held for key, held in (WHEEL | stated).items() if held is not None}
    assert fields(values, Asked(**{"target_pa": 400_000, "place": HERE} | asked))[name] == wanted


@pytest.mark.parametrize(
    ("seconds", "number"), [(-600, 1), (0, 1), (119, 1), (120, 2), (179.9, 2), (86_400, 1_440)]
)
def test_an_issue_number_is_the_minute_since_2020_and_never_0(
    clock: list[float], seconds: float, number: int
) -> None:
    clock[0] += seconds
    assert issue_now() == number
    if seconds >= 0:
        assert fields(WHEEL, Asked(400_000, HERE), issue=0)["issue"] == number
        assert fields(WHEEL, Asked(400_000, HERE), issue=7)["issue"] == 7


@pytest.mark.parametrize(
    ("before", "revision", "number"),
    [(None, 1, 1), ({"revision": 4}, 5, 1), ({"revision": 4, "issue": 0}, 5, 1), ({"revision": 1, "issue": 9}, 2, 10)],
)  # fmt: skip
def test_a_wheel_s_next_profile_counts_on(
    clock: list[float], monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
    before: dict[str, int] | None, revision: int, number: int,
) -> None:  # fmt: skip
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path))
    now = SimpleNamespace(
        values=WHEEL | ({"profile": before} if before else {}), wheel_id=WHEEL_ID.hex()
    )
    desk = SimpleNamespace(record=lambda _wheel, make, _who: now.values.update(make(now)))
    monkeypatch.setattr(
        "rimward.wheels.register.issued.time", SimpleNamespace(strftime=lambda *_: "", gmtime=int)
    )
    ring = Ring((Key(bytes(range(32)), "2026-01-01"),), "here")
    data = issue(desk, now, Asked(400_000, HERE), ring)
    found = unpack_profile(data)
    assert (found["revision"], found["issue"], check.is_tagged(data)) == (revision, number, True)
    assert now.values["profile"]["issue"] == number
    assert json.loads((tmp_path / "keys" / "issues.json").read_text()) == {
        ring.current.key_id: number
    }


def test_without_a_ceiling_no_target_is_taken() -> None:
    none = SimpleNamespace(ceiling_pa=None, stop_reading_pa=None)
    check_target(0, none)  # type: ignore[arg-type]
    with pytest.raises(Refusal, match=r"The target of .* is above the ceiling of 0\.00 bar"):
        check_target(1, none)  # type: ignore[arg-type]


def test_bytes_that_are_no_valid_profile_are_refused_in_the_protocol_s_words() -> None:
    good = build(WHEEL, WHEEL_ID, 1, Asked(400_000, HERE))
    refuse_wrong(good)
    for wrong, code in (
        (good[:-1], replies.PROFILE_SIZE),
        (b"X" + good[1:], check.check_profile(b"X" + good[1:])),
    ):
        with pytest.raises(Refusal) as refused:
            refuse_wrong(wrong)
        assert code and refused.value.text == profiles.refusal_of(code).text
