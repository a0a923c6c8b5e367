"""A hundred processes killed while they write to a book: no change that was acknowledged is lost.

This is the death of a process (kill -9), at a random moment; the loss of power is another matter, for which the book
asks the system to sync each change to the disk (synchronous=FULL).
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from clackwork.book import Book, open_book
from clackwork.book.doctor import BAD, examine

CYCLES = 100
WRITERS = 2  # at once
LONGEST = 0.1  # seconds from the first acknowledged change, or in every third cycle from birth, to the kill

NURSERY = """
import os, sys
from clackwork.book import open_book

def write(place, name):
    with open_book(place) as book:
        made = book.add("pump", name, {"note": "0"})
        say(made)
        for count in range(1, 100_000):
            made = book.change("pump", made.id, version=made.version, entered={"note": str(count)})
            say(made)

def say(made):
    os.write(1, f"{made.id} {made.version} {made.entered['note']}\\n".encode())

os.write(1, b"ready\\n")
for line in sys.stdin:
    children = []
    for name in line.rstrip("\\n").split("\\t"):
        number = os.fork()
        if number == 0:
            write(sys.argv[1], name)
            os._exit(0)
        children.append(number)
    os.write(1, ("born " + " ".join(map(str, children)) + "\\n").encode())
    for number in children:
        os.waitpid(number, 0)
    os.write(1, b"gone\\n")
"""
"""Imports once, then bears writers, since an interpreter takes a second to start."""


@contextmanager
def nursery(place: Path) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(
        [sys.executable, "-c", NURSERY, str(place)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
    )
    try:
        assert process.stdout is not None and process.stdout.readline() == b"ready\n"
        yield process
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.wait(30)


def killed_writers(process: subprocess.Popen[bytes], names: list[str], seconds: float, at_work: bool) -> list[str]:
    """Lines that writers of these names acknowledged before they were killed.

    ``at_work`` counts the seconds from the first acknowledged change; else writers may be killed while they open.
    """
    assert process.stdin is not None and process.stdout is not None
    process.stdin.write(("\t".join(names) + "\n").encode())
    lines: list[str] = []
    children: list[int] = []
    while not children or (at_work and not lines):  # a writer may be quicker than the word of its birth
        line = process.stdout.readline().decode().rstrip("\n")
        if line.startswith("born "):
            children = [int(number) for number in line.split()[1:]]
        else:
            lines.append(line)
    time.sleep(seconds)
    for number in children:
        os.kill(number, signal.SIGKILL)
    while (line := process.stdout.readline().decode().rstrip("\n")) != "gone":
        lines.append(line)
    return lines


def check(book: Book, acknowledged: dict[int, tuple[int, str]]) -> None:
    """Every acknowledged change is there, as it was or overtaken by one that was not acknowledged in time."""
    with book.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
        rows = connection.exec_driver_sql("SELECT id, version, entered FROM record WHERE kind = 'pump'").all()
    held = {number: (version, entered) for number, version, entered in rows}
    for number, (version, note) in acknowledged.items():
        assert number in held and held[number][0] >= version
        assert held[number][0] > version or f'"note":"{note}"' in held[number][1]


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="writers are forked")
def test_a_hundred_killed_writers_lose_no_acknowledged_change(tmp_path: Path) -> None:
    place, moments = tmp_path / "shop", random.Random(20240506)
    acknowledged: dict[int, tuple[int, str]] = {}
    total = 0
    with open_book(place):
        pass
    with nursery(place) as process:
        for cycle in range(CYCLES):
            names = [f"pump {cycle} {writer}" for writer in range(WRITERS)]
            lines = killed_writers(process, names, moments.uniform(0.0, LONGEST), cycle % 3 != 0)
            total += len(lines)
            for line in lines:
                number, version, note = line.split(" ")
                acknowledged[int(number)] = (int(version), note)
            with open_book(place) as book:
                check(book, acknowledged)
    assert len(acknowledged) > CYCLES // 2 and total > 2 * CYCLES  # they did write
    assert [one for one in examine(place) if one.level == BAD] == []
