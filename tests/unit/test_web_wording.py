"""Words on pages: no refusal of the host package names a command or an option once a page has said it."""

import ast
import re
from pathlib import Path

import pytest
import rimward
from rimward.web.wording import on_page

HOST = Path(rimward.__file__).parent
ELSEWHERE = (
    "commands",
    "campaign",
    "install",
    "virtual",
    "plant",
    "simulation",
    "kernels",
    "preset",
    "cli.py",
    "checkup.py",
    "settings.py",
)
WORDS = re.compile(r"\brimward [a-z]|(?<![\w-])--[a-z]|pip install|RIMWARD_|`")


def texts() -> list[str]:
    """Every text of the modules behind the pages that names a command or an option; what a format puts in is a letter."""
    found = []
    for path in sorted(HOST.rglob("*.py")):
        if path.relative_to(HOST).parts[0] in ELSEWHERE:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        heads = {
            id(n.body[0].value)
            for n in ast.walk(tree)
            if isinstance(n, (ast.Module, ast.ClassDef, ast.FunctionDef))
            and n.body
            and isinstance(n.body[0], ast.Expr)
        }
        inner = {id(v) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for v in n.values}
        for node in ast.walk(tree):
            if isinstance(node, ast.JoinedStr):
                text = "".join(
                    str(v.value) if isinstance(v, ast.Constant) else "X" for v in node.values
                )
            elif (
                isinstance(node, ast.Constant)
                and isinstance(node.value, str)
                and id(node) not in heads
                and id(node) not in inner
            ):
                text = node.value
            else:
                continue
            if (
                re.search(r"\brimward [a-z]+\b.*[ .`]|(?<![\w-])--[a-z]", text)
                and "wording.py" not in path.name
                and " " in text
            ):
                found.append(text)
    return found


def test_no_command_is_named_on_a_page() -> None:
    given = texts()
    assert len(given) > 25
    left = [
        (text, on_page(text))
        for text in given
        if WORDS.search(on_page(text)) and not text.startswith("rimward key id")
    ]
    assert left == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("This computer has no workshop key. Make one: rimward key new; or import one: rimward key import FILE.",
         "This computer has no workshop key. Make or give the workshop key on the Set-up page."),
        ("The rim's size cannot be read. Write it as 622x23TSS.", "The rim's size cannot be read. Write it as 622x23TSS."),
        ("A temperature is missing. Measure it and state --fill-temp.", "A temperature is missing. Measure it and state it as the air where you fill."),
        ("Look the tyre up in its maker's list and state --approved yes or no, or answer for a wheel of the register: rimward wheel ask WHEEL.",
         "Look the tyre up in its maker's list and state the approval: yes or no, under the tyre's size on the Wheel page."),
    ],
)  # fmt: skip
def test_the_pages_own_act_is_named(text: str, words: str) -> None:
    assert on_page(text) == words
