"""JCGM 100 (GUM), annex H examples and table G.2: published numbers from memory, which a recomputation reproduces."""

import math

import pytest
from rimward.limits.uncertainty.gum import combine, correlated_means, fit_line, normal
from rimward.limits.uncertainty.student import coverage_factor
from uncertainties import correlation_matrix
from uncertainties.umath import cos, sin


def test_h1_end_gauge() -> None:
    """H.1: u_c(l) = 32 nm, u(d) = 9.7 nm, nu_eff = 16, U99 = 93 nm, l = 50.000 838 mm."""
    standard, repeat, comparator_a, comparator_b = (
        normal("standard", 25),
        normal("repeat", 5.8),
        normal("random", 3.9),
        normal("systematic", 6.7),
    )
    difference = repeat + comparator_a + comparator_b + 215
    assert combine(difference).u == pytest.approx(9.7, abs=0.05)
    dof_d = {repeat: 24.0, comparator_a: 5.0, comparator_b: 8.0}
    # the GUM puts its rounded 9.7 nm in the numerator of the Welch-Satterthwaite formula
    assert combine(difference, dof_d).dof * (9.7 / combine(difference).u) ** 4 == pytest.approx(
        25.6, abs=0.1
    )
    # l_s [1 - (d_alpha theta + alpha_s d_theta)]: l_s 50.000623 mm;
    # d_alpha +-1e-6 rectangular, d_theta +-0.05 rectangular, theta -0.1 +- 0.41
    length = 50.000623e6
    d_alpha, d_theta = normal("d alpha", 0.58e-6), normal("d theta", 0.029)
    total = standard + length + difference - length * (d_alpha * -0.1 + 11.5e-6 * d_theta)
    found = combine(total, {standard: 18.0, d_alpha: 50.0, d_theta: 2.0} | dof_d, 0.99)
    assert found.u == pytest.approx(32, abs=0.5)
    assert 16 <= found.dof < 18
    assert coverage_factor(0.99, 16) * 32 == pytest.approx(93, abs=0.5)
    assert found.value / 1e6 == pytest.approx(50.000838, abs=5e-7)
    second_order = math.sqrt(
        found.u**2 + (length * 0.58e-6 * 0.41) ** 2 + (length * 1.2e-6 * 0.029) ** 2
    )
    assert second_order == pytest.approx(34, abs=0.5)


H2 = {
    "V": (5.007, 4.994, 5.005, 4.990, 4.999),
    "I": (19.663, 19.639, 19.640, 19.685, 19.678),
    "phi": (1.0456, 1.0438, 1.0468, 1.0428, 1.0433),
}


def test_h2_resistance_and_reactance() -> None:
    """H.2: means, standard uncertainties, correlations; R, X, Z with u_c and correlations, to one unit of the last digit."""
    found = correlated_means(H2)
    v, i, phi = found["V"], found["I"] / 1000, found["phi"]
    assert (v.nominal_value, found["I"].nominal_value, phi.nominal_value) == pytest.approx(
        (4.9990, 19.6610, 1.04446), abs=5e-6
    )
    assert (v.std_dev, found["I"].std_dev, phi.std_dev) == (
        pytest.approx(0.0032, abs=5e-5),
        pytest.approx(0.0095, abs=5e-5),
        pytest.approx(0.00075, abs=5e-6),
    )
    r = correlation_matrix([v, i, phi])
    assert (r[0][1], r[0][2], r[1][2]) == pytest.approx((-0.36, 0.86, -0.65), abs=0.01)
    results = (v / i * cos(phi), v / i * sin(phi), v / i)
    assert [x.nominal_value for x in results] == pytest.approx(
        [127.732, 219.847, 254.260], abs=0.001
    )
    assert [x.std_dev for x in results] == pytest.approx([0.071, 0.295, 0.236], abs=0.001)
    r = correlation_matrix(results)
    assert (r[0][1], r[0][2], r[1][2]) == pytest.approx((-0.588, -0.485, 0.993), abs=0.001)


H3_T = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
H3_B = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_h3_thermometer() -> None:
    """H.3: y1 = -0.1712, y2 = 0.00218, s = 0.0029 / 0.00067, r = -0.930, residual 0.0035; b(30 °C) = -0.1494 +- 0.0041 with 9 dof."""
    line = fit_line(H3_T, H3_B, origin=20)
    assert line.intercept.nominal_value == pytest.approx(
        -0.1712, abs=1e-4
    ) and line.slope.nominal_value == pytest.approx(0.00218, abs=1e-5)
    assert line.intercept.std_dev == pytest.approx(
        0.0029, abs=1e-4
    ) and line.slope.std_dev == pytest.approx(0.00067, abs=1e-5)
    assert correlation_matrix([line.intercept, line.slope])[0][1] == pytest.approx(-0.930, abs=1e-3)
    assert line.residual == pytest.approx(0.0035, abs=1e-4) and line.dof == 9
    assert line.at(30).nominal_value == pytest.approx(-0.1494, abs=1e-4) and line.at(
        30
    ).std_dev == pytest.approx(0.0041, abs=1e-4)


G2_PERCENT = (68.27, 90, 95, 95.45, 99, 99.73)
G2 = """
1 1.84 6.31 12.71 13.97 63.66 235.80
2 1.32 2.92 4.30 4.53 9.92 19.21
3 1.20 2.35 3.18 3.31 5.84 9.22
4 1.14 2.13 2.78 2.87 4.60 6.62
5 1.11 2.02 2.57 2.65 4.03 5.51
6 1.09 1.94 2.45 2.52 3.71 4.90
7 1.08 1.89 2.36 2.43 3.50 4.53
8 1.07 1.86 2.31 2.37 3.36 4.28
9 1.06 1.83 2.26 2.32 3.25 4.09
10 1.05 1.81 2.23 2.28 3.17 3.96
11 1.05 1.80 2.20 2.25 3.11 3.85
12 1.04 1.78 2.18 2.23 3.05 3.76
13 1.04 1.77 2.16 2.21 3.01 3.69
14 1.04 1.76 2.14 2.20 2.98 3.64
15 1.03 1.75 2.13 2.18 2.95 3.59
16 1.03 1.75 2.12 2.17 2.92 3.54
17 1.03 1.74 2.11 2.16 2.90 3.51
18 1.03 1.73 2.10 2.15 2.88 3.48
19 1.03 1.73 2.09 2.14 2.86 3.45
20 1.03 1.72 2.09 2.13 2.85 3.42
25 1.02 1.71 2.06 2.11 2.79 3.33
30 1.02 1.70 2.04 2.09 2.75 3.27
50 1.01 1.68 2.01 2.05 2.68 3.16
"""
G2_LONG = """
100 1.005 1.660 1.984 2.025 2.626 3.077
inf 1.000 1.645 1.960 2.000 2.576 3.000
"""
G2_CASES = [
    (float(dof), percent / 100, float(t), step)
    for rows, step in ((G2, 0.005), (G2_LONG, 0.0005))
    for dof, *row in map(str.split, rows.strip().splitlines())
    for percent, t in zip(G2_PERCENT, row, strict=True)
]


@pytest.mark.parametrize(("dof", "probability", "t", "step"), G2_CASES)
def test_table_g2(dof: float, probability: float, t: float, step: float) -> None:
    """JCGM 100 table G.2 as printed (from memory), to half a unit of its last digit; 235.80 was computed with a probability of more digits."""
    assert coverage_factor(probability, dof) == pytest.approx(
        t, abs=step + 1e-9 if t < 100 else 0.2
    )
