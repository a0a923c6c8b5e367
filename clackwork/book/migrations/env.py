"""Run by Alembic for each migration, on the connection it is handed."""

from __future__ import annotations

from alembic import context

from clackwork.book.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
