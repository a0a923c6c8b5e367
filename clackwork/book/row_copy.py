"""Rows of a whole book carried from one database to another, SQLite or PostgreSQL, in one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import sqlalchemy as sa

ROWS_AT_ONCE = 500
VERSION_TABLE = "alembic_version"


def tables_in(connection: sa.Connection) -> Mapping[str, sa.Table]:
    """The tables that are there, as the database tells them; a later or earlier version of the book is no matter."""
    found = sa.MetaData()
    found.reflect(connection)
    return {table.name: table for table in found.sorted_tables if table.name != VERSION_TABLE}


def carry_rows(source: sa.Connection, target: sa.Connection, keep: Iterable[str] = ()) -> None:
    """Put the rows of one book in the place of another's; both have the same tables.

    Parameters
    ----------
    source : sqlalchemy.Connection
        Read.
    target : sqlalchemy.Connection
        Of a writing transaction: all of it happens, or nothing.
    keep : iterable of str
        Tables that stay as they are in the target.
    """
    kept = set(keep)
    to = {name: table for name, table in tables_in(target).items() if name not in kept}
    of = tables_in(source)
    _empty(target, to.values())
    for name, table in to.items():
        _carry_table(source, of[name], target, table)
    for table in to.values():
        _set_next_number(target, table)


def _empty(connection: sa.Connection, tables: Iterable[sa.Table]) -> None:
    """Delete every row; links among them are taken off first, so that no order can break one."""
    chosen = list(tables)
    if connection.dialect.name == "postgresql":  # row by row it would look for what links to each
        quote = connection.dialect.identifier_preparer.quote
        connection.execute(sa.text(f"TRUNCATE {', '.join(quote(table.name) for table in chosen)}"))
        return
    for table in chosen:
        links = _late_columns(table)
        if links:
            connection.execute(sa.update(table).values(dict.fromkeys(links)))
    for table in reversed(chosen):
        connection.execute(sa.delete(table))


def _late_columns(table: sa.Table) -> list[str]:
    """Columns that link to another row of the same table, which may come after."""
    return [
        column.name
        for column in table.columns
        if column.nullable and any(key.column.table is table for key in column.foreign_keys)
    ]


def _carry_table(source: sa.Connection, of: sa.Table, target: sa.Connection, to: sa.Table) -> None:
    """Copy one table: its rows without links among themselves, then those links."""
    late = _late_columns(to)
    key = next(iter(to.primary_key.columns)).name
    chosen = sa.select(of).order_by(*of.primary_key.columns).execution_options(yield_per=ROWS_AT_ONCE)
    result = source.execute(chosen).mappings()
    links: list[tuple[int, str, int]] = []
    for part in result.partitions(ROWS_AT_ONCE):
        rows = [dict(row) for row in part]
        for row in rows:
            links += [(row[key], name, row[name]) for name in late if row[name] is not None]
            row.update(dict.fromkeys(late))
        target.execute(sa.insert(to), rows)
    for name in late:
        pairs = [{"of_row": number, "to_row": other} for number, role, other in links if role == name]
        if pairs:
            where = to.c[key] == sa.bindparam("of_row")
            target.execute(sa.update(to).where(where).values({name: sa.bindparam("to_row")}), pairs)


def _set_next_number(connection: sa.Connection, table: sa.Table) -> None:
    """Let PostgreSQL count on from the largest number; SQLite does so by itself."""
    if connection.dialect.name != "postgresql" or "id" not in table.c:
        return
    largest = connection.execute(sa.select(sa.func.max(table.c.id))).scalar()
    sequence = connection.execute(sa.select(sa.func.pg_get_serial_sequence(table.name, "id"))).scalar()
    if sequence is not None:
        connection.execute(sa.select(sa.func.setval(sequence, largest or 1, largest is not None)))
