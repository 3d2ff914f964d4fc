"""Whether a sample is what a bench recorded: session files are checked with the bench key, rows that a person could have typed are not verified."""

from dataclasses import replace
from pathlib import Path

from rimward import records
from rimward.errors import Refusal
from rimward.proof import fromsession
from rimward.proof.load import Sample
from rimward.sessions import read_session, verification

VIRTUAL = "simulated"  # the board of a virtual inflator


def read_sample(path: Path, label: str = "", unverified: bool = False) -> Sample:
    """The sample of one session file with what verifies it, and what the row beside it says more. Refusal for what cannot count, and, unless
    `unverified`, for a record whose chain does not fit the bench key that this computer has."""
    name = label or path.name
    log = read_session(path)
    sample = fromsession.sample_of(log, name)
    keys = verification.keys_for(log)
    found = verification.verify(log, path.read_bytes(), keys)
    if not unverified and (found.chain is False or (log.bench and keys and not found.chain)):
        raise Refusal(
            f"{name}: {verification.verdict_of(found)}. It was edited, only heard live, or recorded by a bench with another key.",
            "Take that key over with `rimward key import FILE --purpose bench`, or add --unverified to count it all the same.",
        )
    beside = path.with_suffix(".csv")
    if beside.is_file():
        sample = _with_row(sample, beside)
    virtual = records.text_of(log.meta.get("board", b"")) == VIRTUAL
    return replace(sample, verified=found.holds, evidence=verification.verdict_of(found), virtual=virtual)


def _with_row(sample: Sample, beside: Path) -> Sample:
    """The sample with the columns that only the row of the same test has: medium, batch, serials."""
    from rimward.proof import load

    try:
        rows = load.read_file(beside)
    except Refusal:
        return sample
    same = [row for row in rows if row.name == sample.name and row.limit_bar == sample.limit_bar]
    if len(same) != 1:
        return sample
    more = {column: value for column, value in same[0].known.items() if column not in sample.known}
    extra = {column: cell for column, cell in same[0].raw.items() if column not in same[0].known and column not in sample.raw}
    found = fromsession.with_cells(sample, more)
    return replace(found, raw={**found.raw, **extra})
