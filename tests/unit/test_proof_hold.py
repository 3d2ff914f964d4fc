"""The hold at 110 % plus the gauge's U, on the bench and on the page, and the whole of a longer test in the bench's own record."""

import struct

import numpy as np
import pytest
from rimward.device.calibration.run import GUARD_SETTING
from rimward.device.link import verbs
from rimward.proof import bench, fromsession, reading, record, retention, run
from rimward.sessions import read_session
from rimward.simulation.virtual.setup import confirm
from rimward.web import bench_page

from tests.unit import benchdesk
from tests.unit.benchdesk import RING, desk, shortened, test_of


@pytest.fixture
def short(monkeypatch):
    shortened(monkeypatch)


@pytest.mark.parametrize("guard_pa, hold_pa", [(16_000, 566_000), (24_000, 574_000)])
def test_a_sound_specimen_passes_because_the_hold_is_raised_by_the_gauges_u(
    short, tmp_path, monkeypatch, guard_pa, hold_pa
):
    """The bench holds 110 % plus the band in force there; the reading less U then still reaches 110 %. Seconds count as the five minutes."""
    for module in (fromsession, retention):
        monkeypatch.setattr(module, "HOLD_S", 2.5)
    levels = []

    def tell(kind, facts):
        hands.tell(kind, facts)
        if kind == "level" and facts["state"] == "leak-watch":
            levels.append(facts["level_pa"])

    with desk(test_of()) as (inflator, client, hands):
        verbs.put_setting(
            client, GUARD_SETTING, struct.pack("<iI", guard_pa, 0), lambda _text: confirm(inflator)
        )
        found = run.run(client, test_of(), RING, tmp_path, tell)
    assert levels[-1] == hold_pa and (found["retention"], found["retention_held"]) == ("held", True)
    (sample,) = reading.read_file(tmp_path / "proof-bench001-1.rws")
    assert (
        sample.known["gauge_u_bar"] == guard_pa / 1e5
        and sample.known["hold_bar"] - guard_pa / 1e5 >= 5.5
    )


def test_levels_follow_the_gauge_of_the_bench_that_is_connected():
    """As the firmware goes through them: the hold with the band in force there on top, steps only above it."""
    assert [pa for _name, pa, _s in bench.Test(500_000, 620_000).levels()] == [
        250_000,
        500_000,
        566_000,
        591_000,
        616_000,
        620_000,
    ]
    wider = bench.Test(500_000, 570_000, gauge_pa=24_000)
    assert [pa for _name, pa, _s in wider.levels()] == [
        250_000,
        500_000,
        574_000,
    ] and wider.last_pa == 574_000
    form = {
        "label": "Tern 23",
        "rim": "622x23TSS",
        "rim_max": "5 bar",
        "tyre": "30-622",
        "tyre_max": "6 bar",
        "ends": "retention",
    }
    test, made = bench_page._asked(form, 24_000)
    assert test.hold_pa == made["hold_pa"] == 574_000 and made["retention_pa"] == 550_000


def test_what_the_bench_itself_holds_covers_a_test_of_more_than_a_minute(
    short, tmp_path, monkeypatch
):
    """At the trace's rate from arming to the end, fetched afterwards: it alone is a sample. Unpacked the memory held 40 s."""
    monkeypatch.setitem(benchdesk.SHORT, "RETENTION_S = 302", "RETENTION_S = 55")
    found = run.run_virtual(test_of(), tmp_path, lambda *_: None)
    own = read_session(tmp_path / "proof-bench001-1-bench.rws")
    ticks = own.trace["tick"]
    assert np.all(np.diff(ticks) == record.STEP) and (ticks[-1] - ticks[0]) * 0.002 > 65
    joined = read_session(tmp_path / "proof-bench001-1.rws")
    assert np.array_equal(own.trace, joined.trace)
    assert fromsession.sample_of(own, "own").release_bar == found["highest_bar"]
    assert found["compared"]["samples"] > 3_200 and (
        found["compared"]["differing"],
        found["compared"]["missed_live"],
    ) == (0, 0)
