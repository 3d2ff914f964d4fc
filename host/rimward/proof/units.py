"""Independent specimens from rows: a rim tested twice is one rim, and counts with its lowest result."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rimward.proof.load import Sample

NO_BATCH = "(no batch named)"


@dataclass(frozen=True)
class Specimen:
    """One independent specimen: `deciding` is its lowest row (a release before a stop at the same margin)."""

    id: str
    deciding: Sample
    rows: tuple[Sample, ...]

    @property
    def margin(self) -> float:
        """Margin of the deciding row."""
        return self.deciding.margin

    @property
    def released(self) -> bool:
        """True if the deciding row is a release."""
        return self.deciding.released == "yes"

    @property
    def batch(self) -> str:
        """Batch of the deciding row."""
        return batch_of(self.deciding)


def batch_of(sample: Sample) -> str:
    """Batch of a row, with a name for none."""
    return str(sample.known.get("batch", NO_BATCH))


def drop_repeats(samples: Sequence[Sample]) -> tuple[list[Sample], list[Sample]]:
    """Leave out rows whose every cell equals an earlier row's: the same test given twice. Return (kept, dropped)."""
    seen: set[tuple[Any, ...]] = set()
    kept: list[Sample] = []
    dropped: list[Sample] = []
    for sample in samples:
        key = tuple(sorted((name, str(value)) for name, value in sample.known.items()))
        (dropped if key in seen else kept).append(sample)
        seen.add(key)
    return kept, dropped


def specimens(samples: Sequence[Sample]) -> list[Specimen]:
    """Group valid rows by rim; a row without a rim goes by its tyre, then by its own name within its file."""
    groups: dict[tuple[str, ...], list[Sample]] = {}
    for sample in samples:
        groups.setdefault(_identity(sample), []).append(sample)
    return [Specimen(identity[-1], _lowest(rows), tuple(rows)) for identity, rows in groups.items()]


def censored(lot: Sequence[Specimen]) -> bool:
    """Return True if any row did not end in release."""
    return any(row.released != "yes" for specimen in lot for row in specimen.rows)


def rim_reused(samples: Sequence[Sample]) -> bool:
    """Return True if a rim appears in several rows."""
    return _repeats([str(s.known["rim_id"]) for s in samples if "rim_id" in s.known])


def unit(samples: Sequence[Sample]) -> str:
    """Return the counted unit: rims if a rim or a tyre appears in several rows and the rims are named, tyres where only these are."""
    named = all("rim_id" in s.known for s in samples)
    if rim_reused(samples) or (named and tyre_reused(samples)):
        return "rim"
    tyres_only = all("tyre_id" in s.known and "rim_id" not in s.known for s in samples)
    return "tyre" if tyres_only and tyre_reused(samples) else "sample"


def tyre_reused(samples: Sequence[Sample]) -> bool:
    """Return True for a tyre serial in several rows, or a row that states an earlier mounting."""
    serials = [str(s.known["tyre_id"]) for s in samples if "tyre_id" in s.known]
    return _repeats(serials) or any(int(s.known.get("tyre_mounts", 1)) > 1 for s in samples)


def _identity(sample: Sample) -> tuple[str, ...]:
    for column in ("rim_id", "tyre_id"):
        if column in sample.known:
            return column, str(sample.known[column])
    return "sample", sample.file, sample.name


def _lowest(rows: list[Sample]) -> Sample:
    return min(rows, key=lambda sample: (sample.margin, sample.released != "yes"))


def _repeats(names: list[str]) -> bool:
    return len(set(names)) < len(names)
