"""Append-only table of changes; the database itself refuses to alter or remove a row."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

SQLITE_GUARD = """CREATE TRIGGER change_no_{low} BEFORE {verb} ON change
BEGIN SELECT RAISE(ABORT, 'the register is append-only'); END"""

POSTGRES_FUNCTION = """CREATE FUNCTION change_append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the register is append-only'; END $$"""

POSTGRES_GUARD = """CREATE TRIGGER change_guard BEFORE UPDATE OR DELETE OR TRUNCATE ON change
FOR EACH STATEMENT EXECUTE FUNCTION change_append_only()"""


def upgrade() -> None:
    """Create the table and its triggers."""
    op.create_table(
        "change",
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
    if op.get_bind().dialect.name == "postgresql":
        op.execute(POSTGRES_FUNCTION)
        op.execute(POSTGRES_GUARD)
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(SQLITE_GUARD.format(low=verb.lower(), verb=verb))
