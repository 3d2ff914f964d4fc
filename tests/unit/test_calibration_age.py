"""A calibration that is overdue widens the guard band, later locks the pump, and is not forgotten with the power."""

import contextlib
import lzma
import struct
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from rimward.cli.main import cli
from rimward.device.link import Client, LockstepTransport, ports, verbs
from rimward.sessions import facts, read_session
from rimward.sessions.report.build import Report
from rimward.sessions.report.html import session_html
from rimward.simulation.person import Person
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator
from rimward.simulation.virtual.setup import confirm
from rimward_protocol import codes

DAY_S = 86_400
SESSIONS = Path(__file__).parents[1] / "sessions" / "records"
CALIBRATED = 2_000  # days from 2020-01-01
GUARD_PA = 12_000
GUARD_BAND = 3


def at_day(day):
    return codes.EPOCH_DAY_UNIX_S + day * DAY_S + 3_600


def tell(client, day):
    client.request(codes.TIME, unix_s=at_day(day), zone_min=0)


def calibrate(inflator, client, day):
    verbs.put_setting(
        client, GUARD_BAND, struct.pack("<iI", GUARD_PA, day), lambda _text: confirm(inflator)
    )


@pytest.fixture
def bench():
    with VirtualInflator(compressor(pin_open=True), compiled=False) as inflator:
        client = Client(LockstepTransport(inflator))
        calibrate(inflator, client, CALIBRATED)
        yield inflator, client


def chosen(inflator):
    """Message after the unregistered wheel was selected and its questions were answered."""
    person = Person(inflator)
    person.choose(bytes(8))
    return person.status()


@pytest.mark.parametrize(
    "age,guard_pa",
    [(0, GUARD_PA), (365, GUARD_PA), (366, GUARD_PA * 3 // 2), (730, GUARD_PA * 3 // 2)],
)
def test_after_a_year_it_stops_half_as_far_again_below_the_ceiling(bench, age, guard_pa):
    inflator, client = bench
    tell(client, CALIBRATED + age)
    client.close()
    status = chosen(inflator)
    assert status["guard_pa"] == guard_pa and status["ceiling_pa"] - status["stop_pa"] == guard_pa


def test_after_two_years_the_pump_is_locked_and_says_why(bench):
    inflator, client = bench
    tell(client, CALIBRATED + 731)
    client.close()
    status = chosen(inflator)
    assert status["ceiling_pa"] == 0 and status["stop_cause"] == "instrument-overdue"
    inflator.hands.run = True
    inflator.advance(1.0)
    assert (
        not inflator.out & codes.OUT_GATE
        and Person(inflator).status()["stop_cause"] == "instrument-overdue"
    )


def test_a_power_cut_does_not_make_the_calibration_young_again(bench):
    inflator, client = bench
    tell(client, CALIBRATED + 731)
    inflator.power_cycle()
    inflator.advance(1.0)
    with Client(LockstepTransport(inflator)) as later:
        assert not later.about["flags"] & verbs.CLOCK_SET  # the time was not set since
    assert chosen(inflator)["stop_cause"] == "instrument-overdue"


def test_an_earlier_date_does_not_unlock_and_a_new_calibration_does(bench):
    inflator, client = bench
    tell(client, CALIBRATED + 5_000)  # or a host whose clock was wrong
    tell(client, CALIBRATED + 10)
    assert verbs.status(client)["guard_pa"] == GUARD_PA * 3 // 2
    calibrate(inflator, client, CALIBRATED + 10)
    assert verbs.status(client)["guard_pa"] == GUARD_PA
    inflator.power_cycle()
    inflator.advance(1.0)
    assert verbs.status(Client(LockstepTransport(inflator)))["guard_pa"] == GUARD_PA


def test_an_inflator_that_has_lost_the_time_is_told_it(bench):
    _, client = bench
    assert not client.about["flags"] & verbs.CLOCK_SET
    verbs.tell_time(client)
    assert abs(client.request(codes.TIME, unix_s=0, zone_min=0)["unix_s"] - time.time()) < 60


@pytest.mark.parametrize(
    ("age", "words"),
    [
        (None, "never: the band is its class"),
        (0, "due 2027-06-23"),
        (365, "due 2027-06-23"),
        (366, "OVERDUE: wider band, locks 2028-06-22"),
        (730, "OVERDUE: wider band, locks 2028-06-22"),
        (731, "LOCKED: no fill until it is calibrated"),
    ],
)
def test_the_display_shows_before_a_fill_how_old_the_calibration_is(age, words):
    """On the turns of `ready` and on the service page; the host says the same of the same days."""
    from rimward.base import instrument
    from rimward_fw.ui import display_facts, screens

    day = 0 if age is None else CALIBRATED + 365

    class App:
        def calibrated_day(self):
            return day

        def calibration_age_days(self):
            return age or 0

        def guard_pa(self):
            return GUARD_PA

    assert display_facts.calibration_facts(App())["due"] == words
    for screen in ("ready", "service"):
        assert "{due}" in screens.SCREENS[screen] and "{guard_bar}" in screens.SCREENS[screen]
    shown = instrument.instrument_of(struct.pack("<iI", GUARD_PA, day), at_day(day + (age or 0)))
    state = {"n": "never-calibrated", "d": "current", "O": "overdue", "L": "locked"}[words[0]]
    assert shown.state == ("due-soon" if age == 365 else state) and shown.may_fill is (
        state != "locked"
    )


def test_a_locked_inflator_says_on_its_display_that_it_must_be_calibrated(bench):
    from rimward_fw.ui import reason_facts
    from rimward_protocol import causes, replies

    class App:
        refusal = replies.SETTING_LOCKED

    assert (
        reason_facts.reason_facts(App(), "refused")["step"]
        == causes.row_of(causes.INSTRUMENT_OVERDUE)[3]
    )
    _, client = bench
    tell(client, CALIBRATED + 731)
    row = verbs.instrument(client).row(verbs.status(client)["guard_pa"])
    assert (
        row["calibrated"] == "2025-06-23"
        and row["due"] == "2026-06-23"
        and row["guard_pa"] == GUARD_PA * 3 // 2
    )


SHOWN = [
    (10, "10 days ago; due 2026-06-23", "0.12 bar"),
    (340, "DUE SOON, 2026-06-23", "0.12 bar"),
    (
        366,
        "OVERDUE since 2026-06-23: the guard band is 50 % wider, and from 2027-06-23 on no fill",
        "0.18 bar",
    ),
    (731, "LOCKED since 2027-06-23: calibrate it before the next fill", "0.18 bar"),
]


def test_the_list_of_inflators_shows_age_due_day_and_band_in_force(bench, monkeypatch):
    _inflator, client = bench
    monkeypatch.setattr(ports, "candidates", lambda: ["here"])
    monkeypatch.setattr(ports, "open_client", lambda *_a, **_k: contextlib.nullcontext(client))
    for age, words, band in SHOWN:
        tell(client, CALIBRATED + age)
        now = at_day(CALIBRATED + age)
        monkeypatch.setattr(
            "rimward.base.instrument.time",
            SimpleNamespace(time=lambda now=now: now, strftime=time.strftime, gmtime=time.gmtime),
        )
        done = CliRunner().invoke(cli, ["inflators"])
        assert done.exit_code == 0, done.output
        said = " ".join(done.stdout.split())
        assert words in said and f"Guard band {band}" in said, said


def test_the_report_of_a_fill_shows_age_due_day_and_band():
    """Counted to the day of the fill, whenever the report is made; the band in force is that of the limits."""
    data = lzma.decompress((SESSIONS / "a_drift.rws.xz").read_bytes())
    log = read_session(data)
    log.meta["guard-band"] = struct.pack("<iI", GUARD_PA, CALIBRATED)
    for age, words, _band in SHOWN[2:]:
        log.header["unix_s"] = at_day(CALIBRATED + age)
        text = session_html(Report(facts.facts(log, check=False), log, data, "", ""))
        assert words in text and "guard band" in text
