"""Mass and energy of the simulated air are kept, one step a tick is enough, and both engines give the same bits."""

from random import Random

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.faults import FAULTS, events
from rimward.simulation.plant.gas import CV

SOURCES = pytest.mark.parametrize("make", [compressor, line])


def session(plant, ticks, seed=1):
    """Drive and controls that change at random every 100 ticks; yields after each tick."""
    rng = Random(seed)
    for i in range(ticks):
        if i % 100 == 0:
            drive, controls = (
                rng.choice((0, 3, 3, 3, 1, 2, 4)),
                k.RUN | k.ATTACHED * (rng.random() < 0.8),
            )
            controls |= (
                k.RANGE_HIGH * (rng.random() < 0.3)
                | k.LOCKNUT_SHUT * (rng.random() < 0.1)
                | k.BLEED * (rng.random() < 0.1)
            )
        yield plant.tick(drive, controls)


def mass_kg(s):
    return s[k.S_MM] + s[k.S_MT]


def energy_j(s):
    return CV * (s[k.S_MM] * s[k.S_TM] + s[k.S_MT] * s[k.S_TT])


@SOURCES
@pytest.mark.parametrize("pin_open", [False, True])
def test_mass_and_energy_balance(make, pin_open):
    plant = Plant(make(tyre_pa=250e3, pin_open=pin_open, leak_c=0.001), seed=5)
    m0, e0 = mass_kg(plant.S), energy_j(plant.S)
    for _ in session(plant, 4000):
        pass
    s = plant.S
    assert s[k.S_IN_KG] > 1e-4 and s[k.S_OUT_KG] > 1e-5
    assert mass_kg(s) - m0 == pytest.approx(s[k.S_IN_KG] - s[k.S_OUT_KG], abs=1e-15)
    kept = s[k.S_IN_J] - s[k.S_OUT_J] - s[k.S_HEAT_J] - s[k.S_WORK_J]
    assert energy_j(s) - e0 == pytest.approx(kept, abs=1e-8)


@SOURCES
def test_pressure_is_always_that_of_the_gas_in_its_volume(make):
    plant = Plant(make(tyre_pa=250e3), seed=5)
    for _ in session(plant, 1000):
        s, p = plant.S, plant.P
        assert s[k.S_PT] * s[k.S_VT] == pytest.approx(s[k.S_MT] * 287.05287 * s[k.S_TT], rel=1e-10)
        assert s[k.S_PM] * p[k.P_VM] == pytest.approx(s[k.S_MM] * 287.05287 * s[k.S_TM], rel=1e-10)
        assert s[k.S_VT] == pytest.approx(
            p[k.P_V0] * (1.0 + p[k.P_GROWTH] * plant.tyre_pa), rel=1e-12
        )


def test_work_on_the_casing_is_pressure_times_growth():
    plant = Plant(line(tyre_pa=100e3, tyre_ua=0.0, tyre_growth_per_pa=2e-7), seed=1)
    v0, p0 = plant.S[k.S_VT], plant.S[k.S_PT]
    for _ in range(1500):
        plant.tick(3, k.RUN | k.ATTACHED | k.RANGE_HIGH)
    v1, p1 = plant.S[k.S_VT], plant.S[k.S_PT]
    assert p1 > 3e5
    assert plant.S[k.S_WORK_J] == pytest.approx(
        0.5 * (p0 + p1) * (v1 - v0), rel=1e-6
    )  # pressure is linear in volume


def fill_pause_fill(make, part, **over):
    """Tyre and manifold pressures every 2 ms over fill, pause, fill, vent and rest, with the tick cut into `part` steps."""
    plant = Plant(make(tick_s=0.002 / part, jitter_s=0.0, tyre_pa=200e3, **over))
    out = []
    for i in range(2000):
        drive = 3 if i < 800 or 1100 <= i < 1500 else 4 if 1600 <= i < 1800 else 0
        for _ in range(part):
            plant.tick(drive, k.RUN | k.ATTACHED | k.RANGE_HIGH)
        out.append((plant.tyre_pa, plant.manifold_pa))
    return out


@pytest.mark.parametrize(
    "make, over, tyre_pa",
    [
        (compressor, {}, 400.0),
        (compressor, {"pin_open": True}, 700.0),
        (line, {}, 1500.0),
        (line, {"pin_open": True}, 1500.0),
    ],
)
def test_halving_the_step_moves_the_tyre_little_and_less_each_time(make, over, tyre_pa):
    """One step a tick is within 0.02 bar on the line and 0.007 bar on the compressor, most of it the moment a contact or valve moves."""
    one, two, eight = (fill_pause_fill(make, part, **over) for part in (1, 2, 8))
    error = [
        max(abs(a[0] - b[0]) for a, b in zip(coarse, eight, strict=True)) for coarse in (one, two)
    ]
    assert error[0] < tyre_pa
    assert error[1] < 0.65 * error[0]
    assert abs(one[799][1] - eight[799][1]) < 2500.0  # manifold at the end of the first fill


def words(plant, ticks):
    return [tuple(reading) for reading in session(plant, ticks)]


@SOURCES
@pytest.mark.parametrize("pin_open", [False, True])
def test_both_engines_give_the_same_bits(make, pin_open):
    rows = [
        row
        for i, name in enumerate(FAULTS)
        for row in events(name, 20 + 40 * i, 0.3 + 0.01 * i, 60)
    ]
    params = make(tyre_pa=250e3, pin_open=pin_open)
    plain, fast = (
        Plant(params, seed=77, faults=rows, compiled=compiled) for compiled in (False, True)
    )
    assert words(plain, 2400) == words(fast, 2400)
    assert plain.S.tobytes() == fast.S.tobytes()
    assert plain.F.tobytes() == fast.F.tobytes()


def test_the_same_seed_gives_the_same_words_and_another_seed_others():
    first, again, other = (
        words(Plant(compressor(tyre_pa=200e3), seed=seed), 300) for seed in (9, 9, 10)
    )
    assert first == again
    assert first != other


def test_seeds_past_32_bits_count():
    a, b = (words(Plant(compressor(), seed=seed), 20) for seed in (3, 3 + (1 << 32)))
    assert a != b


def test_restore_brings_back_the_same_future():
    plant = Plant(line(tyre_pa=200e3), seed=4, faults=events("a_noisy", 50, 0.5, 100))
    for _ in range(40):
        plant.tick(3, k.RUN | k.ATTACHED)
    saved = plant.copy()
    first = words(plant, 200)
    plant.restore(saved)
    assert words(plant, 200) == first
