"""Reading and writing the register: every verb appends changes, none alters one."""

import contextlib
import getpass
import json
import secrets
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from rimward import settings
from rimward.errors import Refusal
from rimward.register import search
from rimward.register.engine import connect, unreachable
from rimward.register.fields import FIELDS, FORGETS, check_values
from rimward.register.schema import change, wheel_now

WHEEL_ID_BYTES = 8
RETRIES = 8


@dataclass(frozen=True)
class Change:
    """One entry: which field of which wheel got which value, when (UTC, ms since 1970), by whom, read from which marking."""

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
    """A wheel as it stands now: `values` by field name, `entries` the change each value came from."""

    wheel_id: str
    values: Mapping[str, Any]
    entries: Mapping[str, Change] = field(repr=False)

    @property
    def label(self) -> str:
        return self.values["label"]

    @property
    def retired(self) -> bool:
        return bool(self.values.get("retired"))

    @property
    def last_seq(self) -> int:
        return max(entry.seq for entry in self.entries.values())


def person() -> str:
    """Who is entering: the setting `user`, else the login name."""
    stated = settings.value("user")
    if stated:
        return stated[:80]
    try:
        return getpass.getuser()[:80]
    except (KeyError, OSError, ImportError):
        return "unknown"


def as_change(row: Any) -> Change:
    return Change(row.wheel_id, row.seq, row.field, json.loads(row.value), row.at_ms, row.who, row.marking, row.note)


def as_wheels(rows: Iterable[Any]) -> list[Wheel]:
    """Groups rows of the current state by wheel, in the order of labels."""
    entries: dict[str, dict[str, Change]] = {}
    for row in rows:
        entries.setdefault(row.wheel_id, {})[row.field] = as_change(row)
    wheels = [Wheel(wheel_id, {name: c.value for name, c in found.items() if c.value is not None}, found) for wheel_id, found in entries.items()]
    return sorted(wheels, key=lambda w: (search.folded(w.label), w.values.get("position", ""), w.wheel_id))


def append(conn: Connection, wheel_id: str, first_seq: int, values: Mapping[str, Any], who: str, markings: Mapping[str, str], note: str) -> None:
    """Appends one change a field. `markings` is by field name."""
    at_ms = int(time.time() * 1000)
    rows = [
        {
            "wheel_id": wheel_id,
            "seq": first_seq + i,
            "field": name,
            "value": json.dumps(value, ensure_ascii=False, sort_keys=True),
            "at_ms": at_ms,
            "who": who[:80],
            "marking": markings.get(name, "")[:200],
            "note": note[:400],
        }
        for i, (name, value) in enumerate(values.items())
    ]
    conn.execute(sa.insert(change), rows)


def edited(now: Wheel, checked: Mapping[str, Any], markings: Mapping[str, str]) -> dict[str, Any]:
    """What an edit appends: changed values, those read from a marking again, and None for what was read from a part that is gone."""
    wanted = dict(checked)
    for part, gone in FORGETS.items():
        if part in checked and checked[part] != now.values.get(part):
            wanted.update({name: None for name in gone if name not in checked and name in now.values})
    return {name: value for name, value in wanted.items() if value != now.values.get(name) or name in markings}


@dataclass(frozen=True)
class Entry:
    """One wheel of many entered at once: its id, `make(wheel or None)` gives what to append, and where its values were read."""

    wheel_id: str
    make: Callable[[Wheel | None], Mapping[str, Any]]
    markings: Mapping[str, str] = field(default_factory=dict)
    note: str = ""


class Register:
    """The register on one database. All verbs raise Refusal with the next step."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def close(self) -> None:
        self.engine.dispose()

    def all(self, include_retired: bool = False) -> list[Wheel]:
        """Every wheel, by label."""
        with self._reading() as conn:
            wheels = as_wheels(conn.execute(sa.select(wheel_now)))
        return [w for w in wheels if include_retired or not w.retired]

    def by_id(self, wheel_id: str) -> Wheel | None:
        """The wheel with this id (16 hexadecimal digits), retired or not; None where the register has none."""
        with self._reading() as conn:
            found = as_wheels(conn.execute(sa.select(wheel_now).where(wheel_now.c.wheel_id == wheel_id)))
        return found[0] if found else None

    def get(self, wanted: str, include_retired: bool = False) -> Wheel:
        """The one wheel that `wanted` names: an id, the start of one, a label, or a few words that fit no other wheel."""
        wheels = self.all(include_retired)
        found = search.named(wheels, wanted)
        if len(found) == 1:
            return found[0]
        if not found:
            raise Refusal(f"No wheel fits '{wanted}'.", "See `rimward wheel list`, or add it with `rimward wheel add`.")
        some = ", ".join(f"{w.label} ({w.values.get('position', 'any')}, {w.wheel_id[:6]})" for w in found[:5])
        raise Refusal(f"'{wanted}' fits {len(found)} wheels: {some}{' ...' if len(found) > 5 else ''}.", "Give more letters or the id.")

    def find(self, words: str = "", size: str = "", tag: str = "", include_retired: bool = False) -> list[Wheel]:
        """Wheels that fit all that is stated: words or parts of words, a tyre or rim size, a tag."""
        return search.matching(self.all(include_retired), words, size, tag)

    def history(self, wheel_id: str) -> list[Change]:
        """Every change ever made to a wheel, oldest first."""
        with self._reading() as conn:
            rows = conn.execute(sa.select(change).where(change.c.wheel_id == wheel_id).order_by(change.c.seq))
            return [as_change(row) for row in rows]

    def add(self, values: Mapping[str, Any], who: str = "", markings: Mapping[str, str] | None = None, note: str = "") -> Wheel:
        """Enters a new wheel and returns it. Rim and tyre sizes are checked; limits stay as they were printed."""
        checked = {name: value for name, value in check_values(values).items() if value is not None}
        missing = [f.name.replace("_", "-") for f in FIELDS.values() if f.required and f.name not in checked]
        if missing:
            raise Refusal(f"A wheel needs {' and '.join(missing)}.", f"Add {' '.join('--' + m for m in missing)}.")
        wheel_id = secrets.token_hex(WHEEL_ID_BYTES)
        self._append(wheel_id, lambda _now: checked, who, markings or {}, note, new=True)
        return self._known(wheel_id)

    def edit(
        self, wheel_id: str, values: Mapping[str, Any], who: str = "", markings: Mapping[str, str] | None = None, note: str = "", read: int | None = None
    ) -> Wheel:
        """Appends new values for a wheel (None takes a value away).

        `read`: the wheel's `last_seq` when it was read for this edit. Refusal where somebody changed it since: the second writer is shown what.

        Another tyre or rim takes the old one's printed limits away unless they are stated anew: they were read from a part that is gone.
        """
        checked = check_values(values)

        def make(now: Wheel) -> Mapping[str, Any]:
            refuse_changed(now, read)
            return edited(now, checked, markings or {})

        self._append(wheel_id, make, who, markings or {}, note)
        return self._known(wheel_id)

    def retire(self, wheel_id: str, who: str = "", note: str = "", back: bool = False) -> Wheel:
        """Takes a wheel out of lists and searches (`back` brings it back); its history stays."""
        self._append(wheel_id, lambda now: {} if now.retired != back else {"retired": not back}, who, {}, note)
        return self._known(wheel_id)

    def record(self, wheel_id: str, make: Callable[[Wheel], Mapping[str, Any]], who: str = "", note: str = "") -> Wheel:
        """Appends what `make` works out from the wheel as it stands, under the write lock (profiles, walks)."""
        self._append(wheel_id, make, who, {}, note)
        return self._known(wheel_id)

    def append_many(self, entries: Iterable[Entry], who: str = "") -> None:
        """Appends many wheels' changes in one transaction: all of them or none."""
        name = who or person()
        try:
            with self.engine.connect().execution_options(rimward_write=True) as conn, conn.begin():
                for entry in entries:
                    found = as_wheels(conn.execute(sa.select(wheel_now).where(wheel_now.c.wheel_id == entry.wheel_id)))
                    values = entry.make(found[0] if found else None)
                    if values:
                        append(conn, entry.wheel_id, found[0].last_seq + 1 if found else 1, values, name, entry.markings, entry.note)
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
        self, wheel_id: str, make: Callable[[Any], Mapping[str, Any]], who: str, markings: Mapping[str, str], note: str, new: bool = False
    ) -> None:
        for _ in range(RETRIES):
            try:
                with self.engine.connect().execution_options(rimward_write=True) as conn, conn.begin():
                    found = as_wheels(conn.execute(sa.select(wheel_now).where(wheel_now.c.wheel_id == wheel_id)))
                    if not found and not new:
                        raise Refusal(f"The register holds no wheel {wheel_id}.", "See `rimward wheel list`.")
                    values = make(found[0] if found else None)
                    if values:
                        append(conn, wheel_id, found[0].last_seq + 1 if found else 1, values, who or person(), markings, note)
                return
            except sa.exc.IntegrityError:
                continue  # another program appended to this wheel first: work it out again on what it wrote
            except sa.exc.DBAPIError as failed:
                raise unwritten(failed) from failed
        raise Refusal("The register is too busy with other programs.", "Try again.")


def refuse_changed(now: Wheel, read: int | None) -> None:
    """Raise Refusal where a wheel was changed after it was read, with what was changed, to what and by whom."""
    if read is None or now.last_seq == read:
        return
    newer = sorted((entry for entry in now.entries.values() if entry.seq > read), key=lambda entry: entry.seq)
    shown = "; ".join(f"{e.field.replace('_', '-')} {_shown(e.value)} by {e.who}" for e in newer)
    raise Refusal(f"{now.label} was changed meanwhile: {shown}.", "Look at it again, then enter your change once more.")


def _shown(value: Any) -> str:
    """A value in few words; a record is not written out."""
    return "taken away" if value is None else "renewed" if isinstance(value, dict) else f"to '{value}'"


def unwritten(failed: sa.exc.DBAPIError) -> Refusal:
    """A write that the database refused, in one line."""
    reason = str(failed.orig).splitlines()[0]
    fix = "This user may only read it: ask its owner, or work on a copy." if "readonly" in reason else "Check the space left on the disk, then try again."
    return Refusal(f"The register could not be written: {reason}.", fix)


def open_register(database: str | None = None, create: bool = False) -> Register:
    """Opens the register on `database`: a URL or path; None for the setting `database`, else the file in the user's data folder.

    A file that was named has to exist, unless `create` is set. Raises Refusal with the next step.
    """
    return Register(connect(database, create))
