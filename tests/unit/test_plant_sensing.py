"""Words the simulated transducers write: coding, class errors, converters, noise, slow words."""

from dataclasses import fields

import pytest
from rimward.simulation.plant import Plant, PlantParams, compressor, line, tyre_ml
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.sensing import bell, code_edges, random_word

QUIET = {
    "jitter_s": 0.0,
    "a_noise_pa": 0.0,
    "a_inl_words": 0.0,
    "b_enob": 16.0,
    "b_e11_lsb": 0.0,
    "baro_noise_pa": 0.0,
    "relief_low_pa": 1e9,
    "cutoff_low_pa": 1e9,
}
SHUT = k.ATTACHED | k.LOCKNUT_SHUT


def at(pressure_pa, ticks=40, seed=1, faults=(), **over):
    """Last reading with the manifold held at `pressure_pa` (gauge)."""
    plant = Plant(line(**{**QUIET, **over}), seed=seed, faults=faults)
    for _ in range(ticks):
        absolute = pressure_pa + plant.P[k.P_AMB]
        plant.S[k.S_PM] = absolute
        plant.S[k.S_MM] = absolute * plant.P[k.P_VM] / (287.05287 * plant.S[k.S_TM])
        reading = plant.tick(0, SHUT)
    return reading


def pa(word):
    return (word / 65536.0 - 0.1) / 0.8 * 1000e3


@pytest.mark.parametrize(
    "gauge_pa, word", [(0.0, 6554), (125e3, 13107), (500e3, 32768), (1000e3, 58982)]
)
def test_word_is_the_share_of_the_supply(gauge_pa, word):
    """Definition: 0.1 of supply at 0, 0.9 at full scale, Q16."""
    reading = at(gauge_pa)
    assert reading.a == pytest.approx(word, abs=1)
    assert reading.b == pytest.approx(word, abs=8)  # quarter codes of a 12-bit converter


def test_offset_span_and_thermal_error():
    assert pa(at(400e3, a_offset_pa=5e3).a) == pytest.approx(405e3, abs=40)
    assert pa(at(400e3, a_span_error=0.01).a) == pytest.approx(404e3, abs=40)
    assert pa(at(400e3, a_thermal_pa_k=100.0, room_k=303.15).a) == pytest.approx(401e3, abs=40)
    assert pa(at(400e3, b_offset_pa=-5e3).b) == pytest.approx(395e3, abs=150)
    assert pa(at(400e3, b_span_error=-0.01).b) == pytest.approx(396e3, abs=150)


def test_at_altitude_the_sealed_transducer_is_off_and_the_vented_is_not():
    reading = at(400e3, ambient_abs_pa=79501.0)
    assert pa(reading.a) == pytest.approx(400e3 - (101325.0 - 79501.0), abs=40)
    assert pa(reading.b) == pytest.approx(400e3, abs=150)
    assert reading.ambient_pa == 79501


def test_a_hardly_bends_and_b_has_its_noise():
    bent = [pa(at(p, a_inl_words=4.0).a) - pa(at(p).a) for p in (0.0, 200e3, 500e3, 800e3)]
    assert max(abs(x) for x in bent) == pytest.approx(4 * 19.07, abs=25)
    plant = Plant(line(jitter_s=0.0, b_e11_lsb=0.0), seed=3)
    values = [pa(plant.tick(0, SHUT).b) for _ in range(4000)]
    mean = sum(values) / len(values)
    spread = (sum((x - mean) ** 2 for x in values) / len(values)) ** 0.5
    # ENOB 8.7 of 12 bits: 2**3.3 / sqrt(12) codes a sample, four samples; one code behind a divider of 0.6, 4 V for 10 bar, is 336 Pa
    assert spread == pytest.approx(2**3.3 / 12**0.5 / 2 * (3.3 / 4096 / 0.6 / 4.0 * 1e6), rel=0.06)


@pytest.mark.parametrize("edge", [512, 1536, 2560, 3584])
def test_the_internal_converter_is_flat_at_its_four_edges_and_continuous_everywhere(edge):
    """RP2040-E11: discontinuities at 512, 1536, 2560 and 3584 (two technical pages and the datasheet's erratum)."""
    assert code_edges(edge - 4.0, 9.0) == code_edges(edge + 4.0, 9.0) == edge
    last = code_edges(edge - 400.0, 9.0)
    for step in range(1, 8000):
        now = code_edges(edge - 400.0 + step * 0.1, 9.0)
        assert 0.0 <= now - last < 0.15
        last = now


def test_between_the_edges_the_error_stays_within_half_a_step():
    assert max(abs(code_edges(c * 0.5, 9.0) - c * 0.5) for c in range(8000)) <= 4.6


def test_supply_word_and_sagging_supply():
    assert at(100e3).supply == 78
    sagged = at(400e3, faults=((0, k.F_SUPPLY, 0.8),))
    assert sagged.supply == 62
    assert pa(sagged.a) > 430e3


def test_noise_words_are_even_and_bell_is_normal_enough():
    words = [random_word(1234, 5678, i) for i in range(20000)]
    assert len(set(words)) > 19990
    for bit in range(32):
        ones = sum(word >> bit & 1 for word in words)
        assert abs(ones - 10000) < 300
    values = [bell(word) for word in words]
    assert abs(sum(values) / 20000) < 0.03
    assert sum(v * v for v in values) / 20000 == pytest.approx(1.0, rel=0.03)
    assert max(abs(v) for v in values) < 3.5
    neighbours = sum(a * b for a, b in zip(values, values[1:], strict=False)) / 20000
    assert abs(neighbours) < 0.03


def test_sensor_answers_with_its_time_constant():
    """First-order lag: 63.2 % after one time constant."""
    reading = at(500e3, ticks=5, a_tau_s=0.010, b_tau_s=0.020)
    assert pa(reading.a) == pytest.approx(500e3 * (1.0 - 2.718281828**-1.0), abs=100)
    assert pa(reading.b) == pytest.approx(500e3 * (1.0 - 2.718281828**-0.5), abs=300)


def test_slow_words_and_switches():
    plant = Plant(compressor(**QUIET, room_k=288.15, baro_error_pa=120.0, air_error_k=0.5), seed=1)
    reading = plant.tick(0, k.RUN)
    assert (reading.ambient_pa, reading.air_ck) == (101445, 28865)
    assert reading.switches == k.SW_RUN | k.SW_KEY_LOW


def test_every_parameter_has_a_unit_and_a_source():
    for item in fields(PlantParams):
        assert item.metadata["unit"], item.name
        assert len(item.metadata["source"]) > 3, item.name


def test_parameter_array_has_no_hole():
    params = compressor(
        a_offset_pa=1.0, baro_error_pa=1.0, air_error_k=1.0, a_drift_pa_s=1.0, b_drift_pa_s=1.0, leak_c=0.1, is_line=True, pin_open=True,
        battery_sag=0.1, head_back=0.1, line_droop_pa=1.0, tyre_limp=0.1, tyre_creep=0.1, heat_free=0.1, heat_jet=0.1, a_play=0.1, b_play=0.1,
    )  # fmt: skip
    assert (Plant(params).P[: k.P_TABLE] != 0.0).all()


@pytest.mark.parametrize(
    "width, bead, rim, litres",
    [(28, 622, 19, 1.1487205), (40, 622, 23, 2.4741583), (57, 584, 30, 4.9120894)],
)
def test_tyre_volume_by_chord(width, bead, rim, litres):
    """A circle cut by the rim's chord, by Pappus: rows computed outside this code."""
    assert tyre_ml(width, bead, rim) == pytest.approx(litres * 1000.0, rel=1e-7)
