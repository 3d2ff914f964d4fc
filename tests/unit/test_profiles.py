"""Profiles from wheels: the ceiling engine's figure and no other, targets held against it, bytes and JSON there and back."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.formats.records import unpack_profile
from rimward.limits.ceiling import Instrument, Place, Ride, assess
from rimward.wheels.keys import Key, Ring
from rimward.wheels.profile_files import from_json, to_json
from rimward.wheels.profiles import (
    Asked,
    assess_wheel,
    build,
    check_target,
    label_bytes,
    label_notes,
    origin,
    rim_of,
    tagged,
    tyre_of,
)
from rimward_protocol.profile import check_profile, check_tag

from tests.unit.shopdesk import FRONT, RIDE

WHEEL = {"label": "Aspen race", "position": "front", "rim": "622x23TSS", "rim_max": "5 bar", "tyre": "30-622", "tyre_range": "4-6 bar",
         "approved": "yes", "air": "tubeless"}  # fmt: skip
PLACE, HILLS = Place.of(18, 200), Ride.of(2400, 45)
WHEEL_ID = bytes(range(1, 9))


def made(values=WHEEL, target_pa=410_000, revision=1, **more):
    return build(values, WHEEL_ID, revision, Asked(target_pa, PLACE, HILLS, **more))


def test_the_ceiling_is_the_engines():
    fields = unpack_profile(made())
    # 18 °C and 200 m to 45 °C and 2,400 m on a 5 bar limit: 427 kPa, as the ceiling engine's own check has it
    assert (
        fields["ceiling_pa"]
        == 427_000
        == assess(rim_of(WHEEL), tyre_of(WHEEL), PLACE, HILLS).ceiling_pa
    )
    assert (
        fields["limit_pa"] == 500_000
        and fields["target_pa"] == 410_000
        and fields["seat_pause_pa"] == 275_000
    )
    assert fields["ref_temp_ck"] == 29115 and fields["temp_max_ck"] == 31815
    assert len(made()) <= 112


@pytest.mark.parametrize(
    "target_pa, taken",
    [
        (426_995, True),
        (426_999, True),
        (427_000, True),
        (427_001, False),
        (427_005, False),
        (500_000, False),
    ],
)
def test_a_target_above_the_ceiling_is_refused_to_the_pascal(target_pa, taken):
    if taken:
        assert unpack_profile(made(target_pa=target_pa))["target_pa"] == target_pa
        return
    with pytest.raises(Refusal, match="above the ceiling of 4.27 bar"):
        made(target_pa=target_pa)


def test_a_target_just_above_is_never_shown_as_equal():
    with pytest.raises(Refusal) as refused:
        made(target_pa=427_001)
    assert "4.28 bar" in refused.value.text and "62.0 psi" in refused.value.text


@pytest.mark.parametrize("target_pa, taken", [(416_999, True), (417_000, True), (417_001, False)])
def test_with_an_instrument_the_stop_reading_bounds_the_target(target_pa, taken):
    instrument = Instrument(10_000, "bench 2")
    if taken:
        fields = unpack_profile(made(target_pa=target_pa, instrument=instrument))
        assert fields["ceiling_pa"] == 427_000  # the profile holds no instrument term
        return
    with pytest.raises(Refusal, match="stop reading, 4.17 bar"):
        made(target_pa=target_pa, instrument=instrument)


@pytest.mark.parametrize("change, named", [
    ({"tyre_range": "85-120 psi"}, "tyre-minimum-above-ceiling"), ({"tyre": "28-584"}, "bead-seat-mismatch"), ({"approved": "no"}, "straight-side"),
    ({"rim": "622x23C"}, "tubeless-on-plain-rim"), ({"rim": "622x32TSS"}, "tyre-not-wider-than-rim"),
])  # fmt: skip
def test_a_wheel_without_a_ceiling_gets_no_profile(change, named):
    with pytest.raises(Refusal, match=named):
        made({**WHEEL, **change})


def test_a_hooked_rim_never_passes_the_rigs_own_ceiling():
    values = {
        "label": "Track",
        "rim": "622x15C",
        "tyre": "23-622",
        "tyre_max": "12 bar",
        "air": "tube",
        "position": "rear",
    }
    fields = unpack_profile(build(values, WHEEL_ID, 1, Asked(800_000, Place.of(20, 0))))
    assert fields["ceiling_pa"] == 900_000 and fields["limit_pa"] == 1_200_000
    with pytest.raises(Refusal, match="9.00 bar"):
        build(values, WHEEL_ID, 1, Asked(900_001, Place.of(20, 0)))


def test_a_low_target_lowers_the_seat_pause():
    assert (
        unpack_profile(made({**WHEEL, "tyre_range": "1-5 bar"}, target_pa=150_500))["seat_pause_pa"]
        == 150_000
    )


@pytest.mark.parametrize("pause_pa", [275_001, 300_000])
def test_a_seat_pause_above_40_psi_is_refused(pause_pa):
    with pytest.raises(Refusal, match="seat"):
        made(seat_pause_pa=pause_pa)


@given(st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=60))
def test_any_label_is_cut_at_a_whole_character(label):
    data = label_bytes(label)
    assert len(data) <= 24 and len(data.decode()) <= 16 and label.startswith(data.decode())
    assert bool(label_notes(label)) == (
        data.decode() != label or any(not " " <= letter <= "~" for letter in label)
    )


RANGES = st.tuples(st.integers(24, 60), st.sampled_from(["TSS", "TC", "?"]), st.integers(2, 9), st.integers(100_000, 950_000),
                   st.floats(-5, 35), st.floats(0, 2000), st.floats(0, 3000), st.floats(10, 70))  # fmt: skip


@given(RANGES)
def test_any_profile_keeps_to_its_wheels_ceiling(case):
    width, kind, top_bar, target_pa, temp, fill_m, ride_m, hot = case
    values = {"label": "W", "rim": f"622x21{kind}", "tyre": f"{width}-622", "tyre_max": f"{top_bar} bar", "approved": "yes",
              "bead": "rigid", "air": "tube"}  # fmt: skip
    asked = Asked(target_pa, Place.of(temp, fill_m), Ride.of(ride_m, hot))
    try:
        data = build(values, WHEEL_ID, 1, asked)
    except Refusal:
        return
    assert check_profile(data) == 0
    fields, own = unpack_profile(data), assess_wheel(values, asked)
    assert (
        fields["target_pa"]
        <= fields["ceiling_pa"]
        <= min(own.ceiling_pa, own.limit_pa, 900_000, top_bar * 100_000)
    )
    assert kind == "TC" or fields["ceiling_pa"] <= 500_000
    assert fields["seat_pause_pa"] <= fields["target_pa"]
    assert from_json(json.loads(json.dumps(to_json(data)))) == data


RING = Ring((Key(bytes(range(32)), "2026-01-01"), Key(bytes(32), "2025-01-01")), "file")


def test_the_tag_is_what_the_inflator_checks():
    data = tagged(made(), RING)
    assert check_tag(RING.keys[0].key, data) == 0 and check_tag(RING.keys[1].key, data) != 0
    assert origin(data, RING) == {"state": "ours", "key_id": RING.keys[0].key_id}
    assert origin(tagged(made(), Ring(RING.keys[1:], "file")), RING)["state"] == "ours-earlier"
    assert origin(made(), RING)["state"] == "untagged"


@given(st.integers(0, 107), st.integers(1, 255))
def test_any_changed_byte_is_refused_or_foreign(at, flip):
    data = bytearray(tagged(made(), RING))
    data[at] ^= flip
    assert check_profile(bytes(data)) != 0 or origin(bytes(data), RING)["state"] in (
        "foreign",
        "untagged",
    )


@pytest.mark.parametrize("change", [
    {"ceiling_pa": 500_001}, {"target_pa": 427_001}, {"ceiling_pa": "427000"}, {"ceiling_pa": 4.5}, {"ceiling_pa": True}, {"ceiling_pa": -1},
    {"ceiling_pa": 2**40}, {"rim_class": "hookless"}, {"wheel_id": "00"}, {"wheel_id": "0" * 16}, {"tag": "00"}, {"label": "x" * 21}, {"label": 3},
    {"made": "yesterday"}, {"flags": ["bench"]}, {"flags": ["other"]}, {"flags": 3}, {"form": "x"}, {"extra": 1}, {"revision": 0},
])  # fmt: skip
def test_json_of_an_invalid_profile_is_refused(change):
    with pytest.raises(Refusal) as refused:
        from_json({**to_json(made()), **change})
    assert "\n" not in str(refused.value)


def test_json_that_lacks_a_field_names_it():
    given_json = to_json(made())
    del given_json["volume_ml"]
    with pytest.raises(Refusal, match="volume_ml"):
        from_json(given_json)


def test_check_target_takes_one_at_the_ceiling():
    check_target(427_000, assess_wheel(WHEEL, Asked(1, PLACE, HILLS)))


def test_profiles_of_a_registered_wheel_count_up_and_are_tagged(desk, tmp_path):
    desk.json("wheel", "add", *FRONT)
    first = desk.json("profile", "make", "--wheel", "aspen", "--target", "4.6 bar")
    assert (
        first["file"] == "aspen-race-r1.rwp"
        and first["origin"]["state"] == "untagged"
        and "Untagged" in desk.err
    )
    assert {note["id"] for note in first["warnings"]} >= {"ride-not-stated"}
    desk.json("key", "new")
    second = desk.json("profile", "make", "--wheel", "aspen", "--target", "4.1 bar", *RIDE)
    assert (
        second["profile"]["revision"] == 2
        and second["profile"]["ceiling_pa"] == 427_000
        and second["origin"]["state"] == "ours"
    )
    assert second["standing"] == "current" and "supersedes" in second["profile"]["flags"]
    assert len((tmp_path / "aspen-race-r2.rwp").read_bytes()) == second["bytes"] == 108
    told = desk.json("profile", "show", "aspen-race-r1.rwp")
    assert told["superseded"] is True and told["standing"] == "superseded"
    assert desk("profile", "show", "aspen-race-r2.rwp") == 0
    for shown in (
        "4.27 bar (61.9 psi) gauge",
        "4.10 bar (59.4 psi) gauge",
        "5.00 bar (72.5 psi) gauge",
        "tagged by this workshop",
    ):
        assert shown in desk.out


def test_a_refused_target_uses_up_no_revision_and_writes_nothing(desk, tmp_path):
    desk.json("wheel", "add", *FRONT)
    assert desk("profile", "make", "--wheel", "aspen", "--target", "73 psi") == 1
    assert (
        "above the ceiling of 5.00 bar (72.5 psi)" in desk.err and "5.03 bar (73.0 psi)" in desk.err
    )
    assert not list(tmp_path.glob("*.rwp"))
    assert (
        desk.json("profile", "make", "--wheel", "aspen", "--target", "4.6 bar")["profile"][
            "revision"
        ]
        == 1
    )


def test_a_profile_of_a_changed_wheel_is_out_of_date(desk):
    desk.json("wheel", "add", *FRONT)
    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.6 bar")
    desk.json("wheel", "edit", "aspen", "--owner", "Ilse Vane")
    assert desk.json("profile", "show", "aspen-race-r1.rwp")["standing"] == "current"
    desk.json("wheel", "edit", "aspen", "--rim-max", "4.8 bar")
    assert desk.json("profile", "show", "aspen-race-r1.rwp")["standing"] == "wheel-changed"
    assert desk("wheel", "show", "aspen") == 0 and "OUT OF DATE" in desk.out
    desk.json("wheel", "edit", "aspen", "--rim-max", "4.5 bar")  # under its target
    assert desk.json("profile", "show", "aspen-race-r1.rwp")["standing"] == "refused"
    desk.json("wheel", "retire", "aspen")
    assert desk.json("profile", "show", "aspen-race-r1.rwp")["standing"] == "retired"


def test_from_options_to_json_and_back_to_the_same_bytes(desk, tmp_path):
    desk.json("key", "new")
    words = (
        "--label",
        "Loan 3",
        "--rim",
        "584x27TC",
        "--rim-max",
        "3.5 bar",
        "--tyre",
        "47-584",
        "--tyre-max",
        "4 bar",
        "--position",
        "rear",
    )
    desk.json("profile", "make", *words, "--target", "3 bar", "--chuck", "pin-open", "-o", "a.rwp")
    desk.json("profile", "make", "--from", "a.rwp", "-o", "a.json")
    desk.json("profile", "make", "--from", "a.json", "-o", "b.rwp")
    assert (tmp_path / "a.rwp").read_bytes() == (tmp_path / "b.rwp").read_bytes()
    shown = desk.json("profile", "show", "a.rwp")
    (tmp_path / "shown.json").write_text(desk.out)
    desk.json("profile", "make", "--from", "shown.json", "-o", "c.rwp")
    assert (tmp_path / "c.rwp").read_bytes() == (tmp_path / "a.rwp").read_bytes()
    assert shown["profile"]["chuck"] == "pin-open" and shown["standing"] == "unknown-wheel"


def test_an_edited_json_does_not_get_a_tag(desk, tmp_path):
    desk.json("key", "new")
    desk.json("wheel", "add", *FRONT)
    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.1 bar", *RIDE, "-o", "a.json")
    held = json.loads((tmp_path / "a.json").read_text())
    (tmp_path / "a.json").write_text(json.dumps({**held, "ceiling_pa": 500_000}))
    assert (
        desk("profile", "make", "--from", "a.json", "-o", "b.rwp") == 1
        and "does not fit" in desk.err
    )
    (tmp_path / "a.json").write_text(json.dumps({**held, "ceiling_pa": 500_000, "tag": None}))
    assert (
        desk.json("profile", "make", "--from", "a.json", "-o", "b.rwp")["origin"]["state"]
        == "untagged"
    )


@pytest.mark.parametrize("words, code, says", [
    (("--target", "4 bar"), 2, "--wheel"),
    (("--wheel", "aspen"), 2, "--target"),
    (("--wheel", "aspen", "--rim", "622x23TSS", "--target", "4 bar"), 2, "one of"),
    (("--wheel", "aspen", "--target", "4.6"), 1, "unit"),
    (("--wheel", "birch", "--target", "4 bar"), 1, "No wheel matches"),
    (("--rim", "622x23TSS", "--target", "4 bar"), 2, "--label and --tyre"),
    (("--label", "x", "--rim", "622x23TSS", "--tyre", "30-622", "--target", "4 bar"), 1, "not-approved"),
    (("--from", "missing.json"), 1, "cannot be read"),
    (("--wheel", "aspen", "--target", "4 bar", "-o", "no/such/folder/a.rwp"), 1, "cannot be written"),
    (("--wheel", "aspen", "--target", "4 bar", "--instrument", "missing.json"), 1, "instrument"),
    (("--label", "x", "--rim", "622x23TC", "--tyre", "30-622", "--tyre-max", "5 bar", "--target", "4 bar", "--wheel-id", "xyz"), 2, "16 hex"),
])  # fmt: skip
def test_wrong_options_are_one_line_with_a_fix(desk, words, code, says):
    desk.json("wheel", "add", *FRONT)
    assert desk("profile", "make", *words) == code
    assert says in desk.err


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"RWP",
        b"\0" * 108,
        b"{",
        b"[1]",
        b"{}",
        b"RW1:",
        b"RW1:!!",
        b"\xff" * 200,
        b"{" * 50_000,
    ],
)
def test_files_of_another_kind_than_a_profile_are_refused(desk, tmp_path, content):
    (tmp_path / "x").write_bytes(content)
    assert desk("profile", "show", "x") == 1
    assert desk.err.count("\n") == 1


def test_an_existing_file_is_not_overwritten_unasked(desk, tmp_path):
    desk.json("wheel", "add", *FRONT)
    (tmp_path / "a.rwp").write_text("mine")
    assert desk("profile", "make", "--wheel", "aspen", "--target", "4 bar", "-o", "a.rwp") == 1
    assert (tmp_path / "a.rwp").read_text() == "mine"
    assert (
        desk.json(
            "profile", "make", "--wheel", "aspen", "--target", "4 bar", "-o", "a.rwp", "--overwrite"
        )["profile"]["revision"]
        == 1
    )
