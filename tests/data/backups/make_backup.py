"""Write the backup that the tests keep of a version and its tables: run it once for each, and never change what it wrote.

    python tests/data/backups/make_backup.py

The book in it is invented: the demonstration workbook, a change undone, a file, and a twin that nobody fitted.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import clackwork
from clackwork.book import open_book
from clackwork.book.backup import make_backup
from clackwork.book.migrate import REVISION

HERE = Path(__file__).resolve().parent


def main() -> int:
    """Make the book and keep it; refuses to write over a backup that is there."""
    sys.path.insert(0, str(HERE.parents[1] / "unit"))
    from invented_results import twin

    demo = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder, open_book(folder) as book:
        shop = book.workshop()
        entered = {"title": "Invented workshop", "note": "All of it is invented."}
        book.change("workshop", shop.id, version=shop.version, entered=entered)
        pump = book.take_workbook(demo, by="Ana").pump
        run = book.list("run").records[0]
        rained = book.change("run", run.id, version=run.version, entered={**run.entered, "note": "rain"}, by="Ana")
        book.undo(book.changes(kind="run", id=rained.id)[0].id, by="Ana")
        build = book.list("build").records[0]
        invented = twin()
        book.keep_twin(build.id, replace(invented, build=replace(invented.build, name=build.name)))
        book.keep_file("readings.csv", b"name;waste L\na;20,3\n", media_type="text/csv", links={"pump": pump.id})
        book.remember("readings.columns", {"columns": {"Waste L": {"field": "waste_volume", "unit": "L"}}, "fixed": {}})
        made = make_backup(folder, HERE / f"book-{clackwork.__version__}-tables-{REVISION}.zip")
    print(f"Wrote {made.path.name}, {made.size} bytes.")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
