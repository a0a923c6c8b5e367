"""The JSON API driven by its own description: whatever is sent, the answer is one that is described.

Sizes are bounded in the description, so that a request made up from it cannot ask for the whole memory. Every operation
starts from the same invented book, with a twin, a performance drawn and a fit that waits. No work is done: the app is
not told that the server started, and so has no worker.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented_switch import keep_study
from invented_twin import demo, performance, twin_of
from schemathesis import Case
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance
from starlette.testclient import TestClient
from starlette.types import ASGIApp, Receive, Scope, Send

from clackwork.bench.runs import FIGURES
from clackwork.book import Book
from clackwork.shop import job_rows, readings
from clackwork.shop.designing import ask_design, design_work
from clackwork.shop.fitting import ask_fit
from clackwork.shop.job_rows import ask_for, list_jobs
from clackwork.shop.live_setting import demo_start
from clackwork.shop.performance_text import performance_plain
from clackwork.shop.readings import Choices
from clackwork.web.app import make_app
from clackwork.web.devices import BookDevices
from clackwork.web.settings import Settings

pytestmark = pytest.mark.slow

HOST = "127.0.0.1:8765"
CHECKS = [not_a_server_error, status_code_conformance, response_schema_conformance]
EXAMPLES = 12
"""Requests made up for each operation."""
COSTLY = {".svg": 4, ".pdf": 4, "/api/quick": 8, "/visits": 5, "/api/endurance": 8}
"""Fewer where an answer is drawn or set on paper, by a part of the path."""

LEFT_OUT = {
    ("PUT", "/api/book/sharing"): "opens a port to the network",
}
"""Operations that are not driven, and why."""
NEVER_DONE = {
    ("POST", "/api/book/restore"): "takes the file of a backup; bytes made up are none",
    ("GET", "/api/book/restore/{name}"): "the workshop's own book has no backup here",
    ("POST", "/api/book/restore/{name}"): "the same",
}
"""Operations driven that can only refuse here, and why; each other one must have succeeded at least once."""

KINDS = ("workshop", "pump", "build", "rig", "trial", "run", "site", "visit", "instrument", "part", "switch")
TEXTS = {
    "stroke": ("7 mm", "0.3 in"),
    "mass": ("140 g", "1 lb"),
    "tilt": ("0 deg", "5 deg"),
    "fall": ("2 m", "7 ft"),
    "lift": ("12 m", "40 ft"),
    "pipe_length": ("12 m", "40 ft"),
    "margin": ("5 %",),
    "difference_that_matters": ("10 %", "1 %"),
    "scatter": ("", "2 %"),
    "back_pressure_head": (None, "12 m"),
    "figure": FIGURES,
    "series": ("", "steel-sch40"),
    "size": ("", "1 in"),
    "trial_made_at": ("",),
    "flow": ("30 L/min", "8 gpm"),
    "distance": ("120 m", "400 ft"),
    "wanted": ("", "600 L/day"),
    "to_source": ("", "12 m"),
    "daily": ("1400 L/day",),
    "language": ("en", "es"),
}
"""What a person types in fields of these names."""
NUMBERS = {
    "stroke_m": (None, 0.007),
    "mass_kg": (None, 0.14),
    "tilt_rad": (None, 0.1),
    "fall_m": (None, 2.1),
    "lift_m": (None, 14.0),
    "pipe_length_m": (None, 12.0),
    "water_temperature_k": (None, 285.0),
    "altitude_m": (None, 200.0),
    "source_flow_m3_s": (None, 3e-4),
    "low": (0.003, 1.0),
    "high": (0.012, 20.0),
    "draws": (40, 400),
    "place": (0, 1, 5),
    "choice": (1, 1, 2),
    "version": (1, 1, 2),
}
"""Numbers of fields of these names as a page sends them."""
SLID = tuple(name for name, said in NUMBERS.items() if None in said)
"""Those that the live page sends as a slider moves."""
READINGS = b"name,build,rig,kind,duration,waste_volume\nextra 1,flap,yard,held_open,20 s,16 L\n"
"""A file of readings."""
SITES = b"name,fall,source flow,lift from pump,line length\nMill Lane,2.5 m,30 L/min,18 m,120 m\n"
"""A table of sites."""
PICTURE = b"\x89PNG\r\n\x1a\n" + b"\0" * 40
"""A photograph, by its first bytes (PNG: W3C Recommendation, 5.2)."""
VISIT = {
    "date": "2024-05-03",
    "purpose": "commissioning",
    "delivered_volume": "6.4 L",
    "delivered_duration": "4:00",
    "beats": 124,
    "beats_duration": "2:00",
}
"""What was read on a visit."""
NOT_SEEN = ("beats", "wear", "weight_loss", "leak", "just_seen", "seen_failing", "cause")
"""What a look at a part may leave out."""
ODD: tuple[Any, ...] = ("", "0 m", "-1 L", "1e308 mm", "1e400 m", "nan kg", "x" * 300, [], {}, None, 1e308, True, [[0]])
"""What stands at times in the place of something sensible."""


class AtTheShop:
    """An app asked from its own machine and by its own page; it never hears of the server's start and end."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            while (told := (await receive())["type"]) != "lifespan.shutdown":
                await send({"type": f"{told}.complete"})
            return await send({"type": "lifespan.shutdown.complete"})
        if scope["type"] == "http":
            kept = [pair for pair in scope["headers"] if pair[0] not in (b"host", b"origin")]
            own = [(b"host", HOST.encode()), (b"origin", b"ht" + f"tp://{HOST}".encode())]
            scope = {**scope, "client": ("127.0.0.1", 50_000), "headers": [*kept, *own]}
        await self.app(scope, receive, send)


@dataclass(frozen=True)
class There:
    """What is in the book: the numbers of its records by kind, and each record by its number; a file sent."""

    numbers: Mapping[str, tuple[int, ...]]
    records: Mapping[int, Any]
    upload: str = ""
    sites_upload: str = ""

    def records_of(self, kind: str, name: str) -> int:
        """The number of the record of a kind and a name."""
        return next(number for number, one in self.records.items() if (one.kind, one.name) == (kind, name))


@dataclass(frozen=True)
class Described:
    """The app with its description, and a book that can be put back as it was."""

    app: FastAPI
    schema: Any
    there: There
    kept: Path

    @property
    def book(self) -> Book:
        """The open book."""
        found: Book = self.app.state.shelf.book()
        return found

    def begin_again(self) -> There:
        """The invented book as it was at first, and a file of readings sent to it; what is there."""
        shelf, folder = self.app.state.shelf, self.app.state.settings.demo_place
        shelf.close()
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(self.kept, folder)
        shelf.open_demo()
        pump = self.there.numbers["pump"][0]
        upload = send_file(self.app, "/api/readings/files", "more.csv", READINGS, pump=pump)
        return replace(self.there, upload=upload, sites_upload=send_file(self.app, "/api/sites/tables", "s.csv", SITES))


def send_file(app: FastAPI, path: str, name: str, raw: bytes, **more: int) -> str:
    """Send a file, as its page does; the key under which the server holds it."""
    client = TestClient(AtTheShop(app), base_url="ht" + f"tp://{HOST}")
    sent = client.post(path, data=more, files={"file": (name, raw)})
    assert sent.status_code == 201, sent.text
    return str(sent.json()["upload"])


def furnish(book: Book) -> There:
    """Give the invented book a twin, a performance, work that waits and a device; say what is in it."""
    [build] = book.list("build", search="flap").records
    book.keep_twin(build.id, twin_of(demo().builds["flap"]))
    [other] = book.list("build", search="poppet").records
    book.keep_twin(other.id, twin_of(demo().builds["poppet"]))
    drawn = ask_for(book, "performance", {"build_id": build.id}, title="Performance of flap")
    assert job_rows.take_up(book, "by hand") is not None
    job_rows.end(book, drawn.id, "by hand", "done", result=performance_plain(performance()))
    design = designed(book)
    keep_study(book)
    book.add(
        "visit",
        "first start",
        VISIT,
        links={"site": book.list("site", search="hazel").records[0].id, "build": build.id},
    )
    fit = ask_fit(book, build.id)
    [pump] = book.list("pump").records
    file = readings.take(book, pump.id, READINGS.replace(b"extra", b"early"), "early.csv", Choices())["file_id"]
    device = BookDevices(book).add_device("phone", "0" * 64)
    records = {one.id: one for kind in KINDS for one in book.list(kind, limit=500).records}
    numbers = {kind: tuple(number for number, one in records.items() if one.kind == kind) for kind in KINDS}
    others = {
        "job": (drawn.id, fit.id),
        "site": (design,),
        "device": (device.id,),
        "file": (file,),
        "change": tuple(one.id for one in book.changes()),
    }
    return There(numbers | others, records)


def designed(book: Book) -> int:
    """A site of the book with a design, as the worker leaves it; its number."""
    [site] = book.list("site", search="gill").records
    job = ask_design(book, site.id, draws=20)
    task = SimpleNamespace(arguments=job.arguments, progress=lambda done, total: None)
    assert job_rows.take_up(book, "by hand") is not None
    job_rows.end(book, job.id, "by hand", "done", result=design_work(book, task))  # type: ignore[arg-type]
    return site.id


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Described]:
    folder = tmp_path_factory.mktemp("described")
    app = make_app(Settings(folder / "book", folder / "book-demo"))
    app.state.shelf.open_demo()
    there = furnish(app.state.shelf.book())
    app.state.shelf.close()
    shutil.copytree(folder / "book-demo", folder / "kept")
    app.state.shelf.open_demo()
    schema = schemathesis.openapi.from_asgi("/openapi.json", AtTheShop(app))
    yield Described(app, schema, there, folder / "kept")
    app.state.shelf.close()


def kind_of_number(path: str, name: str, kind: str) -> str:
    """Of what a number in a path is the number."""
    if name in ("old", "new"):
        return "build"
    found = {
        "trials": "trial",
        "builds": "build",
        "jobs": "job",
        "journal": "change",
        "devices": "device",
        "files": "file",
        "sites": "site",
        "visits": "visit",
        "photographs": "file",
        "parts": "part",
        "switches": "switch",
    }
    return next((what for part, what in found.items() if f"/{part}/{{{name}}}" in path), kind or "pump")


def meet_records(case: Case[Any], there: There, draw: Any) -> None:
    """Put what is in the book, and what people type, in the place of some or all of what was made up."""
    share = draw(st.sampled_from(("all", "all", "some", "none")))

    def meet() -> bool:
        return share == "all" or (share == "some" and bool(draw(st.booleans())))

    path, places = case.operation.path, case.path_parameters or {}
    kind = str(places.get("kind", ""))
    for name, number in places.items():
        if isinstance(number, int) and meet():
            places[name] = draw(st.sampled_from(there.numbers.get(kind_of_number(path, name, kind)) or (number,)))
    for values in (case.query, case.body):
        if isinstance(values, dict):
            meet_fields(values, there, draw, meet, path)
    body = case.body
    if path.startswith("/api/records/") and isinstance(body, dict) and there.numbers.get(kind) and meet():
        like = there.records.get(places.get("number", 0)) or there.records[draw(st.sampled_from(there.numbers[kind]))]
        body["entered"] = less_one(like.entered, draw)
        body["links"] = dict(like.links)


def meet_fields(values: dict[str, Any], there: There, draw: Any, meet: Any, path: str) -> None:
    """The same for the fields of a query or a body."""
    known = {"pump": "pump", "build": "build", "build_id": "build", "rig_id": "rig", "record": "run"}
    known |= {"old_build": "build", "new_build": "build", "site_id": "site"}
    for name in values:
        if name in known and meet():
            values[name] = draw(st.sampled_from(there.numbers[known[name]]))
        elif (said := TEXTS.get(name) or NUMBERS.get(name)) and meet():
            values[name] = draw(st.sampled_from(said))
    if path == "/api/live/keep" and meet():
        for name in {*TEXTS, *SLID} & set(values):
            del values[name]
        values["stroke"] = draw(st.sampled_from(("8 mm", "9 mm")))
    if path.startswith("/api/readings/") and meet():
        held = {"upload": there.upload, "columns": [], "fixed": {}, "answers": {}, "file": READINGS}
        values.update((name, told) for name, told in held.items() if name in values)
    if "falls" in values and meet():
        values["falls"] = draw(st.sampled_from(([], ["1.5 m", "7 ft"], ["2 m"] * 6)))
    if path.startswith("/api/sites/tables") and meet():
        held = {"upload": there.sites_upload, "columns": [], "answers": {}, "file": SITES}
        values.update((name, told) for name, told in held.items() if name in values)
    if path == "/api/photographs" and meet():
        values.pop("part", None)
        values |= {"visit": there.numbers["visit"][0], "photograph": PICTURE}
    if path.startswith("/api/quick") and meet():
        values |= {"lift_from_pump": "18 m", "lift_from_source": None, "assume": {}}
    if path == "/api/endurance" and meet():
        values |= {"part": "waste_rubber", "material": "rubber", "months": 12.0, "beats": None, "reliability": 0.9}
        values |= {"confidence": 0.9, "shape": 1.0, "lowest_exponent": None, "highest_exponent": None, "most_parts": 4}
        values |= {"site_id": there.records_of("site", "Upper Hazel"), "falls": ["2 m"]}
    if path.endswith("/looks") and meet():
        values.update((key, None) for key in NOT_SEEN if key in values)
        values |= {"date": "2025-05-03", "outcome": "runs on"}
    runs = [there.records[number] for number in there.numbers["run"]]
    if path == "/api/bench/plan" and meet():
        values["kind"] = draw(st.sampled_from(sorted({run.entered["kind"] for run in runs})))
    if path == "/api/bench/trials/{number}/runs" and meet():
        values["entered"] = less_one(draw(st.sampled_from(runs)).entered, draw)
        values["name"] = ""
    if path in ("/api/live", "/api/live/edges") and meet():
        start = demo_start()
        tables = {"build": start.build, "drive_pipe": start.places[0].drive_pipe}
        for name in draw(st.sets(st.sampled_from(sorted(tables)))):
            values[name] = less_one(tables[name], draw)
        for name in draw(st.sets(st.sampled_from(SLID), max_size=3)):
            values[name] = draw(st.sampled_from((*NUMBERS[name], 0.0, 1e-6, 40.0, 1e6)))


def less_one(table: Mapping[str, Any], draw: Any) -> dict[str, Any]:
    """A table as it is; at times without a field, or with something odd in its place, in a table within it as well."""
    found = dict(table)
    if found and draw(st.integers(0, 2)) == 0:
        key = draw(st.sampled_from(sorted(found)))
        if isinstance(found[key], Mapping) and draw(st.booleans()):
            found[key] = less_one(found[key], draw)
        elif draw(st.booleans()):
            del found[key]
        else:
            found[key] = draw(st.sampled_from(ODD))
    return found


def examples_of(path: str) -> int:
    """How many requests are made up for an operation."""
    return next((number for part, number in COSTLY.items() if part in path), EXAMPLES)


def drive(described: Described, operation: Any) -> set[int]:
    """Ask one operation in many ways, each answer held against the description; the statuses seen."""
    statuses: set[int] = set()

    @settings(
        max_examples=examples_of(operation.path),
        deadline=None,
        suppress_health_check=list(HealthCheck),
        derandomize=True,
        database=None,
    )
    @given(case=operation.as_strategy(), data=st.data())
    def ask(case: Case[Any], data: st.DataObject) -> None:
        meet_records(case, there, data.draw)
        statuses.add(case.call_and_validate(checks=CHECKS).status_code)

    there = described.begin_again()
    ask()
    return statuses


def test_no_answer_is_a_failure_inside(described: Described) -> None:
    """Every operation in turn; the case at fault is in the message."""
    operations = [found.ok() for found in described.schema.get_all_operations()]
    labels = {(one.method.upper(), one.path): one for one in operations}
    assert set(LEFT_OUT) | set(NEVER_DONE) <= set(labels)
    refused = set()
    for label, operation in labels.items():
        if label not in LEFT_OUT:
            statuses = drive(described, operation)
            if min(statuses) >= 300:
                refused.add(label)
            if described.app.state.shelf.is_open:
                assert all(job.began_at is None for job in list_jobs(described.book) if job.kind == "fit"), label
    assert refused == set(NEVER_DONE)
