"""The closed loop: proved on the guard's source under stated bounds, each of which is needed, has a source, and shows in the plant when it breaks."""

import pytest

from hardware import hazards
from tests.rig import loop
from tests.trust import closed_bounds, closed_loop, closed_plant


@pytest.mark.parametrize("name", [r.name for r in closed_loop.LEMMAS])
def test_lemma_holds_on_the_guard_and_its_defect_is_found(name):
    proof = closed_loop.prove_lemma(name)
    assert proof.holds is True and proof.defect_found is True


@pytest.mark.parametrize("step", closed_loop.STEPS, ids=[s.name for s in closed_loop.STEPS])
def test_step_holds_and_breaks_without_any_one_bound(step):
    assert closed_loop.prove_step(step).holds is True
    for name in step.needed:
        found = closed_loop.prove_step(step, name)
        assert found.holds is False and found.witness, name
        others = {n: bound for n, bound in step.bounds.items() if n != name}
        assert len(others) == len(step.bounds) - 1


def test_together_the_steps_need_every_bound():
    needed = {name for step in closed_loop.STEPS for name in step.needed}
    assert needed == set(closed_loop.BOUNDS) | set(closed_loop.BURST_BOUNDS) == set(closed_plant.BROKEN)


def test_every_bound_has_a_source_and_hazard_rows():
    rows = {row.id for row in hazards.load()}
    assert set(closed_bounds.SOURCES) == (set(closed_loop.BOUNDS) | set(closed_loop.BURST_BOUNDS)) - {"room"}
    for text, named in closed_bounds.SOURCES.values():
        assert len(text) > 20 and named and set(named) <= rows


@pytest.mark.parametrize("name", closed_plant.SOUND)
def test_with_every_bound_kept_the_tyre_stays_below(name):
    assert not closed_plant.passes(closed_plant.SOUND[name])


@pytest.mark.parametrize("name", closed_plant.BROKEN)
def test_with_one_bound_broken_the_plant_passes_the_ceiling(name):
    assert closed_plant.passes(closed_plant.BROKEN[name])


def test_the_numbers_close_for_both_chucks_from_the_smallest_tyre_on():
    rooms = closed_bounds.rooms()
    assert {r.chuck for r in rooms} == {"pin-open", "pressure-open"} and min(r.volume_ml for r in rooms) == 600
    assert all(r.closes for r in rooms)
    assert closed_bounds.smallest_ml(101_325) <= 350 and closed_bounds.smallest_ml(70_100) <= 600


def test_half_the_stated_overrun_would_not_close(monkeypatch):
    stated = closed_bounds.arming.rise_pa
    monkeypatch.setattr(closed_bounds.arming, "rise_pa", lambda *a: stated(*a) // 2)
    assert not all(r.closes for r in closed_bounds.rooms())


def test_a_burst_keeps_its_bound_at_the_regulated_main_and_not_with_late_valves():
    bound = closed_bounds.first_lift_pa()
    assert closed_bounds.burst_pa(900_000.0) <= bound < closed_bounds.burst_pa(900_000.0, 20.0)
    assert loop.NOT_PROVED
