"""FIGURES.md: what the whole checks found, and of which sources."""

import hashlib
import json
from pathlib import Path
from typing import Any

from tests.trust.bare import bare

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).with_name("figures.json")
PAGE = Path(__file__).with_name("FIGURES.md")
FIRMWARE = ("firmware/rimward_fw/**/*.py", "protocol/rimward_protocol/*.py")
# part -> what its figures are of
SOURCES: dict[str, tuple[str, ...]] = {
    "guard": ("firmware/rimward_fw/kernels/guard*.py",),
    "profile": ("protocol/rimward_protocol/profile.py", "protocol/rimward_protocol/mac.py"),
    "store": (
        "firmware/rimward_fw/storage/store.py",
        "firmware/rimward_fw/storage/records.py",
        "firmware/rimward_fw/storage/sessionfiles.py",
    ),
    "link": FIRMWARE,
    "soak": FIRMWARE,
}
# name in the report, part, check, figure
NAMED = (
    ("published values of HMAC, SHA and CRC through the device's own code", "store", "digests on the device", "published_values"),
    ("power cuts on littlefs", "store", "power cuts", "cuts"),
    ("power cuts that left anything wrong", "store", "power cuts", "failures"),
    ("planted defects of the store found", "store", "planted defects", "found"),
    ("rules of the guard", "guard", "rules-proved", "rules"),
    ("rules of the guard proved", "guard", "rules-proved", "proved"),
    ("planted defects found by the proofs", "guard", "rules-proved", "defects_found"),
    ("rules over three ticks proved", "guard", "three-ticks-proved", "proved"),
    ("intermediate values shown to stay within 30 bits", "guard", "no-value-past-30-bits", "values"),
    ("ticks on which executor and CPython agree", "guard", "executor-agrees", "ticks"),
    ("limits swept, five steps to either side", "guard", "limits-swept", "limits"),
    ("cases of the sweep", "guard", "limits-swept", "cases"),
    ("mutants of the guard", "guard", "mutants-killed", "mutants"),
    ("mutants of the guard judged", "guard", "mutants-killed", "judged"),
    ("mutants of the guard killed", "guard", "mutants-killed", "killed"),
    ("mutants of the guard proved equal to it", "guard", "mutants-killed", "proved_equal"),
    ("mutants of the profile check", "profile", "mutants-killed", "mutants"),
    ("mutants of the profile check judged", "profile", "mutants-killed", "judged"),
    ("mutants of the profile check killed", "profile", "mutants-killed", "killed"),
    ("mutants of the profile check proved equal to it", "profile", "mutants-killed", "proved_equal"),
    ("damaged frames through both parsers", "link", "frames: common parsers against COBS library, zlib and construct", "pieces"),
    ("damaged frames judged alike by MicroPython and CPython", "link", "frames: MicroPython judges as CPython", "pieces"),
    ("damaged frames into the whole firmware on CPython", "link", "whole firmware under damaged frames, CPython", "pieces"),
    ("damaged frames into the whole firmware on MicroPython", "link", "whole firmware under damaged frames, MicroPython", "pieces"),
    ("ticks that an attacked line made late", "link", "tick while the line is attacked in mid-fill", "halted_ticks"),
    ("slowest tick under attack, ms of a loaded machine's wall time", "link", "tick while the line is attacked in mid-fill", "slowest_tick_ms"),
    ("hours of virtual time soaked", "soak", "fills one after the other on MicroPython", "virtual_hours"),
    ("fills of the soak", "soak", "fills one after the other on MicroPython", "fills"),
)  # fmt: skip


def digest(part: str) -> str:
    """The first 16 digits of SHA-256 over the sources of a part, without comments, docstrings and imports."""
    whole = hashlib.sha256()
    for pattern in SOURCES[part]:
        for path in sorted(ROOT.glob(pattern)):
            whole.update(
                path.name.encode() + b"\0" + bare(path.read_text(encoding="utf-8")).encode()
            )
    return whole.hexdigest()[:16]


def figures(parts: dict[str, Any]) -> dict[str, Any]:
    """The figures that count, by name; sums where a check tells several kinds apart, numbers where it lists what went wrong."""
    found = {}
    for name, part, check, figure in NAMED:
        value = parts.get(part, {}).get("checks", {}).get(check, {}).get(figure)
        if value is not None:
            found[name] = (
                sum(value.values())
                if isinstance(value, dict)
                else len(value)
                if isinstance(value, list)
                else value
            )
    return found


def kept() -> dict[str, Any]:
    """Part -> {"checks": {...}} as kept; every check carries the digest of what it was of."""
    return json.loads(KEPT.read_text()) if KEPT.exists() else {}


def keep(parts: dict[str, Any]) -> None:
    """Add these whole checks, each with the digest of what it was of, to those kept, and write the page."""
    known = kept()
    for part, told in parts.items():
        for check, found in told["checks"].items():
            known.setdefault(part, {"checks": {}})["checks"][check] = found
    KEPT.write_text(json.dumps(known, indent=1) + "\n")
    PAGE.write_text(text(known))


def missing(known: dict[str, Any], wanted: dict[str, list[str]]) -> list[str]:
    """Return what the kept figures lack: a check that was not run or does not hold."""
    found = []
    for part, checks in wanted.items():
        for check in checks:
            row = known.get(part, {}).get("checks", {}).get(check)
            if row is None or not row["ok"]:
                found.append(f"{part}: {check}: {'not run' if row is None else 'does not hold'}")
    return found


def outdated(known: dict[str, Any]) -> list[str]:
    """Return the checks whose sources have changed since."""
    return [
        f"{part}: {check}: of earlier sources; run `python -m tests.trust --part {part} --write`"
        for part in SOURCES
        for check, row in known.get(part, {}).get("checks", {}).items()
        if row["of"] != digest(part)
    ]


def took(found: dict[str, Any]) -> str:
    """Seconds that a check took, or how it was made where that was not timed."""
    return f"{found['seconds']:,}" if found["seconds"] is not None else str(found["judged_in"])


def text(known: dict[str, Any]) -> str:
    """The page."""
    rows = [
        "# What the trust rests on, in figures",
        "",
        "Generated by `python -m tests.trust --write`; do not edit. Every check was run whole, none sampled.",
        "",
    ]
    rows += [f"- OUTDATED {line}" for line in outdated(known)] + ([""] if outdated(known) else [])
    rows += ["| figure | value |", "| --- | --- |"]
    rows += [f"| {name} | {value:,} |" for name, value in figures(known).items()]
    rows += [
        "",
        "| part | check | holds | took, s | of sources |",
        "| --- | --- | --- | --- | --- |",
    ]
    for part, told in known.items():
        for check, found in told["checks"].items():
            rows.append(
                f"| {part} | {check} | {'yes' if found['ok'] else 'NO'} | {took(found)} | `{found['of']}` |"
            )
    names = ", ".join(
        f"{part}: {', '.join(f'`{pattern}`' for pattern in patterns)}"
        for part, patterns in SOURCES.items()
    )
    rows += [
        "",
        f"Sources are named by the first 16 digits of SHA-256 over their files without comments, docstrings and imports ({names}).",
        "Times are of a loaded two-core machine.",
    ]
    return "\n".join(rows) + "\n"
