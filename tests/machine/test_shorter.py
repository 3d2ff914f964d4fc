"""Machine code made shorter does what mpy-cross's own does: drawn functions on the emulated processor, and the kernels that are installed."""

import random
import tempfile
from pathlib import Path

import pytest
from rimward.device.install import plan
from rimward.kernels.machinecode import live, mpyfile, shorter, thumb, values

from tests import made
from tests.machine import chip, cycles, paths, shipped

FUNCTIONS, RUNS, WORDS = 12, 40, 64
SHARE_MOST = 0.45  # of the compiler's bytes
COMPARISONS = ("<", "<=", ">", ">=", "==", "!=")
LONG = "    if a[1] > 5:\n        b = a[2]\n" + "".join(
    f"        a[{n % 50}] = b + {n}\n" for n in range(400)
)


class Drawn:
    """Random text of a function in the kernels' subset over words `a`, values kept in 16 bits."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)

    def value(self, depth: int = 0) -> str:
        dice = self.dice
        if depth > 2 or dice.random() < 0.3:
            return dice.choice([*"pqrs", f"a[{dice.randrange(WORDS)}]", str(dice.randrange(-9, 700))])  # fmt: skip
        one, other = self.value(depth + 1), self.value(depth + 1)
        return dice.choice([
            f"({one} + {other})", f"({one} - {other})", f"(({one}) & 255) * (({other}) & 63)",
            f"(({one}) >> {dice.randrange(1, 9)})", f"(({one}) & {dice.choice((15, 255, 4095))})",
            f"(({one}) | ({other}))", f"(({one}) // {dice.randrange(1, 40)})",
            f"({one} if {self.test(depth)} else {other})",
        ])  # fmt: skip

    def test(self, depth: int = 0) -> str:
        one, other = self.value(depth + 1), self.value(depth + 1)
        made = f"{one} {self.dice.choice(COMPARISONS)} {other}"
        return f"({made}) {self.dice.choice(('and', 'or'))} {self.test(3)}" if depth == 0 else made

    def lines(self, indent: str, depth: int) -> list[str]:
        found = []
        for _ in range(self.dice.randrange(2, 6)):
            kind = self.dice.random()
            if kind < 0.35 and depth < 3:
                found += [f"{indent}if {self.test()}:", *self.lines(indent + "    ", depth + 1)]
                found += [f"{indent}else:", *self.lines(indent + "    ", depth + 1)]
            elif kind < 0.42 and depth:
                found.append(f"{indent}return {self.value()}")
                return found
            else:
                place = self.dice.choice([*"pqrs", f"a[{self.dice.randrange(WORDS)}]"])
                found.append(f"{indent}{place} = ({self.value()}) & 0xFFFF")
        return found

    def text(self, name: str) -> str:
        start = ["    p = a[0]", "    q = a[1]", "    r = a[40]", "    s = 3"]
        body = "\n".join([*start, *self.lines("    ", 0)])
        return f"def {name}(a: ptr32) -> int:\n{body}\n    return p + q + r + s\n\n"


def compiled(folder: Path, text: str):
    path = folder / "drawn.py"
    path.write_text(text, encoding="utf-8")
    return cycles.machine_code(path)


def differences(plain, changed, names: list[str]) -> int:
    """Runs that leave something else in memory, or return something else."""
    dice, found = random.Random(7), 0
    sides = []
    for module in (plain, changed):
        machine = chip.Chip()
        a, loaded = machine.array(WORDS), machine.load(module)
        sides.append((a, {n: machine.prepare(machine.function(loaded, n), [a.object]) for n in names}))  # fmt: skip
    for name in names:
        for _ in range(RUNS):
            words = [dice.choice((0, 1, 3, dice.randrange(1 << 16))) for _ in range(WORDS)]
            seen = []
            for a, calls in sides:
                a.words[:] = words
                try:
                    seen.append((calls[name].run(), a.words.tolist()))
                except chip.Violation as violation:
                    seen.append((str(violation)[:10], []))
                    break
            found += seen[0] != seen[-1] or len(seen) < 2
    return found


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """(compiled module, names of its functions)."""
    names = [f"drawn{n}" for n in range(FUNCTIONS)]
    text = "".join(Drawn(n).text(name) for n, name in enumerate(names))
    text += f"def long(a: ptr32) -> int:\n{LONG}    return a[1]\n"
    return compiled(tmp_path_factory.mktemp("drawn"), text), [*names, "long"]


def short(module):
    """The module with its machine code made shorter, nothing kept of an earlier call."""
    return paths.load(mpyfile.with_code(module.data, shorter.shorter.__wrapped__))


def test_drawn_functions_leave_what_they_leave_as_compiled(drawn):
    module, names = drawn
    changed = short(module)
    assert differences(module, changed, names) == 0
    sizes = [sum(len(code.data) for code in m.body.children) for m in (module, changed)]
    assert sizes[0] > 8000 and sizes[1] < SHARE_MOST * sizes[0]


def _no_frame(made, _whole=live.alive):
    return {block: mask & (1 << thumb.FIRST_SLOT) - 1 for block, mask in _whole(made).items()}


def _any_value(ops, known, _masks):
    op = ops[0]
    return (1, [thumb.Op("mov#", d=op.d, i=1)]) if op.name == "load" and known.number(op.d) else None  # fmt: skip


@pytest.mark.parametrize(
    "where, name, wrong",
    [(live, "alive", _no_frame), (values, "WINDOWS", (_any_value, *values.WINDOWS))],
)
def test_a_wrong_rule_is_found(drawn, monkeypatch, where, name, wrong):
    module, names = drawn
    monkeypatch.setattr(where, name, wrong)
    assert differences(module, short(module), names) > 0


def test_every_function_of_the_installed_kernels_is_shorter():
    """Half of the compiler's bytes at most, and nothing else in the file differs."""
    for path, text in made.ready()[0].items():
        if path in plan.VIPER:
            whole = shipped.kernel(Path(path).stem)
            plain = _as_compiled(path, text)
            assert whole.names == plain.names and whole.body.data == plain.body.data
            for mine, theirs in zip(whole.body.children, plain.body.children, strict=True):
                assert (mine.name, mine.flags) == (theirs.name, theirs.flags)
                assert len(mine.data) < 0.7 * len(theirs.data), mine.name
            total = [sum(len(code.data) for code in m.body.children) for m in (whole, plain)]
            assert total[0] < 0.55 * total[1]


def _as_compiled(path: str, text: str):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "source.py"
        file.write_text(text, encoding="utf-8")
        return paths.load(plan.cross_compile(file, path, Path(folder), ("-X", "emit=viper")))


def test_an_instruction_out_of_the_table_leaves_a_function_as_it_is():
    wait_for_event = b"\x20\xbf"
    code = b"\x00\xb5" + wait_for_event + b"\x00\xbd"
    assert shorter.shorter(code) == code
    with pytest.raises(ValueError, match="no instruction of mpy-cross"):
        thumb.blocks(code)


def test_a_file_cut_short_is_refused():
    data = shipped.files()[f"{plan.KERNELS}tick.mpy"]
    assert mpyfile.with_code(data, lambda code: code) == data
    with pytest.raises(ValueError, match="Not a whole"):
        mpyfile.with_code(data[:-3], lambda code: code)
