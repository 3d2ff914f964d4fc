"""A core's spring learnt at one fill and used at the next: the kernel's rule alone, and fixed fills of wheels that come back part full."""

from array import array

import numpy as np
import pytest
from rimward.simulation.campaign import fills
from rimward.simulation.engines import compiled
from rimward_fw.control.losses import EMPTY_PA
from rimward_fw.kernels import fill_search
from rimward_protocol import kernel_slots as slots

from tests.bench import springs

UNKNOWN_PA = 7_500


def found(mean: int, stored: int, chuck: int = 1) -> array:
    """State of the fill controller after a search that ended at rest at `mean` Pa, armed with a `stored` spring."""
    f, y = array("i", [0] * slots.WORDS_F), array("i", [0] * slots.WORDS_Y)
    f[slots.F_KNEE], f[slots.F_BLEED_N], f[slots.F_GAIN] = 1, 5, 5_000
    y[slots.Y_MEAN], y[slots.Y_CHUCK], y[slots.Y_AMBIENT_PA], y[slots.Y_MANIFOLD_ML] = (
        mean,
        chuck,
        100_000,
        60,
    )
    y[slots.Y_VOL_ML], y[slots.Y_TARGET_PA], y[slots.Y_SPRING] = 1_200, 300_000, stored
    f[slots.F_FOUND_PA] = mean
    f[slots.F_MODEL] = mean  # through an open core that rise is of the air that came
    assert fill_search._found(f, y) == 1
    return f


@pytest.mark.parametrize(
    ("stored", "used"),
    [
        (0, UNKNOWN_PA),
        (-5, UNKNOWN_PA),
        (1, 2_000),
        (2_000, 2_000),
        (14_321, 14_321),
        (28_000, 28_000),
        (28_001, 28_000),
        (1 << 29, 28_000),
    ],
)
def test_a_stored_spring_is_used_within_what_cores_have(stored: int, used: int) -> None:
    f = found(EMPTY_PA, stored)
    assert f[slots.F_SPRING] == used and f[slots.F_TYRE_PA] == 0
    assert f[slots.F_START] == f[slots.F_PT] == EMPTY_PA - used
    assert springs.learnt(f) == 0, "nothing was learnt"


@pytest.mark.parametrize("stored", [0, 6_000, 28_000])
def test_a_fill_that_begins_empty_learns_anew(stored: int) -> None:
    assert found(EMPTY_PA - 1, stored)[slots.F_SPRING] == 28_000
    f = found(9_000, stored)
    assert f[slots.F_SPRING] == springs.learnt(f) == 9_000


def test_a_held_open_core_has_no_spring() -> None:
    assert found(200_000, 14_000, chuck=0)[slots.F_SPRING] == 0


@pytest.fixture(scope="module")
def wheels() -> list[springs.Pair]:
    """Twelve wheels, six of each source."""
    return [*springs.pairs(3, 6, 0), *springs.pairs(3, 6, 1)]


def test_a_wheel_that_comes_back_is_filled_with_its_own_spring(wheels: list[springs.Pair]) -> None:
    """Smaller errors in all, of every strong spring, and near those with the plant's own."""
    assert len(wheels) == 12
    unknown, stored, known = (
        np.array([getattr(w, name) for w in wheels])
        for name in ("unknown_pa", "stored_pa", "known_pa")
    )
    assert (unknown != stored).all(), "each used it"
    strong = np.array([w.spring_pa > UNKNOWN_PA + 4_000 for w in wheels])
    assert strong.sum() == 4
    assert (np.abs(stored) < 0.5 * np.abs(unknown))[strong].all()
    assert (stored**2).mean() < 0.5 * (unknown**2).mean()
    assert np.abs(stored - known).max() < 3_000


@pytest.mark.parametrize("line", [0, 1])
def test_a_wrong_stored_spring_passes_no_ceiling(line: int) -> None:
    """The widest spring kept, the narrowest core mounted since: the tyre ends higher, and stays under its ceiling."""
    session = springs.with_spring(28_000, compiled()["session"])
    for number in range(6):
        d = springs.begun(fills.healthy_draw(7, number, line, 0), 0.6, 5)
        over = d.job.over | {"core_hysteresis_pa": d.job.over["crack_pa"] - 2_000.0}
        row = fills.measured(springs.replace(d, job=springs.replace(d.job, over=over)), session)[0][
            "row"
        ]
        assert row["refused"] == 2 or row["ratio"] <= 1.0
