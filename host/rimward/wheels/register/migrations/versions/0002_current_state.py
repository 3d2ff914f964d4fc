"""Current state as a view: the newest value of each field of each wheel."""

from alembic import op

revision = "0002"
down_revision = "0001"

VIEW = """CREATE VIEW wheel_now AS
SELECT c.* FROM change c
JOIN (SELECT wheel_id, field, MAX(seq) AS seq FROM change GROUP BY wheel_id, field) newest
ON newest.wheel_id = c.wheel_id AND newest.seq = c.seq"""


def upgrade() -> None:
    """Create the view."""
    op.create_index("change_wheel_field_seq", "change", ["wheel_id", "field", "seq"])
    op.execute(VIEW)
