"""Each effect of real sources, cores, tyres, taps and people in the plant against an independent calculation, named in the test."""

from math import exp

import pytest
from rimward.simulation.campaign import effects
from rimward.simulation.cool import cooled
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.gas import CP, CV, GAMMA, R_AIR, mass_flow
from rimward.simulation.plant.tyre import conductance, volume
from scipy.integrate import quad
from scipy.optimize import brentq

from tests.unit.plantruns import AMB, CALM, HIGH, ON, ROOM, STILL, run, ticks_until

# Tyre: volume


@pytest.mark.parametrize("limp", [0.2, 0.6])
def test_a_limp_tyre_holds_the_share_of_its_volume_that_has_opened(limp):
    """Definition: the share is missing at 0, none from three scales on; a third of the way it is the cube of two thirds."""
    plant = Plant(compressor(tyre_limp=limp, tyre_limp_pa=5e3, tyre_growth_per_pa=0.0), seed=1)
    v0 = 1148.7e-6
    for gauge, missing in ((0.0, limp), (5e3, limp * (2 / 3) ** 3), (15e3, 0.0), (200e3, 0.0)):
        assert volume(plant.S, plant.P, gauge)[0] == pytest.approx(v0 * (1.0 - missing), rel=1e-12)


def test_opening_a_limp_tyre_takes_the_air_and_the_work_of_its_volume_law():
    """Mass: ideal gas in the final volume. Work: integral of p dV over the law, by quadrature outside the plant."""
    limp, scale, growth, v0 = 0.5, 5e3, 1e-7, 1148.7e-6
    plant = Plant(
        line(tyre_limp=limp, tyre_limp_pa=scale, tyre_growth_per_pa=growth, tyre_ua=0.0, **CALM),
        seed=1,
    )
    run(plant, 700)

    def law(gauge):
        return v0 * (1.0 - limp * max(1.0 - gauge / (3 * scale), 0.0) ** 3 + growth * gauge)

    def slope(gauge):
        return v0 * (limp * max(1.0 - gauge / (3 * scale), 0.0) ** 2 / scale + growth)

    end = plant.tyre_pa
    assert end > 50e3
    assert plant.S[k.S_MT] == pytest.approx(
        (end + AMB) * law(end) / (R_AIR * plant.air_k), rel=1e-9
    )
    work = quad(lambda p: (p + AMB) * slope(p), 0.0, end, points=[3 * scale], limit=200)[0]
    assert plant.S[k.S_WORK_J] == pytest.approx(work, rel=2e-3)


def test_tyre_grows_by_2_to_8_percent_from_1_to_5_bar():
    for effect, share in ((0, 0.02), (255, 0.08)):
        growth = effects.EFFECTS[[e.name for e in effects.EFFECTS].index("tyre_growth")].value(
            effect
        )
        plant = Plant(compressor(tyre_growth_per_pa=growth), seed=1)
        one, five = (volume(plant.S, plant.P, p)[0] for p in (100e3, 500e3))
        assert five / one - 1.0 == pytest.approx(share, abs=0.001)


def test_creep_follows_kelvin_and_voigt_and_the_pressure_boyle():
    """Kelvin-Voigt element: 1 - 1/e of the end after one time constant; isothermal: p V stays."""
    plant = Plant(
        compressor(
            tyre_creep=0.01,
            tyre_creep_s=60.0,
            tyre_ua=1e4,
            casing_jk=1e9,
            tyre_growth_per_pa=0.0,
            **CALM,
        ),
        seed=1,
        compiled=True,
    )
    plant.set_tyre(400e3)
    assert plant.S[k.S_CREEP] == pytest.approx(0.01)  # a tyre at rest has crept
    plant.S[k.S_CREEP] = 0.0
    plant.S[k.S_VT] = 1148.7e-6
    plant.S[k.S_MT] = (400e3 + AMB) * 1148.7e-6 / (R_AIR * ROOM)
    run(plant, 30_000, 0, 0)
    assert plant.S[k.S_CREEP] == pytest.approx(0.01 * (1.0 - exp(-1.0)), rel=0.01)
    assert plant.tyre_pa + AMB == pytest.approx(
        (400e3 + AMB) / (1.0 + plant.S[k.S_CREEP]), rel=1e-4
    )


def test_sealant_takes_its_volume_from_the_air():
    plant = Plant(
        compressor(tyre_ml=1000.0, sealant_ml=60.0, tyre_pa=300e3, tyre_growth_per_pa=0.0), seed=1
    )
    assert plant.S[k.S_MT] == pytest.approx((300e3 + AMB) * 940e-6 / (R_AIR * ROOM), rel=1e-9)


def test_a_person_on_the_wheel_compresses_its_air_adiabatically():
    """p V^gamma = constant without heat."""
    plant = Plant(compressor(tyre_pa=300e3, **STILL), seed=1, faults=((5, k.F_SQUEEZE, 0.03),))
    run(plant, 2000, 0, 0)
    assert plant.S[k.S_SQUEEZE] == pytest.approx(0.03, rel=1e-3)
    assert plant.tyre_pa + AMB == pytest.approx(
        (300e3 + AMB) * (1.0 / (1.0 - plant.S[k.S_SQUEEZE])) ** GAMMA, rel=2e-4
    )


def test_gas_from_a_cartridge_adds_its_mass_and_its_enthalpy():
    """First law: m0 cv T0 + m cp Tin = (m0 + m) cv T in a rigid vessel without heat."""
    plant = Plant(
        compressor(tyre_pa=100e3, **STILL), seed=1, faults=((0, k.F_GAS, 2e-3), (500, k.F_GAS, 0.0))
    )
    before = plant.S[k.S_MT]
    run(plant, 600, 0, 0)
    assert plant.S[k.S_MT] - before == pytest.approx(2e-3, rel=1e-9)
    expected = (before * CV * ROOM + 2e-3 * CP * 253.15) / ((before + 2e-3) * CV)
    assert plant.air_k == pytest.approx(expected, rel=1e-9)


def test_another_wheel_on_the_chuck_is_at_rest_with_its_own_air():
    rows = ((50, k.F_WHEEL_PA, 350e3), (50, k.F_WHEEL_RATIO, 0.5), (50, k.F_WHEEL, 1.0))
    plant = Plant(compressor(tyre_pa=100e3, tyre_growth_per_pa=0.0, **CALM), seed=1, faults=rows)
    run(plant, 51, 0, 0)
    assert plant.tyre_pa == pytest.approx(350e3, abs=1.0)
    assert plant.S[k.S_MT] == pytest.approx((350e3 + AMB) * 574.35e-6 / (R_AIR * ROOM), rel=1e-9)
    run(plant, 500, ON)
    assert plant.S[k.S_SCALE] == 0.5 and plant.tyre_pa > 350e3  # it stays and is filled


# Tyre: heat


def test_gas_cools_exponentially_with_a_fixed_conductance():
    """Lumped body at constant volume against a large casing: dT ~ exp(-t UA / (m cv))."""
    plant = Plant(
        compressor(tyre_ua=2.0, casing_jk=1e9, room_ua=0.0, tyre_growth_per_pa=0.0, **CALM), seed=1
    )
    plant.set_tyre(400e3, 333.15)
    plant.S[k.S_TC] = ROOM
    tau = plant.S[k.S_MT] * CV / 2.0
    run(plant, round(tau / 0.002), 0, 0)
    assert plant.air_k - ROOM == pytest.approx(40.0 * exp(-1.0), rel=0.003)


def test_conductance_grows_as_grashof_to_a_quarter_and_as_the_root_of_the_jet():
    """Nu = 0.53 (Gr Pr)^(1/4), McAdams for horizontal cylinders (from memory); Gr goes with density squared and the difference. Nu ~ Re^(1/2)."""
    plant = Plant(compressor(heat_fixed=0.0, heat_free=1.0, tyre_growth_per_pa=0.0), seed=1)
    s, p = plant.S, plant.P

    def free(density, difference):
        s[k.S_MT] = density * s[k.S_VT]
        s[k.S_TC] = s[k.S_TT] - difference
        return conductance(s, p, 0.0)

    assert free(6.0, 20.0) == pytest.approx(1.5)
    assert free(24.0, 20.0) == pytest.approx(1.5 * (4.0**2) ** 0.25)
    assert free(6.0, 2.0) == pytest.approx(1.5 * 0.1**0.25)
    jet = Plant(compressor(heat_fixed=0.0, heat_jet=0.5), seed=1)
    assert conductance(jet.S, jet.P, 1e-3) == pytest.approx(0.75)
    assert conductance(jet.S, jet.P, 4e-3) == pytest.approx(1.5)
    assert conductance(jet.S, jet.P, -1e-3) == 0.0


def drop_kpa(make, places, **over):
    """Pressure lost in 120 s after a fill to 4 bar in 1.15 L, kPa, and the manifold's air in degC at its end."""
    rows = [places.get(effect.name, 128) for effect in effects.EFFECTS]
    values = effects.over(rows, 1148.7) | {"sealant_ml": 0.0, "tyre_limp": 0.0} | over
    plant = Plant(make(**CALM, **values), seed=1, compiled=True)
    ticks_until(plant, lambda p: p.tyre_pa >= 400e3, ON, most=30_000)
    warm = plant.S[k.S_TM] - 273.15
    run(plant, 100, 0, k.ATTACHED)
    return (plant.tyre_pa - cooled(plant.S, plant.P, 100)) / 1e3, warm


HOT = {
    "heat_fixed": 0,
    "heat_free": 0,
    "heat_jet": 0,
    "delivery_cooling": 0,
    "head_back": 255,
    "head_start_k": 255,
    "battery_sag": 0,
}
COLD = {
    "heat_fixed": 255,
    "heat_free": 255,
    "heat_jet": 255,
    "delivery_cooling": 255,
    "head_back": 0,
    "head_start_k": 0,
    "battery_sag": 255,
}


@pytest.mark.parametrize("make, least, most", [(compressor, 23.0, 52.0), (line, 42.0, 89.0)])
def test_drawn_heat_covers_the_settled_drops_that_were_measured(make, least, most):
    """After a fill to 4 bar in 1.15 L the second plant showed 23 to 52 kPa (compressor) and 42 to 89 kPa (line)."""
    ends = {"core_c": 255, "line_pressure": 255} if make is line else {}
    assert drop_kpa(make, HOT | ends, tyre_ua=1.5 * 0.7)[0] > most
    assert drop_kpa(make, COLD, tyre_ua=1.5 * 1.4)[0] < least


def test_manifold_air_is_at_32_to_45_degrees_in_a_compressor():
    cool, hot = (drop_kpa(compressor, places)[1] for places in (COLD, HOT))
    assert cool < 33.5 and 42.0 < hot < 50.0


def test_the_head_comes_to_the_balance_of_what_it_takes_and_loses():
    """Steady state: cp q (kept share x rise - back x warm) = C / tau x warm, solved outside the plant."""
    over = {"head_back": 0.4, "head_s": 5.0, "delivery_cooling": 0.6, "ripple": 0.0, "hose_c": 0.2}
    plant = Plant(compressor(**CALM, **over), seed=1, compiled=True)
    run(plant, 30_000, ON, k.RUN)  # hose in the air: the manifold comes to rest at a few bar
    q = plant.S[k.S_IN_KG]
    run(plant, 500, ON, k.RUN)
    q = (plant.S[k.S_IN_KG] - q) / 1.0
    ratio = plant.S[k.S_PM] / AMB
    whole = ROOM * (ratio ** (0.3 / 1.3) - 1.0)
    assert whole > 30.0
    warm = brentq(lambda w: CP * q * (0.6 * whole - 0.4 * w) - 270.0 / 5.0 * w, 0.0, 200.0)
    assert plant.S[k.S_HEAD] - ROOM == pytest.approx(warm, rel=0.01)


@pytest.mark.parametrize("make", [compressor, line])
@pytest.mark.parametrize("pin_open", [False, True])
def test_mass_and_energy_balance_with_every_effect_at_work(make, pin_open):
    """First law over manifold and tyre; nothing is lost between them."""
    rows = (
        (300, k.F_SQUEEZE, 0.02),
        (600, k.F_GAS, 1e-3),
        (900, k.F_GAS, 0.0),
        (900, k.F_SEAT, 1e-9),
        (1200, k.F_SEAT, 0.0),
    )
    plant = Plant(
        make(pin_open=pin_open, tyre_pa=1e3, **effects.over([200] * len(effects.EFFECTS), 1148.7)),
        seed=5,
        faults=rows,
    )
    s = plant.S
    m0, e0 = s[k.S_MM] + s[k.S_MT], CV * (s[k.S_MM] * s[k.S_TM] + s[k.S_MT] * s[k.S_TT])
    for i in range(2500):
        plant.tick(ON if i % 700 < 400 else 0, HIGH)
    assert s[k.S_MM] + s[k.S_MT] - m0 == pytest.approx(s[k.S_IN_KG] - s[k.S_OUT_KG], abs=1e-14)
    kept = s[k.S_IN_J] - s[k.S_OUT_J] - s[k.S_HEAT_J] - s[k.S_WORK_J]
    assert CV * (s[k.S_MM] * s[k.S_TM] + s[k.S_MT] * s[k.S_TT]) - e0 == pytest.approx(
        kept, abs=1e-7
    )


def test_a_cooled_tyre_reads_what_the_gas_law_says_at_its_casing():
    """Ideal gas at the casing's temperature, which the gas has warmed by the heat it gave."""
    plant = Plant(compressor(tyre_growth_per_pa=0.0, room_ua=0.0, tyre_creep=0.01, **CALM), seed=1)
    plant.set_tyre(400e3, 333.15)
    plant.S[k.S_TC] = ROOM
    mass, v = plant.S[k.S_MT], plant.S[k.S_VT]
    end = (mass * CV * 333.15 + 500.0 * ROOM) / (mass * CV + 500.0)
    before = plant.S.copy()
    assert cooled(plant.S, plant.P) == pytest.approx(mass * R_AIR * end / v - AMB, rel=1e-4)
    assert (before == plant.S).all()


# Valve core


CORE = {"crack_pa": 20e3, "core_hysteresis_pa": 5e3, "core_span_pa": 10e3, "core_s": 0.003}


def test_a_core_opens_at_one_pressure_and_shuts_at_a_lower_one():
    plant = Plant(compressor(tyre_pa=200e3, **CORE, **CALM), seed=1)
    ticks_until(plant, lambda p: p.S[k.S_CORE] == 1.0, ON)
    assert 19.5e3 <= plant.manifold_pa - plant.tyre_pa < 23e3
    run(plant, 300)
    ticks_until(plant, lambda p: p.S[k.S_CORE] == 0.0, 0)
    assert plant.manifold_pa - plant.tyre_pa == pytest.approx(15e3, abs=600.0)


@pytest.mark.parametrize("core_c, crack", [(0.1, 30e3), (0.4, 8e3)])
def test_the_manifold_stands_where_lift_and_flow_meet(core_c, crack):
    """Steady flow: what the pump gives = lift x ISO 6358 flow at the excess over the shutting pressure; solved by bisection outside."""
    over = {**CORE, "crack_pa": crack, "core_c": core_c, "ripple": 0.0, "tyre_ml": 50_000.0}
    plant = Plant(compressor(tyre_pa=200e3, **over, **CALM), seed=1, compiled=True)
    run(plant, 3000)
    s, p = plant.S, plant.P
    flow = s[k.S_FLOW]

    def wrong(excess):
        lift = min(excess / 10e3, 1.0)
        return (
            lift
            * mass_flow(
                p[k.P_C_PATH],
                p[k.P_B_PATH],
                s[k.S_PT] + crack - 5e3 + excess,
                s[k.S_PT] + crack - 5e3,
                s[k.S_TM],
            )
            - flow
        )

    assert s[k.S_PM] - s[k.S_PT] - (crack - 5e3) == pytest.approx(
        brentq(wrong, 1.0, 200e3), rel=0.03
    )


def test_a_slow_core_keeps_the_manifold_flat_while_the_tyre_fills():
    plant = Plant(compressor(tyre_pa=100e3, **{**CORE, "core_c": 0.1}, **CALM), seed=1)
    run(plant, 800)
    pm, mass = plant.manifold_pa, plant.S[k.S_MT]
    run(plant, 100)
    assert plant.manifold_pa - pm < 15e3 and plant.S[k.S_MT] - mass > 5e-5


# What is drawn


def test_every_drawn_effect_sets_parameters_of_the_plant_and_stays_in_its_range():
    from rimward.simulation.plant import PlantParams

    known = set(PlantParams.__dataclass_fields__)
    for effect in effects.EFFECTS:
        assert set(effect.fields) <= known
        least, most = effect.value(0), effect.value(255)
        assert effect.low <= max(least, effect.low) <= most <= effect.high
        assert most > effect.high - (effect.high - effect.low) * 0.01 * (3 if effect.log else 1)
    for places in ([0] * 99, [255] * 99):
        values = effects.over(places[: len(effects.EFFECTS)], 1000.0)
        assert values["crack_pa"] > values["core_hysteresis_pa"]
