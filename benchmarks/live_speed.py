"""How long a moved slider takes: at the server, and in a browser from the move to the new picture.

.venv/bin/python benchmarks/live_speed.py

The second part needs Chromium; it is left out, and says so, where there is none.
"""

from __future__ import annotations

import shutil
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from common import against_goal, machine, rounded, show

from clackwork.quantities import SYSTEMS
from clackwork.ram.sensitivity import with_input
from clackwork.shop.live import live_beat, live_edges, slider_ranges
from clackwork.shop.live_setting import demo_start, read_build_table, set_case
from clackwork.web.live_answers import live_answer

STEPS = 25
SERVER_GOAL = 0.1
PICTURE_GOAL = 0.15
MOVES = 60


def quantiles(name: str, seconds: list[float]) -> dict[str, object]:
    """Median, 95th centile and longest of some times, in milliseconds."""
    found = np.quantile(seconds, (0.5, 0.95, 1.0)) * 1e3
    return {
        "what": name,
        "calls": len(seconds),
        **dict(zip(("median_ms", "p95_ms", "longest_ms"), map(rounded, found), strict=True)),
    }


def server_times() -> tuple[list[dict[str, object]], float]:
    """Every slider of the invented pump moved from end to end: table and the 95th centile of all [s]."""
    start = demo_start()
    build = read_build_table(start.build)
    rows, together = [], []
    for shut in (False, True):
        case = set_case(build, start.places[0], {}, shut=shut)
        live_beat(case)
        for each in slider_ranges(case):
            took = []
            for value in np.linspace(each.low, each.high, STEPS):
                moved = with_input(case, each.name, float(value))
                began = time.perf_counter()
                live_answer(moved, live_beat(moved), SYSTEMS[0])
                took.append(time.perf_counter() - began)
            together += took
            rows.append(quantiles(f"{each.name}, delivery {'shut' if shut else 'open'}", took))
    return rows, float(np.quantile(together, 0.95))


def edge_times() -> list[dict[str, object]]:
    """The stall edges of each slider, looked for once at rest."""
    start = demo_start()
    case = set_case(read_build_table(start.build), start.places[0], {})
    rows = []
    for each in slider_ranges(case):
        began = time.perf_counter()
        live_edges(case, each.name, each.low, each.high)
        rows.append({"what": f"edges of {each.name}", "took_ms": rounded(1e3 * (time.perf_counter() - began))})
    return rows


@contextmanager
def served() -> Iterator[str]:
    """The page on a free port of this machine; its address."""
    import uvicorn

    from clackwork.web.app import make_app
    from clackwork.web.settings import Settings

    with tempfile.TemporaryDirectory() as folder:
        app = make_app(Settings(Path(folder) / "book", Path(folder) / "demo"))
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        port = server.servers[0].sockets[0].getsockname()[1]
        try:
            yield "ht" + f"tp://127.0.0.1:{port}"
        finally:
            server.should_exit = True
            thread.join(10.0)


MOVE = """async (moves) => {
  const root = document.getElementById("live"), range = document.getElementById("live-slider-stroke"), took = [];
  for (let move = 0; move < moves; move += 1) {
    await new Promise((done) => setTimeout(done, 80));
    const before = root.dataset.shown;
    range.value = 0.005 + 0.0001 * move;
    const began = performance.now();
    range.dispatchEvent(new Event("input"));
    while (root.dataset.shown === before) await new Promise((done) => setTimeout(done, 1));
    await new Promise((done) => requestAnimationFrame(done));
    took.push((performance.now() - began) / 1000);
  }
  return took;
}"""


def picture_times(chromium: str) -> list[float]:
    """From the move of a slider to the next frame that shows it, in a browser [s]."""
    from playwright.sync_api import sync_playwright

    with served() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page: Any = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(f"{address}/live")
        page.wait_for_selector("#live[data-state]")
        page.wait_for_timeout(2000)
        took: list[float] = page.evaluate(MOVE, MOVES)
        browser.close()
    return took


def main() -> None:
    """Print all tables."""
    show("machine", machine())
    rows, slow = server_times()
    show("server: figures, trace and drawing of one setting", rows)
    show("server: stall edges, asked for when a slider rests", edge_times())
    goals = [against_goal("server, 95 in 100 under (s)", slow, SERVER_GOAL, at_least=False)]
    chromium = shutil.which("chromium")
    if chromium is None:
        print("\nNo Chromium here: the way from move to picture was not measured.")
    else:
        took = picture_times(chromium)
        show("browser: from move to picture", quantiles("stroke", took))
        goals.append(against_goal("browser, median (s)", statistics.median(took), PICTURE_GOAL, at_least=False))
    show("goals", goals)


if __name__ == "__main__":
    main()
