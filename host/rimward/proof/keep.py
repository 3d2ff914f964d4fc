"""Files of one test: begun before the first air, completed once the bench's record is pulled, whatever happened between.

`NAME.json` describes test and state, `NAME-live.rws` holds the live samples, `NAME-bench.rws` is the bench's own record,
`NAME.rws` joins both,
`NAME.csv` is the row for `rimward proof analyse`.
"""

import json
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from itertools import chain, count
from pathlib import Path
from typing import Any

from rimward_protocol import codes, enumerations, kernel_slots, layout

from rimward.base.errors import Refusal
from rimward.device.link import Client, verbs
from rimward.proof import bench, fromsession, merge, record, stated
from rimward.proof.events import find_events
from rimward.proof.load import Sample
from rimward.proof.retention import PASSES, verdict
from rimward.sessions import SessionLog, read_session
from rimward.sessions.beat import BEAT_LOST, stop_word
from rimward.wheels.keys import Ring

FORM = "rimward-proof-test-1"
ENDINGS = (".json", "-live.rws", "-bench.rws", ".rws", ".csv")


@dataclass(frozen=True)
class Files:
    """The files of one test in `folder`."""

    folder: Path
    name: str

    def path(self, ending: str) -> Path:
        """Path NAME with this suffix."""
        return self.folder / (self.name + ending)


def begin(
    folder: Path, device: str, before: Iterable[int], test: bench.Test, profile: bytes
) -> tuple[Files, record.Journal]:
    """Make the folder, write the description, and open the journal. `before`: sessions already in the bench."""
    folder.mkdir(parents=True, exist_ok=True)
    held = sorted(before)
    files = Files(folder, free_name(folder, f"proof-{device}-{max(held, default=0) + 1}"))
    facts: dict[str, Any] = {
        "form": FORM, "device": device, "begun_unix_s": int(time.time()), "sessions_before": held, "specimen": _specimen(test), "result": None,
    }  # fmt: skip
    _write(files, facts)
    header = {
        "tick_us": codes.TICK_US, "layout_hash": bytes(8), "kernel_hash": bytes(8), "device_id": device.encode()[:8].ljust(8, b"\0"),
        "session": max(held, default=0) + 1, "boot": 0, "unix_s": facts["begun_unix_s"],
        "words_g": kernel_slots.WORDS_G, "words_x": kernel_slots.WORDS_X, "words_f": kernel_slots.WORDS_F, "words_y": kernel_slots.WORDS_Y,
    }  # fmt: skip
    return files, record.Journal(
        files.path("-live.rws"),
        header,
        [bytes([layout.META_PROFILE]) + profile, stated.payload(facts["specimen"])],
    )


def _specimen(test: bench.Test) -> dict[str, Any]:
    return {**asdict(test), "wheel_id": test.wheel_id.hex()}


def _write(files: Files, facts: dict[str, Any]) -> None:
    files.path(".json").write_text(json.dumps(facts, indent=1), encoding="utf-8")


def read_facts(path: Path) -> dict[str, Any]:
    """Content of NAME.json. Refusal for another file."""
    try:
        facts: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        if facts["form"] != FORM:
            raise ValueError
    except (OSError, ValueError, KeyError, TypeError):
        raise Refusal(
            f"{path} is not a test begun here.",
            "Use the .json file written by `rimward proof run`.",
        ) from None
    return facts


def forget(files: Files) -> None:
    """Remove the files of a test that never had air."""
    for ending in ENDINGS:
        files.path(ending).unlink(missing_ok=True)


def free_name(folder: Path, name: str) -> str:
    """Return `name`, with a number appended where `folder` has files of that name: a bench that lost its memory counts from one again."""
    numbered = (f"{name}-{n}" for n in count(2))
    tried = chain([name], numbered)
    return next(
        one for one in tried if not any((folder / f"{one}{end}").exists() for end in ENDINGS)
    )


def fetch(client: Client, files: Files, ring: Ring) -> None:
    """Pull the bench's record of this test. Refusal where the bench has none that is closed."""
    facts = read_facts(files.path(".json"))
    if verbs.device_name(client) != facts["device"]:
        raise Refusal(
            f"This is bench {verbs.device_name(client)}, not {facts['device']}.",
            "Connect the bench that ran the test.",
        )
    own = files.path("-bench.rws")
    for row in sorted(verbs.list_sessions(client), key=lambda row: int(row["session"])):
        if (
            row["session"] in facts["sessions_before"]
            or not row["ended"]
            or row["wheel_id"] not in ("", facts["specimen"]["wheel_id"])
        ):
            continue
        verbs.pull_session(client, row["session"], own)
        profile = read_session(own).profile
        if profile and profile["revision"] == facts["specimen"]["revision"]:
            return
        own.unlink()
    raise Refusal(
        "The bench has no closed record of this test.",
        "Release the run control, then run it again; or finish without the bench.",
    )


def complete(files: Files, ring: Ring, beat_gap_s: float | None = None) -> dict[str, Any]:
    """Join the available records, write row and result, and return the result as a JSON-ready object. Without the bench's record the row is
    `invalid` unless the live samples show a release.
    """
    facts = read_facts(files.path(".json"))
    live = record.from_journal(files.path("-live.rws").read_bytes())
    own, whole = files.path("-bench.rws"), files.path(".rws")
    compared = None
    if own.exists():
        stored = own.read_bytes()
        compared = record.compare(stored, live)
        key = ring.current.key if ring.keys else None
        whole.write_bytes(
            record.whole_session(stored, live, key, [stated.payload(facts["specimen"])])
        )
    source = whole if own.exists() else files.path("-live.rws")
    log = read_session(source)
    sample = fromsession.sample_of(log, source.name, open_ended=not own.exists())
    sample = _with_doubts(sample, stop_word(log), compared, beat_gap_s)
    files.path(".csv").write_text(merge.to_csv([sample]), encoding="utf-8")
    found = _result(log, sample, compared, beat_gap_s)
    _write(files, {**facts, "result": found})
    kept = {"session": source, "live": files.path("-live.rws"), "row": files.path(".csv")} | (
        {"bench_session": own} if own.exists() else {}
    )
    return {**found, "files": {name: str(path) for name, path in kept.items()}}


def _with_doubts(
    sample: Sample, word: str, compared: dict[str, Any] | None, beat_gap_s: float | None
) -> Sample:
    """Row with the facts that only this computer knows: the gap of a lost heartbeat, and differing samples."""
    if word == BEAT_LOST and beat_gap_s:
        sample = fromsession.with_cells(
            sample,
            {"stop_reason": f"{sample.known['stop_reason']} ({beat_gap_s:.2f} s without a beat)"},
        )
    if compared and compared["differing"]:
        why = f"{compared['differing']} samples of the bench differ from the live ones, by up to {compared['largest_pa'] / 1e5:.3f} bar"
        cells = {"released": "invalid", "stop_reason": f"{sample.known['stop_reason']}: {why}"}
        sample = replace(fromsession.with_cells(sample, cells), released="invalid")
    return sample


def _result(
    log: SessionLog, sample: Sample, compared: dict[str, Any] | None, beat_gap_s: float | None
) -> dict[str, Any]:
    """Return the result: `ended` done, released or stopped; `retention_held` True, False, or None where undecided."""
    state = codes.word_of(enumerations.FILL_STATES, log.end["state"]) if log.end else "not closed"
    retention = verdict(sample)
    t_ms, low_pa, venting = fromsession.trace_of(log)
    return {
        "ended": "released"
        if sample.released == "yes"
        else "done"
        if state == "done" and sample.released == "no"
        else "stopped",
        "state": state,
        "cause": stop_word(log),
        "released": sample.released,
        "reason": sample.known["stop_reason"],
        "retention_held": PASSES[retention],
        "retention": retention,
        "highest_bar": sample.release_bar,
        "limit_bar": sample.limit_bar,
        "margin": sample.margin,
        "hold_s": sample.known["hold_s"],
        "beat_gap_s": None if beat_gap_s is None else round(beat_gap_s, 2),
        "compared": compared,
        "row": sample.raw,
        "events": [
            event.as_json() for event in find_events(t_ms - t_ms[0], low_pa, venting=venting)
        ],
    }
