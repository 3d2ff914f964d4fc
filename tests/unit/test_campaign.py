"""Campaigns: drawn within their bounds, the same on any number of cores, kept over an interrupt, and their worst sessions replay alone."""

import json
import signal

import numpy as np
import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.sessions import read_session, replay
from rimward.simulation import coupling, engines, faulted
from rimward.simulation.campaign import effects, fills, people
from rimward.simulation.campaign import run as run_module
from rimward.simulation.campaign.draw import CLASS_PA, choices, draw
from rimward.simulation.campaign.feasible import (
    FEASIBLE,
    FILLABLE,
    NO_ROOM,
    REASONS,
    TIGHT,
    reason,
    smallest_burst_kg,
)
from rimward.simulation.campaign.firstgo import first_go
from rimward.simulation.campaign.keep import keep
from rimward.simulation.campaign.play import RECORD, play, taken
from rimward.simulation.campaign.run import plan_of, run
from rimward.simulation.campaign.store import Plan, Results, fingerprint
from rimward.simulation.campaign.summary import summary
from rimward.simulation.loop import plant_of
from rimward.simulation.plant import layout
from rimward.simulation.plant.faults import FAULTS

ALL = choices(("all",))


def quiet(*_):
    pass


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A finished campaign of 24 sessions by one process."""
    plan = Plan(24, 7, ("all",), chunk=5, code=fingerprint())
    return run(plan, tmp_path_factory.mktemp("campaign") / "results.bin", quiet, workers=1)


def test_same_number_same_draw_whatever_was_drawn_before():
    first = [draw(3, n, ALL) for n in (5, 900_000, 5)]
    assert first[0] == first[2] != first[1]
    assert draw(4, 5, ALL) != first[0]


def test_draws_reach_all_faults_wheels_and_persons():
    drawn = [draw(1, n, ALL) for n in range(3000)]
    assert {d.fault for d in drawn} == {"", *FAULTS}
    assert len({d.job.tyre_mm for d in drawn}) >= 10 and {d.person for d in drawn} == set(
        people.NAMES
    )
    assert {d.job.kind for d in drawn} == {0, 1} and {d.job.pin_open for d in drawn} == {
        False,
        True,
    }


def test_every_effect_is_drawn_over_its_whole_range():
    places = np.array([np.frombuffer(draw(1, n, ()).places, np.uint8) for n in range(3000)])
    assert places.shape[1] == len(effects.EFFECTS)
    assert (places.min(0) <= 2).all() and (places.max(0) >= 253).all()
    for row, effect in zip(effects.quantiles(places), effects.EFFECTS, strict=True):
        low, _, half, _, high = row["drawn"]
        assert (
            high <= effect.high
            and low <= half < high
            and (low >= effect.low or low == 0.0 < effect.none)
        )


def test_transducer_errors_stay_within_their_class_over_the_whole_scale():
    worst = 0.0
    for n in range(2000):
        plant = plant_of(draw(1, n, ()).job)
        for side in "ab":
            offset = getattr(plant, f"{side}_offset_pa") + getattr(
                plant, f"{side}_thermal_pa_k"
            ) * (plant.room_k - plant.calibrated_at_k)
            span = getattr(plant, f"{side}_span_error")
            for true in (0.0, 300e3, 1000e3):
                worst = max(worst, abs((1.0 + span) * (true + offset) - true))
    assert 0.98 * CLASS_PA < worst <= CLASS_PA + 1.0


def test_plain_python_and_compiled_sessions_are_the_same_in_every_word():
    for number in (2, 11):
        ends = []
        for session in (faulted.session, engines.compiled()["session"]):
            _, words, _ = taken(draw(1, number, ALL))
            session(*words, 0, 3000)
            ends.append(words)
        for name in ("g", "x", "f", "y", "s", "w", "h", "r"):
            assert np.array_equal(getattr(ends[0], name), getattr(ends[1], name)), name


def test_a_session_cut_in_pieces_is_the_same_session():
    session = engines.compiled()["session"]
    _, whole, _ = taken(draw(1, 3, ALL))
    last = session(*whole, 0, 60_000)
    _, parts, _ = taken(draw(1, 3, ALL))
    for first in range(0, last + 1, 997):
        session(*parts, first, min(997, last + 1 - first))
    assert np.array_equal(whole.r, parts.r) and np.array_equal(whole.s, parts.s)


def test_two_processes_give_the_same_bytes(small, tmp_path):
    again = run(small.plan, tmp_path / "two.bin", quiet, workers=2)
    assert again.rows().tobytes() == small.rows().tobytes()


def test_a_dask_cluster_gives_the_same_bytes(small, tmp_path):
    from distributed import LocalCluster

    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        again = run(small.plan, tmp_path / "dask.bin", quiet, scheduler=cluster.scheduler_address)
    assert again.rows().tobytes() == small.rows().tobytes()


def test_no_scheduler_is_told_in_one_line(small, tmp_path, monkeypatch):
    import distributed

    plain = distributed.Client
    monkeypatch.setattr(
        distributed, "Client", lambda address, timeout: plain(address, timeout=min(timeout, 1))
    )
    with pytest.raises(Refusal, match="No scheduler answers"):
        run(small.plan, tmp_path / "none.bin", quiet, scheduler="tcp://127.0.0.1:9")


def test_interrupted_and_torn_campaign_goes_on(small, tmp_path):
    path = tmp_path / "results.bin"

    def interrupt(done, *_):
        if done >= 10:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(small.plan, path, interrupt, workers=1)
    kept = Results(path, small.plan)
    assert 10 <= len(kept.rows()) < 24
    path.write_bytes(path.read_bytes()[:-7])  # and the machine died while it wrote
    assert len(Results(path, small.plan).rows()) < len(kept.rows())
    assert run(small.plan, path, quiet, workers=1).rows().tobytes() == small.rows().tobytes()


def test_results_of_another_campaign_are_refused(small):
    with pytest.raises(Refusal, match="another campaign"):
        Results(small.path, Plan(25, 7, ("all",), chunk=5, code=small.plan.code))


def test_an_unknown_fault_is_refused():
    with pytest.raises(Refusal, match="Unknown fault"):
        plan_of(10, 1, ("tyre_on_fire",))


@pytest.mark.parametrize("fault", ["", "reset_mid_fill", "timer_skipped", "a_noisy"])
def test_kept_session_replays_alone_to_the_same_decisions(fault, tmp_path):
    names = (fault,) if fault else ()
    d = next(
        d
        for d in (draw(2, n, names) for n in range(50))
        if play(d, engines.compiled()["session"])[0]["refused"] == 0
    )
    ticks = keep(d, tmp_path / "one.rws")
    log = read_session(tmp_path / "one.rws")
    result = replay(log)
    assert not log.damage and result.identical, [row.line() for row in result.differences]
    assert result.ticks == ticks > 500


def test_figures_count_what_the_records_say(small):
    rows = small.rows().copy()
    figures = summary(rows, 24, 7)
    assert (
        figures["sessions"] == 24
        and figures["exceedances"] == 0
        and figures["peak_over_ceiling_max"] < 1.0
    )
    d = np.flatnonzero((rows["set_d"] == 1) & (rows["refused"] < 2))[0]
    rows[d]["exceed"], rows[d]["ratio"] = 3, 1.25
    planted = summary(rows, 24, 7)
    assert planted["exceedances"] == 1 and planted["peak_over_ceiling_max"] == pytest.approx(1.25)
    assert planted["exceeding_sessions"] == [int(rows[d]["number"])]


def test_command_reports_and_keeps_the_worst_as_sessions(tmp_path):
    out = tmp_path / "out"
    found = CliRunner().invoke(
        cli,
        [
            "campaign",
            "--sessions",
            "8",
            "--seed",
            "5",
            "--workers",
            "1",
            "--out",
            str(out),
            "--json",
        ],
    )
    assert found.exit_code == 0, found.output
    figures = json.loads(found.stdout)
    assert figures["sessions"] == 8 and figures["exceedances"] == 0
    assert len(figures["pictures"]) == 3 and all(
        (out / name).exists() for name in ("report.json", "results.bin", "final-error.png")
    )
    assert replay(read_session(out / figures["worst"][0]["file"].rsplit("/", 1)[1])).identical
    again = CliRunner().invoke(cli, ["campaign", "--sessions", "8", "--out", str(out)])
    assert again.exit_code == 1 and "Go on with it by --resume" in str(again.exception)


def test_record_holds_every_number_it_may_get():
    assert RECORD["fault"] == np.uint8 and len(FAULTS) < 255


def planted(**values):
    """One record of a healthy feasible fill by a patient person, done, with changes."""
    row = np.zeros(1, RECORD)
    row["state"], row["person"] = 13, people.NAMES.index("patient")
    for name, value in values.items():
        row[name] = value
    return row


def test_first_go_counts_what_the_records_say():
    rows = np.concatenate([
        planted(), planted(tries=1, stop=48, stop_at=900), planted(state=14, tries=1, cause=21, cause_at=700, stop=48, stop_at=900),
        planted(other=5), planted(infeasible=1), planted(fault=3), planted(person=1), planted(line=1, pin=1),
        planted(infeasible=TIGHT), planted(infeasible=TIGHT, state=14, stop=65, stop_at=900, tries=1),
    ])  # fmt: skip
    found = {(row["source"], row["chuck"]): row for row in first_go(rows)}
    mine = found["compressor", "pressure-open"]
    assert (mine["feasible"], mine["done_first"], mine["done_retry"]) == (4, 1, 3)
    assert mine["causes"] == {"wrong-volume": 1, "not-rising": 1, "question": 1}
    assert mine["excluded"] == {"begun at or over its target": 1, REASONS[TIGHT]: 2}
    assert mine["tight"] == {
        "fills": 2,
        "done_first": 1,
        "done_retry": 1,
        "causes": {"not-seen": 1},
    }
    assert found["line", "pin-open"]["feasible"] == found["line", "pin-open"]["done_first"] == 1


def test_a_fill_needs_room_in_the_hose_for_its_smallest_burst():
    """Air of one burst lifts a closed vessel by gamma R T m / V: the hose far more than the tyre."""
    d, words, plant = taken(fills.healthy_draw(3021, 10147, 1, 1))
    stop = int(words.x[coupling.X_CEILING] - words.x[coupling.X_BAND])
    energy = 1.4 * 287.0 * plant.room_k * smallest_burst_kg(plant)
    in_hose, in_tyre = energy / words.p[layout.P_VM], energy / words.s[layout.S_VT]
    assert in_hose > 2 * in_tyre

    def at(target_pa: float) -> int:
        words.ys[coupling.Y_TARGET - coupling.Y_SLOW] = int(target_pa)
        return reason(d, plant, words)

    assert at(stop - 1.01 * in_hose) == FEASIBLE
    assert at(stop - 0.99 * in_hose) == at(stop - 1.01 * in_tyre) == TIGHT
    assert at(stop - 0.99 * in_tyre) == NO_ROOM


def test_a_tyres_own_air_is_none_that_a_source_let_in():
    s, h = np.zeros(layout.S_SIZE), np.zeros(faulted.H_SIZE)

    def tick(flow: float, source: float = 0.0, act: float = 0.0) -> int:
        s[layout.S_FLOW], s[layout.S_SPEED], s[layout.S_EVENT] = flow, source, act
        return faulted.own_air(s, h)

    assert [tick(-3.0), tick(1.0), tick(2.0)] == [1, 1, 1]  # three out, three back
    assert tick(0.5) == 0  # more than it gave
    assert [tick(-3.0), tick(1.0, source=0.1), tick(1.0)] == [1, 0, 0]  # a pump ran in between
    assert [tick(-3.0), tick(1.0, act=1.0)] == [1, 0]  # another tyre, or any other act


# 301863: gas from a cartridge; 946472: over its ceiling when it was put on. In both the hose warmed and gave back what it had taken.
@pytest.mark.parametrize("number", [301863, 946472])
def test_air_given_back_is_counted_by_itself(number):
    row = play(draw(3003, number, choices(("all",)), people.NAMES), engines.compiled()["session"])[
        0
    ]
    assert row["exceed"] == 0 and row["own"] > 0


def test_the_json_report_carries_first_go_and_the_drawn_effects(tmp_path):
    out = tmp_path / "out"
    arguments = [
        "campaign",
        "--sessions",
        "12",
        "--seed",
        "5",
        "--workers",
        "1",
        "--faults",
        "none",
        "--people",
        "patient",
        "--out",
        str(out),
        "--json",
    ]
    found = CliRunner().invoke(cli, arguments)
    assert found.exit_code == 0, found.output
    figures = json.loads(found.stdout)
    assert {(row["source"], row["chuck"]) for row in figures["first_go"]} == {
        (s, c) for s in ("compressor", "line") for c in ("pin-open", "pressure-open")
    }
    counted = sum(row["feasible"] + sum(row["excluded"].values()) for row in figures["first_go"])
    assert counted + figures["refused"] == 12
    assert len(figures["effects"]) == len(effects.EFFECTS) and all(
        len(row["drawn"]) == 5 for row in figures["effects"]
    )


def test_an_unknown_person_is_refused():
    with pytest.raises(Refusal, match="Unknown person"):
        plan_of(10, 1, ("none",), ("ghost",))


def test_a_missing_file_of_results_is_not_gone_on_with(tmp_path):
    missing = tmp_path / "missing.bin"
    found = CliRunner().invoke(
        cli,
        [
            "campaign",
            "--resume",
            str(missing),
            "--out",
            str(tmp_path / "out"),
            "--sessions",
            "1000",
        ],
    )
    assert isinstance(found.exception, Refusal) and "missing.bin" in str(found.exception)
    assert not missing.exists() and not (tmp_path / "out").exists()


def test_healthy_fills_are_the_same_each_time_and_counted_by_class():
    found = fills.fills(5, 4, 0, 1)
    again = fills.fills(5, 4, 0, 1)
    assert found.tobytes() == again.tobytes()
    one = fills.report(found, 0, 1)
    rows = found["row"]
    tight = one["tight"]
    assert one["feasible"] + tight["fills"] == 4 and one["class"] == "compressor, pin-open"
    assert one["done_first"] <= one["done_retry"] <= one["feasible"]
    stopped = sum(one["causes"].values()) + sum(tight["causes"].values())
    assert stopped == 4 - one["done_first"] - tight["done_first"] == len(fills.failures(found))
    done = (rows["state"] == 13) & np.isin(rows["infeasible"], FILLABLE) & (rows["refused"] < 2)
    assert np.isfinite(found["error_pa"][done]).all() and np.isnan(found["error_pa"][~done]).all()
    exact = plant_of(fills.healthy_draw(5, 0, 0, 1).job)
    assert exact.a_offset_pa == exact.b_span_error == exact.a_play == 0.0 and exact.a_tap_s > 0.0
    text = "\n".join(fills.lines(one))
    assert "not counted" in text and "tyre_limp" in text


def test_signals_are_put_off_where_the_system_has_no_masks_too(monkeypatch):
    """As on Windows: an interrupt inside the block is raised after it, and the handler is the one before."""
    monkeypatch.setattr(run_module, "MASKS", False)
    monkeypatch.delattr(signal, "pthread_sigmask")
    done, before = [], signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), run_module._signals_held():
        signal.raise_signal(signal.SIGINT)
        done.append("whole")
    run_module._end_with_parent()
    assert done == ["whole"] and signal.getsignal(signal.SIGINT) is before
