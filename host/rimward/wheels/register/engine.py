"""Access to the register's database: SQLite in WAL mode, or a server by URL."""

import sqlite3
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.wheels.register import schema
from rimward.wheels.register.place import database_url

BUSY_TIMEOUT_MS = 10_000


def connect(stated: str | None = None, create: bool = False) -> Engine:
    """Return an engine on a database of the newest revision (migrated after a backup where needed).

    `stated` is a URL or an SQLite path, None for the setting `database` or the file in the user's data folder. Only the latter is
    created when
    missing; another needs `create`. A read-only file is opened for reading. Raises Refusal with the next step.
    """
    url = database_url(stated)
    try:
        if not create:
            refuse_missing(url, stated or settings.value("database"))
        engine, stands = opened(url)
        if stands != schema.HEAD:
            schema.refuse_newer(stands)
            schema.migrate(engine)
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError) as wrong:
        raise Refusal(
            "The database URL is not understood.",
            "Give a file, sqlite:///FILE or postgresql://USER@HOST/NAME.",
        ) from wrong
    except ModuleNotFoundError as missing:
        raise Refusal(
            "A server database needs its driver.", "Install it: pip install 'rimward[server]'."
        ) from missing
    except sa.exc.DBAPIError as failed:
        raise unreachable(url, failed) from failed
    return engine


def refuse_missing(url: str, chosen: str | None) -> None:
    """Raise Refusal for a named file that does not exist: a mistyped name must not become an empty register."""
    parsed = sa.engine.make_url(url)
    if (
        chosen
        and parsed.get_backend_name() == "sqlite"
        and parsed.database
        and not Path(parsed.database).exists()
    ):
        raise Refusal(
            f"There is no register {parsed.database}.",
            "Correct the name, or create it with --create of `rimward wheel add` or `wheel import`.",
        )


def opened(url: str) -> tuple[Engine, str | None]:
    """Return an engine and the revision of its database; read-only where the file allows no more."""
    engine = make_engine(url)
    try:
        with engine.connect() as conn:
            return engine, schema.revision_of(conn)
    except sa.exc.OperationalError:
        path = engine.url.database if engine.url.get_backend_name() == "sqlite" else None
        if not path or not Path(path).is_file():
            raise
        reader = read_only_engine(engine.url, Path(path))
        with reader.connect() as conn:
            stands = schema.revision_of(conn)
        if stands != schema.HEAD:
            schema.refuse_newer(stands)
            raise Refusal(
                f"The register {path} is of an older Rimward and cannot be written.",
                "Copy it to a writable folder and name the copy.",
            ) from None
        return reader, stands


def read_only_engine(url: sa.engine.URL, path: Path) -> Engine:
    """Return an engine that never writes. Without a write-ahead log beside the file it needs no right to the folder."""
    log = path.with_name(f"{path.name}-wal")
    mode = "mode=ro" if log.exists() and log.stat().st_size else "mode=ro&immutable=1"
    name = f"file:{quote(str(path.absolute()))}?{mode}"
    engine = sa.create_engine(
        url, creator=lambda: sqlite3.connect(name, uri=True, check_same_thread=False)
    )
    sa.event.listen(engine, "begin", begin_sqlite)
    sa.event.listen(engine, "connect", no_own_transactions)
    return engine


def no_own_transactions(dbapi_connection: Any, _record: object) -> None:
    """Keep the driver from starting transactions; `begin_sqlite` does."""
    dbapi_connection.isolation_level = None


def unreachable(url: str, failed: sa.exc.DBAPIError) -> Refusal:
    """Return a one-line Refusal for a database that does not answer, without its password."""
    shown = sa.engine.make_url(url).render_as_string(hide_password=True)
    reason = (
        str(failed.orig).strip().splitlines()[0]
        if str(failed.orig).strip()
        else type(failed.orig).__name__
    )
    return Refusal(
        f"The register at {shown} cannot be used: {reason}.",
        "Check the path, its permissions, and that the server runs.",
    )


def make_engine(url: str) -> Engine:
    """Make an engine for `url`; SQLite writers take the lock at once, so that no change is read before it is superseded."""
    parsed = sa.engine.make_url(url)
    if parsed.get_backend_name() != "sqlite":
        return sa.create_engine(parsed, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    if parsed.database:
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(parsed)
    sa.event.listen(engine, "connect", prepare_sqlite)
    sa.event.listen(engine, "begin", begin_sqlite)
    return engine


def prepare_sqlite(dbapi_connection: Any, _record: object) -> None:
    """Configure SQLite: write-ahead log, every commit on disk, a wait for other writers; REPLACE cannot bypass the triggers."""
    dbapi_connection.isolation_level = None
    for setting in (
        f"busy_timeout={BUSY_TIMEOUT_MS}",
        "journal_mode=WAL",
        "synchronous=FULL",
        "recursive_triggers=ON",
    ):
        dbapi_connection.execute(f"PRAGMA {setting}")


def begin_sqlite(conn: Connection) -> None:
    """Begin a transaction: a writer with the write lock, a reader without."""
    write = conn.get_execution_options().get("rimward_write", False)
    conn.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
