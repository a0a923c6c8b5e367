"""Instruments as records that several rigs share; what work finds on its way is kept in pieces."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
_ROLES = ("gauge", "bucket", "delivery_bucket", "stopwatch", "level_rule", "thermometer")


def upgrade() -> None:
    """Add the columns and the table; no row is changed."""
    for role in _ROLES:
        op.execute(f"ALTER TABLE record ADD COLUMN {role}_id INTEGER REFERENCES record (id)")
        given = sa.text(f"{role}_id IS NOT NULL")
        columns = [f"{role}_id", "kind", "removed", "sort_key"]
        op.create_index(f"record_by_{role}", "record", columns, sqlite_where=given, postgresql_where=given)
    op.add_column("job", sa.Column("carried", sa.Integer(), nullable=False, server_default="0"))
    op.create_table(
        "job_piece",
        sa.Column("key", _WORDS, primary_key=True),
        sa.Column("job_id", sa.Integer(), sa.ForeignKey("job.id"), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sqlite_strict=True,
    )
    op.create_index("job_piece_by_job", "job_piece", ["job_id"])
