"""The kernels as machine code for the board: guard.py and fill.py turned, statement by statement, into MicroPython's viper
subset; the modules that a kernel is split into become one file.

`python -m rimward.install.kernels` writes firmware/rimward_fw/fast/; with `--check` it says whether those files are current. Nothing is
decided here: every expression stays as it is written, only what viper lacks (min, max, abs, //, conditional values) is spelled out.
On an RP2040 the tick would else take longer than the guard allows.
"""

import ast
import copy
import sys
from pathlib import Path

HEAD = '"""{name}.py as machine code. Made by `python -m rimward.install.kernels` from {name}.py: change that, then make this again."""\n# ruff: noqa\n# mypy: ignore-errors\n'
IMPORTS = "\nimport micropython\nfrom rimward_protocol.compat import const\n\n"
DIVIDE = "\n\ndef _div(a, b):\n    return a // b\n"
KERNELS = ("guard", "fill")
PACKAGE = "rimward_fw.kernels."
# Stay as they are, which takes a third of the memory: run once, or only in ticks in which no air moves or little else is to be done.
PLAIN = ("boot", "_begin", "_learn", "_plan", "_measure", "_rest", "_bleed", "_first_sight", "_compare", "_look", "_knee", "_over", "_drained", "_hides")
SHORT = 4  # statements: a call of so short a helper costs more than the helper


class Lower:
    """One function. `wide` makes loads right on 64-bit interpreters too, where viper does not extend the sign."""

    def __init__(self, arrays: set[str], functions: dict[str, ast.FunctionDef], wide: bool) -> None:
        self.arrays = arrays
        self.functions = functions
        self.inlined = {name: f for name, f in functions.items() if _short(f)}
        self.wide = wide
        self.names = 0

    def fresh(self) -> str:
        self.names += 1
        return f"t{self.names}"

    # expressions: give simple source text, putting what must come first into `out`

    def value(self, node: ast.expr, out: list[ast.stmt]) -> ast.expr:
        """The expression as viper can work it out, an integer."""
        if isinstance(node, (ast.BoolOp, ast.Compare)) or isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return self._flag(node, out)
        if isinstance(node, ast.IfExp):
            return self._either(node, out)
        if isinstance(node, ast.Call):
            return self._call(node, out)
        if isinstance(node, ast.BinOp):
            left = self.value(node.left, out)
            right = self.value(node.right, out)
            if isinstance(node.op, ast.FloorDiv):
                return _int_of("_div", [left, right])
            return ast.BinOp(left, node.op, right)
        if isinstance(node, ast.UnaryOp):
            return _negated(node.op, self.value(node.operand, out))
        if isinstance(node, ast.Subscript):
            return self._load(node)
        if isinstance(node, ast.Constant) and isinstance(node.value, bool):
            return ast.Constant(int(node.value))
        if isinstance(node, (ast.Name, ast.Constant)):
            return node
        raise ValueError(f"line {node.lineno}: {ast.unparse(node)} is outside the kernels' subset")

    def _load(self, node: ast.Subscript) -> ast.expr:
        if not self.wide:
            return node
        top = ast.Constant(0x80000000)
        return ast.BinOp(ast.BinOp(node, ast.BitXor(), top), ast.Sub(), top)

    def _flag(self, node: ast.expr, out: list[ast.stmt]) -> ast.expr:
        """A truth value as 0 or 1."""
        name = self.fresh()
        out.append(_assign(name, ast.Constant(0)))
        out.append(ast.If(self.test(node, out), [_assign(name, ast.Constant(1))], []))
        return _name(name)

    def _either(self, node: ast.IfExp, out: list[ast.stmt]) -> ast.expr:
        name = self.fresh()
        test = self.test(node.test, out)
        yes: list[ast.stmt] = []
        no: list[ast.stmt] = []
        yes.append(_assign(name, self.value(node.body, yes)))
        no.append(_assign(name, self.value(node.orelse, no)))
        out.append(_assign(name, ast.Constant(0)))
        out.append(ast.If(test, yes, no))
        return _name(name)

    def _call(self, node: ast.Call, out: list[ast.stmt]) -> ast.expr:
        called = node.func.id if isinstance(node.func, ast.Name) else ""
        if called in ("min", "max"):
            return self._extreme(called, node.args, out)
        if called == "abs":
            name = self.fresh()
            out.append(_assign(name, self.value(node.args[0], out)))
            less = ast.Compare(_name(name), [ast.Lt()], [ast.Constant(0)])
            out.append(ast.If(less, [_assign(name, ast.BinOp(ast.Constant(0), ast.Sub(), _name(name)))], []))
            return _name(name)
        if called in self.inlined:
            return self._inline(node, out)
        if called in self.functions:
            args = self._arguments(node, out)
            name = self.fresh()
            out.append(_assign(name, _int_of(called, args)))
            return _name(name)
        raise ValueError(f"line {node.lineno}: {ast.unparse(node)} calls something unknown")

    def _order(self, node: ast.expr, out: list[ast.stmt]) -> None:
        """A call whose result nobody wants."""
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or node.func.id not in self.functions:
            raise ValueError(f"line {node.lineno}: {ast.unparse(node)} does nothing")
        if node.func.id in self.inlined:
            self._inline(node, out)
            return
        out.append(ast.Expr(ast.Call(node.func, self._arguments(node, out), [])))

    def _inline(self, node: ast.Call, out: list[ast.stmt]) -> ast.expr:
        """A short helper written out where it is called; gives what it returns."""
        assert isinstance(node.func, ast.Name)
        helper = self.inlined[node.func.id]
        given: dict[str, ast.expr] = {}
        for parameter, argument in zip(helper.args.args, node.args):
            given[parameter.arg] = argument if isinstance(argument, (ast.Name, ast.Constant)) else self._kept(argument, out)
        body = [Renamed(given).visit(copy.deepcopy(n)) for n in helper.body if not _is_docstring(n)]
        for statement in body[:-1]:
            self.statement(statement, out)
        return self.value(body[-1].value, out)

    def _kept(self, node: ast.expr, out: list[ast.stmt]) -> ast.expr:
        name = self.fresh()
        out.append(_assign(name, self.value(node, out)))
        return _name(name)

    def _arguments(self, node: ast.Call, out: list[ast.stmt]) -> list[ast.expr]:
        """An array is handed on as the object it came as."""
        return [_name(a.id + "_") if isinstance(a, ast.Name) and a.id in self.arrays else self.value(a, out) for a in node.args]

    def _extreme(self, called: str, args: list[ast.expr], out: list[ast.stmt]) -> ast.expr:
        name = self.fresh()
        out.append(_assign(name, self.value(args[0], out)))
        for more in args[1:]:
            other = self.fresh()
            out.append(_assign(other, self.value(more, out)))
            better = ast.Compare(_name(other), [ast.Lt() if called == "min" else ast.Gt()], [_name(name)])
            out.append(ast.If(better, [_assign(name, _name(other))], []))
        return _name(name)

    # conditions

    def test(self, node: ast.expr, out: list[ast.stmt]) -> ast.expr:
        """A condition for `if`; keeps the order and the short cuts of `and` and `or`."""
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return ast.UnaryOp(ast.Not(), self.test(node.operand, out))
        if isinstance(node, ast.BoolOp):
            return self._both(node, out)
        if isinstance(node, ast.Compare):
            if len(node.ops) > 1:
                return self.test(_chain(node), out)
            return ast.Compare(self.value(node.left, out), node.ops, [self.value(node.comparators[0], out)])
        return ast.Compare(self.value(node, out), [ast.NotEq()], [ast.Constant(0)])

    def _both(self, node: ast.BoolOp, out: list[ast.stmt]) -> ast.expr:
        parts: list[tuple[list[ast.stmt], ast.expr]] = []
        for one in node.values:
            before: list[ast.stmt] = []
            parts.append((before, self.test(one, before)))
        out.extend(parts[0][0])
        if not any(before for before, _ in parts[1:]):
            return ast.BoolOp(node.op, [test for _, test in parts])
        name = self.fresh()
        every = isinstance(node.op, ast.And)
        out.append(_assign(name, ast.Constant(0 if every else 1)))
        inner: list[ast.stmt] = [_assign(name, ast.Constant(1 if every else 0))]
        for before, test in reversed(parts):
            inner = [*before, ast.If(test if every else ast.UnaryOp(ast.Not(), test), inner, [])]
        out.extend(inner[len(parts[0][0]) :])
        return ast.Compare(_name(name), [ast.NotEq()], [ast.Constant(0)])

    # statements

    def block(self, body: list[ast.stmt]) -> list[ast.stmt]:
        out: list[ast.stmt] = []
        for statement in body:
            self.statement(statement, out)
        return out

    def statement(self, node: ast.stmt, out: list[ast.stmt]) -> None:
        if isinstance(node, ast.Expr):
            if not isinstance(node.value, ast.Constant):
                self._order(node.value, out)
        elif isinstance(node, ast.Assign) and len(node.targets) == 1:
            out.append(ast.Assign(node.targets, self.value(node.value, out), lineno=0))
        elif isinstance(node, ast.Return) and node.value is not None:
            out.append(ast.Return(self.value(node.value, out)))
        elif isinstance(node, ast.If):
            test = self.test(node.test, out)
            out.append(ast.If(test, self.block(node.body), self.block(node.orelse)))
        else:
            raise ValueError(f"line {node.lineno}: {type(node).__name__} is outside the kernels' subset")


class Renamed(ast.NodeTransformer):
    """A helper's parameters replaced by what was given for them."""

    def __init__(self, given: dict[str, ast.expr]) -> None:
        self.given = given

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return self.given.get(node.id, node)


def _is_docstring(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _short(function: ast.FunctionDef) -> bool:
    """A few stores into the arrays and one return: nothing that could not stand at the place of the call."""
    body = [n for n in function.body if not _is_docstring(n)]
    stores = all(isinstance(n, ast.Assign) and isinstance(n.targets[0], ast.Subscript) for n in body[:-1])
    return bool(body) and len(body) <= SHORT and stores and isinstance(body[-1], ast.Return)


def _assign(name: str, value: ast.expr) -> ast.stmt:
    return ast.Assign([ast.Name(name, ast.Store())], value, lineno=0)


def _name(name: str) -> ast.expr:
    return ast.Name(name, ast.Load())


def _int_of(called: str, args: list[ast.expr]) -> ast.expr:
    return ast.Call(_name("int"), [ast.Call(_name(called), args, [])], [])


def _negated(op: ast.unaryop, value: ast.expr) -> ast.expr:
    if isinstance(op, ast.USub) and not isinstance(value, ast.Constant):
        return ast.BinOp(ast.Constant(0), ast.Sub(), value)
    return ast.UnaryOp(op, value)


def _chain(node: ast.Compare) -> ast.expr:
    """a <= b <= c as two comparisons; b is a plain name in the kernels."""
    operands = [node.left, *node.comparators]
    if not all(isinstance(o, (ast.Name, ast.Constant)) for o in operands):
        raise ValueError(f"line {node.lineno}: a chained comparison of more than names")
    return ast.BoolOp(ast.And(), [ast.Compare(operands[i], [op], [operands[i + 1]]) for i, op in enumerate(node.ops)])


def _is_array(function: ast.FunctionDef, name: str) -> bool:
    """True for a parameter that is one of the kernels' arrays."""
    return name in ("g", "x", "f", "y")


def translate(source: str, name: str, wide: bool = False) -> str:
    """The viper form of a kernel's source. ValueError with the line for what lies outside the subset."""
    tree = ast.parse(source)
    functions = {n.name: n for n in tree.body if isinstance(n, ast.FunctionDef)}
    called = _called({name for name in functions if name in PLAIN}, functions)
    text = HEAD.format(name=name) + IMPORTS
    for node in tree.body:
        if isinstance(node, ast.Assign):
            text += ast.unparse(node) + "\n"
    if "//" in ast.unparse(tree):
        text += DIVIDE
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef):
            continue
        if node.name in PLAIN:
            text += _plain(node)
            continue
        if _short(node) and node.name != "step":
            if node.name in called:
                text += _plain(node)
            continue
        names = [a.arg for a in node.args.args]
        arrays = {n for n in names if _is_array(node, n)}
        body = Lower(arrays, functions, wide).block(node.body)
        if not isinstance(body[-1], ast.Return):
            body.append(ast.Return(ast.Constant(0)))
        handed = {n.id[:-1] for part in body for n in ast.walk(part) if isinstance(n, ast.Name) and n.id.endswith("_") and n.id[:-1] in arrays}
        typed = ", ".join(f"{n}_" if n in handed else f"{n}: {'ptr32' if n in arrays else 'int'}" for n in names)
        views = [_assign(n, ast.Call(_name("ptr32"), [_name(n + "_")], [])) for n in sorted(handed)]
        module = ast.fix_missing_locations(ast.Module([*views, *body], []))
        lines = "\n".join("    " + line for line in ast.unparse(module).split("\n"))
        text += f"\n\n@micropython.viper\ndef {node.name}({typed}) -> int:\n{lines}\n"
    return text


def source(name: str) -> str:
    """A kernel as one source: what its module takes from others of the firmware stands before it, every constant once."""
    found: list[ast.stmt] = []
    _gather(name, found, [])
    return ast.unparse(ast.Module(list({ast.unparse(node): node for node in found}.values()), [])) + "\n"


def parts(name: str) -> tuple[str, ...]:
    """The modules of a kernel in the order in which they use one another, the kernel itself last."""
    order: list[str] = []
    _gather(name, [], order)
    return tuple(order)


def _gather(name: str, found: list[ast.stmt], order: list[str]) -> None:
    """Appends the statements of a module to `found` and its name to `order`, after those of what it imports from the firmware."""
    own: list[ast.stmt] = []
    for node in ast.parse((firmware_folder() / "kernels" / f"{name}.py").read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith(PACKAGE):
            if node.module[len(PACKAGE) :] not in order:
                _gather(node.module[len(PACKAGE) :], found, order)
        elif not _is_docstring(node):
            own.append(node)
    found += own
    order.append(name)


def _called(plain: set[str], functions: dict[str, ast.FunctionDef]) -> set[str]:
    """What functions that stay as they are call, and what short ones among that call in turn."""
    found: set[str] = set()
    more = plain
    while more:
        calls = {n.func.id for name in more for n in ast.walk(functions[name]) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
        more = {name for name in calls - found if name in functions and _short(functions[name])}
        found |= calls
    return found


def _plain(node: ast.FunctionDef) -> str:
    node.body = node.body[1:] if ast.get_docstring(node) else node.body
    return f"\n\n{ast.unparse(node)}\n"


def firmware_folder() -> Path:
    """Where the firmware's package is."""
    import rimward_fw

    return Path(rimward_fw.__file__).resolve().parent


def outputs() -> dict[Path, str]:
    """Every generated file with what it must hold."""
    firmware = firmware_folder()
    made = {firmware / "fast" / f"{name}.py": translate(source(name), name) for name in KERNELS}
    made[firmware / "fast" / "__init__.py"] = ""
    return made


def stale() -> list[str]:
    """Names of generated files that are missing or not what they would be now."""
    return [path.name for path, text in outputs().items() if not path.exists() or path.read_text(encoding="utf-8") != text]


def main() -> int:
    """Writes the files, or with --check tells which are not current."""
    if sys.argv[1:] == ["--check"]:
        old = stale()
        print("\n".join(f"not current: {name}" for name in old) or "current")
        return 1 if old else 0
    for path, text in outputs().items():
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
