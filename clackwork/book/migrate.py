"""Bring a book's tables up to the version this program writes."""

from __future__ import annotations

from collections.abc import Callable

import sqlalchemy as sa

from clackwork.book.errors import BookError
from clackwork.book.figures import read_all_again
from clackwork.book.places import Store

REVISION = "0002"
"""Revision of the tables this program reads and writes: the last file of migrations/versions."""
KNOWN = ("0001", "0002")
"""Every revision this program can come from, oldest first."""
_SCRIPTS = "clackwork.book:migrations"


def revision_of(connection: sa.Connection) -> str | None:
    """Revision of the tables that are there; None when there are none."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def bring_up_to_date(store: Store, before: Callable[[Store, str], object]) -> str | None:
    """Make the tables, or migrate them, when they are not those of `REVISION`.

    Parameters
    ----------
    store : Store
    before : callable
        Called with the store and the old revision before tables that hold something are changed: it keeps a backup.

    Returns
    -------
    str or None
        The revision found.

    Raises
    ------
    BookError
        A later version of the program wrote the book, or the database holds something else.
    """
    with store.reading() as connection:
        found = _known(revision_of(connection), connection, store)
    if found == REVISION:
        return found
    if found is not None:
        before(store, found)
    try:
        with store.writing() as connection:
            if _known(revision_of(connection), connection, store) != REVISION:  # another process may have been quicker
                _upgrade(connection)
                read_all_again(connection)
    except sa.exc.DatabaseError as error:
        if found is None:
            raise
        raise BookError(
            f"What lies at {store.place.words} could not be migrated: it is no book, or damaged."
        ) from error
    return found


def _known(found: str | None, connection: sa.Connection, store: Store) -> str | None:
    """The revision found, refused when it is none of ours."""
    if found is None and sa.inspect(connection).get_table_names():
        raise BookError(f"What lies at {store.place.words} is no book of this program; choose another place.")
    if found is not None and found not in KNOWN:
        raise BookError(
            f"The book at {store.place.words} was written by a later version of clackwork (tables {found}, this one knows "
            f"{REVISION}); install the later version, or restore a backup made before."
        )
    return found


def _upgrade(connection: sa.Connection) -> None:
    """Run the migrations that are missing, inside the transaction given."""
    from alembic import command
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", _SCRIPTS)
    settings.attributes["connection"] = connection
    command.upgrade(settings, REVISION)
