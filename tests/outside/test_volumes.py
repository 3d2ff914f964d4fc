"""Torus and chord volumes, computed apart from this package (by definition)."""

import pytest
from rimward.limits.volume import chord_l, torus_l, volumes

TORUS = """
20-622 0.633629
23-622 0.841890
25-622 0.997755
28-622 1.257388
30-622 1.447871
32-622 1.652409
35-622 1.985826
37-622 2.226018
40-622 2.613471
42-622 2.890057
45-622 3.332657
47-622 3.646377
50-622 4.145234
57-622 5.443262
60-622 6.057963
47-584 3.439259
57-584 5.138632
60-584 5.720423
40-559 2.364757
50-559 3.756618
57-559 4.938217
28-571 1.158731
32-630 1.672622
37-590 2.117926
32-597 1.589243
35-349 1.160665
28-451 0.926598
40-406 1.760737
47-406 2.469072
54-406 3.309673
40-355 1.559397
47-305 1.918572
47-507 3.019571
100-559 16.260173
"""


@pytest.mark.parametrize("row", TORUS.strip().split("\n"))
def test_torus(row: str) -> None:
    size, litres = row.split()
    width, seat = (int(part) for part in size.split("-"))
    assert torus_l(width, seat) == pytest.approx(float(litres), abs=6e-7)


@pytest.mark.parametrize(
    ("width", "seat", "inner", "litres"),
    [
        (25, 622, 17, 0.9117201454688876),
        (28, 622, 19, 1.1487205497827573),
        (28, 622, 21, 1.1050756512301807),
        (30, 622, 23, 1.257514072652752),
        (32, 622, 21, 1.522739102119113),
        (40, 622, 23, 2.474158338736105),
        (57, 622, 30, 5.206369313148635),
        (57, 584, 30, 4.912089395388551),
    ],
)
def test_chord(width: float, seat: float, inner: float, litres: float) -> None:
    """Circle of the section width on the rim's chord, by Pappus."""
    assert chord_l(width, seat, inner) == pytest.approx(litres, rel=1e-12)
    assert volumes(width, seat, inner).low_l == pytest.approx(litres, rel=1e-12)


def test_the_torus_overstates_by_3_to_10_percent() -> None:
    for width, inner in ((25, 17), (28, 19), (32, 21), (40, 23), (57, 30)):
        assert 1.03 < torus_l(width, 622) / chord_l(width, 622, inner) < 1.10
