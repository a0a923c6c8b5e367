"""A book as large as a workshop's may get: 20 pumps, 200 builds, 2,000 trials, 20,000 runs, invented."""

from __future__ import annotations

from collections.abc import Callable

from workshop_books import FLAP, POPPET, RIG, RUN, SITE, TRIAL

from clackwork.book import Book
from clackwork.book.writing import Hand, add

PUMPS, BUILDS, TRIALS, RUNS, SITES = 20, 10, 100, 10, 100
"""Pumps; builds and trials of each pump; runs of each trial; sites."""


def fill(book: Book, pumps: int = PUMPS) -> list[int]:
    """Fill an empty book, a pump in each transaction; returns the pumps' numbers."""
    with book.writing() as connection:
        hand = Hand(connection, "Ann")
        rigs = [add(hand, "rig", f"yard {number}", RIG, {}).id for number in range(5)]
        for number in range(SITES):
            add(hand, "site", f"Upper Hazel {number}", SITE, {})
    return [_fill_pump(book, number, rigs) for number in range(pumps)]


def _fill_pump(book: Book, number: int, rigs: list[int]) -> int:
    with book.writing() as connection:
        hand = Hand(connection, "Ann")
        pump = add(hand, "pump", f"{20 + number} mm", {"note": "invented"}, {}).id
        builds = [
            add(hand, "build", f"flap {turn}", FLAP if turn % 2 else POPPET, {"pump": pump}).id
            for turn in range(BUILDS)
        ]
        for turn in range(TRIALS):
            pair = {"old_build": builds[turn % BUILDS], "new_build": builds[(turn + 1) % BUILDS]}
            trial = add(hand, "trial", f"question {turn}", TRIAL, {"pump": pump, **pair}).id
            for count in range(RUNS):
                links = {
                    "pump": pump,
                    "build": builds[(turn + count % 2) % BUILDS],
                    "rig": rigs[turn % len(rigs)],
                    "trial": trial,
                }
                add(hand, "run", f"run {turn}.{count}", {**RUN, "beats": 100 + count, "note": f"day {turn}"}, links)
    return pump


def places_in(book: Book) -> dict[str, int]:
    """Numbers of a pump, of one of its builds and of a rig."""
    pump = book.list("pump").records[3].id
    build = book.list("build", links={"pump": pump}).records[2].id
    return {"pump": pump, "build": build, "rig": book.list("rig").records[0].id}


LISTS: dict[str, Callable[[Book, dict[str, int]], object]] = {
    "runs": lambda book, at: book.list("run"),
    "last runs": lambda book, at: book.list("run", offset=19_950),
    "runs by change": lambda book, at: book.list("run", order="changed", offset=10_000),
    "runs of a pump": lambda book, at: book.list("run", links={"pump": at["pump"]}, offset=900),
    "runs of a build by change": lambda book, at: book.list("run", links={"build": at["build"]}, order="changed"),
    "runs of a rig": lambda book, at: book.list("run", links={"rig": at["rig"]}, offset=3_900),
    "runs searched": lambda book, at: book.list("run", search="day 77 run"),
    "trials": lambda book, at: book.list("trial", offset=1_900),
    "trials of a build": lambda book, at: book.list("trial", links={"build": at["build"]}),
    "builds": lambda book, at: book.list("build", offset=150),
    "sites": lambda book, at: book.list("site", search="hazel"),
    "runs of each build": lambda book, at: book.counts("run", "build"),
    "journal": lambda book, at: book.changes(offset=20_000),
    "journal of a kind": lambda book, at: book.changes(kind="site"),
}
"""What the pages of a large book ask for."""
