"""Events on synthetic traces: each found at its place, none reported where there is none. Noise, steps and leaks are stated in each test."""

import numpy as np
import pytest
from rimward.proof.events import KINDS, Settings, find_events, find_sudden, highest_pa, noise_pa

DT_MS = 100
SIGMA_PA = 200


def ramp_and_holds(
    rng, sigma_pa=SIGMA_PA, rate_pa_s=5_000, holds=((250_000, 60), (500_000, 60), (550_000, 300))
):
    """A retention test without any event: rises at 5 kPa/s, holds, noise of 200 Pa."""
    level, parts = 0.0, []
    for top, hold_s in holds:
        parts += [
            np.arange(level, top, rate_pa_s * DT_MS / 1000),
            np.full(hold_s * 1000 // DT_MS, float(top)),
        ]
        level = top
    true = np.concatenate(parts)
    return np.arange(true.size) * DT_MS, true + rng.normal(0, sigma_pa, true.size), true


def kinds(events):
    return [event.kind for event in events]


@pytest.mark.parametrize("seed", range(20))
def test_a_test_without_events_has_none(seed):
    t, p, _ = ramp_and_holds(np.random.default_rng(seed))
    assert find_events(t, p) == []


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("size_pa", [3_000, 8_000, 30_000])
def test_seating_pops_on_the_rise(seed, size_pa):
    """Drop of 3 to 30 kPa during the first rise, level carried on from there."""
    rng = np.random.default_rng(seed)
    t, p, _ = ramp_and_holds(rng)
    at = int(rng.integers(150, 450))
    p[at:1050] -= size_pa
    p[1050:] -= size_pa * 0  # the hold at the next level is reached all the same
    found = [event for event in find_events(t, p) if event.kind == "seating_pop"]
    assert len(found) == 1 and abs(found[0].index - at) <= 2
    assert found[0].change_pa == pytest.approx(-size_pa, abs=6 * SIGMA_PA)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("before_pa, left_pa", [(36_000, 11_000), (39_000, 0), (90_000, 20_000)])
def test_a_bead_that_takes_most_of_a_low_pressure_is_a_pop_and_the_search_goes_on(
    seed, before_pa, left_pa
):
    """25 kPa and more gone within a sample on the first rise; then the rise continues, and the release at 900 kPa is found too."""
    rng = np.random.default_rng(seed)
    rise = np.concatenate([np.arange(0.0, before_pa, 500), np.arange(left_pa, 900_000, 500.0)])
    p = np.concatenate([rise, np.zeros(100)]) + rng.normal(0, SIGMA_PA, rise.size + 100)
    found = find_events(np.arange(p.size) * DT_MS, p)
    assert kinds(found) == ["seating_pop", "release"]
    assert abs(found[0].index - before_pa // 500) <= 2 and abs(found[1].index - rise.size) <= 2


@pytest.mark.parametrize("seed", range(20))
def test_slip_in_the_hold(seed):
    rng = np.random.default_rng(seed)
    t, p, _ = ramp_and_holds(rng)
    at = int(rng.integers(2600, 4800))
    p[at:] -= 5_000
    found = find_events(t, p)
    assert kinds(found) == ["slip"] and abs(found[0].index - at) <= 2
    assert found[0].highest_before_pa == pytest.approx(550_000, abs=4 * SIGMA_PA)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("tau_ms", [1, 40, 150])
def test_release(seed, tau_ms):
    """Water: gone in a sample. Air through a gap: decays with 40 or 150 ms."""
    rng = np.random.default_rng(seed)
    t, p, true = ramp_and_holds(rng, holds=((250_000, 30), (900_000, 30)))
    at = int(rng.integers(1700, 2100))
    p[at:] = true[at - 1] * np.exp(-(t[at:] - t[at] + DT_MS / 2) / tau_ms) + rng.normal(
        0, SIGMA_PA, p.size - at
    )
    found = find_events(t, p)
    assert kinds(found) == ["release"] and abs(found[0].index - at) <= 2
    assert (
        true[at - 1] - 3 * 500 - 4 * SIGMA_PA
        <= found[0].highest_before_pa
        <= true[at - 1] + 2 * SIGMA_PA
    )


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("rate_pa_s", [300, 500, 2_000, 5_000, 20_000])
def test_leak_onset_is_placed_within_two_samples(seed, rate_pa_s):
    """A leak whose rate is 0.15 of the noise's sigma a sample (0.3 kPa/s at 10 Hz and 200 Pa) or more."""
    rng = np.random.default_rng(seed)
    t, p, _ = ramp_and_holds(rng)
    at = int(rng.integers(2600, 4500))
    p[at:] -= rate_pa_s * (t[at:] - t[at - 1]) / 1000
    p = np.maximum(p, rng.normal(0, SIGMA_PA, p.size))
    found = find_events(t, p)
    assert kinds(found) == ["leak_onset"] and abs(found[0].index - at) <= 2


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("rate_pa_s, within", [(100, 6), (40, 15)])
def test_slow_leaks_are_found_and_placed_less_closely(seed, rate_pa_s, within):
    """Slower leaks drown their own onset in noise, whatever looks for it: `tests/outside/test_onset_limit.py` holds the bound."""
    rng = np.random.default_rng(seed)
    t, p, _ = ramp_and_holds(rng)
    at = int(rng.integers(2800, 4000))
    p[at:] -= rate_pa_s * (t[at:] - t[at - 1]) / 1000
    found = find_events(t, p)
    assert kinds(found) == ["leak_onset"] and abs(found[0].index - at) <= within


@pytest.mark.parametrize("seed", range(20))
def test_creep_slows_down(seed):
    """A casing that stretches: 12 kPa by the logarithm of time from the start of the 110 % hold."""
    rng = np.random.default_rng(seed)
    t, p, true = ramp_and_holds(rng)
    at = int(np.argmax(true >= 550_000))
    p[at:] -= 3_000 * np.log1p((t[at:] - t[at]) / 1000 / 5)
    found = find_events(t, p)
    assert kinds(found) == ["creep"] and abs(found[0].index - at) <= 2


def settling(rng):
    """A rise that settles with two time constants of 1 to 10 s and 20 to 315 s, each by up to 2 %, at 10 or 50 Hz, 60 to 300 Pa of noise."""
    dt_s, hold_s = float(rng.choice([0.02, 0.1])), float(rng.choice([30, 60, 120, 300]))
    top = rng.uniform(250e3, 900e3)
    rise, s = (
        np.arange(rng.uniform(0, top - 20e3), top, 5_000 * dt_s),
        np.arange(round(hold_s / dt_s)) * dt_s,
    )
    quick_s, slow_s = 10 ** rng.uniform(0, 1), 10 ** rng.uniform(1.3, 2.5)
    hold = (
        top
        - rng.uniform(0, 0.02) * top * (1 - np.exp(-s / quick_s))
        - rng.uniform(0, 0.02) * top * (1 - np.exp(-s / slow_s))
    )
    p = np.concatenate([rise, hold])
    return np.arange(p.size) * round(dt_s * 1000), p + rng.normal(
        0, float(rng.choice([60, 150, 300])), p.size
    )


@pytest.mark.parametrize("first", range(0, 106, 53))
def test_settling_is_no_leak(first):
    for seed in range(first, first + 53):
        assert "leak_onset" not in kinds(find_events(*settling(np.random.default_rng(seed)))), seed


@pytest.mark.parametrize("hold_s, expected", [(10, []), (90, ["leak_onset"])])
def test_a_fall_from_the_end_of_a_rise_is_watched_before_it_is_called_a_leak(hold_s, expected):
    """300 Pa/s from the moment the rise ends: could be settling at first, within 90 s it is surely a leak."""
    rng = np.random.default_rng(9)
    t, p, true = ramp_and_holds(rng, holds=((550_000, hold_s),))
    at = int(np.argmax(true >= 550_000))
    p[at:] -= 300 * (t[at:] - t[at]) / 1000
    assert kinds(find_events(t, p)) == expected


def test_a_commanded_vent_is_no_event():
    rng = np.random.default_rng(3)
    t, p, true = ramp_and_holds(rng)
    p[4000:] = 550_000 * np.exp(-(t[4000:] - t[4000]) / 300) + rng.normal(
        0, SIGMA_PA, p.size - 4000
    )
    venting = np.arange(p.size) >= 4000
    assert find_events(t, p, venting=venting) == []
    assert kinds(find_events(t, p)) == ["release"]  # the same fall, not commanded


def test_a_vent_that_opens_because_of_a_release_does_not_hide_it():
    """The guard opens the vent within the sample in which the tyre goes, or one later."""
    rng = np.random.default_rng(3)
    for late in (0, 1):
        t, p, true = ramp_and_holds(rng)
        p[4000:] = rng.normal(0, SIGMA_PA, p.size - 4000)
        assert kinds(find_events(t, p, venting=np.arange(p.size) >= 4000 + late)) == ["release"]


def test_noise_just_before_a_commanded_vent_is_no_release():
    """Wherever in a rise the person releases the run control: one sample in ten lies a drop of noise or settling before the vent."""
    rng = np.random.default_rng(5)
    for vented in range(400, 800):
        rise = 300_000 + 60 * np.arange(vented) + rng.normal(0, SIGMA_PA, vented)
        rise[-8:] -= 1_800
        p = np.concatenate([rise, rise[-1] * 0.93 ** np.arange(1, 81)])
        found = find_events(np.arange(p.size) * 20, p, venting=np.arange(p.size) >= vented)
        assert "release" not in kinds(found)


@pytest.mark.parametrize("tau_ms", [20, 60, 150, 300])
@pytest.mark.parametrize("vent_after", [1, 3, 8])
def test_a_release_is_found_however_late_the_vent_follows(tau_ms, vent_after):
    rng = np.random.default_rng(6)
    t, p, _ = ramp_and_holds(rng)
    p[4000:] = 550_000 * np.exp(-(t[4000:] - t[3999]) / tau_ms) + rng.normal(
        0, SIGMA_PA, p.size - 4000
    )
    assert kinds(find_events(t, p, venting=np.arange(p.size) >= 4000 + vent_after)) == ["release"]


def test_a_single_wrong_sample_is_no_event():
    rng = np.random.default_rng(4)
    t, p, _ = ramp_and_holds(rng)
    for at, by in ((700, -60_000), (2000, 60_000), (3000, -540_000), (4000, -9_000)):
        p[at] += by
    assert find_events(t, p) == []


def quiet(rng, minutes, level_pa, kind):
    """Ten samples a second: noise; noise on a day's drift; noise seen by a converter of 12 bit over 16 bar; noise that is correlated."""
    n = minutes * 600
    noise = rng.normal(0, SIGMA_PA, n)
    if kind == "drift":
        noise += 3_000 * np.sin(2 * np.pi * np.arange(n) / (600 * 60 * 2))
    if kind == "correlated":
        noise = 0.8 * noise + 0.6 * np.roll(noise, 1)
    p = level_pa + noise
    return np.round(p / 390.6) * 390.6 if kind == "converter" else p


@pytest.mark.parametrize("kind", ["white", "drift", "converter", "correlated"])
def test_no_false_event_in_ten_thousand_quiet_minutes(kind):
    """2500 minutes of each of four kinds of quiet: 10 000 minutes, six million samples."""
    rng = np.random.default_rng(11)
    events = 0
    for level_pa in (250_000, 550_000, 550_000, 900_000, 1_200_000):
        p = quiet(rng, 500, level_pa, kind)
        events += len(find_events(np.arange(p.size) * DT_MS, p))
    assert events == 0


def test_no_false_event_while_rising():
    """Two hundred rises of three minutes at 5 kPa/s without a pop."""
    rng = np.random.default_rng(12)
    t = np.arange(1800) * DT_MS
    assert (
        sum(
            len(find_events(t, 500.0 * np.arange(1800) + rng.normal(0, SIGMA_PA, 1800)))
            for _ in range(200)
        )
        == 0
    )


def test_fast_sampling_finds_the_same():
    """The tick of 2 ms: a release that takes 60 ms, onset within two samples."""
    rng = np.random.default_rng(5)
    p = np.concatenate(
        [np.linspace(700_000, 800_000, 5000), 800_000 * np.exp(-np.arange(1, 500) / 30)]
    ) + rng.normal(0, 400, 5499)
    found = find_events(np.arange(p.size) * 2, p)
    assert kinds(found) == ["release"] and abs(found[0].index - 5000) <= 2


def test_noise_is_measured_from_the_trace():
    rng = np.random.default_rng(6)
    _, p, _ = ramp_and_holds(rng)
    assert noise_pa(p) == pytest.approx(SIGMA_PA, rel=0.05)


def test_highest_pressure_never_takes_a_peak_of_noise():
    p = np.full(5000, 800_000.0) + np.random.default_rng(8).normal(0, 300, 5000)
    assert highest_pa(p) < np.max(p) - 200
    assert highest_pa(np.array([1.0, 2.0])) == 1.0


@pytest.mark.parametrize(
    "t, p", [([0, 1], [1.0]), ([0, 0, 1], [1.0, 1.0, 1.0]), ([0, 1, 2], [1.0, float("nan"), 1.0])]
)
def test_invalid_traces_are_refused(t, p):
    with pytest.raises(ValueError):
        find_events(np.array(t), np.array(p), Settings())


def test_a_few_samples_contain_no_event():
    assert find_events(np.arange(5), np.ones(5)) == []


def anything(rng):
    """A trace of any length and rate: ramps, drops, decays and creep one on another, with and without noise, rounded or not, vented or not."""
    n, dt_ms = int(rng.integers(8, 4000)), int(rng.choice([5, 20, 100, 1000]))
    t, p = np.arange(n) * dt_ms, np.full(n, float(rng.choice([0, 3e4, 2e5, 5.5e5])))
    for _ in range(int(rng.integers(0, 6))):
        at = int(rng.integers(0, n))
        s = (t[at:] - t[at]) / 1000
        p[at:] += (
            rng.uniform(-5e3, 5e3) * s,
            -rng.uniform(0, 5e4),
            p[at:] * (np.exp(-s * 10 ** rng.uniform(-4, 1)) - 1),
            -rng.uniform(0, 2e4) * np.log1p(s / 5),
            np.minimum(s * 5000, rng.uniform(0, 3e5)),
        )[int(rng.integers(5))]
    p = np.maximum(p, -1000) + rng.choice([0, 0, 1, 150, 2000]) * rng.normal(0, 1, n)
    return (
        t,
        np.round(p / 100) * 100 if rng.random() < 0.3 else p,
        np.arange(n) >= rng.integers(0, n) if rng.random() < 0.3 else None,
    )


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_any_trace_is_evaluated_without_an_error(first):
    """Among such traces are ones without noise, and ones whose whole pressure is no more than their noise."""
    for seed in range(first, first + 20):
        t, p, venting = anything(np.random.default_rng(seed))
        found = find_events(t, p, venting=venting)
        assert all(0 <= event.index < t.size and event.kind in KINDS for event in found)
        assert [event.index for event in found] == sorted(event.index for event in found)
        sudden = ("seating_pop", "slip", "release")
        assert find_sudden(t, p, venting=venting) == [
            event for event in found if event.kind in sudden
        ]


def test_a_weak_tyre_under_loud_noise_has_no_release():
    """A fall of 34 kPa, less than eight times the noise that is stated, is not called a release; with the trace's own noise it is one."""
    p = np.where(np.arange(400) < 200, 45_000.0, 11_000.0) + np.random.default_rng(4).normal(
        0, 100, 400
    )
    assert "release" not in kinds(find_events(np.arange(400) * 20, p, Settings(noise_pa=5_000)))
    assert kinds(find_events(np.arange(400) * 20, p)) == ["release"]
