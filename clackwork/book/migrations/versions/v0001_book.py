"""The first tables of a book."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
_ROLES = ("pump", "build", "rig", "trial", "run", "site", "old_build", "new_build", "revision_of")


def _column(name: str, kind: sa.types.TypeEngine[Any], *, empty: bool = False, unique: bool = False) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=empty, unique=unique)


def _number() -> sa.Column[Any]:
    return sa.Column("id", sa.Integer(), primary_key=True)


def _to(name: str, table: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), sa.ForeignKey(f"{table}.id"))


def upgrade() -> None:
    """Make the tables."""
    _make_record()
    _make_change()
    op.create_table(
        "attachment",
        sa.Column("record_id", sa.Integer(), sa.ForeignKey("record.id"), primary_key=True),
        _column("content", sa.LargeBinary()),
        sqlite_strict=True,
    )
    _make_job()
    op.create_table(
        "device",
        _number(),
        _column("name", sa.Text()),
        _column("token_hash", _WORDS, unique=True),
        _column("made_at", _WORDS),
        _column("seen_at", _WORDS, empty=True),
        _column("withdrawn_at", _WORDS, empty=True),
        sqlite_strict=True,
    )
    op.create_table(
        "setting",
        sa.Column("key", _WORDS, primary_key=True),
        _column("value", sa.Text()),
        _column("changed_at", _WORDS),
        sqlite_strict=True,
    )


def _make_record() -> None:
    op.create_table(
        "record",
        _number(),
        _column("kind", _WORDS),
        _column("scope", sa.Integer()),
        _column("name", _WORDS),
        _column("sort_key", _WORDS),
        _column("words", _WORDS),
        _column("version", sa.Integer()),
        _column("removed", sa.Integer()),
        _column("entered", sa.Text()),
        _column("si", sa.Text()),
        _column("request_id", _WORDS, empty=True, unique=True),
        _column("made_at", _WORDS),
        _column("made_by", sa.Text()),
        _column("changed_at", _WORDS),
        _column("changed_by", sa.Text()),
        *(_to(f"{role}_id", "record") for role in _ROLES),
        sqlite_strict=True,
    )
    there = sa.text("removed = 0")
    op.create_index(
        "record_name_alone", "record", ["kind", "scope", "name"],
        unique=True, sqlite_where=there, postgresql_where=there,
    )  # fmt: skip
    op.create_index("record_by_name", "record", ["kind", "removed", "sort_key", "id"])
    op.create_index("record_by_change", "record", ["kind", "removed", "changed_at", "id"])
    for role in _ROLES:
        op.create_index(f"record_by_{role}", "record", [f"{role}_id", "kind", "removed", "sort_key"])


def _make_change() -> None:
    op.create_table(
        "change",
        _number(),
        _column("at", _WORDS),
        _column("by", sa.Text()),
        _column("action", _WORDS),
        _column("kind", _WORDS),
        sa.Column("record_id", sa.Integer(), sa.ForeignKey("record.id"), nullable=False),
        _column("name", _WORDS),
        _column("before", sa.Text(), empty=True),
        _column("after", sa.Text()),
        _to("undone_by", "change"),
        _to("undoes", "change"),
        _column("together", sa.Integer()),
        sqlite_strict=True,
    )
    op.create_index("change_by_record", "change", ["record_id", "id"])
    op.create_index("change_by_kind", "change", ["kind", "id"])
    op.create_index("change_together", "change", ["together", "id"])


def _make_job() -> None:
    op.create_table(
        "job",
        _number(),
        _column("kind", _WORDS),
        _column("arguments", sa.Text()),
        _column("state", _WORDS),
        _column("done", sa.Integer()),
        _column("total", sa.Integer()),
        _column("message", sa.Text()),
        _column("result", sa.Text(), empty=True),
        _column("cancel", sa.Integer()),
        _column("worker", sa.Text()),
        _column("by", sa.Text()),
        _column("request_id", _WORDS, empty=True, unique=True),
        _column("made_at", _WORDS),
        _column("began_at", _WORDS, empty=True),
        _column("seen_at", _WORDS, empty=True),
        _column("ended_at", _WORDS, empty=True),
        sqlite_strict=True,
    )
    op.create_index("job_by_state", "job", ["state", "id"])
