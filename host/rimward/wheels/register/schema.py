"""Tables of the register, and migration of older databases.

One table, `change`, is append-only: triggers made by the migrations refuse UPDATE and DELETE. The view `wheel_now` is the newest value of
each field of each wheel.
"""

import json
import sqlite3
from datetime import datetime, timezone
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from rimward.base.errors import Refusal
from rimward.wheels.register.place import data_dir

HEAD = "0002"
MIGRATIONS = Path(__file__).parent / "migrations"
ADVISORY_LOCK = 0x52696D77  # any fixed number: held while a server database is migrated

metadata = sa.MetaData()

change = sa.Table(
    "change",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("wheel_id", sa.String(16), nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("field", sa.String(32), nullable=False),
    sa.Column("value", sa.Text, nullable=False),
    sa.Column("at_ms", sa.BigInteger, nullable=False),
    sa.Column("who", sa.String(80), nullable=False),
    sa.Column("marking", sa.String(200), nullable=False, server_default=""),
    sa.Column("note", sa.String(400), nullable=False, server_default=""),
    sa.UniqueConstraint("wheel_id", "seq", name="change_wheel_seq"),
)

wheel_now = sa.Table(
    "wheel_now", sa.MetaData(), *(sa.Column(c.name, c.type) for c in change.columns)
)


def revision_of(conn: Connection) -> str | None:
    """Migration revision of the database, None for an empty one."""
    if not sa.inspect(conn).has_table("alembic_version"):
        return None
    return conn.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()


def migrate(engine: Engine, to: str = HEAD) -> Path | None:
    """Bring the database to revision `to`, after a backup. Return the backup, None if there was nothing to save.

    Holds the write lock throughout, so that two programs starting at once migrate once. Raises Refusal when the database was made
    by a newer
    Rimward.
    """
    from alembic import command
    from alembic.config import Config

    with engine.connect().execution_options(rimward_write=True) as conn, conn.begin():
        if engine.dialect.name == "postgresql":
            conn.execute(sa.text("SELECT pg_advisory_xact_lock(:n)"), {"n": ADVISORY_LOCK})
        stands = revision_of(conn)
        if stands == to:
            return None
        refuse_newer(stands)
        saved = back_up(engine, conn, stands) if stands else None
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        config.attributes["connection"] = conn
        command.upgrade(config, to)
    return saved


def refuse_newer(stands: str | None) -> None:
    """Raise Refusal for a database whose revision this version does not know."""
    if stands is not None and stands > HEAD:
        raise Refusal(
            f"The register is at revision {stands}, this Rimward knows {HEAD}.",
            "Update Rimward on this computer.",
        )


def back_up(engine: Engine, conn: Connection, stands: str) -> Path:
    """Back up before a migration: a checked copy of an SQLite file, or one JSON line a change for a server."""
    stamp = datetime.now(timezone.utc).strftime("%Y%m%dT%H%M%S%fZ")
    if engine.dialect.name == "sqlite":
        source = Path(engine.url.database or "")
        return copy_sqlite(source, source.with_name(f"{source.name}.revision-{stands}.{stamp}.bak"))
    folder = data_dir() / "backups"
    folder.mkdir(exist_ok=True)
    return copy_lines(conn, folder / f"register.revision-{stands}.{stamp}.jsonl")


def copy_lines(conn: Connection, target: Path) -> Path:
    """Write every change of a database server's register, one JSON line each, to a new file."""
    with target.open("x", encoding="utf-8") as out:
        for row in conn.execute(sa.select(change).order_by(change.c.id)):
            out.write(json.dumps(dict(row._mapping), ensure_ascii=False) + "\n")
    return target


def copy_sqlite(source: Path, target: Path) -> Path:
    """Copy a live SQLite database with its own backup call and check the copy."""
    with sqlite3.connect(source) as old, sqlite3.connect(target) as new:
        old.backup(new)
        verdict = new.execute("PRAGMA integrity_check").fetchone()[0]
    old.close()
    new.close()
    if verdict != "ok":
        raise Refusal(
            f"The backup of the register failed its check: {verdict}.",
            "Free disk space or repair the disk, then try again.",
        )
    return target


def copy_of(engine: Engine, target: Path) -> Path:
    """Back up the whole register into a new file: a checked SQLite database, or JSON lines of a server's. Raises Refusal."""
    try:
        if engine.dialect.name == "sqlite":
            return copy_sqlite(Path(engine.url.database or ""), target)
        with engine.connect() as conn:
            return copy_lines(conn, target)
    except (OSError, sqlite3.Error, sa.exc.DBAPIError) as failed:
        raise Refusal(
            f"The backup {target} cannot be written: {failed}.",
            "Choose another place, or free space.",
        ) from failed
