"""The table of kinds names existing tests, marks them, and keeps slow work out of quick tests."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests import branches, kinds

TOP = Path(__file__).parents[2]
EVERY = sorted(
    {place for _meaning, places in kinds.KINDS.values() for place in places} | set(kinds.FIRST)
)


@pytest.mark.parametrize("place", EVERY)
def test_what_is_named_exists(place: str) -> None:
    file, _, test = place.partition("::")
    found = sorted(TOP.glob(f"{file}*")) if not file.endswith("/") else [TOP / file]
    assert found and all(path.exists() for path in found)
    assert not test or f"def {test}(" in found[0].read_text()


def test_kinds_and_order() -> None:
    assert kinds.kinds_of("tests/web/test_looks.py::test_each_page[wide]") == ["browser"]
    assert kinds.kinds_of("tests/unit/test_kinds.py::test_kinds_and_order") == []
    ranks = [
        kinds.place_in_order(f"tests/{name}")
        for name in (
            "unit/test_campaign.py::a",
            "web/test_live.py::b",
            "unit/test_tag.py::c",
            "unit/test_kinds.py::d",
        )
    ]
    assert ranks == sorted(set(ranks))


def test_the_documents_list_every_marker() -> None:
    text = (TOP / "DEVELOPERS.md").read_text()
    assert re.findall(
        r"^\| `(\w+)` \|", text[text.index("| marker |") : text.index("A quick test that")], re.M
    ) == list(kinds.KINDS)


@pytest.mark.parametrize("slow", [True, False])
def test_a_quick_test_does_nothing_slow(slow: bool) -> None:
    plugin = kinds.Kinds()
    call = plugin.refusing(lambda value: value + 1, "adds")
    assert call(1) == 2
    plugin.running = SimpleNamespace(get_closest_marker=lambda name: slow)  # type: ignore[assignment]
    if slow:
        assert call(1) == 2
        return
    with pytest.raises(AssertionError, match="a test without the marker `slow` adds"):
        call(1)


def test_branches_are_counted_by_room_and_too_few_are_reported() -> None:
    def summary(branches: int, taken: int) -> dict:
        return {
            "summary": {
                "num_statements": 10,
                "covered_lines": 9,
                "num_branches": branches,
                "covered_branches": taken,
            }
        }

    files = {
        "host/rimward/limits/a.py": summary(100, 95),
        "/x/host/rimward/wheels/profiles.py": summary(20, 18),
        "host/rimward/wheels/keys.py": summary(20, 20),
    }
    rooms = branches.rooms_of(files)
    assert (
        rooms["wheels"]["taken"],
        rooms["wheels/profiles"]["branches"],
        rooms["limits"]["lines_run"],
    ) == (38, 20, 9)
    assert branches.short(rooms) == ["wheels/profiles", "sessions"]
