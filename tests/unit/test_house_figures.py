"""The page of the code's size and form: drawn from the kept figures; its counters are checked on a small tree."""

import ast
import json
from pathlib import Path

from tests import house


def test_the_page_is_drawn_from_what_is_kept() -> None:
    kept = json.loads(house.KEPT.read_text(encoding="utf-8"))
    assert house.PAGE.read_text(encoding="utf-8") == house.page(kept), (
        "run `python -m tests.house --write`"
    )


def test_the_second_round_left_the_code_in_better_form() -> None:
    kept = json.loads(house.KEPT.read_text(encoding="utf-8"))
    before, after = kept["before"]["overall"], kept["after"]["overall"]
    for figure in ("longest_file", "inside_functions", "in_circles", "unformatted"):
        assert after[figure] < before[figure], figure
    assert after["in_circles"] == after["unformatted"] == 0


def test_functions_are_counted(tmp_path: Path) -> None:
    text = (
        "class A:\n"
        "    def f(self, a: int, b) -> int:\n"
        '        """Add."""\n'
        "        return a if a and b else b\n"
        "def _g(x: int) -> int:\n"
        "    for i in range(x):\n"
        "        pass\n"
        "    return x\n"
    )
    found = house.counted([ast.parse(text)])
    assert sorted(found.lengths) == [3, 4]
    assert sorted(found.complexity) == [2, 3]
    assert found.documented == [False, True] and sorted(found.annotated) == [False, True]
    (tmp_path / "a.py").write_text(text)
    figures = house.folder_figures(tmp_path)
    assert (figures["files"], figures["lines"], figures["functions"]) == (1, 8, 2)


def test_modules_in_circles_are_counted() -> None:
    assert house.in_circles({"a": {"b"}, "b": {"c"}, "c": set()}) == 0
    assert house.in_circles({"a": {"b"}, "b": {"a"}, "c": {"a"}, "d": {"d"}}) == 3
