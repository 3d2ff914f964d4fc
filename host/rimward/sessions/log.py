"""Session log as numpy arrays, directly from its bytes. A torn log is read up to the last valid block and marked as damaged."""

import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from rimward_protocol import codes, enumerations, kernel_words, layout, session, sessionread, tables

from rimward.base.errors import Refusal
from rimward.formats import records

WHY = {
    session.TORN: "its end is missing",
    session.DAMAGED: "a block fails its check code",
    session.OUT_OF_ORDER: "blocks are missing or out of order",
}
KINDS = {word: number for number, word, _table in tables.BLOCKS}
TABLES = {number: table for number, _word, table in tables.BLOCKS}


@dataclass
class Span:
    """Unbroken full-rate ticks from a snapshot on. Arrays of int32: `x` (n, 24), `y` (n, words of y), `out` and `fill` (n,)."""

    tick: int
    start: dict[str, np.ndarray]  # g, x, f, y just before the first tick
    x: np.ndarray
    y: np.ndarray
    out: np.ndarray
    fill: np.ndarray
    marks: dict[int, dict[str, np.ndarray]] = field(
        default_factory=dict
    )  # later snapshots inside the span, by tick

    @property
    def ticks(self) -> int:
        """Number of ticks."""
        return len(self.out)


@dataclass
class SessionLog:
    """One session. `damage` is empty for a complete log. Times in ticks of 2 ms, pressures in Pa gauge."""

    header: dict[str, Any]
    trace: (
        np.ndarray
    )  # fields tick, a_pa, b_pa, tyre_pa (-1 unknown), out, state, ceiling_pa, stop_pa, target_pa
    events: list[dict[str, Any]]
    meta: dict[str, bytes]
    spans: list[Span]
    end: dict[str, Any] | None
    damage: str
    blocks: int
    good_bytes: int
    chained: bool
    broken_spans: int

    @property
    def profile(self) -> dict[str, Any] | None:
        """Fields of the profile in force."""
        data = self.meta.get("profile")
        return records.unpack_profile(data, self.bench) if data else None

    @property
    def bench(self) -> bool:
        """True for the record of a proof bench, which has a bench profile and its own kernels."""
        data = self.meta.get("profile")
        return bool(
            data and records.unpack_record(layout.PROFILE, data)["flags"] & codes.FLAG_BENCH
        )

    @property
    def conditions(self) -> dict[str, int]:
        """Ambient, air and tyre temperature, ceiling in force and stop reading at arming."""
        names = ("ambient_pa", "air_ck", "t0_ck", "ceiling_pa", "stop_pa")
        data = self.meta.get("conditions", b"")
        return dict(zip(names, struct.unpack("<5i", data))) if len(data) == 20 else {}

    def series(self, step: int = 5) -> np.ndarray:
        """Trace, completed by every `step`-th tick of the full-rate spans where it has gaps; same fields, ordered by tick."""
        pieces = [self.trace]
        for span in self.spans:
            piece = _from_span(span, step)
            near = np.searchsorted(self.trace["tick"], piece["tick"])
            gap = np.ones(len(piece), bool)
            for shift in (0, -1):
                at = near + shift
                inside = (at >= 0) & (at < len(self.trace))
                distance = np.abs(self.trace["tick"][at[inside]] - piece["tick"][inside])
                gap[inside] &= distance > 2 * step
            pieces.append(piece[gap])
        whole = np.concatenate(pieces)
        return whole[np.argsort(whole["tick"], kind="stable")]


def read_session(source: Path | bytes) -> SessionLog:
    """Read a log. Refusal if it is not a session or of another version; later damage is reported in `damage`."""
    data = source if isinstance(source, bytes) else _read(source)
    why, header, found, good = sessionread.read_blocks(data)
    if header is None:
        raise _no_session(why, source)
    by_kind: dict[int, list[bytes]] = {number: [] for number in TABLES}
    payloads = [(kind, data[start:stop]) for kind, start, stop in found]
    for kind, payload in payloads:
        by_kind.setdefault(kind, []).append(payload)
    spans, broken = _spans(header, by_kind)
    ends = by_kind[KINDS["END"]]
    end = records.unpack_record(layout.END, ends[-1]) if ends else None
    damage = "" if why == session.OK else WHY.get(why, why)
    if not damage and end is None:
        damage = "it has no end: the fill was not closed"
    chained = bool(found) and bool(data[header["header_bytes"] + 1] & session.FLAG_MAC)
    meta = {codes.word_of(tables.META_KEYS, row[0]): row[1:] for row in by_kind[KINDS["META"]]}
    if "profile" in meta:
        meta["profile"] = records.of_first_version(meta["profile"])
    events = sorted((_event(row) for row in by_kind[KINDS["EVENT"]]), key=lambda row: row["tick"])
    trace = _trace(by_kind[KINDS["TRACE"]])
    return SessionLog(
        header, trace, events, meta, spans, end, damage, len(found), good, chained, broken
    )


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as wrong:
        raise Refusal(
            f"{path} cannot be read: {wrong.strerror}.", "Name a session file."
        ) from wrong


def _no_session(why: str, source: Path | bytes) -> Refusal:
    name = "This file" if isinstance(source, bytes) else str(source)
    if why == session.OTHER_VERSION:
        return Refusal(
            f"{name} is a session of a version that this host does not read.", "Update the host."
        )
    if why == session.NOT_A_SESSION:
        return Refusal(
            f"{name} is not a session file.",
            "Use a file made by `rimward session pull` or `rimward demo`.",
        )
    return Refusal(f"The header of {name} is damaged.", "Pull the session again.")


def _event(payload: bytes) -> dict[str, Any]:
    row = records.unpack_record(layout.EVENT, payload)
    row["event"] = codes.word_of(enumerations.EVENTS, row["event"])
    return row


TRACE_FIELDS = np.dtype(
    [
        ("tick", "i8"),
        ("a_pa", "i4"),
        ("b_pa", "i4"),
        ("tyre_pa", "i4"),
        ("out", "u1"),
        ("state", "u1"),
    ]
    + [("ceiling_pa", "i4"), ("stop_pa", "i4"), ("target_pa", "i4")]
)


def _trace(payloads: list[bytes]) -> np.ndarray:
    """All TRACE records as one array ordered by tick. The blocks are concatenated first, so that numpy is called once."""
    head_type, record_type = records.dtype(layout.TRACE), records.dtype(layout.TRACE_RECORD)
    size = head_type.itemsize
    if any(len(payload) < size for payload in payloads):
        raise records.no_sense()
    heads = np.frombuffer(b"".join([payload[:size] for payload in payloads]), head_type)
    counts = heads["n"].astype(np.intp)
    if any(
        len(payload) < size + n * record_type.itemsize
        for payload, n in zip(payloads, counts.tolist(), strict=True)
    ):
        raise records.no_sense()
    body = b"".join(
        [
            payload[size : size + n * record_type.itemsize]
            for payload, n in zip(payloads, counts.tolist(), strict=True)
        ]
    )
    rows = np.frombuffer(body, record_type)
    block = np.repeat(np.arange(len(heads)), counts)  # block of each record
    within = np.arange(len(rows)) - (np.cumsum(counts) - counts)[block]
    whole = np.empty(len(rows), TRACE_FIELDS)
    whole["tick"] = (
        heads["tick"].astype(np.int64)[block] + heads["step"].astype(np.int64)[block] * within
    )
    for name in ("a", "b", "tyre"):
        whole[f"{name}_pa"] = rows[f"{name}_hpa"].astype(np.int32) * 100
    whole["tyre_pa"][rows["tyre_hpa"] == layout.UNKNOWN_HPA] = -1
    for name in ("out", "state"):
        whole[name] = rows[name]
    for name in ("ceiling", "stop", "target"):
        whole[f"{name}_pa"] = (heads[f"{name}_hpa"].astype(np.int32) * 100)[block]
    if np.all(whole["tick"][1:] >= whole["tick"][:-1]):
        return whole
    return whole[np.argsort(whole["tick"], kind="stable")]


def _from_span(span: Span, step: int) -> np.ndarray:
    """Trace records computed from recorded inputs, as the guard does; the tyre is unknown in them."""
    at = {name: i for i, name in enumerate(kernel_words.GUARD_INPUT)}
    x = span.x[::step].astype(np.int64)
    piece = np.zeros(len(x), TRACE_FIELDS)
    piece["tick"] = span.tick + step * np.arange(len(x))
    for side, bit in (("a", 1), ("b", 2)):
        pa = (x[:, at[side]] * x[:, at[f"gain_{side}"]] >> 9) + x[:, at[f"off_{side}"]]
        piece[f"{side}_pa"] = pa - np.where(x[:, at["flags"]] & bit, x[:, at["ambient"]], 0)
    piece["tyre_pa"] = -1
    piece["out"] = span.out[::step]
    piece["ceiling_pa"] = x[:, at["ceil_pa"]]
    piece["stop_pa"] = x[:, at["ceil_pa"]] - x[:, at["band_pa"]]
    return piece


def _snapshots(header: dict[str, Any], payloads: list[bytes]) -> dict[int, dict[str, np.ndarray]]:
    """Complete snapshots by tick; incomplete ones are left out."""
    sizes = {name: header[f"words_{name}"] for name in "gxfy"}
    found: dict[int, dict[str, np.ndarray]] = {}
    filled: dict[int, int] = {}
    for payload in payloads:
        piece = sessionread.read_words(payload, 0, len(payload))
        if piece is None:
            continue
        tick, which, first, total, row = piece
        name = "gxfy"[which]
        if total != sizes[name]:
            continue
        arrays = found.setdefault(tick, {n: np.zeros(size, np.int32) for n, size in sizes.items()})
        arrays[name][first : first + len(row)] = row
        filled[tick] = filled.get(tick, 0) + len(row)
    whole = sum(sizes.values())
    return {tick: arrays for tick, arrays in found.items() if filled[tick] == whole}


def _spans(header: dict[str, Any], by_kind: dict[int, list[bytes]]) -> tuple[list[Span], int]:
    """Return (spans, full-rate stretches without a snapshot, which cannot be replayed)."""
    snapshots = _snapshots(header, by_kind[KINDS["SNAPSHOT"]])
    blocks = sorted(
        (records.fast_columns(payload) for payload in by_kind[KINDS["FAST"]]),
        key=lambda block: block[0],
    )
    spans: list[Span] = []
    run: list[Any] = []
    lost, lost_to = 0, -1
    for block in blocks:
        if run and block[0] != run[-1][0] + run[-1][1].shape[1]:
            lost += _close(run, snapshots, spans)
            run = []
        if not run and block[0] not in snapshots:
            lost += block[0] != lost_to
            lost_to = block[0] + block[1].shape[1]
            continue
        run.append(block)
    lost += _close(run, snapshots, spans)
    return spans, lost


def _close(run: list[Any], snapshots: dict[int, dict[str, np.ndarray]], spans: list[Span]) -> int:
    if not run:
        return 0
    tick = run[0][0]
    start = snapshots[tick]
    columns = np.concatenate([block[1] for block in run], axis=1)
    n = columns.shape[1]
    offsets = np.concatenate(
        [block[2]["offset"].astype(np.int64) + block[0] - tick for block in run]
    )
    fields = np.concatenate([block[2]["field"] for block in run])
    values = np.concatenate([block[2]["value"] for block in run])
    x = _filled(start["x"], n, offsets, fields, values, session.FIELD_X)
    x[:, [0, 1, 3, 4]] = columns.T
    y = _filled(start["y"], n, offsets, fields, values, session.FIELD_Y)
    out = _filled(np.zeros(1, np.int32), n, offsets, fields, values, session.FIELD_OUT)[:, 0]
    fill = _filled(np.zeros(1, np.int32), n, offsets, fields, values, session.FIELD_FILL)[:, 0]
    marks = {t: arrays for t, arrays in snapshots.items() if tick < t < tick + n}
    spans.append(Span(tick, start, x, y, out, fill, marks))
    return 0


def _filled(
    start: np.ndarray,
    n: int,
    offsets: np.ndarray,
    fields: np.ndarray,
    values: np.ndarray,
    base: int,
) -> np.ndarray:
    """Array (n, words) with each word's last value at every tick."""
    table = np.tile(start.astype(np.int32), (n, 1))
    for word in range(len(start)):
        mine = fields == base + word
        if mine.any():
            at, new = offsets[mine], values[mine]
            lengths = np.diff(np.append(at, n))
            table[at[0] :, word] = np.repeat(new, lengths)
    return table


def word_names(array: str) -> tuple[str, ...]:
    """Names of the words of g, x, f or y."""
    words: dict[str, tuple[str, ...]] = {
        "g": kernel_words.GUARD_STATE,
        "x": kernel_words.GUARD_INPUT,
        "f": kernel_words.FILL_STATE,
        "y": kernel_words.FILL_INPUT,
    }
    return words[array]
