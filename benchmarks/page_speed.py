"""How long the server takes over each page of the largest book: 200 builds, 2,000 trials, 20,000 runs.

Run ``.venv/bin/python benchmarks/page_speed.py``. Every list page should take less than 200 ms at the server.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from starlette.testclient import TestClient

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "unit")]

from big_book import fill  # noqa: E402

from clackwork.web.app import make_app  # noqa: E402
from clackwork.web.settings import Settings  # noqa: E402

TURNS = 7
LONGEST = 0.2
"""Asked of every list page [s]."""


def pages_of(app: object) -> list[str]:
    """The lists, and a record of each kind."""
    book = app.state.shelf.book()  # type: ignore[attr-defined]
    first = {kind: book.list(kind, limit=1).records[0].id for kind in ("pump", "build", "rig", "trial", "run", "site")}
    lists = [
        "/",
        "/pumps",
        "/bench",
        "/sites",
        "/runs",
        "/progress",
        "/book",
        "/runs?search=flap",
        "/runs?offset=19950",
    ]
    lists += [f"/runs?pump={first['pump']}", "/bench?search=question+7"]
    return lists + [f"/{kind}s/{number}" for kind, number in first.items()]


def main() -> int:
    """Print the median of each page; 1 when one of them is slower than asked."""
    with tempfile.TemporaryDirectory() as folder:
        app = make_app(Settings(Path(folder) / "book", Path(folder) / "demo"))
        with TestClient(app, base_url="ht" + "tp://127.0.0.1", client=("127.0.0.1", 1)) as browser:
            app.state.shelf.open_own("The largest book")
            fill(app.state.shelf.book())
            slow = 0
            for path in pages_of(app):
                spent = []
                for _ in range(TURNS):
                    began = time.perf_counter()
                    answer = browser.get(path)
                    spent.append(time.perf_counter() - began)
                    assert answer.status_code == 200, f"{path}: {answer.status_code}"
                middle = statistics.median(spent)
                slow += middle > LONGEST
                print(f"{1000 * middle:7.1f} ms  {path}{'  TOO SLOW' if middle > LONGEST else ''}", flush=True)
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
