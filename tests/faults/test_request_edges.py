"""Edges of what a person is asked at the inflator: a request's times and fields, the built-in wheel's values one by one, what is entered."""

from types import SimpleNamespace
from typing import Any

import pytest
from rimward_fw.control import builtin, unregistered
from rimward_fw.control.consent import Consent
from rimward_fw.ui import buttons
from rimward_protocol import codes, layout, replies


class App:
    """As much of the application as a request needs."""

    def __init__(self) -> None:
        self.now = 5_000
        self.is_armed = False
        self.notes: list[tuple[int, ...]] = []
        self.board = SimpleNamespace(ticks_ms=lambda: self.now)
        self.cycle = SimpleNamespace(armed=lambda: self.is_armed)

    def note(self, *what: int) -> None:
        self.notes.append(what)


NOTHING = (codes.WAIT_NOTHING, "", 0, bytes(8))


def fields(one: Consent) -> tuple[Any, ...]:
    return one.what, one.text, one.value, one.wheel


@pytest.fixture
def app() -> App:
    return App()


@pytest.fixture
def asked(app: App) -> Consent:
    one = Consent(app)
    assert fields(one) == NOTHING
    app.did = []
    code = one.ask(codes.WAIT_ENROL, "take", lambda: app.did.append(fields(one)), 7, b"wheel-01")
    assert code == replies.WAITING_FOR_PERSON
    assert fields(one) == (codes.WAIT_ENROL, "take", 7, b"wheel-01")
    return one


def test_a_press_counts_from_150_ms_on(app: App, asked: Consent) -> None:
    app.now += 149
    asked.pressed(buttons.WORKSHOP)
    asked.pressed(buttons.DOWN)
    assert asked.what == codes.WAIT_ENROL and app.notes == [] == app.did
    app.now += 1
    asked.pressed(buttons.ENTER | buttons.UP)
    assert asked.what == codes.WAIT_ENROL and app.notes == []
    asked.pressed(buttons.WORKSHOP)
    assert app.did == [NOTHING], "the request is over before it is carried out"
    assert app.notes == [(25, 0, codes.WAIT_ENROL, 1)] and fields(asked) == NOTHING


def test_down_declines(app: App, asked: Consent) -> None:
    app.now += 150
    asked.pressed(buttons.DOWN)
    assert app.notes == [(25, 0, codes.WAIT_ENROL, 0)] and fields(asked) == NOTHING
    assert app.did == [] and asked._act is None


def test_a_request_ends_after_a_minute(app: App, asked: Consent) -> None:
    app.now += 60_000
    asked.work()
    assert asked.what == codes.WAIT_ENROL
    app.now += 1
    asked.work()
    assert app.notes == [(25, 0, codes.WAIT_ENROL, 0)] and fields(asked) == NOTHING
    app.now += 100_000
    asked.work()
    assert len(app.notes) == 1 and app.did == []


def test_the_clock_may_pass_its_end(app: App) -> None:
    """It counts to 2^30."""
    app.now = 2**30 - 100
    one = Consent(app)
    one.ask(codes.WAIT_ENROL, "take", lambda: None)
    assert fields(one)[2:] == (0, bytes(8))
    app.now = 49
    one.pressed(buttons.DOWN)
    assert one.what == codes.WAIT_ENROL
    app.now = 50
    one.work()
    assert one.what == codes.WAIT_ENROL
    app.now = 59_901
    one.work()
    assert one.what == codes.WAIT_NOTHING


def test_one_request_at_a_time_and_none_in_a_fill(app: App, asked: Consent) -> None:
    again = (codes.WAIT_DELETE, "delete", lambda: None)
    assert asked.ask(*again) == replies.PERSON_BUSY
    app.is_armed = True
    assert asked.ask(*again) == replies.BUSY_FILLING
    assert fields(asked) == (codes.WAIT_ENROL, "take", 7, b"wheel-01")


# the unregistered wheel as the manual has it: 28-622 on an unknown rim, volumes in mL, pressures in Pa, temperatures in 0.01 K
BUILT_IN = {
    "revision": 1, "issue": 1, "wheel_id": b"builtin0", "label": b"unregistered", "rim_class": 0, "position": 0, "chuck": 1, "limit_source": 6,
    "tyre_width_dmm": 280, "bead_seat_mm": 622, "rim_width_dmm": 0, "flags": 0, "volume_low_ml": 800, "volume_ml": 1250, "limit_pa": 500_000,
    "ceiling_pa": 420_000, "target_pa": 0, "seat_pause_pa": 200_000, "ambient_min_pa": 75_000, "temp_max_ck": 31_815, "ref_temp_ck": 29_315,
    "time_budget_s": 180, "made_days": 0,
}  # fmt: skip


def test_the_unregistered_wheel_value_by_value() -> None:
    assert builtin.BUILT_IN == BUILT_IN
    assert (builtin.STEP_UP_PA, builtin.STEP_DOWN_PA) == (50_000, 10_000)
    assert (builtin.PRINTED_MIN_PA, builtin.PRINTED_MAX_PA) == (100_000, 1_000_000)
    assert unregistered.TARGET_LEAST_PA == 30_000


@pytest.mark.parametrize(
    ("printed_pa", "limit_pa", "ceiling_pa", "seat_pa"),
    [
        (100_000, 100_000, 100_000, 100_000),
        (199_999, 199_999, 199_000, 199_000),
        (200_000, 200_000, 200_000, 200_000),
        (419_999, 419_999, 419_000, 200_000),
        (420_999, 420_999, 420_000, 200_000),
        (499_999, 499_999, 420_000, 200_000),
        (500_001, 500_000, 420_000, 200_000),
        (1_000_000, 500_000, 420_000, 200_000),
    ],
)
def test_limits_of_what_is_printed(
    printed_pa: int, limit_pa: int, ceiling_pa: int, seat_pa: int
) -> None:
    changed = {"limit_pa": limit_pa, "ceiling_pa": ceiling_pa, "seat_pause_pa": seat_pa}
    assert builtin.values_of(printed_pa) == BUILT_IN | changed
    assert builtin.values_of(printed_pa, 90_000) == BUILT_IN | changed | {"target_pa": 90_000}


@pytest.mark.parametrize(
    ("air_ck", "ref_ck"),
    [(23_314, 23_315), (23_315, 23_315), (23_316, 23_316), (33_314, 33_314), (33_316, 33_315)],
)
def test_the_target_is_for_the_present_air(air_ck: int, ref_ck: int) -> None:
    """-40 to 60 °C."""
    assert builtin.values_of(400_000, 0, air_ck)["ref_temp_ck"] == ref_ck
    held = layout.unpack(layout.PROFILE, builtin.profile(400_000, 250_000, air_ck))
    assert (held["ref_temp_ck"], held["target_pa"], held["limit_pa"]) == (ref_ck, 250_000, 400_000)
    assert layout.unpack(layout.PROFILE, builtin.profile(400_000, 1))["ref_temp_ck"] == 29_315


@pytest.mark.parametrize(
    ("value", "up", "wanted"),
    [
        (0, 1, 100_000), (100_000, 1, 150_000), (990_000, 1, 990_000), (950_000, 1, 990_000), (930_000, 1, 980_000),
        (0, 0, 100_000), (100_000, 0, 100_000), (110_000, 0, 100_000), (120_000, 0, 110_000),
    ],
)  # fmt: skip
def test_steps_of_an_entry(value: int, up: int, wanted: int) -> None:
    """UP adds half a bar, DOWN takes a tenth; between 1 bar and the last whole tenth under 9.99 bar."""
    assert builtin.entered(value, up, 100_000, 999_999) == wanted


def entry(highest_pa: int = 400_000) -> unregistered.Entry:
    one = unregistered.Entry(SimpleNamespace(air_ck=lambda: 29_000))
    assert (one.step, one.printed_pa, one.target_pa, one.value()) == (0, 0, 0, 0)
    one.highest_pa = lambda: highest_pa
    one.begin()
    return one


def test_an_unregistered_wheel_is_asked_about_in_three_steps() -> None:
    one = entry()
    assert (one.step, one.value()) == (codes.WAIT_PRINTED_MAXIMUM, 0)
    assert one.pressed(buttons.ENTER) == 0 and one.step == codes.WAIT_PRINTED_MAXIMUM
    assert one.pressed(buttons.UP) == 0 == one.pressed(buttons.UP) and one.value() == 150_000
    assert one.pressed(buttons.DOWN | buttons.ENTER) == 0 and one.value() == 140_000
    assert one.step == codes.WAIT_PRINTED_MAXIMUM
    assert one.pressed(buttons.ENTER) == 0
    assert (one.step, one.value()) == (codes.WAIT_APPROVAL, 0)
    assert one.pressed(buttons.UP) == 0 and one.step == codes.WAIT_APPROVAL
    assert one.pressed(buttons.ENTER) == 0
    assert (one.step, one.value()) == (codes.WAIT_TARGET, 0)
    assert one.pressed(buttons.ENTER) == 0 and one.pressed(buttons.DOWN) == 0
    assert one.value() == 30_000
    assert one.pressed(buttons.UP) == 0 and one.value() == 80_000
    assert one.pressed(buttons.ENTER) == 1
    held = layout.unpack(layout.PROFILE, one.profile())
    assert (held["limit_pa"], held["target_pa"], held["ref_temp_ck"]) == (140_000, 80_000, 29_000)
    one.begin()
    assert (one.step, one.printed_pa, one.target_pa) == (codes.WAIT_PRINTED_MAXIMUM, 0, 0)


def test_no_approval_ends_the_entry_and_a_target_stops_at_the_highest() -> None:
    one = entry(95_000)
    one.pressed(buttons.UP)
    one.pressed(buttons.ENTER)
    assert one.pressed(buttons.DOWN) == -1
    one.step = codes.WAIT_TARGET
    for _ in range(4):
        one.pressed(buttons.UP)
    assert one.value() == 90_000


def test_the_highest_target_is_that_of_the_air_here(monkeypatch: pytest.MonkeyPatch) -> None:
    app = SimpleNamespace(
        ambient_pa=lambda: 95_000, air_ck=lambda: 28_000, guard_pa=lambda: 9_000, hardware="rig"
    )
    one = unregistered.Entry(app)
    one.printed_pa = 300_000
    monkeypatch.setattr(unregistered.fill_modes, "highest_target_pa", lambda *given: given)
    here = {"ambient_pa": 95_000, "t0_ck": 28_000, "guard_pa": 9_000}
    assert one.highest_pa() == (builtin.values_of(300_000), "rig", here)


@pytest.mark.parametrize("held", [b"", b"\1", b"\0"])
def test_the_owner_may_switch_the_entry_off(held: bytes) -> None:
    app = SimpleNamespace(store=SimpleNamespace(setting_get=lambda number: (held, number)))
    one = unregistered.Entry(app)
    given: list[Any] = []
    cycle = SimpleNamespace(choose=lambda *what: given.append(what) or 77)
    if held == b"\0":
        assert one.choose(cycle) == replies.ENTRY_OFF and given == [] and one.step == 0
    else:
        assert one.choose(cycle) == 77 and one.step == codes.WAIT_PRINTED_MAXIMUM
        (wheel, profile, confirmed) = given[0]
        values = layout.unpack(layout.PROFILE, profile)
        assert (wheel, confirmed) == (bytes(8), False)
        assert (values["limit_pa"], values["target_pa"]) == (100_000, 30_000)
