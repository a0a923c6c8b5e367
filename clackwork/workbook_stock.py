"""What a workshop builds with, out of a workbook's table [stock] or of the workshop's record in a book."""

from __future__ import annotations

from clackwork.pipes import Pipe, series_names
from clackwork.site.stock import Stock, pipes_of, usual_stock
from clackwork.workbook_parts import errors_of, pipe_named
from clackwork.workbook_reader import Table, nearest

_LISTS = ("drive_pipes", "supply_pipes", "delivery_pipes")


def read_stock(table: Table | None) -> Stock:
    """A workshop's stock; what is left out, or the whole of it, is as usual.

    Parameters
    ----------
    table : Table or None
        Lists of pipes, each a series or a series and a size, such as "steel-sch40" or "steel-sch40 1 in"; ``most_pumps``
        side by side; inside ``standpipe_diameters``.

    Raises
    ------
    InputError
        A pipe that is not in the catalogue or has no rating, or a number out of range; the message names table and field.
    """
    usual = usual_stock()
    if table is None:
        return usual
    drive, supply, delivery = (_pipes(table, key) or getattr(usual, key) for key in _LISTS)
    most, wide = table.whole("most_pumps", 1, 20), usual.standpipe_diameters
    if "standpipe_diameters" in table:
        wide = tuple(sorted(table.quantities("standpipe_diameters", "small_length", "inside diameters")))
    table.finish()
    with errors_of(table):
        return Stock(
            drive,
            supply,
            delivery,
            most_pumps=usual.most_pumps if most is None else most,
            standpipe_diameters=wide,
        )


def _pipes(table: Table, key: str) -> tuple[Pipe, ...]:
    """The pipes named, narrowest first."""
    found: list[Pipe] = []
    for text in table.texts(key, 'pipes, such as "steel-sch40" or "steel-sch40 1 in"'):
        series, _, size = text.strip().partition(" ")
        if not size:
            if series not in series_names():
                allowed = f"there is no such series; it must be one of {', '.join(series_names())}"
                raise table.error(key, text, allowed, nearest(series, series_names()))
            found += pipes_of(series)
            continue
        found.append(pipe_named(table, key, text, text))
    return tuple(sorted(dict.fromkeys(found), key=lambda pipe: (pipe.bore, pipe.series)))
