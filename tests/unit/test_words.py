"""The kernels' local constants, the positions for the rest of the firmware and the one word table say the same."""

import ast
import re
from pathlib import Path

import pytest
from rimward_fw.control import events
from rimward_fw.kernels import fill, guard, guard_checks, order, tick
from rimward_protocol import causes, codes, enumerations, kernel_slots, kernel_words

KERNELS = Path(guard.__file__).parent
TABLES = {
    "g": kernel_words.GUARD_STATE,
    "x": kernel_words.GUARD_INPUT,
    "f": kernel_words.FILL_STATE,
    "y": kernel_words.FILL_INPUT,
    "t": kernel_words.TICK_STATE,
}
FILES = sorted(KERNELS.glob("*.py"))
FIRMWARE = sorted(
    p for p in KERNELS.parent.rglob("*.py") if p.parent.name not in ("kernels", "bench")
)
SIMULATION = sorted((Path(__file__).parents[2] / "host" / "rimward" / "simulation").rglob("*.py"))
# where an index is computed: the slow word of a tick, and the guard's boot
COMPUTED = {("tick.py", "x"), ("tick.py", "y"), ("guard.py", "g")}
# short constants of the fill controller for words with a unit in their name
UNITS = ("_pa", "_ml", "_ticks", "_ck", "_pct")
FROM_COMPAT = {"const", "ptr32", "ptr16"}


def constants(path):
    """Name -> value of every `_NAME = const(n)` of a file."""
    tree = ast.parse(path.read_text())
    found = {}
    for node in tree.body:
        if isinstance(node, ast.Assign):
            assert isinstance(node.value, ast.Call) and node.value.func.id == "const", (
                f"{path.name}:{node.lineno}"
            )
            found[node.targets[0].id] = ast.literal_eval(node.value.args[0])
    return found


def plain(constant, array):
    """The word that a constant names: `_G_READ` and `_READ` name `read`."""
    name = constant.strip("_").lower()
    return name[2:] if name.startswith(array + "_") and name not in TABLES[array] else name


def names_it(constant, array, word):
    """True if the constant is the word's name, with or without its unit."""
    name = plain(constant, array)
    short = word
    for unit in UNITS:
        short = short.removesuffix(unit)
    return name in (word, short)


def indexed(path):
    """(line, array, index node) of every subscript of a kernel's array."""
    for node in ast.walk(ast.parse(path.read_text())):
        if (
            isinstance(node, ast.Subscript)
            and isinstance(node.value, ast.Name)
            and node.value.id in TABLES
        ):
            yield node.lineno, node.value.id, node.slice


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_every_index_of_a_kernel_is_a_named_word_of_the_table(path):
    known = constants(path)
    for line, array, index in indexed(path):
        where = f"{path.name}:{line}"
        if isinstance(index, ast.Name) and index.id in known:
            word = TABLES[array][known[index.id]]
            assert names_it(index.id, array, word), (
                f"{where}: {index.id} is word {known[index.id]} of {array}, which the table calls {word}"
            )
        else:
            assert (path.name, array) in COMPUTED and not isinstance(index, ast.Constant), (
                f"{where}: index the word by its name"
            )


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_kernel_imports_functions_of_its_own_room_and_no_numbers(path):
    for node in ast.parse(path.read_text()).body:
        if isinstance(node, ast.ImportFrom) and node.module == "rimward_protocol.compat":
            assert {a.name for a in node.names} <= FROM_COMPAT
        elif isinstance(node, ast.ImportFrom):
            assert node.module.startswith("rimward_fw.kernels."), (
                f"{path.name} imports {node.module}"
            )
            assert all(a.name.strip("_").islower() for a in node.names), (
                f"{path.name} imports a number"
            )
        else:
            assert not isinstance(node, ast.Import), f"{path.name} imports a module"


def test_causes_of_the_guard_are_the_protocols():
    names = {
        name: value
        for name, value in vars(causes).items()
        if name.isupper() and isinstance(value, int)
    }
    found = {
        name: value
        for path in KERNELS.glob("guard*.py")
        for name, value in constants(path).items()
        if name[1:] in names
    }
    assert len(found) == 27
    assert {name[1:]: value for name, value in found.items()} == {
        name[1:]: names[name[1:]] for name in found
    }


def test_outputs_of_the_guard_are_the_protocols():
    words = {word: bit for bit, word, _ in enumerations.GUARD_OUTS}
    assert {name: getattr(guard, f"_OUT_{name}") for name in words} == words


def test_states_of_the_fill_controller_are_the_protocols():
    words = {word: number for number, word, _ in enumerations.FILL_STATES}
    names = {name: name[1:].lower().replace("_", "-") for name in constants(Path(fill.__file__))}
    found = {
        word: constants(Path(fill.__file__))[name] for name, word in names.items() if word in words
    }
    assert len(found) >= 14 and found == {word: words[word] for word in found}


# Tests whose numbers are not those of a kernel's word, each with what they are.
OTHER_NUMBERS = {
    "test_assemble.py": "made-up kernels",
    "test_guard_proof.py": "made-up kernels",
    "test_verification.py": "a made-up kernel",
    "test_display_numbers.py": "columns of a table",
    "test_proof_events.py": "a time axis",
}


def test_no_other_module_indexes_a_kernel_s_array_by_number():
    raw = re.compile(r"(?<![\w.])(?:\w+\.)*[gxfyt]\[\d+\]")
    top = Path(__file__).parents[1]
    trust = top / "trust"  # an independent statement of the same numbers
    tests = {p for p in top.rglob("*.py") if p.name not in OTHER_NUMBERS and trust not in p.parents}
    searched = (*FIRMWARE, *SIMULATION, *sorted(tests))
    found = [f"{p.name}: {m}" for p in searched for m in raw.findall(p.read_text())]
    assert found == []


@pytest.mark.parametrize("array", sorted(TABLES))
def test_positions_for_the_rest_of_the_firmware_are_those_of_the_table(array):
    prefix = array.upper() + "_"
    found = {
        name[2:].lower(): value
        for name, value in vars(kernel_slots).items()
        if name.startswith(prefix)
    }
    assert found == {word: at for at, word in enumerate(TABLES[array])}
    assert getattr(kernel_slots, f"WORDS_{array.upper()}") == len(TABLES[array])


def test_every_word_has_a_unit_and_a_meaning():
    for _, table in kernel_words.TABLES:
        assert all(len(row) == 3 and all(row) for row in table)


def test_shared_numbers_are_the_same_everywhere():
    assert kernel_slots.BIAS_PA == guard._BIAS == order._BIAS
    assert kernel_slots.CHECK == guard_checks._CHECK
    assert (
        tick._RING_MASK + 1 == kernel_slots.RING_TICKS
        and 1 << 3 == kernel_slots.RING_WORDS == len(kernel_words.RING_WORDS)
    )
    assert tick._FIRST_Y == kernel_slots.FIRST_Y_SLOT and kernel_slots.OUT_VENT == guard._OUT_VENT
    assert kernel_slots.BIAS_PA == 600_000


def test_check_word_makes_a_set_whole():
    x = [0] * len(kernel_words.GUARD_INPUT)
    x[7:15] = range(10, 18)
    x[16:24] = [4, 9766, -125012, 9766, -125012, 64, 3, 24]
    x[kernel_slots.X_CHK] = kernel_slots.check_word(x)
    assert sum(x[7:]) == kernel_slots.CHECK == 0x1FFFFFFF


def test_event_numbers_are_the_protocols():
    for name, number in vars(events).items():
        if name.isupper():
            assert codes.word_of(enumerations.EVENTS, number) == name.lower().replace("_", "-")
