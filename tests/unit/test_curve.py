"""The bench of error against time: its bounds are those of the kernel, and WORLD.md says of which kernels they are."""

import pytest

from tests.bench import curve, longer, world


def test_each_bound_of_certainty_is_scaled() -> None:
    text = (curve.ROOT / curve.PLAN).read_text()
    assert curve.scaled(text, 1.0).count("_SURE_") == text.count("_SURE_")
    bounds = "_SURE_A = const(1_300)\n_SURE_B = const(9)\n_SURE_C = const(4)  # why\n"
    bounds += "_SURE_D = const(6)\n_SURE_E = const(8)\n_SURE_F = const(2)\n"
    halved = "_SURE_A = const(650)\n_SURE_B = const(4)\n_SURE_C = const(2)  # why\n"
    halved += "_SURE_D = const(3)\n_SURE_E = const(4)\n_SURE_F = const(1)\n"
    assert curve.scaled(bounds, 0.5) == halved


def test_a_bound_that_is_not_known_is_refused() -> None:
    with pytest.raises(ValueError, match="7 bounds"):
        curve.scaled("".join(f"_SURE_{n} = const(1)\n" for n in "ABCDEFG"), 1.0)


def test_figures_of_other_kernels_are_called_so() -> None:
    quantiles = {"p50": 1e3, "p95": 2e3, "p99": 3e3}
    one = {
        "class": "compressor, pin-open",
        "settled_error_absolute_pa": quantiles,
        "hold_s": {"p50": 30.0, "p95": 60.0},
        "seconds_over_the_time_limit": {"50": 5.0, "95": -1.0},
    }
    kept = {"kernels": "a", "rows": [{"factor": 0.5, "classes": [one]}]}
    assert "| compressor, pin-open | 0.5 | 1.0 / 3.0 | 30, 60 | +5.0, -1.0 |" in world.curve_lines(
        kept, "a"
    )
    assert "OUTDATED" in " ".join(world.curve_lines(kept, "b"))
    assert "OUTDATED" not in " ".join(world.curve_lines(kept, "a"))


def test_a_longer_campaign_names_other_kernels_and_its_own_number_of_sessions() -> None:
    row = {
        "kernels": "a", "seed": 7, "faults": ["none"], "people": ["patient", "slow"],
        "sessions": 12, "set_d": 11, "over": 0, "own_air": 2, "highest": 0.99,
    }  # fmt: skip
    line = "| 7 | none | patient, slow | 12 | 11 | 0 | 2 | 0.9900 |"
    assert line in world.longer_lines([row], "a")
    assert "OUTDATED: kernels a" in world.longer_lines([row], "b")[-2]


def test_a_longer_campaign_replaces_its_own_row_alone() -> None:
    row = {"kernels": "a", "seed": 7, "faults": ["none"], "people": ["slow"], "sessions": 12}
    others = [row | {"seed": 8}, row | {"kernels": "b"}, row | {"people": ["patient"]}]
    again = row | {"people": ("slow",), "sessions": 40}
    assert longer.joined([row, *others], [again]) == [again, *others]


def test_closed_cores_are_shown_by_what_is_known_of_their_spring() -> None:
    row = {"p50": 1e3, "p90": 2e3, "p99": 3.44e3, "least": -3.44e3, "most": 2e3}
    made = {"wheels": 9} | dict.fromkeys(world.SPRING_ROWS, row)
    kept = {"kernels": "a", "seed": 3, "sources": {"line": made}}
    lines = world.spring_lines(kept, "a")
    assert "| line | 9 | from empty | 1.0 / 2.0 / 3.4 | -3.4 to +2.0 |" in lines
    assert "OUTDATED" in " ".join(world.spring_lines(kept, "b")) and "OUTDATED" not in str(lines)
