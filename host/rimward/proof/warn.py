"""Warnings for readers of the figures: each has an id and one sentence."""

from collections.abc import Iterator, Sequence

from rimward.proof import bounds, censored, units
from rimward.proof.bounds import Ask
from rimward.proof.load import Sample
from rimward.proof.units import Specimen

Found = Iterator[tuple[str, str]]  # (id, sentence)


def collect(
    samples: Sequence[Sample],
    dropped: Sequence[Sample],
    valid: Sequence[Sample],
    lot: Sequence[Specimen],
    ask: Ask,
) -> list[dict[str, str]]:
    """Return all warnings that apply, in a fixed order."""
    found = [
        *_rows(samples, dropped, valid),
        *_reuse(valid, lot),
        *_lot(valid, lot),
        *_gauge(valid, lot, ask),
    ]
    return [{"id": name, "text": sentence} for name, sentence in found]


def _rows(samples: Sequence[Sample], dropped: Sequence[Sample], valid: Sequence[Sample]) -> Found:
    if dropped:
        yield (
            "repeated_rows",
            f"{len(dropped)} rows equal an earlier row in every cell and count once ({_places(dropped)}).",
        )
    if invalid := [sample for sample in samples if not sample.valid]:
        yield (
            "invalid_rows",
            f"{len(invalid)} rows are marked invalid and do not count ({_places(invalid)}).",
        )
    if bare := [sample for sample in valid if not sample.verified]:
        yield (
            "not_verified",
            f"{len(bare)} of {len(valid)} samples are not verified ({_places(bare)}): {_why(bare)}.",
        )
    if virtual := [sample for sample in valid if sample.virtual]:
        yield (
            "virtual_bench",
            f"{len(virtual)} samples come from a virtual bench ({_places(virtual)}): they are no evidence for a real rim.",
        )
    if weak := [sample for sample in valid if sample.released == "yes" and sample.margin <= 1]:
        yield (
            "released_within_limit",
            f"{len(weak)} rows released at or under their own limit ({_places(weak)}): that is a failure, whatever the bound of the rest of the batch.",
        )
    if high := [sample for sample in valid if sample.limit_pa > bounds.LIMIT_MAX_PA]:
        yield (
            "limit_looks_like_psi",
            f"limit_bar above 15 looks like psi ({_places(high)}): no pressures are given, only margins.",
        )


def _reuse(valid: Sequence[Sample], lot: Sequence[Specimen]) -> Found:
    if units.rim_reused(valid):
        yield (
            "rim_reused",
            f"Rims were tested more than once, so the rows are not independent: analysed by rim, each with its lowest result, n = {len(lot)}.",
        )
    elif len(lot) < len(valid):
        yield (
            "specimen_reused",
            f"The same tyre or sample name appears in several rows: they count as one specimen with its lowest result, n = {len(lot)}.",
        )
    if spread := [
        specimen
        for specimen in lot
        if len({(row.file, units.batch_of(row)) for row in specimen.rows}) > 1
    ]:
        yield (
            "specimen_in_several_batches",
            (
                f"{', '.join(specimen.id for specimen in spread[:3])}{' and more' if len(spread) > 3 else ''} in several batches or files: taken as one and "
                "counted at its lowest result. If they are different rims, give them different ids."
            ),
        )
    if units.tyre_reused(valid):
        yield (
            "tyre_reused",
            "Tyres were mounted more than once: rims that share a tyre are not fully independent, so the confidence is lower than stated.",
        )
    if used := [sample for sample in valid if sample.known.get("first_use") == "no"]:
        yield (
            "used_parts",
            f"{len(used)} rows were not the first use of rim and tyre ({_places(used)}).",
        )


def _lot(valid: Sequence[Sample], lot: Sequence[Specimen]) -> Found:
    if units.censored(lot):
        yield (
            "censored",
            "Some tests stopped before release: their margin is at least the one shown, and no mean or spread is formed from them.",
        )
        if censored.distinct_releases([s.margin for s in lot], [s.released for s in lot]) >= 2:
            yield (
                "likelihood_small",
                (
                    "Profile-likelihood bounds are approximate: over simulated lots of 5 to 10 a stated 95 % was really 91 to 94 % (Weibull) "
                    "and 86 to 92 % (normal)."
                ),
            )
    if len({units.batch_of(sample) for sample in valid}) > 1:
        yield (
            "batches_pooled",
            "Several batches: the pooled bound holds for no single batch; each batch has its own.",
        )
    if bounds.limits_differ(lot):
        yield "limits_differ", "The limits differ: bounds are given as margins only."
    if len({str(sample.known.get("medium", "")).lower() for sample in valid}) > 1:
        yield "media_mixed", "Rows with different or unstated filling media are pooled."


def _gauge(valid: Sequence[Sample], lot: Sequence[Specimen], ask: Ask) -> Found:
    if not bounds.gauge_of(lot, ask).known:
        yield (
            "gauge_unknown",
            "The gauge's uncertainty is not stated for every row: the bounds apply to readings, not to true pressure. State it with --gauge-u or in a column gauge_u_bar.",
        )
    if unsure := [
        sample for sample in valid if str(sample.known.get("calibrated", "")).lower() == "no"
    ]:
        yield (
            "gauge_uncalibrated",
            f"{len(unsure)} rows were read on an uncalibrated gauge ({_places(unsure)}).",
        )


def _why(samples: Sequence[Sample]) -> str:
    """Return each reason once."""
    reasons = dict.fromkeys(
        sample.evidence.partition(": ")[2] or sample.evidence for sample in samples
    )
    return "; ".join(reasons)


def _places(samples: Sequence[Sample]) -> str:
    shown = ", ".join(sample.where for sample in samples[:3])
    return shown + (f" and {len(samples) - 3} more" if len(samples) > 3 else "")
