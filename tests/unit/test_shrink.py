"""What the compiled install takes out of the sources: names of numbers, never a meaning. What cannot be followed stays."""

import ast

import pytest
from rimward.install import plan, shrink

CONST = "try:\n    from micropython import const\nexcept ImportError:\n\n    def const(value):\n        return value\n"


def small(**modules):
    texts = {"p": "", "p.compat": CONST} | {f"p.{name}": text for name, text in modules.items()}
    return {name.removeprefix("p."): text.strip() for name, text in shrink.shrunk(texts, {"p"}).items()}


def test_numbers_stand_in_place_of_names_across_modules():
    done = small(a="from .compat import const\nONE = const(1)\nTWO = ONE + 1\n", b="from . import a\nfrom .a import ONE\n\ndef f():\n    return a.TWO + ONE\n")
    assert done["b"] == "def f():\n    return 2 + 1" and done["a"] == ""


def test_a_name_that_is_set_again_stays():
    text = "N = 1\n\ndef f():\n    global N\n    N = 2\n"
    done = small(a=text, b="from . import a\n\ndef f():\n    return a.N\n")
    assert "N = 1" in done["a"] and "a.N" in done["b"]


@pytest.mark.parametrize(
    ("use", "asked", "gives"),
    [
        ("def f(N):\n    return N", "f(7)", 7),
        ("def f():\n    N = 3\n    return N", "f()", 3),
        ("class C:\n    N = 4\n\n    def f(self):\n        return self.N + N", "C().f()", 5),
        ("def f():\n    return [N for N in (5, 6)]", "f()", [5, 6]),
    ],
)
def test_a_name_of_its_own_is_not_the_constant(use, asked, gives):
    space = {}
    exec(small(a="N = 1\n" + use)["a"], space)
    assert eval(asked, space) == gives


def test_a_constant_that_is_still_asked_for_stays():
    done = small(a="N = 1\n", b="from . import a\n\ndef f(x):\n    return x.N\n")
    assert done["a"] == "N = 1"


def test_names_that_others_import_from_here_stay_imported():
    done = small(a="from .compat import const\n", b="from .a import const\n\ndef f():\n    return const(3)\n")
    assert done["a"] == "from .compat import const"


def test_parameters_get_few_names_unless_somebody_says_them():
    done = small(a="def f(first, second):\n    return first - second\n\n\ndef g():\n    return f(1, second=2)\n")
    assert done["a"].startswith("def f(p0, second):\n    return p0 - second")


def test_an_outer_parameter_that_an_inner_function_reads_keeps_its_name():
    done = small(a="def f(first):\n\n    def g(second):\n        return first + second\n    return g\n")
    namespace = {}
    exec(done["a"], namespace)
    assert namespace["f"](2)(3) == 5


def test_the_whole_firmware_keeps_no_public_number(capsys):
    texts = plan.shrunk_texts(plan.sources())
    assert len(texts) > 45
    for path, text in texts.items():
        tree = ast.parse(text)
        left = [n.targets[0].id for n in tree.body if isinstance(n, ast.Assign) and isinstance(n.value, ast.Constant) and type(n.value.value) is int]
        assert not left, f"{path}: {left}"


def test_every_name_that_is_read_is_there():
    """No module of the shrunk firmware reads a global that nothing in it sets or imports."""
    import builtins

    for path, text in plan.shrunk_texts(plan.sources()).items():
        tree = ast.parse(text)
        names = [n for n in ast.walk(tree) if isinstance(n, ast.Name)]
        held = {n.id for n in names if not isinstance(n.ctx, ast.Load)} | {a.arg for a in ast.walk(tree) if isinstance(a, ast.arg)}
        held |= {n.name for n in ast.walk(tree) if isinstance(n, (ast.FunctionDef, ast.ClassDef))} | {h.name for h in ast.walk(tree) if isinstance(h, ast.ExceptHandler)}
        held |= {(a.asname or a.name).split(".")[0] for n in ast.walk(tree) if isinstance(n, (ast.Import, ast.ImportFrom)) for a in n.names}
        missing = {n.id for n in names if isinstance(n.ctx, ast.Load)} - held - set(dir(builtins)) - {"ptr32", "uint", "__file__"}
        assert not missing, f"{path}: {sorted(missing)}"
