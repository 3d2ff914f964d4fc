"""The profile check: every bound from both sides, and any bytes give a code, never an exception."""

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.formats import records
from rimward_protocol import codes, layout, profile, replies
from rimward_protocol.compat import crc32, utf8_ok

GOOD: dict[str, Any] = {
    "revision": 5, "issue": 5, "wheel_id": b"wheel-01", "label": b"Heron rear", "rim_class": codes.RIM_TSS, "position": 2, "chuck": 1,
    "limit_source": 3, "tyre_width_dmm": 280, "bead_seat_mm": 622, "rim_width_dmm": 210, "flags": 1, "volume_low_ml": 1100,
    "volume_ml": 1257, "limit_pa": 500000, "ceiling_pa": 480000, "target_pa": 450000, "seat_pause_pa": 200000,
    "ambient_min_pa": 80000, "temp_max_ck": 31315, "ref_temp_ck": 29315, "time_budget_s": 240, "made_days": 2500,
}  # fmt: skip
CROCHET = {**GOOD, "rim_class": codes.RIM_TC, "limit_pa": 1000000, "ceiling_pa": 900000}


def check(bench: bool = False, **changes: Any) -> int:
    return profile.check_profile(layout.seal_profile({**GOOD, **changes}), bench)


def test_good_ones() -> None:
    assert check() == check(**CROCHET) == replies.OK
    for rim_class in range(6):
        assert check(rim_class=rim_class) == replies.OK


# Limits restated as literals: field, lowest, highest, code outside, what else must change to reach them.
EDGES = [
    ("revision", 1, 2**30 - 1, "PROFILE_REVISION", {}),
    ("issue", 1, 2**30 - 1, "PROFILE_ISSUE", {}),
    ("rim_class", 0, 5, "PROFILE_RIM_CLASS", {}),
    ("position", 0, 2, "PROFILE_POSITION", {}),
    ("chuck", 1, 2, "PROFILE_CHUCK", {}),
    ("limit_source", 1, 6, "PROFILE_LIMIT_SOURCE", {}),
    ("tyre_width_dmm", 100, 1300, "PROFILE_SIZE_RANGE", {}),
    ("bead_seat_mm", 100, 700, "PROFILE_SIZE_RANGE", {}),
    ("rim_width_dmm", 80, 1300, "PROFILE_SIZE_RANGE", {}),
    ("volume_low_ml", 50, 60000, "PROFILE_VOLUME", {"volume_ml": ...}),
    ("volume_low_ml", 629, 1257, "PROFILE_VOLUME", {}),
    ("limit_pa", 480000, 500000, None, {}),
    ("limit_pa", 900000, 2000000, None, CROCHET),
    ("limit_pa", 30000, 2000000, "PROFILE_LIMIT", {**CROCHET, "ceiling_pa": 30000, "target_pa": 30000, "seat_pause_pa": 30000}),
    ("ceiling_pa", 450000, 500000, None, {}),
    ("ceiling_pa", 450000, 900000, None, CROCHET),
    ("ceiling_pa", 30000, 500000, None, {"target_pa": 30000, "seat_pause_pa": 30000}),
    ("target_pa", 20000, 480000, "PROFILE_TARGET", {}),
    ("seat_pause_pa", 20000, 275000, "PROFILE_SEAT_PAUSE", {}),
    ("seat_pause_pa", 20000, 150000, "PROFILE_SEAT_PAUSE", {"ceiling_pa": 150000, "target_pa": 150000}),
    ("ambient_min_pa", 30000, 110000, "PROFILE_AMBIENT", {}),
    ("temp_max_ck", 23315, 39315, "PROFILE_TEMPERATURE", {}),
    ("ref_temp_ck", 23315, 33315, "PROFILE_TEMPERATURE", {}),
    ("time_budget_s", 10, 1800, "PROFILE_TIME_BUDGET", {}),
]  # fmt: skip


@pytest.mark.parametrize(("field", "low", "high", "word", "others"), EDGES)
def test_five_steps_round_each_bound(
    field: str, low: int, high: int, word: str | None, others: dict[str, Any]
) -> None:
    top = 2 ** (8 * layout.field_bytes({r[0]: r[1] for r in layout.PROFILE}[field])) - 1
    for edge in (low, high):
        for value in range(edge - 5, edge + 6):
            if not 0 <= value <= top or field == "rim_width_dmm" and value == 0:
                continue
            changes = {**others, field: value}
            if changes.get("volume_ml") is ...:
                changes["volume_ml"] = value
            code = check(**changes)
            assert (code == replies.OK) == (low <= value <= high), (
                field,
                value,
                replies.row_of(code)[1],
            )
            if word and code:
                assert code == getattr(replies, word)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"ceiling_pa": 500001}, "PROFILE_CEILING_ABOVE_LIMIT"),
        ({**CROCHET, "ceiling_pa": 900001}, "PROFILE_CEILING_ABOVE_RIG"),
        ({"rim_class": 0, "limit_pa": 500001}, "PROFILE_STRAIGHT_SIDE"),
        ({"rim_class": 1, "limit_pa": 500001}, "PROFILE_STRAIGHT_SIDE"),
        ({"rim_class": 2, "limit_pa": 500001}, "PROFILE_STRAIGHT_SIDE"),
        ({"ceiling_pa": 29999}, "PROFILE_CEILING_LOW"),
        ({"wheel_id": bytes(8)}, "PROFILE_WHEEL_ID"),
        ({"rim_width_dmm": 79}, "PROFILE_SIZE_RANGE"),
        ({"flags": 4}, "PROFILE_BENCH"),
    ],
)
def test_refusals_by_name(changes: dict[str, Any], word: str) -> None:
    assert check(**changes) == getattr(replies, word)


def test_hooked_rims_may_have_more_than_500_kpa() -> None:
    for rim_class in (codes.RIM_HB, codes.RIM_C, codes.RIM_TC):
        assert check(**{**CROCHET, "rim_class": rim_class}) == replies.OK
        assert not profile.is_straight_side(rim_class)
    assert all(profile.is_straight_side(rim_class) for rim_class in (0, 1, 2, 6, 255))


def test_rim_width_may_be_unknown() -> None:
    assert check(rim_width_dmm=0) == replies.OK


def test_every_unknown_flag_is_refused() -> None:
    for bit in range(5, 16):
        assert check(flags=1 << bit) == replies.PROFILE_FLAGS


def test_a_label_fills_one_line_of_the_display() -> None:
    assert (
        check(label=b"1234567890123456")
        == check(label="ü".encode() * 12)
        == check(label="é".encode() * 8 + b"12345678")
        == replies.OK
    )
    assert check(label=b"12345678901234567") == replies.PROFILE_LABEL, "17 letters"
    assert check(label=b"Wren" + bytes(2) + b"x") == replies.PROFILE_LABEL, (
        "padded with zeros at the end only"
    )


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Wren 2", "Wren 2"),
        ("Möwe, Élan", "Mowe, Elan"),
        ("ßÿ×÷", "syx/"),
        ("軸 a", "? a"),
        ("a\u0100\u2019", "a??"),
        ("~ ", "~ "),
    ],
)
def test_what_the_display_shows_of_a_text(text: str, shown: str) -> None:
    assert profile.display_text(text) == shown


def test_bench_profiles_are_for_a_bench_only() -> None:
    bench = {
        **CROCHET,
        "flags": codes.FLAG_BENCH,
        "ceiling_pa": 1500000,
        "limit_pa": 500000,
        "rim_class": 2,
    }
    assert check(**bench) == replies.PROFILE_BENCH
    assert check(bench=True, **bench) == replies.OK
    assert (
        check(bench=True, **{**bench, "ceiling_pa": 1500001}) == replies.PROFILE_CEILING_ABOVE_RIG
    )
    assert check(bench=True) == replies.PROFILE_NOT_BENCH


def test_every_bit_error_is_seen() -> None:
    sound = layout.seal_profile(GOOD)
    for bit in range(8 * profile.TAG_AT):
        broken = bytearray(sound)
        broken[bit // 8] ^= 1 << bit % 8
        assert profile.check_profile(broken) != replies.OK


def test_every_length_but_one_is_refused() -> None:
    sound = layout.seal_profile(GOOD)
    for length in range(len(sound)):
        assert (
            profile.check_profile(sound[:length]) == replies.PROFILE_SIZE
            or length >= 3
            and length < 4
        )
    assert profile.check_profile(sound + b"\0") == replies.PROFILE_SIZE


def with_crc(data: bytes) -> bytes:
    return (
        data[: profile.CRC_AT]
        + crc32(data[: profile.CRC_AT]).to_bytes(4, "little")
        + data[profile.TAG_AT :]
    )


@given(st.binary(max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_bytes_give_a_code(data: bytes) -> None:
    assert profile.check_profile(data) in {row[0] for row in replies.REPLIES}
    assert (
        profile.check_profile(memoryview(data))
        == profile.check_profile(bytearray(data))
        == profile.check_profile(data)
    )


def test_mutated_profiles_with_a_fitting_check_code() -> None:
    draw = random.Random(112)
    known = {row[0] for row in replies.REPLIES}
    accepted = 0
    for _ in range(8000):
        data = bytearray(layout.seal_profile(GOOD if draw.random() < 0.5 else CROCHET))
        for _ in range(draw.randrange(1, 4)):
            data[draw.randrange(len(data))] = draw.randrange(256)
        data = bytearray(with_crc(bytes(data)))
        code = profile.check_profile(data)
        assert code in known
        if code == replies.OK:
            accepted += 1
            fields = records.unpack_profile(bytes(data))
            assert (
                0 < fields["target_pa"] <= fields["ceiling_pa"] <= min(fields["limit_pa"], 900000)
            )
            assert fields["rim_class"] > 2 or fields["ceiling_pa"] <= 500000
            assert 0 < fields["seat_pause_pa"] <= min(275000, fields["ceiling_pa"])
    assert 0 < accepted < 8000


@given(st.binary(max_size=24))
@settings(max_examples=400, deadline=None)
def test_utf8_agrees_with_cpython(data: bytes) -> None:
    try:
        data.decode()
        good = True
    except UnicodeDecodeError:
        good = False
    assert utf8_ok(b"xx" + data + b"\x80", 2, 2 + len(data)) == good


def test_utf8_agrees_with_cpython_on_every_short_lead() -> None:
    for lead in range(0xC0, 0x100):
        for second in range(0x70, 0xD0):
            for tail in (b"", b"\x80", b"\x80\x80", b"\xbf\xc0", b"\x7f"):
                data = bytes((lead, second)) + tail
                assert utf8_ok(data, 0, len(data)) == (
                    data.decode("utf-8", "ignore").encode() == data
                ), data


@pytest.mark.parametrize("label", [b"", b"\0x", b"a\nb", b"a\x7fb", b"\xff", b"\xc3", b"ok\0ok"])
def test_bad_labels(label: bytes) -> None:
    assert check(label=label) == replies.PROFILE_LABEL


@pytest.mark.parametrize("label", [b"x", "ü".encode() * 12, b"1234567890123456", "軸".encode() * 6])
def test_good_labels(label: bytes) -> None:
    assert check(label=label) == replies.OK


def test_tags() -> None:
    key, other = bytes(range(32)), bytes(32)
    untagged = layout.seal_profile(GOOD)
    tagged = profile.tag_profile(key, untagged)
    assert profile.is_tagged(tagged) and not profile.is_tagged(untagged)
    assert profile.check_tag(key, tagged) == replies.OK
    assert profile.check_tag(other, tagged) == replies.TAG_WRONG
    assert profile.check_tag(None, tagged) == replies.NO_KEY
    assert (profile.check_tag(None, untagged), profile.check_tag(key, untagged)) == (
        replies.NO_KEY,
        replies.TAG_WRONG,
    )
    high = layout.seal_profile({**CROCHET, "ceiling_pa": 500001})
    assert (profile.check_tag(None, high), profile.check_tag(key, high)) == (
        replies.NO_KEY,
        replies.TAG_WRONG,
    )
    assert profile.check_tag(key, profile.tag_profile(key, high)) == replies.OK
    for place in range(len(tagged)):
        broken = bytearray(tagged)
        broken[place] ^= 128
        assert profile.check_tag(key, broken) == replies.TAG_WRONG


def test_host_refuses_in_words() -> None:
    with pytest.raises(Refusal, match="above the limit.*profile-ceiling-above-limit"):
        records.pack_profile({**GOOD, "ceiling_pa": 500001})
    with pytest.raises(Refusal, match="label takes 25 bytes"):
        records.pack_profile({**GOOD, "label": "x" * 25})
    with pytest.raises(Refusal, match="cannot be written"):
        records.pack_profile({**GOOD, "revision": -1})
    with pytest.raises(Refusal, match="profile-size"):
        records.unpack_profile(b"RWP\2")
    assert records.pack_profile({**GOOD, "label": "Heron rear"}) == layout.seal_profile(GOOD)
