"""The trust report fails with any failed check, and marks figures of other sources."""

import sys
import types

import pytest

from tests.trust import __main__ as trust
from tests.trust import page


def fake(**checks) -> types.ModuleType:
    module = types.ModuleType("tests.trust.fake_part")
    module.CHECKS = {
        name: lambda quick, found=found: found(quick) for name, found in checks.items()
    }  # type: ignore[attr-defined]
    module.ONLY_WHOLE = ("long",)  # type: ignore[attr-defined]
    return module


@pytest.fixture
def part(monkeypatch):
    def use(**checks):
        monkeypatch.setitem(sys.modules, "tests.trust.fake_part", fake(**checks))
        monkeypatch.setattr(trust, "PARTS", {"fake": "tests.trust.fake_part"})

    return use


def test_all_must_hold(part):
    part(one=lambda quick: {"ok": True, "count": 3}, two=lambda quick: {"ok": True})
    found = trust.report(True)
    assert found["ok"] and found["parts"]["fake"]["checks"]["one"]["count"] == 3
    part(one=lambda quick: {"ok": True}, two=lambda quick: {"ok": False})
    assert not trust.report(True)["ok"]


def test_an_exception_is_a_failure(part):
    part(one=lambda quick: {"ok": True}, two=lambda quick: 1 // 0)
    found = trust.report(True)
    assert not found["ok"] and found["parts"]["fake"]["checks"]["two"]["raised"].startswith(
        "ZeroDivisionError"
    )


def test_no_check_is_no_success(part):
    part(one=lambda quick: {"ok": True})
    assert not trust.report(True, checks=["none of this name"])["ok"]


def test_the_quick_run_leaves_out_only_what_is_named(part):
    part(one=lambda quick: {"ok": True}, long=lambda quick: {"ok": not quick})
    assert list(trust.report(True)["parts"]["fake"]["checks"]) == ["one"]
    assert (
        list(trust.report(False)["parts"]["fake"]["checks"]) == ["one", "long"]
        and trust.report(False)["ok"]
    )


def wanted() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {part: [] for part in trust.PARTS}
    for part, check in trust.tasks(False, [], []):
        found[part].append(check)
    return found


def test_every_named_figure_is_of_a_check():
    assert set(page.SOURCES) == set(trust.PARTS)
    for _, part, check, _ in page.NAMED:
        assert check in wanted()[part]


def test_every_whole_check_has_been_run_and_holds():
    assert page.missing(page.kept(), wanted()) == []


def test_the_page_is_the_kept_figures():
    assert page.PAGE.read_text() == page.text(page.kept())


def test_figures_of_another_guard_are_listed_as_outdated():
    known = {
        "guard": {
            "checks": {
                "one": {"ok": True, "of": page.digest("guard"), "seconds": 1.0},
                "two": {"ok": False, "of": page.digest("guard"), "seconds": 1.0},
            }
        }
    }
    assert page.missing(known, {"guard": ["one", "two", "three"]}) == [
        "guard: two: does not hold",
        "guard: three: not run",
    ]
    assert page.outdated(known) == []
    known["guard"]["checks"]["one"]["of"] = "0" * 16
    assert page.outdated(known) == [
        "guard: one: of earlier sources; run `python -m tests.trust --part guard --write`"
    ]
    assert "- OUTDATED guard: one: of earlier sources" in page.text(known)
