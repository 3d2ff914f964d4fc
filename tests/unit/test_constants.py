"""Constants of the firmware as numbers where they are used: of other modules, private ones, and several assigned in one line."""

import pytest
from rimward.device.install.constants import folded


def test_every_whole_number_becomes_the_number_itself() -> None:
    made = folded(
        {
            "p.a": "ONE, _TWO = 1, 2\n_THREE = _TWO + ONE\nNAME, PAIR = 'x', (ONE, _TWO)\n"
            "def f():\n    return ONE, _TWO, _THREE, NAME, PAIR\n",
            "p.b": "from p import a\nfrom p.a import ONE\ndef g(_two):\n    return a._THREE + ONE + _two\n",
        }
    )
    assert (
        made["p.a"] == "NAME = 'x'\nPAIR = (1, 2)\n\ndef f():\n    return (1, 2, 3, NAME, PAIR)\n"
    )
    assert made["p.b"] == "from p import a\n\ndef g(_two):\n    return 3 + 1 + _two\n"


@pytest.mark.parametrize(
    "text",
    ["A = 1\nA = 2\n", "A, _B = 1, 2\n_B = 3\n", "_A = 1\ndef f():\n    global _A\n    _A = 2\n"],
)
def test_a_variable_in_capitals_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="assigned more than once"):
        folded({"p.a": text})


def test_a_line_that_takes_a_value_apart_stays() -> None:
    assert (
        folded({"p.a": "A, B = range(2)\n(c, D), E = (1, 2), 3\n"})["p.a"]
        == "A, B = range(2)\nc, D = (1, 2)\n"
    )
