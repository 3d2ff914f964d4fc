"""Which row of a specimen tested twice decides: the lowest, and a release before a stop at the same pressure."""

import pytest
from rimward.proof.load import parse
from rimward.proof.units import specimens

HEAD = "sample,release_bar,limit_bar,released,rim_id"


@pytest.mark.parametrize("rows", [("A,8,5,no,R1", "B,8,5,yes,R1"), ("B,8,5,yes,R1", "A,8,5,no,R1")])
def test_a_release_decides_before_a_stop_at_the_same_pressure(rows: tuple[str, str]) -> None:
    (one,) = specimens(parse("\n".join([HEAD, *rows]), "a.csv"))
    assert one.released and one.deciding.name == "B"


def test_the_lowest_row_decides() -> None:
    (one,) = specimens(parse("\n".join([HEAD, "A,7.9,5,no,R1", "B,8,5,yes,R1"]), "a.csv"))
    assert not one.released and one.margin == pytest.approx(7.9 / 5)
