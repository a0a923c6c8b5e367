"""The tables of a book, the same on SQLite and on PostgreSQL.

Every record of every kind is a row of `record`: what was typed as JSON text, the SI figures read from it beside, links
to other records as columns that are foreign keys. Text sorts by code point on both databases.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
"""Text that sorts by code point."""


class Instant(sa.types.TypeDecorator[datetime]):
    """A moment as text in UTC, "2024-05-06T07:08:09.123456Z": it sorts as it passed."""

    impl = WORDS
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> str | None:
        """As text."""
        return None if value is None else value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def process_result_value(self, value: Any, dialect: Any) -> datetime | None:
        """As an aware datetime in UTC."""
        return None if value is None else datetime.fromisoformat(value)


metadata = sa.MetaData()
INSTRUMENTS = ("gauge", "bucket", "delivery_bucket", "stopwatch", "level_rule", "thermometer")
ROLES = ("pump", "build", "rig", "trial", "run", "site", "old_build", "new_build", "revision_of", *INSTRUMENTS)
"""What a record may be linked to; the column of a role is its name and ``_id``."""


def _table(name: str, *parts: Any) -> sa.Table:
    return sa.Table(name, metadata, *parts, sqlite_strict=True)


def _number() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


record = _table(
    "record",
    _number(),
    sa.Column("kind", WORDS, nullable=False),
    sa.Column("scope", sa.Integer, nullable=False),  # number of the pump in which its name is alone, 0 for the book
    sa.Column("name", WORDS, nullable=False),
    sa.Column("sort_key", WORDS, nullable=False),
    sa.Column("words", WORDS, nullable=False),  # what a search looks in
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("removed", sa.Integer, nullable=False),
    sa.Column("entered", sa.Text, nullable=False),
    sa.Column("si", sa.Text, nullable=False),
    sa.Column("request_id", WORDS, unique=True),
    sa.Column("made_at", Instant, nullable=False),
    sa.Column("made_by", sa.Text, nullable=False),
    sa.Column("changed_at", Instant, nullable=False),
    sa.Column("changed_by", sa.Text, nullable=False),
    *(sa.Column(f"{role}_id", sa.Integer, sa.ForeignKey("record.id")) for role in ROLES),
)
NOT_REMOVED = sa.text("removed = 0")
sa.Index(
    "record_name_alone",
    record.c.kind,
    record.c.scope,
    record.c.name,
    unique=True,
    sqlite_where=NOT_REMOVED,
    postgresql_where=NOT_REMOVED,
)
sa.Index("record_by_name", record.c.kind, record.c.removed, record.c.sort_key, record.c.id)
sa.Index("record_by_change", record.c.kind, record.c.removed, record.c.changed_at, record.c.id)
for _role in ROLES:
    _is_given = sa.text(f"{_role}_id IS NOT NULL") if _role in INSTRUMENTS else None  # of rigs alone
    sa.Index(
        f"record_by_{_role}",
        *(record.c[name] for name in (f"{_role}_id", "kind", "removed", "sort_key")),
        sqlite_where=_is_given,
        postgresql_where=_is_given,
    )

change = _table(
    "change",
    _number(),
    sa.Column("at", Instant, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("action", WORDS, nullable=False),
    sa.Column("kind", WORDS, nullable=False),
    sa.Column("record_id", sa.Integer, sa.ForeignKey("record.id"), nullable=False),
    sa.Column("name", WORDS, nullable=False),
    sa.Column("before", sa.Text),
    sa.Column("after", sa.Text, nullable=False),
    sa.Column("undone_by", sa.Integer, sa.ForeignKey("change.id")),
    sa.Column("undoes", sa.Integer, sa.ForeignKey("change.id")),
    sa.Column("together", sa.Integer, nullable=False),  # number of the first change of the same action
)
sa.Index("change_by_record", change.c.record_id, change.c.id)
sa.Index("change_by_kind", change.c.kind, change.c.id)
sa.Index("change_together", change.c.together, change.c.id)

attachment = _table(
    "attachment",  # bytes that belong to a record: a twin's draws, a file
    sa.Column("record_id", sa.Integer, sa.ForeignKey("record.id"), primary_key=True),
    sa.Column("content", sa.LargeBinary, nullable=False),
)

job = _table(
    "job",
    _number(),
    sa.Column("kind", WORDS, nullable=False),
    sa.Column("arguments", sa.Text, nullable=False),
    sa.Column("state", WORDS, nullable=False),  # queued, running, done, failed, cancelled
    sa.Column("done", sa.Integer, nullable=False),
    sa.Column("total", sa.Integer, nullable=False),
    sa.Column(
        "carried", sa.Integer, nullable=False, server_default="0"
    ),  # of what is done, from before it was interrupted
    sa.Column("message", sa.Text, nullable=False),
    sa.Column("result", sa.Text),
    sa.Column("cancel", sa.Integer, nullable=False),  # 1 once asked for
    sa.Column("worker", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("request_id", WORDS, unique=True),
    sa.Column("made_at", Instant, nullable=False),
    sa.Column("began_at", Instant),
    sa.Column("seen_at", Instant),  # last sign of life of its worker
    sa.Column("ended_at", Instant),
)
sa.Index("job_by_state", job.c.state, job.c.id)

job_piece = _table(
    "job_piece",  # what work that takes long has found on its way, until it is done
    sa.Column("key", WORDS, primary_key=True),  # says of what it is the result
    sa.Column("job_id", sa.Integer, sa.ForeignKey("job.id"), nullable=False),
    sa.Column("content", sa.LargeBinary, nullable=False),
)
sa.Index("job_piece_by_job", job_piece.c.job_id)

device = _table(
    "device",
    _number(),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_hash", WORDS, nullable=False, unique=True),
    sa.Column("made_at", Instant, nullable=False),
    sa.Column("seen_at", Instant),
    sa.Column("withdrawn_at", Instant),
)

setting = _table(
    "setting",  # small things remembered that are no record: mapping of columns, a card half filled in
    sa.Column("key", WORDS, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
    sa.Column("changed_at", Instant, nullable=False),
)
