"""README shows the usual cautions, host/LIMITS.md their sources; tests/outside/test_cautions.py checks their numbers."""

import re
from pathlib import Path

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
LIMITS = (Path(__file__).parents[2] / "host" / "LIMITS.md").read_text(encoding="utf-8")
CAUTIONS = (
    "eye protection",  # common practice
    "out of the plane of the wheel",  # 29 CFR 1910.177(c), (g): stay out of the trajectory
    "screen or distance",  # 29 CFR 1910.177(d)(3): restraining device or barrier
    "maker's own limits and local codes come first",
    "a qualified person decides",
)
SOURCES = ("29 CFR 1910.177", "Title 8", "3325", "1910.242(b)", "ISO 4414")


def test_readme_shows_the_usual_cautions():
    text = " ".join(README.replace("\n> ", "\n").split())
    assert [caution for caution in CAUTIONS if caution not in text] == []


def test_the_sources_of_the_cautions_are_named():
    assert [source for source in SOURCES if source not in LIMITS] == []


def test_outside_checks_name_the_published_source_itself():
    """A check that only points at a list of values names no source."""
    folder = Path(__file__).parents[1] / "outside"
    vague = re.compile(r"check[ -]values|see the list|\(section \d")
    assert [
        path.name for path in folder.glob("*.py") if vague.search(path.read_text(encoding="utf-8"))
    ] == []
