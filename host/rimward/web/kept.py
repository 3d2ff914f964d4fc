"""Proof tests stored on this computer: results as text, files, and interrupted tests."""

import json
import re
import time
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.base.units import show_limit, show_reading
from rimward.device.link.client import Client
from rimward.proof import keep, retention
from rimward.sessions.beat import BEAT_LOST
from rimward.wheels.keys import Ring
from rimward.wheels.register.place import data_dir

FOLDER = "proof"
NAME = re.compile(r"[0-9]{8}-[0-9]{6}")
RESULT = "result.json"
MOST = 200
ENDED_WORDS = {
    "done": "Every level was held.",
    "released": "The tyre blew off.",
    "stopped": "Stopped before its end.",
}


def place() -> Path:
    """Folder of all tests; each has its own, named by its start."""
    return data_dir() / FOLDER


def save(
    name: str,
    found: dict[str, Any],
    label: str,
    who: str,
    called_off: str = "",
    interrupted: bool = False,
) -> dict[str, Any]:
    """Write the result of a test beside its files; return it with the test's name."""
    facts = keep.read_facts(_base(name).path(".json"))
    more = {
        "name": name,
        "label": label,
        "who": who,
        "medium": facts["specimen"]["medium"],
        "unix_s": facts["begun_unix_s"],
    }
    found = {**found, **more, "called_off": called_off, "interrupted": interrupted}
    (place() / name / RESULT).write_text(json.dumps(found, indent=1), encoding="utf-8")
    return found


def kept(running: str = "") -> list[dict[str, Any]]:
    """Return the tests with samples on this computer, newest first; `running` names the unfinished one."""
    rows = []
    for folder in sorted(place().glob("*-*"), reverse=True)[:MOST]:
        if folder.name == running or not NAME.fullmatch(folder.name):
            continue
        try:
            path = folder / RESULT
            found = (
                json.loads(path.read_text(encoding="utf-8"))
                if path.exists()
                else _interrupted(folder.name)
            )
            rows.append({**in_words(found), "own": "bench" in files_of(folder.name)})
        except (OSError, ValueError, KeyError, Refusal):
            continue  # existing files stay unchanged
    return rows


def _interrupted(name: str) -> dict[str, Any]:
    """Return the result of a test that was never completed, from the live samples alone."""
    files = _base(name)
    return save(
        name,
        keep.complete(files, Ring((), "")),
        keep.read_facts(files.path(".json"))["specimen"]["label"],
        "",
        interrupted=True,
    )


def finish(name: str, client: Client, ring: Ring) -> dict[str, Any]:
    """Complete an interrupted test with the bench's own record."""
    files = _base(name)
    keep.fetch(client, files, ring)
    before = json.loads((place() / name / RESULT).read_text(encoding="utf-8"))
    return save(
        name, keep.complete(files, ring), before["label"], before["who"], before["called_off"]
    )


def _base(name: str) -> keep.Files:
    """Files of a stored test. Refusal for an unknown name."""
    found = sorted((place() / name).glob("proof-*.json")) if NAME.fullmatch(name) else []
    if not found:
        raise Refusal(f"There is no kept test {name[:40]}.", "See the list of tests for the names.")
    return keep.Files(place() / name, found[0].stem)


def files_of(name: str) -> dict[str, Path]:
    """Files of a stored test by form; `bench` only with the bench's own record. Refusal for an unknown name."""
    files = _base(name)
    if not (files.folder / RESULT).is_file():
        raise Refusal(f"There is no kept test {name[:40]}.", "See the list of tests for the names.")
    own, whole = files.path("-bench.rws"), files.path(".rws")
    found = {
        "rws": whole if whole.exists() else files.path("-live.rws"),
        "csv": files.path(".csv"),
        "json": files.folder / RESULT,
    }
    return found | ({"bench": own} if own.exists() else {})


def event_words(event: dict[str, Any]) -> dict[str, Any]:
    """Event as text."""
    kind = event["kind"].replace("_", " ")
    highest = show_reading(round(event["highest_before_pa"]))
    return {
        "t_s": round(event["t_ms"] / 1000, 2),
        "kind": kind,
        "text": f"{kind}, highest before it {highest}",
    }


def in_words(found: dict[str, Any]) -> dict[str, Any]:
    """Return the result as text, with the figures that `rimward proof run` prints."""
    return {
        "name": found["name"],
        "label": found["label"],
        "when": time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(found["unix_s"])),
        "ended": ENDED_WORDS[found["ended"]],
        "all_held": found["ended"] == "done",
        "cause": found["cause"].replace("-", " "),
        "note": _note(found),
        "interrupted": found["interrupted"],
        "retention": retention.WORDS[found["retention"]],
        "highest": f"{show_reading(found['highest_bar'] * 1e5)} gauge",
        "limit": f"{show_limit(round(found['limit_bar'] * 1e5))} gauge",
        "margin": f"{found['margin']:.3f}",
        "censored": ""
        if found["ended"] == "released"
        else "Not released: the margin is censored, at least this much.",
        "held": f"{found['hold_s']:.0f} s",
        "events": [event_words(event)["text"] for event in found["events"]],
    }


def _note(found: dict[str, Any]) -> str:
    if found["cause"] == BEAT_LOST:
        gap = f" for {found['beat_gap_s']:.1f} s" if found["beat_gap_s"] else ""
        return f"Beat lost: no beat of the page came{gap}, while the run control was held. {found['called_off']}".strip()
    return f"Invalid: {found['reason']}." if found["released"] == "invalid" else ""
