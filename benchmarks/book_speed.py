"""How long the lists of a large book take, and a change in it: 200 builds, 2,000 trials, 20,000 runs.

.venv/bin/python benchmarks/book_speed.py [PLACE]

PLACE is an empty folder or the address of an empty PostgreSQL database; a temporary folder when not given.
"""

from __future__ import annotations

import sys
import tempfile
import time

from common import ROOT, against_goal, best_of, machine, rounded, show

sys.path.insert(0, str(ROOT / "tests"))

from big_book import LISTS, fill, places_in

from clackwork.book import Book, open_book

ROUNDS = 5
LONGEST_LIST = 0.2
"""Goal for any page of a list [s]."""


def time_lists(book: Book) -> tuple[list[dict[str, object]], float]:
    """Each list's first time and best time: a table, and the longest of all first times [s]."""
    at = places_in(book)
    rows: list[dict[str, object]] = []
    longest = 0.0
    for name, ask in LISTS.items():
        start = time.perf_counter()
        ask(book, at)
        first = time.perf_counter() - start
        longest = max(longest, first)
        best = best_of(ROUNDS, lambda ask=ask: ask(book, at)).wall
        rows.append({"list": name, "first_ms": rounded(1e3 * first), "best_ms": rounded(1e3 * best)})
    return rows, longest


def time_work(book: Book) -> list[dict[str, object]]:
    """A change of one run, a pump of 1,000 runs read as a workbook and written as one: best times."""
    at = places_in(book)
    number = book.list("run", links={"pump": at["pump"]}, limit=1).records[0].id

    def change() -> None:
        run = book.get("run", number)
        book.change("run", number, version=run.version, entered={**run.entered, "beats": run.entered["beats"] + 1})

    work = {
        "read and change a run": change,
        "workbook of 1,000 runs": lambda: book.workbook(at["pump"]),
        "the same as text": lambda: book.give_workbook(at["pump"]),
    }
    return [{"work": name, "best_ms": rounded(1e3 * best_of(ROUNDS, do).wall)} for name, do in work.items()]


def measure(place: str) -> None:
    """Fill a book and print every table."""
    with open_book(place) as book:
        start = time.perf_counter()
        fill(book)
        show("filling [s]", rounded(time.perf_counter() - start))
        rows, longest = time_lists(book)
        show(f"lists, best of {ROUNDS}", rows)
        show(f"work, best of {ROUNDS}", time_work(book))
    show("goals", against_goal("slowest first list [s]", longest, LONGEST_LIST, at_least=False))


def main() -> None:
    """Measure at the place given, or in a temporary folder."""
    show("machine", machine())
    if len(sys.argv) > 1:
        measure(sys.argv[1])
    else:
        with tempfile.TemporaryDirectory() as folder:
            measure(folder)
    show("machine", machine())


if __name__ == "__main__":
    main()
