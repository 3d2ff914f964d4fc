"""Archive of pulled sessions: files in the user's data folder with an index that can be rebuilt from them."""

import calendar
import contextlib
import hashlib
import os
import re
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.sessions.facts import Facts, device_text, facts
from rimward.sessions.log import read_session
from rimward.wheels.register.place import data_dir
from rimward.wheels.register.search import folded

FOLDER, INDEX, SUFFIX = "sessions", "index.db", ".rws"
NAME = re.compile(r"[a-z0-9]{1,16}-[0-9]{6}-[0-9a-f]{8}")
LARGEST_BYTES = 32_000_000
BUSY_S = 10.0

COLUMNS = (
    ("name", "TEXT PRIMARY KEY"),
    ("device", "TEXT"),
    ("session", "INTEGER"),
    ("unix_s", "INTEGER"),
    ("added_s", "INTEGER"),
    ("bytes", "INTEGER"),
    ("sha256", "TEXT UNIQUE"),
    ("wheel_id", "TEXT"),
    ("label", "TEXT"),
    ("who", "TEXT"),
    ("cause", "TEXT"),
    ("tyre_pa", "INTEGER"),
    ("highest_pa", "INTEGER"),
    ("target_pa", "INTEGER"),
    ("ceiling_pa", "INTEGER"),
    ("seconds", "REAL"),
    ("words", "TEXT"),
)
NAMES = tuple(name for name, _kind in COLUMNS)


@dataclass(frozen=True)
class Query:
    """Search criteria; empty: everything. Dates as YYYY-MM-DD, UTC, both ends included."""

    words: str = ""
    first: str = ""
    last: str = ""
    wheel_id: str = ""
    cause: str = ""


class Archive:
    """Sessions of one data folder. Every verb raises Refusal with the next step."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder or data_dir() / FOLDER
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with self._open() as db:
            db.execute(
                f"CREATE TABLE IF NOT EXISTS fills ({', '.join(f'{name} {kind}' for name, kind in COLUMNS)})"
            )
            known = {row["name"] for row in db.execute("SELECT name FROM fills")}
        for path in sorted(self.folder.glob(f"*{SUFFIX}")):
            if path.stem not in known and NAME.fullmatch(path.stem):
                with contextlib.suppress(Refusal):  # a file that is not a session is left in place
                    self._enter(path.stem, path.read_bytes(), "")

    def add(self, data: bytes, who: str = "") -> str:
        """Store a session and return its name; equal bytes are stored once. Refusal for bytes that are not a session."""
        if len(data) > LARGEST_BYTES:
            raise Refusal(
                f"This file is larger than {LARGEST_BYTES // 1_000_000} MB.",
                "Use a session file made by an inflator.",
            )
        held = self._one("sha256 = ?", hashlib.sha256(data).hexdigest())
        if held is not None:
            return str(held["name"])
        header = read_session(data).header
        name = name_of(data, header)
        aside = self.folder / f".{name}.{os.getpid()}.part"
        try:
            with aside.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            aside.replace(self.path(name))
        except OSError as failed:
            aside.unlink(missing_ok=True)
            raise Refusal(
                f"The session cannot be kept: {failed.strerror}.",
                "Free space on the disk; it is still on the inflator.",
            ) from failed
        self._enter(name, data, who)
        return name

    def _enter(self, name: str, data: bytes, who: str) -> None:
        f = facts(data, data, who, check=False)
        row = row_of(name, data, f)
        with self._open() as db:
            marks = ", ".join("?" * len(NAMES))
            db.execute(
                f"INSERT OR IGNORE INTO fills ({', '.join(NAMES)}) VALUES ({marks})",
                [row[n] for n in NAMES],
            )

    def path(self, name: str) -> Path:
        """File of a session. Refusal for an invalid name."""
        if not NAME.fullmatch(name):
            raise Refusal(
                f"'{name[:60]}' is not the name of a stored session.", "See the log for the names."
            )
        return self.folder / f"{name}{SUFFIX}"

    def read(self, name: str) -> bytes:
        """Bytes of a session, as received."""
        try:
            return self.path(name).read_bytes()
        except OSError as missing:
            raise Refusal(
                f"There is no stored session {name}.", "See the log for the names."
            ) from missing

    def row(self, name: str) -> dict[str, Any]:
        """Index row of a session."""
        self.path(name)
        held = self._one("name = ?", name)
        if held is None:
            raise Refusal(f"There is no stored session {name}.", "See the log for the names.")
        return held

    def holds(self, device: str, row: dict[str, Any]) -> bool:
        """Return True if a session listed by an inflator is already stored."""
        return (
            self._one(
                "device = ? AND session = ? AND unix_s = ? AND bytes = ?",
                device,
                row["session"],
                row["unix_s"],
                row["bytes"],
            )
            is not None
        )

    def find(self, query: Query | None = None, most: int = 500) -> list[dict[str, Any]]:
        """Index rows that match, newest first."""
        query = query or Query()
        where: list[str] = ["1"]
        values: list[Any] = []
        for word in folded(query.words).split():
            where.append("words LIKE ? ESCAPE '\\'")
            values.append("%" + re.sub(r"([\\%_])", r"\\\1", word) + "%")
        for column, wanted in (("wheel_id", query.wheel_id), ("cause", query.cause)):
            if wanted:
                where.append(f"{column} = ?")
                values.append(wanted)
        for sign, day, plus in ((">=", query.first, 0), ("<", query.last, 86_400)):
            if day:
                where.append(f"(CASE WHEN unix_s > 0 THEN unix_s ELSE added_s END) {sign} ?")
                values.append(day_s(day) + plus)
        order = "CASE WHEN unix_s > 0 THEN unix_s ELSE added_s END DESC, session DESC"
        with self._open() as db:
            return [
                dict(row)
                for row in db.execute(
                    f"SELECT * FROM fills WHERE {' AND '.join(where)} ORDER BY {order} LIMIT ?",
                    [*values, most],
                )
            ]

    def causes(self) -> list[str]:
        """Every cause that ended a stored session."""
        with self._open() as db:
            return [
                row["cause"]
                for row in db.execute("SELECT DISTINCT cause FROM fills ORDER BY cause")
            ]

    def _one(self, where: str, *values: Any) -> dict[str, Any] | None:
        with self._open() as db:
            found = db.execute(f"SELECT * FROM fills WHERE {where}", values).fetchone()
        return dict(found) if found else None

    @contextlib.contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            db = sqlite3.connect(self.folder / INDEX, timeout=BUSY_S)
            try:
                db.row_factory = sqlite3.Row
                with db:
                    yield db
            finally:
                db.close()
        except sqlite3.Error as failed:
            raise Refusal(
                f"The index of kept sessions cannot be used: {failed}.",
                f"Delete {self.folder / INDEX}; it is rebuilt.",
            ) from failed


def who_kept(data: bytes) -> str:
    """Person with whom these bytes are kept on this computer; empty if they are not. Nothing is made."""
    if not (data_dir() / FOLDER / INDEX).is_file():
        return ""
    held = Archive()._one("sha256 = ?", hashlib.sha256(data).hexdigest())
    return str(held["who"]) if held else ""


def name_of(data: bytes, header: dict[str, Any]) -> str:
    """File name from inflator, number and the beginning of the digest, so that no two sessions share a name."""

    device = re.sub(r"[^a-z0-9]", "", device_text(header["device_id"]).lower())[:16] or "inflator"
    return f"{device}-{header['session'] % 1_000_000:06d}-{hashlib.sha256(data).hexdigest()[:8]}"


def row_of(name: str, data: bytes, f: Facts) -> dict[str, Any]:
    """Index row of a session's bytes."""
    searched = (
        f.label,
        f.position or "",
        f.size or "",
        f.who,
        f.cause,
        f.device,
        f.wheel_id or "",
        f.rim_class or "",
        str(f.session),
    )
    row = {column: getattr(f, column) for column in NAMES if hasattr(f, column)}
    digest = hashlib.sha256(data).hexdigest()
    return {
        **row,
        "name": name,
        "bytes": len(data),
        "sha256": digest,
        "added_s": int(time.time()),
        "words": folded(" ".join(searched)),
    }


def day_s(day: str) -> int:
    """Seconds since 1970 of a day's beginning, UTC. Refusal for anything but YYYY-MM-DD."""

    try:
        return calendar.timegm(time.strptime(day, "%Y-%m-%d"))
    except ValueError as wrong:
        raise Refusal(f"'{day[:20]}' is not a date.", "Write it as 2026-03-31.") from wrong
