"""Cartridges against CoolProp's reference equations (Span-Wagner CO2, GERG mixing) and rows computed with it."""

import math
from dataclasses import replace

import CoolProp
import CoolProp.CoolProp as cp
import pytest
from rimward.limits.cartridge import Charge, charge_tyre
from rimward.limits.cartridge.charge import largest_grams
from rimward.limits.cartridge.gas import AIR as AIR_GAS
from rimward.limits.cartridge.gas import (
    CO2,
    MIXED,
    VALID_TO_PA,
    Gas,
    _pair,
    air_mol,
    is_liquid,
    pressure_pa,
    saturation_pa,
    second_by_corresponding_states,
    second_of_co2,
    third,
    vapour_mol_m3,
)
from rimward.limits.volume import stated, volumes

CO2_M = 44.0098  # CoolProp's molar mass, g/mol
GRAMS, LITRES, TEMPS = (
    (8, 12, 16, 20, 25, 32, 38),
    (0.5, 0.75, 1.0, 1.257388, 2.0, 3.646377, 6.0),
    (-5, 5, 20, 32, 45),
)


def coolprop_pa(grams: float, litres: float, celsius: float, air_moles: float) -> float:
    """Absolute pressure of the mixture, nitrogen to oxygen 79:21."""
    co2 = grams / CO2_M
    total = co2 + air_moles
    state = CoolProp.AbstractState("HEOS", "CO2&Nitrogen&Oxygen")
    state.set_mole_fractions([co2 / total, 0.79 * air_moles / total, 0.21 * air_moles / total])
    state.specify_phase(CoolProp.iphase_gas)
    state.update(CoolProp.DmolarT_INPUTS, total / (litres / 1000), celsius + 273.15)
    return state.p()


@pytest.mark.parametrize("grams", GRAMS)
def test_within_one_percent_of_coolprop_up_to_15_bar(grams: float) -> None:
    compared = 0
    for litres in LITRES:
        for celsius in TEMPS:
            for air in (air_mol(101_325, litres / 1000, 293.15), 1e-9):
                reference = coolprop_pa(grams, litres, celsius, air)
                if reference <= 1_500_000:
                    ours = pressure_pa(grams / CO2_M, air, litres / 1000, celsius + 273.15)
                    assert ours == pytest.approx(reference, rel=0.01)
                    if reference > 121_325:  # the gauge reading, where there is one to speak of
                        assert ours - 101_325 == pytest.approx(reference - 101_325, rel=0.01)
                    compared += 1
    assert compared >= 30


@pytest.mark.parametrize(
    ("celsius", "seated", "collapsed"),
    [
        (-20, 559.86, 476.06),
        (-10, 589.12, 501.64),
        (0, 618.23, 527.08),
        (20, 676.10, 577.64),
        (45, 747.94, 640.39),
    ],
)
def test_sixteen_grams_in_1_257_l(celsius: int, seated: float, collapsed: float) -> None:
    """CoolProp 8.0.0 HEOS mixture, air charged at 20 °C, kPa gauge; one percent."""
    for start, kpa in (("seated", seated), ("flat-tube", collapsed)):
        found = charge_tyre(Charge(16, stated(1.257388), start, temp_c=20, ride_temp_max_c=45))
        by_temp = {
            -20: found.just_after_band_pa[0],
            -10: found.just_after.low_volume_pa,
            0: found.just_after_band_pa[1],
            20: found.settled.low_volume_pa,
            45: found.hottest.low_volume_pa,
        }
        assert by_temp[celsius] / 1000 == pytest.approx(kpa, rel=0.01)


@pytest.mark.parametrize(
    ("litres", "start", "start_pa", "altitude", "kpa"),
    [
        (1.1487205, "seated", 0, 0, 737.43),
        (1.257388, "seated", 50_000, 0, 724.76),
        (1.257388, "seated", 0, 1500, 676.56),
        (1.257388, "flat-tube", 0, 1500, 594.41),
    ],
)
def test_start_states(
    litres: float, start: str, start_pa: int, altitude: float, kpa: float
) -> None:
    """CoolProp 8.0.0 HEOS mixture, 16 g at 20 °C, kPa gauge; one percent."""
    found = charge_tyre(Charge(16, stated(litres), start, start_pa, 20, altitude))
    assert found.settled.low_volume_pa / 1000 == pytest.approx(kpa, rel=0.01)


ROWS = """
1.0|12|0|584.119|612.339
1.0|12|20|638.956|664.593
1.0|12|40|693.470|716.848
1.0|16|0|770.131|818.756
1.0|16|20|841.919|886.124
1.0|16|40|913.145|953.493
1.257388|16|0|618.227|649.741
1.257388|16|20|676.099|704.734
1.257388|16|40|733.610|759.727
1.652409|16|0|473.875|492.763
1.652409|16|20|519.114|536.262
1.652409|16|40|564.140|579.761
2.0|16|0|392.657|405.922
2.0|16|20|431.029|443.062
2.0|16|40|469.252|480.203
2.0|20|0|489.073|509.130
2.0|20|20|535.617|553.828
2.0|20|40|581.933|598.525
2.0|25|0|607.668|638.141
2.0|25|20|664.596|692.285
2.0|25|40|721.177|746.428
3.646377|25|0|336.892|346.893
3.646377|25|20|370.646|379.711
3.646377|25|40|404.289|412.529
"""


@pytest.mark.parametrize("row", ROWS.split())
def test_seated_rows(row: str) -> None:
    """CoolProp 8.0.0 HEOS mixture and ideal gas, kPa gauge, air charged at 20 °C; one percent, the ideal column to its digits."""
    litres, grams, celsius, real, ideal = (float(cell) for cell in row.split("|"))
    air = air_mol(101_325, litres / 1000, 293.15)
    assert (
        pressure_pa(grams / CO2_M, air, litres / 1000, celsius + 273.15) - 101_325
    ) / 1000 == pytest.approx(real, rel=0.01)
    found = charge_tyre(Charge(grams, stated(litres), temp_c=20))
    if celsius == 20:
        assert found.ideal_pa / 1000 == pytest.approx(
            ideal, rel=2e-5
        )  # molar mass 44.0095 against 44.0098


def test_grams_to_500_kpa() -> None:
    """CoolProp 8.0.0: 11.71 g in 1.2574 L, 10.70 g in 1.1487 L at 20 °C."""
    assert largest_grams(Charge(16, stated(1.257388)), 500_000) == pytest.approx(11.71, rel=0.01)
    assert largest_grams(Charge(16, stated(1.1487205)), 500_000) == pytest.approx(10.70, rel=0.01)


def test_common_practice_sixteen_grams_is_far_over_for_a_straight_side_28() -> None:
    """common practice: a 16 g cartridge for a road tyre. At every volume the tyre may have it passes 5 bar."""
    found = charge_tyre(Charge(16, volumes(28, 622)), 500_000)
    assert (
        found.over_ceiling
        and min(found.settled.nominal_volume_pa, found.settled.high_volume_pa) > 500_000
    )


@pytest.mark.parametrize(
    ("kelvin", "b"),
    [(250, -185.0996), (273.15, -151.3654), (293.15, -128.7889), (320, -105.0777), (400, -60.3812)],
)
def test_second_coefficient_of_co2(kelvin: float, b: float) -> None:
    """Kaye and Laby's form (LibreTexts table A9); CoolProp within 4 percent, as published sources differ by that."""
    assert second_of_co2(kelvin) * 1e6 == pytest.approx(b, abs=1e-4)
    assert second_of_co2(kelvin) == pytest.approx(
        cp.PropsSI("Bvirial", "T", kelvin, "Dmolar", 1e-6, "CO2"), rel=0.04
    )


@pytest.mark.parametrize("kelvin", [250, 273.15, 293.15, 320])
def test_other_coefficients(kelvin: float) -> None:
    """CoolProp: third coefficient of CO2 within 10 percent (0.2 percent of pressure at 15 bar), second of air within 1.5 cm3/mol."""
    assert third(CO2, kelvin) == pytest.approx(
        cp.PropsSI("Cvirial", "T", kelvin, "Dmolar", 1e-6, "CO2"), rel=0.10
    )
    assert second_by_corresponding_states(AIR_GAS, kelvin) == pytest.approx(
        cp.PropsSI("Bvirial", "T", kelvin, "Dmolar", 1e-6, "Air"), abs=1.5e-6
    )


@pytest.mark.parametrize(
    ("celsius", "kpa"),
    [(-10, 2648.6767), (0, 3485.1408), (10, 4502.1829), (20, 5729.0526), (30, 7213.6874)],
)
def test_vapour_pressure(celsius: float, kpa: float) -> None:
    """CoolProp 8.0.0."""
    assert saturation_pa(celsius + 273.15) / 1000 == pytest.approx(kpa, rel=1e-3)


@pytest.mark.parametrize("celsius", [-40, -20, -10, 0, 10, 20, 25, 30])
def test_vapour_density(celsius: float) -> None:
    """CoolProp 8.0.0 (Span and Wagner), saturated vapour; from its density on part of the CO2 is liquid, above 304.13 K none is."""
    published = cp.PropsSI("Dmolar", "T", celsius + 273.15, "Q", 1, "CO2")
    assert vapour_mol_m3(celsius + 273.15) == pytest.approx(published, rel=5e-4)
    assert [is_liquid(share * published, 1.0, celsius + 273.15) for share in (0.99, 1.01)] == [
        False,
        True,
    ]
    assert not is_liquid(1e6, 1.0, 304.2)


# Span and Wagner 1996, equations 3.13 and 3.15 (the coefficients as open property libraries repeat them): (a, power) of 1 - T / Tc
VAPOUR_PRESSURE = ((-7.0602087, 1), (1.9391218, 3 / 2), (-1.6463597, 2), (-3.2995634, 4))
VAPOUR_DENSITY = (
    (-1.7074879, 0.34), (-0.8227467, 1 / 2), (-4.6008549, 1), (-10.111178, 7 / 3), (-29.742252, 14 / 3),
)  # fmt: skip


@pytest.mark.parametrize("kelvin", [216.592, 225, 240, 255, 270, 285, 300, 304])
def test_saturation_term_by_term(kelvin: float) -> None:
    """Span and Wagner 1996: 304.1282 K, 7.3773 MPa, 467.6 kg/m3; every term counts at the triple point, CoolProp's is within 1e-4."""
    t = 1 - kelvin / 304.1282
    pressure = 7.3773e6 * math.exp(304.1282 / kelvin * sum(a * t**n for a, n in VAPOUR_PRESSURE))
    density = 467.6 / 0.0440095 * math.exp(sum(a * t**n for a, n in VAPOUR_DENSITY))
    assert saturation_pa(kelvin) == pytest.approx(pressure, rel=1e-12)
    assert vapour_mol_m3(kelvin) == pytest.approx(density, rel=1e-12)
    if kelvin < 290:
        assert density == pytest.approx(cp.PropsSI("Dmolar", "T", kelvin, "Q", 1, "CO2"), rel=1e-4)
    assert pressure == pytest.approx(cp.PropsSI("P", "T", kelvin, "Q", 1, "CO2"), rel=1e-4)


def test_at_the_edge_of_the_liquid() -> None:
    """Saturated vapour is no liquid; from the critical temperature on there is none, and the pressure is the critical one."""
    assert not is_liquid(vapour_mol_m3(280.0), 1.0, 280.0)
    assert not is_liquid(1e9, 1.0, 304.1282) and not is_liquid(1e9, 1.0, 310.0)
    assert saturation_pa(304.1282) == saturation_pa(310.0) == 7.3773e6


@pytest.mark.parametrize("kelvin", [253.15, 293.15, 318.15])
@pytest.mark.parametrize(("co2", "air"), [(300.0, 0.0), (0.0, 500.0), (250.0, 60.0), (40.0, 40.0)])
def test_the_mixture_is_the_virial_equation_of_its_pairs(
    co2: float, air: float, kelvin: float
) -> None:
    """The virial equation by definition: B a sum over the pairs, C over the triples with geometric means of the pure gases' C."""
    n, pure = co2 + air, (third(CO2, kelvin), third(AIR_GAS, kelvin))
    pair = {
        ("c", "c"): second_of_co2(kelvin), ("a", "a"): second_by_corresponding_states(AIR_GAS, kelvin),
        ("c", "a"): second_by_corresponding_states(MIXED, kelvin),
    }  # fmt: skip
    share = {"c": co2 / n, "a": air / n}
    b = sum(share[i] * share[j] * pair.get((i, j), pair["c", "a"]) for i in "ca" for j in "ca")
    c = sum(
        share[i] * share[j] * share[k] * math.prod(pure["ca".index(m)] for m in (i, j, k)) ** (1 / 3)
        for i in "ca" for j in "ca" for k in "ca"
    )  # fmt: skip
    wanted = n * 8.31446261815324 * kelvin * (1 + b * n + c * n * n)
    assert pressure_pa(co2, air, 1.0, kelvin) == pytest.approx(wanted, rel=1e-12)
    assert pressure_pa(co2 / 1e3, air / 1e3, 1e-3, kelvin) == pytest.approx(wanted, rel=1e-12)


def test_nothing_has_no_pressure_and_air_counts_its_second_coefficient() -> None:
    """Air's moles by the virial equation cut after B: p V = n R T (1 + B n' ), with n' that of an ideal gas."""
    assert pressure_pa(0.0, 0.0, 1e-3, 293.15) == 0
    ideal = 101_325 / (8.31446261815324 * 293.15)
    b = second_by_corresponding_states(AIR_GAS, 293.15)
    assert air_mol(101_325, 2e-3, 293.15) == pytest.approx(
        2e-3 * ideal / (1 + b * ideal), rel=1e-12
    )


def test_critical_constants_as_published() -> None:
    """CO2: Span and Wagner 1996; air: Lemmon and others 2000, rounded; acentric factors as in Poling, Prausnitz and O'Connell (from memory)."""
    assert (CO2.tc, CO2.pc, CO2.omega, CO2.vc) == (304.1282, 7.3773e6, 0.2239, 94.1e-6)
    assert (AIR_GAS.tc, AIR_GAS.pc, AIR_GAS.omega, AIR_GAS.vc) == (132.5, 3.786e6, 0.035, 84.5e-6)
    assert VALID_TO_PA == 1_500_000  # as far as the comparison above goes


def test_of_an_unlike_pair() -> None:
    """Prausnitz's combining rules (from memory), by hand: Tc the geometric mean, Vc the cube of the mean cube root, Pc from the mean Zc."""
    one, two = Gas(200.0, 4e6, 0.1, 64e-6), Gas(288.0, 6e6, 0.3, 125e-6)
    found = _pair(one, two)
    assert found.tc == pytest.approx(240.0) and found.omega == pytest.approx(0.2)
    assert found.vc == pytest.approx(91.125e-6)
    zc = (4e6 * 64e-6 / 200.0 + 6e6 * 125e-6 / 288.0) / 8.31446261815324 / 2
    assert found.zc == pytest.approx(zc)
    assert found.pc == pytest.approx(zc * 8.31446261815324 * 240.0 / 91.125e-6)


@pytest.mark.parametrize("celsius", [-20, 0, 20])
def test_with_liquid_the_pressure_is_the_vapours_and_the_airs(celsius: float) -> None:
    """CoolProp 8.0.0: two phases of CO2 have its vapour pressure; air adds its own (Dalton, ideal gas)."""
    kelvin = celsius + 273.15
    vapour = cp.PropsSI("P", "T", kelvin, "Q", 1, "CO2")
    assert pressure_pa(20_000, 0.0, 1.0, kelvin) == pytest.approx(vapour, rel=1e-3)
    assert pressure_pa(20_000, 41.6, 1.0, kelvin) - pressure_pa(
        20_000, 0.0, 1.0, kelvin
    ) == pytest.approx(41.6 * 8.314462618 * kelvin, rel=1e-6)


@pytest.mark.parametrize(
    ("reduced", "f0", "f1"), [(1.0, -0.336707, -0.0363), (2.0, -0.05663987, 0.09354375)]
)
def test_second_coefficient_of_corresponding_states(reduced: float, f0: float, f1: float) -> None:
    """Tsonopoulos 1974 (from memory): B Pc / (R Tc) = f0 + omega f1; values of both sums at a reduced temperature of 1 and 2, by hand."""
    gas = Gas(300.0, 5e6, 0.0, 9e-5)
    scale = 8.31446261815324 * gas.tc / gas.pc
    assert second_by_corresponding_states(gas, 300.0 * reduced) / scale == pytest.approx(
        f0, abs=1e-7
    )
    heavy = second_by_corresponding_states(replace(gas, omega=1.0), 300.0 * reduced) / scale
    assert heavy - f0 == pytest.approx(f1, abs=1e-7)


@pytest.mark.parametrize(
    ("reduced", "f0", "f1"), [(1.0, 0.03526, 0.02566), (2.0, 0.0175598, -0.0192670)]
)
def test_third_coefficient_of_corresponding_states(reduced: float, f0: float, f1: float) -> None:
    """Orbey and Vera 1983 (from memory): C Pc^2 / (R Tc)^2 = f0 + omega f1, by hand at a reduced temperature of 1 and 2."""
    gas = Gas(300.0, 5e6, 0.0, 9e-5)
    scale = (8.31446261815324 * gas.tc / gas.pc) ** 2
    assert third(gas, 300.0 * reduced) / scale == pytest.approx(f0, abs=2e-7)
    assert third(replace(gas, omega=1.0), 300.0 * reduced) / scale == pytest.approx(
        f0 + f1, abs=2e-7
    )


def test_critical_constants() -> None:
    """CoolProp 8.0.0: critical point and acentric factor of CO2 and of air."""
    for gas, fluid in ((CO2, "CO2"), (AIR_GAS, "Air")):
        assert gas.tc == pytest.approx(cp.PropsSI("Tcrit", fluid), rel=1e-3)
        assert gas.pc == pytest.approx(cp.PropsSI("pcrit", fluid), rel=1e-3)
        assert gas.omega == pytest.approx(cp.PropsSI("acentric", fluid), abs=3e-3)
        assert gas.vc == pytest.approx(1 / cp.PropsSI("rhomolar_critical", fluid), rel=0.02)


def test_a_gas_paired_with_itself_is_itself() -> None:
    """Prausnitz's combining rules, by definition."""
    for gas in (CO2, AIR_GAS):
        found = _pair(gas, gas)
        assert (found.tc, found.pc, found.omega, found.vc) == pytest.approx(
            (gas.tc, gas.pc, gas.omega, gas.vc), rel=1e-12
        )
    assert MIXED.tc == pytest.approx((CO2.tc * AIR_GAS.tc) ** 0.5) and MIXED.omega == pytest.approx(
        (CO2.omega + AIR_GAS.omega) / 2
    )
