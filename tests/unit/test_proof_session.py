"""Session files as proof samples: what a bench session shows, and which sessions contain nothing about the tyre."""

import json
import struct

import numpy as np
import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.commands.proof import command
from rimward.formats import records
from rimward.proof.reading import read_file
from rimward_protocol import codes, layout, session
from rimward_protocol.enumerations import CAUSES

PROFILE = {
    "revision": 1, "issue": 1, "wheel_id": b"bench-07", "label": "Fernhollow bench", "rim_class": codes.RIM_TSS, "position": 1, "chuck": 1,
    "limit_source": 3, "tyre_width_dmm": 280, "bead_seat_mm": 622, "rim_width_dmm": 230, "flags": codes.FLAG_BENCH, "volume_low_ml": 1100,
    "volume_ml": 1257, "limit_pa": 500000, "ceiling_pa": 1500000, "target_pa": 1000000, "seat_pause_pa": 250000,
    "ambient_min_pa": 100000, "temp_max_ck": 29315, "ref_temp_ck": 29315, "time_budget_s": 900, "made_days": 2500,
}  # fmt: skip
ORDINARY = {**PROFILE, "flags": 0, "ceiling_pa": 480000, "target_pa": 450000}
HEADER = {
    "tick_us": 2000, "layout_hash": bytes(8), "kernel_hash": bytes(8), "device_id": b"bench-01", "session": 9, "boot": 1, "unix_s": 0,
    "words_g": 40, "words_x": 24, "words_f": 30, "words_y": 36,
}  # fmt: skip


def block(kind, number, payload):
    buf = bytearray(8 + len(payload) + 4)
    buf[8:-4] = payload
    session.seal_block(buf, 0, kind, number, len(payload))
    return bytes(buf)


def session_bytes(
    pressure_pa, venting, profile=PROFILE, ended=True, second=None, air=None, cause=0
):
    """A whole session of a 50 Hz trace, from a bench whose guard band is 12 kPa; `second`: transducer B, `air`: where the air was on."""
    second = np.asarray(pressure_pa) + 300 if second is None else second
    out = codes.OUT_VENT * np.asarray(venting, dtype=int) + codes.OUT_GATE * np.asarray(
        air if air is not None else np.zeros(len(pressure_pa)), dtype=int
    )
    payloads = [
        (
            layout.BLOCK_META,
            b"\1" + records.pack_profile(profile, bench=bool(profile["flags"] & codes.FLAG_BENCH)),
        )
    ]
    payloads.append(
        (layout.BLOCK_META, b"\x08" + struct.pack("<5i", 101325, 29315, 29315, 1500000, 1488000))
    )
    for start in range(0, len(pressure_pa), 50):
        part = range(start, min(start + 50, len(pressure_pa)))
        rows = b"".join(
            struct.pack(
                "<hhhBB", round(pressure_pa[i] / 100), round(second[i] / 100), -32768, out[i], 6
            )
            for i in part
        )
        payloads.append(
            (
                layout.BLOCK_TRACE,
                struct.pack("<IBBhhh", start * 10, 10, len(part), 15000, 14880, 10000) + rows,
            )
        )
    if ended:
        end = {
            "tick": len(pressure_pa) * 10,
            "cause": cause,
            "state": 0,
            "flags": 0,
            "peak_pa": 0,
            "tyre_pa": -1,
            "pump_ticks": 0,
        }
        payloads.append((layout.BLOCK_END, records.pack_record(layout.END, end)))
    return session.seal_header(HEADER) + b"".join(
        block(kind, number, payload) for number, (kind, payload) in enumerate(payloads)
    )


def bench_trace(release_at_s=None, hold_s=310):
    """Rise to 5.5 bar at 5 kPa/s, 110 % hold, then the ramp continues to 8 bar; vented at the end unless the tyre released before."""
    rise = np.arange(0, 550e3, 100.0)
    pressure = np.concatenate(
        [rise, np.full(hold_s * 50, 550.4e3), np.arange(550.4e3, 800e3, 100.0), np.full(100, 800e3)]
    )
    pressure = pressure + np.random.default_rng(1).normal(0, 60, pressure.size)
    venting = np.zeros(pressure.size + 200, dtype=bool)
    venting[pressure.size :] = True
    pressure = np.concatenate([pressure, 800e3 * np.exp(-np.arange(200) / 5)])
    if release_at_s is not None:
        pressure[round(release_at_s * 50) :] = 0
    return pressure, venting


@pytest.fixture
def save(tmp_path):
    def write(name, *args, **more):
        path = tmp_path / name
        path.write_bytes(session_bytes(*args, **more))
        return path

    return write


def test_a_stopped_session_is_censored_at_its_highest_pressure(save):
    (sample,) = read_file(save("a.rws", *bench_trace()))
    assert (sample.name, sample.released, sample.limit_bar) == ("bench-01-9", "no", 5.0)
    assert sample.release_bar == pytest.approx(8.0, abs=0.003)
    assert sample.known["hold_s"] > 310 and sample.known["gauge_u_bar"] == pytest.approx(0.12)
    assert sample.known["rim_id"] == b"bench-07".hex()


def test_a_release_is_found_with_the_highest_pressure_before_it(save):
    """Gone at 450 s, 140 s after the hold at 5.504 bar ended: 5.504 bar and 5 kPa/s for 30 s."""
    (sample,) = read_file(save("a.rws", *bench_trace(release_at_s=450)))
    assert sample.released == "yes" and sample.release_bar == pytest.approx(
        5.504 + 0.05 * (450 - 110 - 310), abs=0.01
    )


@pytest.mark.parametrize("tau_s", [0.5, 0.6, 1, 2, 5, 10, 20, 60])
@pytest.mark.parametrize("vented_after", [0.8, 1.5, 4])
def test_a_slow_release_is_never_a_survivor(save, tau_s, vented_after):
    """Gone with a time constant of 0.5 to 60 s from 450 s on, the vent opened after so many of them: 55 %, 78 %, 98 % lost by then."""
    pressure, _ = bench_trace()
    pressure, steps = pressure[: 450 * 50], round(vented_after * tau_s * 50)
    fall = pressure[-1] * np.exp(-np.arange(1, steps + 1) / 50 / tau_s)
    pressure = np.concatenate([pressure, fall, fall[-1] * np.exp(-np.arange(100) / 5)])
    (sample,) = read_file(save("a.rws", pressure, np.arange(pressure.size) >= pressure.size - 100))
    assert sample.released == "yes" and sample.release_bar == pytest.approx(7.0, abs=0.02)
    assert sample.known["stop_reason"].startswith("none") and (
        "slowly" in sample.known["stop_reason"] or tau_s <= 1
    )


@pytest.mark.parametrize("seed, tau_s", list(enumerate(np.geomspace(0.2, 120, 16).tolist())))
def test_no_time_constant_is_a_survivor(save, seed, tau_s):
    """Drawn for each of 16 time constants from 0.2 to 120 s: pressure at which it goes, noise of 60 to 1,000 Pa, how much is gone before the vent opens."""
    rng = np.random.default_rng(seed)
    top_pa = rng.choice([300e3, 520e3, 560e3, 700e3, 850e3, 970e3])
    rise = [np.arange(0, min(top_pa, 550e3), 100.0)]
    if top_pa > 550e3:
        rise += [np.full(310 * 50, 550.4e3), np.arange(550.4e3, top_pa, 100.0)]
    steps = round(rng.choice([0.8, 1.5, 4]) * tau_s * 50)
    fall = top_pa * np.exp(-np.arange(1, steps + 1) / 50 / tau_s)
    pressure = np.concatenate([*rise, fall, fall[-1] * np.exp(-np.arange(200) / 5)])
    noise = rng.normal(0, rng.choice([60, 300, 1000]), (2, pressure.size)) * (pressure > 1e3)
    (sample,) = read_file(
        save(
            "a.rws",
            pressure + noise[0],
            np.arange(pressure.size) >= pressure.size - 200,
            second=pressure + noise[1] + 300,
        )
    )
    assert sample.released == "yes" and sample.release_bar == pytest.approx(top_pa / 1e5, abs=0.05)


@pytest.mark.parametrize("gone, released", [(0.1, "no"), (0.3, "invalid"), (0.6, "yes")])
def test_an_uncommanded_loss_counts(save, gone, released):
    """Lose this much of 7 bar over 20 s before the run control is released."""
    pressure, _ = bench_trace()
    pressure = pressure[: 450 * 50]
    left = pressure[-1] * np.linspace(1, 1 - gone, 1000)
    pressure = np.concatenate([pressure, left, left[-1] * np.exp(-np.arange(100) / 5)])
    (sample,) = read_file(save("a.rws", pressure, np.arange(pressure.size) >= pressure.size - 100))
    assert sample.released == released


def test_a_pressure_held_by_pumping_alone_does_not_count(save):
    """Flat at 5.5 bar, the air on for twice the time that the whole rise took: it leaked all the while."""
    pressure, venting = bench_trace()
    on = np.zeros(pressure.size, dtype=bool)
    on[: 110 * 50] = True
    (sample,) = read_file(save("a.rws", pressure, venting, air=on))
    assert sample.released == "no"
    on[110 * 50 : 420 * 50 : 1] = True
    (sample,) = read_file(save("b.rws", pressure, venting, air=on))
    assert sample.released == "invalid" and "leak: " in sample.known["stop_reason"]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("sigma_pa", [200, 600, 1000])
def test_noise_does_not_cut_a_hold(save, seed, sigma_pa):
    """310 s at 400 Pa over 110 %, two transducers with noise of their own; a dip of 3 kPa for two seconds does cut it."""
    pressure, venting = bench_trace()
    rng = np.random.default_rng(seed)
    noise = (pressure > 1e3) * rng.normal(0, sigma_pa, (2, pressure.size))
    (sample,) = read_file(save("a.rws", pressure + noise[0], venting, second=pressure + noise[1]))
    assert sample.known["hold_s"] > 309 and 5.49 < sample.known["hold_bar"] < 5.52
    dip = pressure - 3_000 * (
        (np.arange(pressure.size) > 200 * 50) & (np.arange(pressure.size) < 202 * 50)
    )
    (cut,) = read_file(save("b.rws", dip + noise[0], venting, second=dip + noise[1]))
    assert cut.known["hold_s"] < 290


@pytest.mark.parametrize(
    "cause, released",
    [
        ("released", "no"),
        ("target-reached", "no"),
        ("leaking", "invalid"),
        ("hose-or-tyre", "invalid"),
        ("sensors-disagree", "invalid"),
    ],
)
def test_the_bench_s_own_samples_count(save, cause, released):
    (sample,) = read_file(
        save("a.rws", *bench_trace(), cause=next(row[0] for row in CAUSES if row[1] == cause))
    )
    assert sample.released == released and sample.known["stop_reason"].startswith(cause)


def test_sessions_are_analysed_beside_csv(save, tmp_path):
    table = tmp_path / "lab.csv"
    table.write_text(
        "sample,release_bar,limit_bar,released\n"
        + "".join(f"S{i},{8 + i / 10},5,yes\n" for i in range(5))
    )
    path = save("a.rws", *bench_trace(release_at_s=450))
    found = json.loads(
        CliRunner().invoke(command, ["analyse", str(table), str(path), "--json"]).stdout
    )
    assert (
        found["n"] == 6
        and found["counts"]["released"] == 6
        and found["samples"][5]["file"] == "a.rws"
    )
    assert found["gauge"]["known"] is False and found["gauge"]["u_pa"] == pytest.approx(12_000)
    assert found["retention"]["not_shown"] == 1  # held at 5.504 bar with U = 0.12 bar


def test_a_session_behind_a_closed_core_does_not_count(save):
    with pytest.raises(Refusal, match=r"a\.rws: the chuck did not hold the core open"):
        read_file(
            save("a.rws", *bench_trace(), profile={**ORDINARY, "chuck": codes.CHUCK_PRESSURE_OPEN})
        )


def test_an_unfinished_session_does_not_count(save):
    with pytest.raises(Refusal, match="no end"):
        read_file(save("a.rws", *bench_trace(), ended=False))


def test_a_session_without_a_test_does_not_count(save):
    with pytest.raises(Refusal, match="fewer than 50"):
        read_file(save("a.rws", np.full(20, 1000.0), np.zeros(20, dtype=bool)))
    with pytest.raises(Refusal, match="no pressure"):
        read_file(save("a.rws", np.full(200, -50.0), np.zeros(200, dtype=bool)))


def test_pressure_lost_while_samples_are_missing_is_invalid(save):
    """Two seconds without a sample, 7 bar before and nothing after; in the hold they do not matter."""
    from rimward.proof import fromsession
    from rimward.sessions import read_session

    pressure, venting = bench_trace(release_at_s=450)
    log = read_session(save("a.rws", pressure, venting))
    whole, ticks = log.trace, log.trace["tick"]
    log.trace = whole[(ticks < 100_000) | (ticks > 101_000)]
    assert fromsession.sample_of(log, "a.rws").released == "yes"
    log.trace = whole[(ticks < 224_500) | (ticks > 225_500)]
    sample = fromsession.sample_of(log, "a.rws")
    assert (
        sample.released == "invalid"
        and "2.0 s of samples are missing while 6.9" in sample.known["stop_reason"]
    )
