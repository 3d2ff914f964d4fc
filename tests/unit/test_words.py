"""The kernels keep inlined indices; the names in `words` must stand in the same order."""

import re
from pathlib import Path

import pytest
from rimward_fw.control import events
from rimward_fw.kernels import fill, guard, words
from rimward_protocol import codes, enumerations

# names that the kernels spell differently because both arrays have such a word
GUARD_STATE_NAMES = {"conn_g": "_CONN_G"}
TABLES = [
    (guard, "State g", words.GUARD_STATE),
    (guard, "Inputs x", words.GUARD_INPUT),
    (fill, "State f", words.FILL_STATE),
    (fill, "Inputs y", words.FILL_INPUT),
]


def indices(module, title):
    """(name, index) pairs of the block of constants that begins with a comment."""
    text = Path(module.__file__).read_text()
    block = text[text.index(f"# {title}") :].split("\n\n")[0]
    return [(name, int(value)) for name, value in re.findall(r"^(_\w+) = const\((\d+)\)", block, re.M)]


@pytest.mark.parametrize(("module", "title", "names"), TABLES, ids=lambda v: v if isinstance(v, str) else "")
def test_indices_stand_in_the_order_of_the_names(module, title, names):
    found = indices(module, title)
    assert len(found) >= len(names) - 2  # an index that the kernel never uses may be left out
    for constant, index in found:
        assert getattr(module, constant) == index
        plain = constant.strip("_").lower()
        short = names[index].replace("_pa", "").replace("_ml", "").replace("_ticks", "").replace("_tol_pct", "_tol")
        assert plain.replace("_f", "").replace("_g", "") in (names[index], short, names[index].replace("_f", "").replace("_g", "")) or (
            plain.startswith(short) or short.startswith(plain)
        ), f"{constant} is word {index}, which words.py calls {names[index]}"


def test_check_word_makes_a_set_whole():
    x = [0] * len(words.GUARD_INPUT)
    x[7:15] = range(10, 18)
    x[16:24] = [4, 9766, -125012, 9766, -125012, 64, 3, 24]
    x[15] = words.check_word(x)
    assert sum(x[7:]) == words.CHECK == guard._CHECK


def test_bias_is_the_guards():
    assert words.BIAS_PA == guard._BIAS


def test_event_numbers_are_the_protocols():
    for name, number in vars(events).items():
        if name.isupper():
            assert codes.word_of(enumerations.EVENTS, number) == name.lower().replace("_", "-")


def test_places_and_lengths_are_those_of_the_names():
    tables = {"G": words.GUARD_STATE, "X": words.GUARD_INPUT, "F": words.FILL_STATE, "Y": words.FILL_INPUT}
    assert {name: getattr(words, f"WORDS_{name}") for name in tables} == {name: len(table) for name, table in tables.items()}
    places = {"CEIL_SLOT": ("X", "ceil_pa"), "CHECK_SLOT": ("X", "chk"), "TYRE": ("F", "tyre_pa"), "COLD": ("F", "cold")}
    places |= {"JOB": ("Y", "job"), "TARGET": ("Y", "target_pa")}
    for name, (table, word) in places.items():
        assert getattr(words, name) == tables[table].index(word)
