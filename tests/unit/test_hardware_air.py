"""Vent, restrictor and relief in balance, and the same against the simulated plant."""

import pytest
from rimward.simulation.plant import Plant, compressor, line
from rimward.simulation.plant import layout as k

from hardware import air
from hardware.params import PARAMS, Param


@pytest.mark.parametrize("line", [False, True])
@pytest.mark.parametrize("ambient_pa", [air.AMBIENT_PA, air.HIGH_PLACE_PA])
def test_vent_holds_the_worst_supply(line, ambient_pa):
    """Inlet stuck open at the highest supply: manifold times 1.5 still under 5.0 bar."""
    assert air.vented_gauge_pa(line, ambient_pa) * 1.5 <= 500_000
    assert air.capacity_factor(line, ambient_pa) >= 1.5


@pytest.mark.parametrize("line", [False, True])
@pytest.mark.parametrize("high,full_pa", [(False, 668_470.0), (True, 1_189_650.0)])
def test_relief_alone_holds_its_own_limit(line, high, full_pa):
    assert air.relieved_gauge_pa(line, high) <= full_pa


def test_missing_restrictor_would_be_found(monkeypatch):
    """The check-out's vent balance detects a missing restrictor (C 0.8 instead of 0.2)."""
    sound = air.vented_gauge_pa(True)
    monkeypatch.setitem(PARAMS, "inlet_c", Param(0.8, 0.8, 0.8, "dm3/(s bar)", "left out"))
    assert air.vented_gauge_pa(True) > 500_000 / 1.5 > sound


def test_every_row_of_the_report_holds():
    assert len(air.report()) == 8 and all(row["ok"] for row in air.report())


def test_balance_is_a_balance():
    feed, _ = air.source_flow(True, air.AMBIENT_PA)
    p = air.vented_gauge_pa(True) + air.AMBIENT_PA
    assert air.flow(
        PARAMS["vent_c"].low, PARAMS["b_ratio"].low, p, air.AMBIENT_PA
    ) == pytest.approx(feed(p), rel=1e-6)


def test_manifold_empties_within_half_a_second():
    assert 50 < air.empty_ms(550e3, 50e3) < 500


def test_relief_opens_in_proportion():
    assert (
        air.relief_lift(589_999, 590_000) == 0
        and air.relief_lift(619_500, 590_000) == pytest.approx(0.5)
        and air.relief_lift(9e5, 590_000) == 1
    )


def settled_in_the_plant(params):
    """Manifold of the simulated plant after 4 s: both elements on, vent open, hose on a valve whose locknut is shut."""
    sim = Plant(params, seed=1)
    for _ in range(2000):
        sim.tick(1 | 2 | 4, k.RUN | k.ATTACHED | k.LOCKNUT_SHUT)
    return sim.manifold_pa


def test_plant_at_the_worst_ends_settles_where_the_calculation_says():
    c, b, vent, vent_b, supply = (
        PARAMS[n] for n in ("inlet_c", "b_ratio", "vent_c", "b_ratio", "supply_line")
    )
    worst = line(
        line_pa=supply.high, line_c=c.high, line_b=b.high, vent_c=vent.low, outlet_b=vent_b.low
    )
    assert settled_in_the_plant(worst) == pytest.approx(air.vented_gauge_pa(True), rel=0.03)


def test_plant_as_it_stands_lies_under_the_worst_case():
    assert 0 < settled_in_the_plant(line()) < air.vented_gauge_pa(True)
    assert settled_in_the_plant(compressor()) < 500_000 / 1.5
