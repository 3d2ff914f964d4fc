"""How the register's database is reached: SQLite in WAL, or a server by URL."""

from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from rimward.errors import Refusal
from rimward.register import schema
from rimward.register.place import database_url

BUSY_TIMEOUT_MS = 10_000


def connect(stated: str | None = None) -> Engine:
    """An engine on a database that stands at the newest revision (migrated after a backup where needed).

    `stated` is a URL or an SQLite path, None for the file in the user's data folder. Raises Refusal with the next step.
    """
    url = database_url(stated)
    try:
        engine = make_engine(url)
        with engine.connect() as conn:
            stands = schema.revision_of(conn)
        if stands != schema.HEAD:
            schema.refuse_newer(stands)
            schema.migrate(engine)
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError) as wrong:
        raise Refusal("The database URL is not understood.", "Give a file, sqlite:///FILE or postgresql://USER@HOST/NAME.") from wrong
    except ModuleNotFoundError as missing:
        raise Refusal("A server database needs its driver.", "Install it: pip install 'rimward[server]'.") from missing
    except sa.exc.DBAPIError as failed:
        raise unreachable(url, failed) from failed
    return engine


def unreachable(url: str, failed: sa.exc.DBAPIError) -> Refusal:
    """One line on a database that does not answer, without its password."""
    shown = sa.engine.make_url(url).render_as_string(hide_password=True)
    reason = str(failed.orig).strip().splitlines()[0] if str(failed.orig).strip() else type(failed.orig).__name__
    return Refusal(f"The register at {shown} cannot be used: {reason}.", "Check the path, its rights and that the server runs.")


def make_engine(url: str) -> Engine:
    """An engine for `url`; writers on SQLite take the lock at once, so that no change is read before it is superseded."""
    parsed = sa.engine.make_url(url)
    if parsed.get_backend_name() != "sqlite":
        return sa.create_engine(parsed, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    if parsed.database:
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(parsed)
    sa.event.listen(engine, "connect", prepare_sqlite)
    sa.event.listen(engine, "begin", begin_sqlite)
    return engine


def prepare_sqlite(dbapi_connection, _record) -> None:
    """Write-ahead log, every commit on the disk, a wait for other writers; REPLACE cannot slip past the triggers."""
    dbapi_connection.isolation_level = None
    for setting in (f"busy_timeout={BUSY_TIMEOUT_MS}", "journal_mode=WAL", "synchronous=FULL", "recursive_triggers=ON"):
        dbapi_connection.execute(f"PRAGMA {setting}")


def begin_sqlite(conn: Connection) -> None:
    """A writer begins with the write lock, a reader without."""
    write = conn.get_execution_options().get("rimward_write", False)
    conn.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
