"""A closed rigid volume warmed: the isochoric table (ideal gas, by definition; reference 20 °C, ambient 101.325 kPa)."""

import pytest
from rimward.limits.ceiling import Place, Ride
from rimward.limits.ceiling.envelope import fill_ceiling
from rimward.limits.ride.readings import reading

TEMPS = (-10, 0, 10, 20, 30, 40, 50, 60, 70)
ROWS = """
200|169.1634|179.4423|189.7211|200.0000|210.2789|220.5577|230.8366|241.1155|251.3943
300|258.9297|272.6198|286.3099|300.0000|313.6901|327.3802|341.0703|354.7604|368.4505
400|348.6961|365.7974|382.8987|400.0000|417.1013|434.2026|451.3039|468.4053|485.5066
450|393.5792|412.3862|431.1931|450.0000|468.8069|487.6138|506.4208|525.2277|544.0346
480|420.5091|440.3394|460.1697|480.0000|499.8303|519.6606|539.4909|559.3212|579.1515
490|429.4858|449.6572|469.8286|490.0000|510.1714|530.3428|550.5142|570.6857|590.8571
500|438.4624|458.9749|479.4875|500.0000|520.5125|541.0251|561.5376|582.0501|602.5627
600|528.2287|552.1525|576.0762|600.0000|623.9238|647.8475|671.7713|695.6950|719.6188
700|617.9951|645.3300|672.6650|700.0000|727.3350|754.6700|782.0049|809.3399|836.6749
800|707.7614|738.5076|769.2538|800.0000|830.7462|861.4924|892.2386|922.9848|953.7310
"""
AT_20 = Place.of(20, 0)


@pytest.mark.parametrize("row", ROWS.split())
def test_every_row(row: str) -> None:
    fill, *published = (float(cell) for cell in row.split("|"))
    assert [reading(int(fill * 1000), AT_20, 0, t) / 1000 for t in TEMPS] == pytest.approx(
        published, abs=6e-5
    )


@pytest.mark.parametrize(
    ("rise_k", "kpa"),
    [
        (5, 489.9157303),
        (10, 480.1641102),
        (15, 470.7289469),
        (20, 461.5950823),
        (25, 452.7483105),
        (30, 444.1753056),
        (40, 427.8012907),
    ],
)
def test_cold_fill_that_just_reaches_500(rise_k: int, kpa: float) -> None:
    assert fill_ceiling(500_000, AT_20, Ride.of(None, 20 + rise_k)) == int(kpa * 1000)


@pytest.mark.parametrize(
    ("fill_kpa", "percent", "rise_k"),
    [(500, 110, 24.3753378), (700, 110, 25.6082114), (500, 105, 12.1876688)],
)
def test_rise_that_lifts_the_gauge(fill_kpa: int, percent: int, rise_k: float) -> None:
    assert reading(fill_kpa * 1000, AT_20, 0, 20 + rise_k) == pytest.approx(
        fill_kpa * 10 * percent, abs=25
    )  # temperatures are kept to 0.01 K, 2.05 Pa each mK


def test_a_cold_tyre_filled_to_490() -> None:
    """5 °C filled to 490 kPa reads 521.9 at 20 °C; 500 kPa moves 2.05 kPa/K. By definition."""
    assert reading(490_000, Place.of(5, 0), 0, 20) / 1000 == pytest.approx(521.9, abs=0.05)
    assert (reading(500_000, AT_20, 0, 21) - 500_000) / 1000 == pytest.approx(2.05, abs=0.005)
