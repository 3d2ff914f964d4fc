"""Evidence of a sample: session files are checked with the bench key; rows, which a person could have typed, are not verified."""

from dataclasses import replace
from pathlib import Path

from rimward.base.errors import Refusal
from rimward.formats import records
from rimward.proof import fromsession, load
from rimward.proof.load import Sample
from rimward.sessions import read_session, verification

VIRTUAL = "simulated"  # board name of a virtual inflator


def read_sample(path: Path, label: str = "", unverified: bool = False) -> Sample:
    """Return the sample of one session file with its evidence, completed by the row beside it. Refusal for what cannot count, and, unless
    `unverified`, for a record whose chain does not fit this computer's bench key.
    """
    name = label or path.name
    log = read_session(path)
    sample = fromsession.sample_of(log, name)
    keys = verification.keys_for(log)
    found = verification.verify(log, path.read_bytes(), keys)
    if not unverified and (found.chain is False or (log.bench and keys and not found.chain)):
        raise Refusal(
            f"{name}: {verification.verdict_of(found)}. It was edited, received live only, or recorded by a bench with another key.",
            "Import that key with `rimward key import FILE --purpose bench`, or add --unverified to count it anyway.",
        )
    beside = path.with_suffix(".csv")
    if beside.is_file():
        sample = _with_row(sample, beside)
    virtual = records.text_of(log.meta.get("board", b"")) == VIRTUAL
    return replace(
        sample, verified=found.holds, evidence=verification.verdict_of(found), virtual=virtual
    )


def _with_row(sample: Sample, beside: Path) -> Sample:
    """Sample with the columns that only the row of the same test has: medium, batch, serials."""

    try:
        rows = load.read_rows(beside)
    except Refusal:
        return sample
    same = [row for row in rows if row.name == sample.name and row.limit_bar == sample.limit_bar]
    if len(same) != 1:
        return sample
    more = {column: value for column, value in same[0].known.items() if column not in sample.known}
    extra = {
        column: cell
        for column, cell in same[0].raw.items()
        if column not in same[0].known and column not in sample.raw
    }
    found = fromsession.with_cells(sample, more)
    return replace(found, raw={**found.raw, **extra})
