"""Reading and writing the register: every verb appends changes, none alters one."""

import contextlib
import getpass
import json
import random
import secrets
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.wheels.register import search
from rimward.wheels.register.engine import connect, unreachable
from rimward.wheels.register.fields import FIELDS, FORGETS, check_values
from rimward.wheels.register.schema import change, wheel_now

WHEEL_ID_BYTES = 8
BUSY_S = 15.0  # how long a change gives way to other programs that change the same wheel


@dataclass(frozen=True)
class Change:
    """One entry: wheel, field, value, time (UTC, ms since 1970), author, marking it was read from."""

    wheel_id: str
    seq: int
    field: str
    value: Any
    at_ms: int
    who: str
    marking: str = ""
    note: str = ""


@dataclass(frozen=True)
class Wheel:
    """Current state of a wheel: `values` by field name, `entries` the change of each value."""

    wheel_id: str
    values: Mapping[str, Any]
    entries: Mapping[str, Change] = field(repr=False)

    @property
    def label(self) -> str:
        """Label of the wheel."""
        return str(self.values["label"])

    @property
    def retired(self) -> bool:
        """True if the wheel is retired."""
        return bool(self.values.get("retired"))

    @property
    def last_seq(self) -> int:
        """Sequence number of its newest change."""
        return max(entry.seq for entry in self.entries.values())


def person() -> str:
    """Name of the person entering: the setting `user`, else the login name."""
    stated = settings.value("user")
    if stated:
        return stated[:80]
    try:
        return getpass.getuser()[:80]
    except (KeyError, OSError, ImportError):
        return "unknown"


def as_change(row: Any) -> Change:
    """Build a change from a row."""
    return Change(
        row.wheel_id,
        row.seq,
        row.field,
        json.loads(row.value),
        row.at_ms,
        row.who,
        row.marking,
        row.note,
    )


def as_wheels(rows: Iterable[Any]) -> list[Wheel]:
    """Group rows of the current state by wheel, in the order of labels."""
    entries: dict[str, dict[str, Change]] = {}
    for row in rows:
        entries.setdefault(row.wheel_id, {})[row.field] = as_change(row)
    wheels = [
        Wheel(wheel_id, {name: c.value for name, c in found.items() if c.value is not None}, found)
        for wheel_id, found in entries.items()
    ]
    return sorted(
        wheels, key=lambda w: (search.folded(w.label), w.values.get("position", ""), w.wheel_id)
    )


def append(
    conn: Connection, entry: "Entry", first_seq: int, values: Mapping[str, Any], who: str
) -> None:
    """Append one change for each field of the entry's wheel."""
    at_ms = int(time.time() * 1000)
    rows = [
        {
            "wheel_id": entry.wheel_id,
            "seq": first_seq + i,
            "field": name,
            "value": json.dumps(value, ensure_ascii=False, sort_keys=True),
            "at_ms": at_ms,
            "who": who[:80],
            "marking": entry.markings.get(name, "")[:200],
            "note": entry.note[:400],
        }
        for i, (name, value) in enumerate(values.items())
    ]
    conn.execute(sa.insert(change), rows)


def edited(now: Wheel, checked: Mapping[str, Any], markings: Mapping[str, str]) -> dict[str, Any]:
    """Return the changes of an edit: changed values, confirmed ones, and None for values of a part that was replaced."""
    wanted = dict(checked)
    for part, gone in FORGETS.items():
        if part in checked and checked[part] != now.values.get(part):
            wanted.update(
                {name: None for name in gone if name not in checked and name in now.values}
            )
    return {
        name: value
        for name, value in wanted.items()
        if value != now.values.get(name) or name in markings
    }


@dataclass(frozen=True)
class Entry:
    """One wheel of a batch: its id, `make(wheel or None)` returns the values to append, and their markings."""

    wheel_id: str
    make: Callable[[Wheel | None], Mapping[str, Any]]
    markings: Mapping[str, str] = field(default_factory=dict)
    note: str = ""


class Register:
    """Register on one database. All verbs raise Refusal with the next step."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def close(self) -> None:
        """Close the database."""
        self.engine.dispose()

    def all(self, include_retired: bool = False) -> list[Wheel]:
        """All wheels by label."""
        with self._reading() as conn:
            wheels = as_wheels(conn.execute(sa.select(wheel_now)))
        return [w for w in wheels if include_retired or not w.retired]

    def by_id(self, wheel_id: str) -> Wheel | None:
        """Wheel with this id (16 hexadecimal digits), retired or not; None if unknown."""
        with self._reading() as conn:
            found = as_wheels(
                conn.execute(sa.select(wheel_now).where(wheel_now.c.wheel_id == wheel_id))
            )
        return found[0] if found else None

    def get(self, wanted: str, include_retired: bool = False) -> Wheel:
        """Wheel that `wanted` names uniquely: an id, the start of one, a label, or a few words."""
        wheels = self.all(include_retired)
        found = search.named(wheels, wanted)
        if len(found) == 1:
            return found[0]
        if not found:
            raise Refusal(
                f"No wheel matches '{wanted}'.",
                "See `rimward wheel list`, or add it with `rimward wheel add`.",
            )
        some = ", ".join(
            f"{w.label} ({w.values.get('position', 'any')}, {w.wheel_id[:6]})" for w in found[:5]
        )
        raise Refusal(
            f"'{wanted}' matches {len(found)} wheels: {some}{' ...' if len(found) > 5 else ''}.",
            "Type more letters or the id.",
        )

    def find(
        self, words: str = "", size: str = "", tag: str = "", include_retired: bool = False
    ) -> list[Wheel]:
        """Wheels that match everything stated: words or parts of words, a tyre or rim size, a tag."""
        return search.matching(self.all(include_retired), words, size, tag)

    def history(self, wheel_id: str) -> list[Change]:
        """Every change of a wheel, oldest first."""
        with self._reading() as conn:
            rows = conn.execute(
                sa.select(change).where(change.c.wheel_id == wheel_id).order_by(change.c.seq)
            )
            return [as_change(row) for row in rows]

    def add(
        self,
        values: Mapping[str, Any],
        who: str = "",
        markings: Mapping[str, str] | None = None,
        note: str = "",
    ) -> Wheel:
        """Add a wheel and return it. Rim and tyre sizes are checked; limits stay as printed."""
        checked = {name: value for name, value in check_values(values).items() if value is not None}
        missing = [
            f.name.replace("_", "-")
            for f in FIELDS.values()
            if f.required and f.name not in checked
        ]
        if missing:
            raise Refusal(
                f"A wheel needs {' and '.join(missing)}.",
                f"Add {' '.join('--' + m for m in missing)}.",
            )
        wheel_id = secrets.token_hex(WHEEL_ID_BYTES)
        self._append(wheel_id, lambda _now: checked, who, markings or {}, note, new=True)
        return self._known(wheel_id)

    def edit(
        self,
        wheel_id: str,
        values: Mapping[str, Any],
        who: str = "",
        markings: Mapping[str, str] | None = None,
        note: str = "",
        read: int | None = None,
    ) -> Wheel:
        """Append new values for a wheel (None removes a value).

        `read`: the wheel's `last_seq` when it was read for this edit. Refusal with the changes where somebody has changed it since.

        Another tyre or rim removes the old one's printed limits unless they are stated again: they were read from a part that is gone.
        """
        checked = check_values(values)

        def make(now: Wheel) -> Mapping[str, Any]:
            refuse_changed(now, read)
            return edited(now, checked, markings or {})

        self._append(wheel_id, make, who, markings or {}, note)
        return self._known(wheel_id)

    def retire(self, wheel_id: str, who: str = "", note: str = "", back: bool = False) -> Wheel:
        """Hide a wheel from lists and searches (`back` restores it); its history is kept."""
        self._append(
            wheel_id,
            lambda now: {} if now.retired != back else {"retired": not back},
            who,
            {},
            note,
        )
        return self._known(wheel_id)

    def record(
        self,
        wheel_id: str,
        make: Callable[[Wheel], Mapping[str, Any]],
        who: str = "",
        note: str = "",
    ) -> Wheel:
        """Append the result of `make` on the wheel's present state, under the write lock (profiles, rim type checks)."""
        self._append(wheel_id, make, who, {}, note)
        return self._known(wheel_id)

    def append_many(self, entries: Iterable[Entry], who: str = "") -> None:
        """Append many wheels' changes in one transaction: all or none."""
        name = who or person()
        try:
            with self.engine.connect().execution_options(rimward_write=True) as conn, conn.begin():
                for entry in entries:
                    found = as_wheels(
                        conn.execute(
                            sa.select(wheel_now).where(wheel_now.c.wheel_id == entry.wheel_id)
                        )
                    )
                    values = entry.make(found[0] if found else None)
                    if values:
                        append(conn, entry, found[0].last_seq + 1 if found else 1, values, name)
        except sa.exc.DBAPIError as failed:
            raise unwritten(failed) from failed

    @contextlib.contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self.engine.connect() as conn:
                yield conn
        except sa.exc.DBAPIError as failed:
            raise unreachable(str(self.engine.url), failed) from failed

    def _known(self, wheel_id: str) -> Wheel:
        wheel = self.by_id(wheel_id)
        if wheel is None:
            raise Refusal(f"The register holds no wheel {wheel_id}.", "See `rimward wheel list`.")
        return wheel

    def _append(
        self,
        wheel_id: str,
        make: Callable[[Any], Mapping[str, Any]],
        who: str,
        markings: Mapping[str, str],
        note: str,
        new: bool = False,
    ) -> None:
        end = time.monotonic() + BUSY_S
        pause_s = 0.001
        while time.monotonic() < end:
            try:
                with (
                    self.engine.connect().execution_options(rimward_write=True) as conn,
                    conn.begin(),
                ):
                    found = as_wheels(
                        conn.execute(sa.select(wheel_now).where(wheel_now.c.wheel_id == wheel_id))
                    )
                    if not found and not new:
                        raise Refusal(
                            f"The register holds no wheel {wheel_id}.", "See `rimward wheel list`."
                        )
                    values = make(found[0] if found else None)
                    if values:
                        append(
                            conn,
                            Entry(wheel_id, make, markings, note),
                            found[0].last_seq + 1 if found else 1,
                            values,
                            who or person(),
                        )
                return
            except sa.exc.IntegrityError:
                # another program changed this wheel first: give way, compute again on its new state
                time.sleep(random.uniform(0, pause_s))
                pause_s = min(2 * pause_s, 0.25)
            except sa.exc.DBAPIError as failed:
                raise unwritten(failed) from failed
        raise Refusal("Other programs keep the register busy.", "Try again.")


def refuse_changed(now: Wheel, read: int | None) -> None:
    """Raise Refusal where a wheel was changed after it was read, with changes and authors."""
    if read is None or now.last_seq == read:
        return
    newer = sorted(
        (entry for entry in now.entries.values() if entry.seq > read), key=lambda entry: entry.seq
    )
    shown = "; ".join(f"{e.field.replace('_', '-')} {_shown(e.value)} by {e.who}" for e in newer)
    raise Refusal(
        f"{now.label} was changed meanwhile: {shown}.", "Read it again, then repeat your change."
    )


def _shown(value: Any) -> str:
    """Short text of a value; a record is not written out."""
    return "removed" if value is None else "renewed" if isinstance(value, dict) else f"to '{value}'"


def unwritten(failed: sa.exc.DBAPIError) -> Refusal:
    """Return a one-line Refusal for a write that the database refused."""
    reason = str(failed.orig).splitlines()[0]
    fix = (
        "You have read access only: ask its owner, or work on a copy."
        if "readonly" in reason
        else "Check the space left on the disk, then try again."
    )
    return Refusal(f"The register could not be written: {reason}.", fix)


def open_register(database: str | None = None, create: bool = False) -> Register:
    """Open the register on `database`: a URL or path; None for the setting `database`, else the file in the user's data folder.

    A named file has to exist unless `create` is set. Raises Refusal with the next step.
    """
    return Register(connect(database, create))
