"""Merging of proof files of several labs, and detection of duplicates."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from rimward.proof import schema
from rimward.proof.load import Sample, Value
from rimward.proof.units import drop_repeats


@dataclass(frozen=True)
class Merged:
    """`samples` to write; `repeated` rows left out; `renamed` (old, new, where); `suspects`: rows that may be one test under two names."""

    samples: tuple[Sample, ...]
    repeated: tuple[Sample, ...]
    renamed: tuple[tuple[str, str, str], ...]
    suspects: tuple[tuple[Sample, Sample], ...]


def merge(samples: Sequence[Sample]) -> Merged:
    """Leave out rows equal in every known cell; prefix a name used for different tests with its file's name."""
    kept, repeated = drop_repeats(samples)
    files = {name: {s.file for s in kept if s.name == name} for name in {s.name for s in kept}}
    shared = {name for name, where in files.items() if len(where) > 1}
    named = [_prefixed(sample) if sample.name in shared else sample for sample in kept]
    suspects = _suspects(named) + _told_twice(kept, named)
    renamed = [
        (old.name, new.name, old.where)
        for old, new in zip(kept, named, strict=True)
        if old.name != new.name
    ]
    return Merged(tuple(named), tuple(repeated), tuple(renamed), tuple(suspects))


def to_csv(samples: Sequence[Sample]) -> str:
    """Return the joined file: published columns with content first, unknown columns after."""
    used = {column for sample in samples for column, cell in sample.raw.items() if cell}
    known = [
        column for column in schema.columns() if column in used or column in schema.required_names()
    ]
    names = known + sorted(column for column in used if column not in schema.columns() and column)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([sample.raw.get(name, "") for name in names] for sample in samples)
    return out.getvalue()


def as_json(merged: Merged) -> dict[str, Any]:
    """Return the result for JSON."""
    return {
        "rows": len(merged.samples),
        "repeated": [{"sample": s.name, "where": s.where} for s in merged.repeated],
        "renamed": [{"from": old, "to": new, "where": where} for old, new, where in merged.renamed],
        "suspects": [{"first": _brief(a), "second": _brief(b)} for a, b in merged.suspects],
    }


def _prefixed(sample: Sample) -> Sample:
    name = f"{sample.file.removesuffix('.csv')}:{sample.name}"
    return replace(
        sample,
        name=name,
        raw={**sample.raw, "sample": name},
        known={**sample.known, "sample": name},
    )


def _suspects(samples: Sequence[Sample]) -> list[tuple[Sample, Sample]]:
    """Return rows with the same rim (or, unnamed, the same tyre) released at the same pressure under two names. Equal stops are ordinary."""
    seen: dict[tuple[Any, ...], Sample] = {}
    found = []
    for sample in samples:
        part = _part(sample)
        key = (part, sample.release_bar, sample.limit_bar)
        if part is not None and sample.released == "yes":
            if key in seen:
                found.append((seen[key], sample))
            seen.setdefault(key, sample)
    return found


def _told_twice(kept: Sequence[Sample], named: Sequence[Sample]) -> list[tuple[Sample, Sample]]:
    """Rows of two files with one name and one result, where one file only says more than the other: no cell that both fill differs."""
    first: dict[tuple[Any, ...], tuple[Sample, Sample]] = {}
    found = []
    for old, new in zip(kept, named, strict=True):
        key = (old.name, old.released, old.release_bar, old.limit_bar)
        before, shown = first.setdefault(key, (old, new))
        alike = all(
            before.known[column] == old.known[column]
            for column in before.known.keys() & old.known.keys()
        )
        same_rim = (
            old.released == "yes" and _part(before) is not None and _part(before) == _part(old)
        )  # reported as such already
        if old.valid and before.file != old.file and alike and not same_rim:
            found.append((shown, new))
    return found


def _part(sample: Sample) -> Value | None:
    return sample.known.get("rim_id") or sample.known.get("tyre_id")


def _brief(sample: Sample) -> dict[str, Any]:
    return {"sample": sample.name, "where": sample.where}
