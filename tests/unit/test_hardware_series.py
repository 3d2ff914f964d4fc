"""Second sources: every named series keeps every figure of its rows, and formerly named ones that do not are refused."""

from dataclasses import replace

import pytest

from hardware import series
from hardware.circuit import Part, load
from hardware.params import PARAMS
from hardware.sources import KINDS

PARTS = load()


@pytest.mark.parametrize("rule", series.RULES, ids=lambda r: r.__name__)
def test_rule_holds(rule):
    assert rule(PARTS).ok, rule(PARTS).found


@pytest.mark.parametrize(
    "kind,name", [(kind, name) for kind, rows in series.REFUSED.items() for name in rows]
)
def test_a_series_that_does_not_fit_is_refused(kind, name):
    assert series.fits(kind, series.REFUSED[kind][name], PARTS)
    assert name not in KINDS[kind].series


def test_common_mode_of_the_comparator_reaches_the_highest_threshold():
    """4.28 V of 5 V in the high range; a type whose inputs end 1.2 V under the rail stops at 3.8 V."""
    assert any(
        "below_rail" in bad
        for bad in series.fits("comparator", series.REFUSED["comparator"]["LMV762"], PARTS)
    )


def test_converter_s_reference_allows_the_highest_supply():
    assert PARAMS["v5_sens"].high <= PARTS["U6"].limits["reference"] == 5.1


def test_a_planted_defect_is_found(monkeypatch):
    assert not series.sources_fit({**PARTS, "Q1": replace(PARTS["Q1"], rating="80 V 0.1 A")}).ok
    assert not series.all_figures_used(
        {**PARTS, "Q1": replace(PARTS["Q1"], rating="45 V 0.1 A power:0.3 W")}
    ).ok
    monkeypatch.setitem(
        series.SERIES["comparator"], "LMV762", series.REFUSED["comparator"]["LMV762"]
    )
    assert not series.sources_fit(PARTS).ok
    assert not series.all_figures_used(PARTS).ok


def test_all_figures_of_a_rating_are_kept_and_a_unit_twice_without_a_name_is_refused():
    assert PARTS["U6"].limits == {"reference": 5.1, "supply": 3.6}
    with pytest.raises(ValueError, match="twice"):
        _ = Part("U6", "adc16", "", "5.1 V 3.6 V", {}, "", "sense").limits


def test_every_class_is_checked_or_chosen_by_size():
    assert set(KINDS) == set(series.SERIES) | set(series.BY_SIZE)
    assert set(series.SERIES) == set(series.NEEDS)


@pytest.mark.parametrize("kind", sorted(series.SERIES))
def test_a_series_past_any_one_figure_is_refused(kind):
    """Each figure of each named series is moved past what its rows allow; without the figure it is refused too."""
    rows = [p for p in PARTS.values() if p.kind == kind]
    for figures in series.SERIES[kind].values():
        for figure, (way, limit) in series.NEEDS[kind].items():
            allowed = [p.limits[limit] if isinstance(limit, str) else limit for p in rows]
            past = min(allowed) * 1.5 + 1 if way == series.AT_MOST else max(allowed) * 0.5 - 1
            assert series.fits(kind, figures | {figure: past}, PARTS), figure
            assert series.fits(kind, {k: v for k, v in figures.items() if k != figure}, PARTS)


def test_a_gate_that_holds_on_longer_is_refused():
    """The gate's fall ends at the lowest threshold, the coil's at the lowest release voltage: worst cases of the drop-out."""
    mos = series.SERIES["nmos-power"]["IPP040N06N"] | {"threshold_low": 0.6}
    relay = next(iter(series.SERIES["relay"].values())) | {"release_v": 0.3}
    assert any("threshold_low" in bad for bad in series.fits("nmos-power", mos, PARTS))
    assert any("release_v" in bad for bad in series.fits("relay", relay, PARTS))
