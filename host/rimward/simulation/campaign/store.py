"""Campaign results on disk: a line of JSON, then finished chunks. A torn chunk at the end is dropped and repeated."""

import json
import struct
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rimward.base.errors import Refusal
from rimward.simulation.campaign import people
from rimward.simulation.campaign.play import RECORD
from rimward.simulation.engines import SOURCES
from rimward.simulation.plant.kept import digest

HEAD = struct.Struct("<III")  # chunk, records, check code


@dataclass(frozen=True)
class Plan:
    """The request. Equal plans give equal records."""

    sessions: int
    seed: int
    faults: tuple[str, ...]
    people: tuple[str, ...] = people.NAMES
    chunk: int = 200
    code: str = ""  # fingerprint of kernels, plant and campaign

    def chunks(self) -> int:
        """Return the number of chunks."""
        return -(-self.sessions // self.chunk)

    def numbers(self, chunk: int) -> range:
        """Numbers of the sessions of one chunk."""
        return range(chunk * self.chunk, min((chunk + 1) * self.chunk, self.sessions))


def fingerprint() -> str:
    """Fingerprint of every source that affects a session."""

    return digest((*SOURCES, "rimward.simulation.campaign.play"))


class Results:
    """Open result file and its chunks."""

    def __init__(self, path: Path, plan: Plan) -> None:
        self.path, self.plan = path, plan
        self.done: dict[int, np.ndarray] = {}
        if path.exists():
            self._read()
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(json.dumps(asdict(plan)).encode() + b"\n")

    def _read(self) -> None:
        data = self.path.read_bytes()
        head, _, body = data.partition(b"\n")
        if plan_in(head, self.path) != self.plan:
            raise Refusal(
                f"{self.path} belongs to another campaign or to other code.",
                "Use the same sessions, seed and faults, or another file.",
            )
        at = 0
        while at + HEAD.size <= len(body):
            chunk, count, check = HEAD.unpack_from(body, at)
            rows = body[at + HEAD.size : at + HEAD.size + count * RECORD.itemsize]
            if zlib.crc32(rows) != check or len(rows) != count * RECORD.itemsize:
                break
            self.done[chunk] = np.frombuffer(rows, RECORD)
            at += HEAD.size + len(rows)
        with self.path.open("r+b") as file:
            file.truncate(len(head) + 1 + at)

    def add(self, chunk: int, rows: np.ndarray) -> None:
        """Store a finished chunk at once."""
        raw = rows.tobytes()
        with self.path.open("ab") as file:
            file.write(HEAD.pack(chunk, len(rows), zlib.crc32(raw)) + raw)
        self.done[chunk] = rows

    def missing(self) -> list[int]:
        """Chunks still to be done."""
        return [chunk for chunk in range(self.plan.chunks()) if chunk not in self.done]

    def rows(self) -> np.ndarray:
        """All records so far, ordered by number."""
        return (
            np.concatenate([self.done[chunk] for chunk in sorted(self.done)])
            if self.done
            else np.zeros(0, RECORD)
        )


def plan_in(head: bytes, path: Path) -> Plan:
    """Plan in a result file's first line."""
    try:
        found: dict[str, Any] = json.loads(head)
        return Plan(**(found | {name: tuple(found[name]) for name in ("faults", "people")}))
    except (ValueError, TypeError, KeyError) as wrong:
        raise Refusal(
            f"{path} is not a file of campaign results.",
            "Use a file written by `rimward campaign`.",
        ) from wrong
