"""A tank filled by the plant's own step, against closed forms.

Adiabatic: rigid tank, ideal air k = 1.4, supply and start at 293.15 K, start 101.325 kPa (textbooks: m2/m1 = 1 + (p2/p1 - 1)/k).
Isothermal: mass as pressure. Choked filling: dp/dt = C p1 rho0 R T / V (ISO 6358). Compressor: volumetric efficiency 1 + c - c r^(1/n), by
definition. Isochoric: Pg2 = (Pg1 + 101.325) T2/T1 - 101.325, by definition.
"""

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.arrays import efficiency

WIDE = {
    "hose_c": 1e3,
    "chuck_c": 1e3,
    "core_c": 1e3,
    "crack_pa": 0.0,
    "jitter_s": 0.0,
    "tyre_growth_per_pa": 0.0,
    "manifold_ua": 1e9,
}
NEVER = {"relief_low_pa": 1e9, "relief_high_pa": 1e9, "cutoff_low_pa": 1e9, "cutoff_high_pa": 1e9}
ADIABATIC = {"tyre_ua": 0.0}
ISOTHERMAL = {"tyre_ua": 1e9, "casing_jk": 1e15}
DRIVE, CONTROLS = k.GATE | k.RELAY, k.RUN | k.ATTACHED

ROWS = [  # p2 abs kPa, m2/m1, T2 K, gauge kPa after cooling to 20 C
    (201.325, 1.704945, 341.6336, 71.4286),
    (301.325, 2.409890, 361.7522, 142.8571),
    (401.325, 3.114836, 372.7644, 214.2857),
    (501.325, 3.819781, 379.7119, 285.7143),
    (601.325, 4.524726, 384.4946, 357.1429),
    (801.325, 5.934616, 390.6514, 500.0000),
    (901.325, 6.639562, 392.7492, 571.4286),
]


def fill_to(plant, pressure_pa):
    """Run the source until the tyre reaches `pressure_pa` absolute; returns (mass ratio, K, settled Pa gauge) interpolated there."""
    start = plant.S[k.S_MT]
    before = None
    for _ in range(200_000):
        plant.tick(DRIVE, CONTROLS)
        if plant.S[k.S_PT] < 0.99 * pressure_pa:
            continue
        now = (plant.S[k.S_PT], plant.S[k.S_MT] / start, plant.air_k, plant.settled_pa)
        if now[0] >= pressure_pa:
            part = (pressure_pa - before[0]) / (now[0] - before[0])
            return tuple(a + part * (b - a) for a, b in zip(before[1:], now[1:], strict=True))
        before = now
    raise AssertionError("the tank never filled")


@pytest.mark.parametrize("p2, mass, kelvin, cooled", ROWS)
def test_adiabatic_fill(p2, mass, kelvin, cooled):
    plant = Plant(line(line_pa=2e6, line_c=0.05, **WIDE, **NEVER, **ADIABATIC))
    got = fill_to(plant, p2 * 1000.0)
    assert got[0] == pytest.approx(mass, rel=1e-6)
    assert got[1] == pytest.approx(
        kelvin, abs=0.003
    )  # between ticks the temperature is interpolated
    assert got[2] == pytest.approx(cooled * 1000.0, abs=1.0)


@pytest.mark.parametrize("p2", [201.325, 601.325, 901.325])
def test_isothermal_fill(p2):
    plant = Plant(line(line_pa=2e6, line_c=0.05, **WIDE, **NEVER, **ISOTHERMAL))
    mass, kelvin, settled = fill_to(plant, p2 * 1000.0)
    assert mass == pytest.approx(p2 / 101.325, rel=1e-6)
    assert kelvin == pytest.approx(293.15, rel=1e-6)
    assert settled == pytest.approx((p2 - 101.325) * 1000.0, rel=1e-6)


def test_a_real_tyre_lies_between_the_limits():
    plant = Plant(line(line_pa=2e6, line_c=0.1, **NEVER))
    mass, kelvin, _ = fill_to(plant, 601325.0)
    assert 4.524726 < mass < 601.325 / 101.325
    assert 293.15 < kelvin < 384.4946


@pytest.mark.parametrize("supply_pa, rate", [(901325.0, 101556.63), (601325.0, 67754.0)])
def test_choked_filling_rate_of_a_rigid_volume(supply_pa, rate):
    """V = 1.77 L, C = 0.2 dm3/(s bar), isothermal 293.15 K: 101.55663 and 67.754 kPa/s while choked."""
    over = {
        "line_pa": supply_pa - 101325.0,
        "line_c": 0.2,
        "line_b": 0.5,
        "manifold_ml": 20.0,
        "tyre_ml": 1750.0,
    }
    plant = Plant(line(**over, **WIDE, **NEVER, **ISOTHERMAL))
    for _ in range(30):
        plant.tick(DRIVE, CONTROLS)
    start = plant.S[k.S_PT]
    for _ in range(500):
        plant.tick(DRIVE, CONTROLS)
    assert plant.S[k.S_PT] < 0.5 * supply_pa
    assert plant.S[k.S_PT] - start == pytest.approx(rate, rel=2e-4)


def test_fill_time_of_a_rigid_volume_by_a_compressor():
    """30 L/min swept, clearance 0.05, n = 1.3, 1.257388 L from 0 to 500 kPa gauge, isothermal: 13.4871 s (integrated outside this project)."""
    over = {
        "fad_l_min": 30.0,
        "clearance": 0.05,
        "ripple": 0.0,
        "spin_up_s": 1e-9,
        "manifold_ml": 17.388,
        "tyre_ml": 1240.0,
    }
    still = {"relay_on_s": 1e-9, "delivery_cooling": 1.0}
    plant = Plant(compressor(**over, **still, **WIDE, **NEVER, **ISOTHERMAL))
    ticks = 0
    while plant.tyre_pa < 500e3:
        plant.tick(DRIVE, CONTROLS)
        ticks += 1
    assert ticks * 0.002 == pytest.approx(13.4871, rel=1e-3)


EFFICIENCY = [  # clearance, n, efficiency at 0, 200, 300, 500, 700, 1000 kPa gauge, stall gauge kPa
    (0.03, 1.3, (1.0, 0.960623, 0.943513, 0.911957, 0.882782, 0.841983), 9948.2),
    (0.05, 1.3, (1.0, 0.934372, 0.905855, 0.853262, 0.804636, 0.736638), 5202.7),
    (0.08, 1.2, (1.0, 0.881609, 0.828093, 0.727155, 0.631771, 0.495763), 2200.7),
    (0.10, 1.0, (1.0, 0.802615, 0.703923, 0.506538, 0.309154, 0.013077), 1013.2),
    (0.10, 1.4, (1.0, 0.882187, 0.832708, 0.743201, 0.661980, 0.550279), 2807.2),
]


@pytest.mark.parametrize("clearance, n, row, stall", EFFICIENCY)
def test_volumetric_efficiency(clearance, n, row, stall):
    for gauge, expected in zip((0, 200, 300, 500, 700, 1000), row, strict=True):
        assert efficiency((gauge + 101.325) / 101.325, clearance, n) == pytest.approx(
            expected, abs=6e-7
        )
    assert efficiency((stall * 0.999 + 101.325) / 101.325, clearance, n) > 0.0
    assert efficiency((stall * 1.001 + 101.325) / 101.325, clearance, n) == 0.0


ISOCHORIC = [  # gauge kPa at 20 C, C, gauge kPa
    (500.0, 40.0, 541.0251),
    (500.0, 70.0, 602.5627),
    (500.0, -10.0, 438.4624),
    (300.0, 60.0, 354.7604),
    (800.0, 10.0, 769.2538),
]


@pytest.mark.parametrize("settled, celsius, gauge", ISOCHORIC)
def test_air_that_cools_in_the_tyre(settled, celsius, gauge):
    plant = Plant(line(**WIDE))
    plant.set_tyre(gauge * 1000.0, 273.15 + celsius)
    assert plant.settled_pa == pytest.approx(settled * 1000.0, abs=0.2)
