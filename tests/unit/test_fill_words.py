"""The names of the fill's words and the indices its kernel has inlined, held together."""

import re
from pathlib import Path

from rimward.install.kernels import parts
from rimward_fw.kernels import fill
from rimward_fw.kernels.words import FILL_INPUT, FILL_STATE
from rimward_protocol import enumerations

SOURCE = Path(fill.__file__).read_text()
ALIASES = {"AMBIENT": "ambient_pa", "TARGET": "target_pa", "SEAT": "seat_pa", "WATCH": "watch_ticks", "VOL": "vol_ml", "TYRE": "tyre_pa"}


def constants(first, last):
    """Names and values of the constants between two comments of the kernel."""
    part = SOURCE[SOURCE.index(first) : SOURCE.index(last)]
    return {m[1]: int(m[2]) for m in re.finditer(r"^_([A-Z0-9_]+) = const\((\d+)\)", part, re.M)}


def match(name, word):
    return ALIASES.get(name, name.lower()) == word or word.startswith(name.lower() + "_")


def test_state_words():
    found = {k: v for k, v in constants("# State f.", "# Of this part.").items()}
    assert sorted(found.values()) == list(range(len(FILL_STATE)))
    assert [k for k, v in found.items() if not match(k, FILL_STATE[v])] == []


def test_input_words():
    found = {k: v for k, v in constants("# Inputs y.", "_S_RUN").items()}
    assert max(found.values()) == len(FILL_INPUT) - 1
    assert [k for k, v in found.items() if not match(k, FILL_INPUT[v])] == []


def test_states_are_the_protocols():
    found = constants("# States, as FILL_STATES", "# State f.")
    names = {number: word for number, word, _ in enumerations.FILL_STATES}
    assert {k.lower().replace("_", "-"): v for k, v in found.items()} == {names[v]: v for v in found.values()}


def test_every_part_has_the_indices_of_the_kernel():
    inlined = dict(re.findall(r"^(_[A-Z0-9_]+) = const\((\d+)\)", SOURCE.split("# Of this part.")[0], re.M))
    assert len(parts("fill")) == 6
    for name in parts("fill")[1:-1]:  # the first holds numbers only
        text = Path(fill.__file__).with_name(f"{name}.py").read_text()
        own = dict(re.findall(r"^(_[A-Z0-9_]+) = const\((\d+)\)", text, re.M))
        assert len(own) > 10 and {k: v for k, v in own.items() if inlined.get(k, v) != v} == {}
