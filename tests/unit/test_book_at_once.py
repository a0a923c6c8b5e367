"""Several writing at once: threads and processes, on SQLite and on PostgreSQL; nothing is lost, nothing is doubled."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from workshop_books import RUN, small_shop

from clackwork.book import Book, Conflict, open_book
from clackwork.book.places import Place

WRITERS, EACH = 4, 15
PROCESS = """
import sys
from clackwork.book import Conflict, open_book
place, number, each, pump = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
with open_book(place) as book:
    for turn in range(each):
        book.add("pump", f"{number}.{turn}", {"note": "of a process"}, by=number, request_id=f"{number}.{turn}")
        while True:
            now = book.get("pump", pump)
            try:
                said = now.entered.get("note", "")
                book.change("pump", pump, version=now.version, entered={"note": f"{said}{number}"}, by=number)
                break
            except Conflict:
                pass
"""


def address_of(place: Place) -> str:
    """The place of a book as a word on a command line."""
    return str(place.folder or place.address.render_as_string(hide_password=False))


def test_processes_lose_nothing(book: Book) -> None:
    shop = small_shop(book)
    started = [
        subprocess.Popen(
            [sys.executable, "-c", PROCESS, address_of(book.place), str(number), str(EACH), str(shop.pump.id)],
            stderr=subprocess.PIPE,
        )
        for number in range(WRITERS)
    ]
    said = [process.communicate(timeout=120)[1] for process in started]
    assert [process.returncode for process in started] == [0] * WRITERS, said
    assert book.list("pump").total == 1 + WRITERS * EACH
    note = book.get("pump", shop.pump.id).entered["note"]
    assert sorted(note) == sorted("0123"[:WRITERS] * EACH)
    told = book.changes(kind="pump", id=shop.pump.id, limit=500)
    assert [one.after["version"] for one in told] == list(range(1 + WRITERS * EACH, 0, -1))


def test_threads_lose_nothing(book: Book) -> None:
    shop = small_shop(book)
    links = {"build": shop.flap.id, "rig": shop.rig.id}

    def write(number: int) -> int:
        book.add("run", f"thread {number}", RUN, links=links, by=str(number))
        return book.list("run").total

    with ThreadPoolExecutor(8) as pool:
        counted = list(pool.map(write, range(40)))
    assert max(counted) == book.list("run").total == 41


def test_one_request_sent_by_many_at_once_makes_one_record(book: Book) -> None:
    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda _: book.add("pump", "25 mm", {}, request_id="phone-1"), range(8)))
    assert len({one.id for one in made}) == 1
    assert book.list("pump").total == 1


def test_of_many_who_change_one_version_one_wins(book: Book) -> None:
    pump = book.add("pump", "25 mm", {})

    def change(number: int) -> str:
        try:
            return book.change("pump", pump.id, version=1, name=f"size {number}").name
        except Conflict as conflict:
            return f"told of {conflict.theirs.name}"

    with ThreadPoolExecutor(8) as pool:
        said = list(pool.map(change, range(8)))
    [winner] = [one for one in said if one.startswith("size")]
    assert said.count(f"told of {winner}") == 7


def test_a_reader_sees_one_moment(book: Book) -> None:
    pump = book.add("pump", "25 mm", {})
    with book.reading() as connection:
        count = "SELECT count(*) FROM record"
        before = connection.exec_driver_sql(count).scalar_one()
        book.add("pump", "50 mm", {})
        assert connection.exec_driver_sql(count).scalar_one() == before
    assert book.list("pump").total == 2
    assert book.get("pump", pump.id) == pump


def test_books_of_one_place_see_each_other(book_place: Path | str) -> None:
    with open_book(book_place) as first, open_book(book_place) as second:
        made = first.add("pump", "25 mm", {})
        assert second.get("pump", made.id) == made
