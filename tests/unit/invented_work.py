"""Work for the tests of the job runner: it counts, and does what its arguments say on the way."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from clackwork.book import Book
from clackwork.errors import InputError
from clackwork.shop.jobs import Task

WORK = {
    "count": "invented_work:count",
    "deaf": "invented_work:deaf",
    "pieces": "invented_work:pieces",
}


def count(book: Book, task: Task) -> Mapping[str, Any]:
    """Count to "to", "pause" seconds a step, beginning after what was counted before."""
    counted = list(task.before["counted"]) if task.before else []
    begun_at = len(counted)
    for number in range(begun_at + 1, task.arguments["to"] + 1):
        task.progress(number - 1, task.arguments["to"])
        time.sleep(task.arguments.get("pause", 0.0))
        if number == task.arguments.get("refuse_at"):
            raise InputError("stroke", "0.5 mm", "it must be 5 to 500 mm", "Was it metres?")
        if number == task.arguments.get("break_at"):
            raise KeyError("a fault of the program")
        if number == task.arguments.get("die_at"):
            os._exit(9)
        counted.append(number)
        task.keep({"counted": counted, "begun_at": begun_at})
        if mark := task.arguments.get("mark"):
            Path(mark).write_text(str(number), encoding="utf-8")
    return {"counted": counted, "begun_at": begun_at}


def pieces(book: Book, task: Task) -> Mapping[str, Any]:
    """Find "to" pieces, "pause" seconds each, those kept from before without."""
    found_again = 0
    for number in range(task.arguments["to"]):
        if task.get(f"piece {number}") is None:
            time.sleep(task.arguments.get("pause", 0.0))
            task.put(f"piece {number}", b"found")
        else:
            found_again += 1
        task.progress(number + 1, task.arguments["to"])
    return {"found_again": found_again}


def deaf(book: Book, task: Task) -> Mapping[str, Any]:
    """Work that never looks whether it is to stop."""
    task.progress(1, 10)
    time.sleep(60.0)
    return {}
