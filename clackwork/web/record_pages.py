"""Pages of single records: see one, add one, change one, take one away; the same for every kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import Conflict
from clackwork.cautions import cautions_for
from clackwork.errors import ClackworkError, InputError
from clackwork.shop.part_service import ask_landings
from clackwork.web import record_forms
from clackwork.web.access import visitor_of
from clackwork.web.field_lists import forms
from clackwork.web.fields import Form
from clackwork.web.forms import LINK, NAME, REQUEST, Filled, entered_of, filled_from, place_error
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_forms import Clash
from clackwork.web.summaries import Line, fact_groups, line_of, path_of, summary
from clackwork.workbook_instruments import ROLES as SORT_OF_ROLE

if TYPE_CHECKING:
    from clackwork.book import Book, Record

router = APIRouter(include_in_schema=False)

LINKED_TITLES = {"rig": "Read with"}
"""Heads the list of the records one is linked to, by its kind."""
CAUTIONS = {
    "build": ("moving_valve",),
    "site": ("water_rights", "work_in_water"),
    "visit": ("work_in_water", "moving_valve", "dead_head"),
}
"""Topics whose cautions stand on the page of a kind of record; dead heads have theirs wherever they are run."""

TEMPLATES = {"visit": "visit_form.html"}
"""Templates of forms that have one of their own."""

OF_BENCH = ("rig", "instrument")
"""Kinds that are listed on the page of the bench."""
_RUNS_SHOWN = 12
_RIGS_SHOWN = 100


def book_of(request: Request) -> Book:
    """The open book."""
    book: Book = request.app.state.shelf.book()
    return book


def trail_of(book: Book, record: Record) -> list[tuple[str, str]]:
    """Where a record stands: words and address of what is above it."""
    if record.kind == "visit":
        site = record.links["site"]
        return [
            ("Sites", "/sites"),
            (book.get("site", site).name, f"/sites/{site}"),
            ("Visits", f"/sites/{site}/visits"),
        ]
    pump = record.links.get("pump")
    if pump is not None:
        trail = [("Pumps", "/pumps"), (book.get("pump", pump).name, f"/pumps/{pump}")]
        build = record.links.get("build")
        if build is not None:
            trail.append((book.get("build", build).name, f"/builds/{build}"))
        return trail
    above = {"pump": ("Pumps", "/pumps"), "site": ("Sites", "/sites"), **dict.fromkeys(OF_BENCH, ("Bench", "/bench"))}
    return [above.get(record.kind, ("Book", "/book"))]


def linked_lines(book: Book, record: Record) -> list[Line]:
    """The records one is linked to, other than its pump."""
    lines = []
    for link in forms()[record.kind].links:
        number = record.links.get(link.role)
        if number is not None and link.role != "pump":
            other = book.get(link.kind, number)
            lines.append(Line(path_of(other), other.name, link.label.lower()))
    return lines


def rigs_with(book: Book, instrument: Record, system: str) -> list[Line]:
    """The rigs that use an instrument, each once."""
    roles = [role for role, sort in SORT_OF_ROLE.items() if sort == instrument.entered["sort"]]
    found = [one for role in roles for one in book.list("rig", links={role: instrument.id}, limit=_RIGS_SHOWN).records]
    return [line_of(one, system) for one in {one.id: one for one in found}.values()]


def part_of(title: str, lines: list[Line], empty: str = "", add: str = "", add_words: str = "") -> dict[str, Any]:
    """A list under a record: rows, what is said when there are none, and where to add one."""
    return {"title": title, "lines": lines, "empty": empty, "add": add, "add_words": add_words, "all": ""}


def runs_part(book: Book, request: Request, links: dict[str, int], add: str) -> dict[str, Any]:
    """The list of runs under a record."""
    found = book.list("run", links=links, limit=_RUNS_SHOWN, order="changed")
    lines = [line_of(run, units_of(request)) for run in found.records]
    query = "&".join(f"{role}={number}" for role, number in links.items())
    return {
        "title": "Runs" if found.total <= _RUNS_SHOWN else "Runs entered last",
        "lines": lines,
        "empty": "No run yet.",
        "add": add,
        "add_words": "Enter a run",
        "all": f"/runs?{query}" if found.total > _RUNS_SHOWN else "",
        "all_words": f"All {found.total} runs",
    }


def cautions_of(record: Record) -> list[str]:
    """The words of what can hurt people at what a record describes."""
    topics = CAUTIONS.get(record.kind, ())
    if record.entered.get("kind") == "dead_head":
        topics = ("dead_head",)
    return [caution.words for topic in topics for caution in cautions_for(topic)]


def record_page(request: Request, record: Record, template: str = "record.html", **more: Any) -> Response:
    """The page of one record; ``more`` replaces what it shows by itself, or adds to it for another template."""
    book, system, form = book_of(request), units_of(request), forms()[record.kind]
    linked = linked_lines(book, record)
    used_on = (
        [part_of("Used on", rigs_with(book, record, system), "No rig yet.")] if record.kind == "instrument" else []
    )
    shown: dict[str, Any] = {
        "record": record,
        "form": form,
        "path": path_of(record),
        "trail": trail_of(book, record),
        "summary": summary(record, system),
        "groups": fact_groups(record, system),
        "parts": [*([part_of(LINKED_TITLES.get(record.kind, "Belongs to"), linked)] if linked else []), *used_on],
        "cautions": cautions_of(record),
        "differences": (),
        "before": None,
        "more_actions": (),
    }
    return page(request, template, **(shown | more))


def form_page(
    request: Request, filled: Filled, record: Record | None, *, status: int = 200, conflict: Clash | None = None
) -> Response:
    """A form, empty or filled, with what is wrong in it."""
    book, form = book_of(request), filled.form
    pump = record_forms.pump_of(book, filled)
    own = record.id if record else None
    if record is None:
        title, action, words = f"New {form.word}", f"/{form.plural}", f"Save the {form.word}"
        back = _list_of(form.kind, pump, record_forms.number_in(filled.value(f"{LINK}site")))
    else:
        title, action, back = f"Change {record.name}", path_of(record), path_of(record)
        words = "Save with both in view" if conflict else "Save the change"
    return page(
        request,
        TEMPLATES.get(form.kind, "form.html"),
        status=status,
        title=title,
        filled=filled,
        links=record_forms.link_options(book, form, pump, own),
        action=action,
        back=back,
        save_words=words,
        conflict=conflict,
    )


def _list_of(kind: str, pump: int | None, site: int | None) -> str:
    """The page that lists records of a kind."""
    if kind == "visit":
        return f"/sites/{site}/visits" if site else "/sites"
    if pump:
        return f"/pumps/{pump}"
    return "/bench" if kind in (*OF_BENCH, "trial") else f"/{forms()[kind].plural}"


def _new_page(request: Request, kind: str) -> Response:
    """An empty form; links in the address are chosen in it, and a build may begin as another one."""
    book, form = book_of(request), forms()[kind]
    filled = record_forms.fresh(form)
    for link in form.links:
        filled.values[LINK + link.role] = request.query_params.get(link.role, "")[:12]
    before = record_forms.number_in(filled.value(f"{LINK}revision_of"))
    if kind == "build" and before is not None:
        one = book.get("build", before)
        filled.values = record_forms.of_record(one, form).values | {
            NAME: "",
            LINK + "revision_of": str(before),
            REQUEST: filled.value(REQUEST),
        }
        filled.values.pop("version")
    return form_page(request, filled, None)


def _save_new(request: Request, filled: Filled) -> Response:
    """Add what a form holds, or show the form again."""
    book, form = book_of(request), filled.form
    try:
        made = book.add(
            form.kind,
            filled.value(NAME),
            entered_of(filled),
            links=record_forms.links_of(filled),
            by=visitor_of(request).name,
            request_id=filled.value(REQUEST) or None,
        )
    except ClackworkError as error:
        place_error(filled, error)
        return form_page(request, filled, None, status=status_of(error))
    look_at_landings(request, made)
    return go_to(request, path_of(made), f"{made.name} is in the book.")


def _save_change(request: Request, filled: Filled, number: int) -> Response:
    """Change a record as a form says, or show the form again; after a conflict with both side by side."""
    book, form = book_of(request), filled.form
    record = book.get(form.kind, number)
    try:
        changed = book.change(
            form.kind,
            number,
            version=record_forms.version_in(filled),
            name=filled.value(NAME),
            entered=entered_of(filled, record.entered),
            links=record_forms.links_of(filled),
            by=visitor_of(request).name,
        )
    except Conflict as error:
        clash = record_forms.merge(book, filled, error)
        return form_page(request, filled, record, status=409, conflict=clash)
    except ClackworkError as error:
        place_error(filled, error)
        return form_page(request, filled, record, status=status_of(error))
    look_at_landings(request, changed)
    return go_to(request, path_of(changed), "Saved. The journal in the book keeps what it was before.")


def look_at_landings(request: Request, record: Record) -> None:
    """Have the engine say how a part that was entered lands, for its dates; the worker finds what waits by itself."""
    if record.kind == "part":
        ask_landings(book_of(request), by=visitor_of(request).name)


def _remove(request: Request, kind: str, number: int, version: str) -> Response:
    """Take a record away."""
    told = record_forms.number_in(version)
    if told is None:
        raise InputError("version", version[:12], "it is the version the page was opened at", "Open the page again.")
    gone = book_of(request).remove(kind, number, version=told, by=visitor_of(request).name)
    back = _list_of(kind, gone.links.get("pump"), gone.links.get("site"))
    return go_to(request, back, f"{gone.name} was taken away; the journal in the book can put it back.")


def _add_routes(form: Form) -> None:
    """The five addresses of one kind of record."""
    kind, base = form.kind, f"/{form.plural}"

    @router.get(f"{base}/new")
    def new(request: Request) -> Response:
        return _new_page(request, kind)

    @router.post(base)
    async def add(request: Request) -> Response:
        filled = filled_from(form, await request.form())
        return await run_in_threadpool(_save_new, request, filled)

    @router.get(f"{base}/{{number}}")
    def see(request: Request, number: int) -> Response:
        return record_page(request, book_of(request).get(kind, number))

    @router.get(f"{base}/{{number}}/edit")
    def edit(request: Request, number: int) -> Response:
        record = book_of(request).get(kind, number)
        return form_page(request, record_forms.of_record(record, form), record)

    @router.post(f"{base}/{{number}}")
    async def change(request: Request, number: int) -> Response:
        filled = filled_from(form, await request.form())
        return await run_in_threadpool(_save_change, request, filled, number)

    @router.post(f"{base}/{{number}}/remove")
    async def remove(request: Request, number: int) -> Response:
        version = str((await request.form()).get("version", ""))
        return await run_in_threadpool(_remove, request, kind, number, version)


for _form in forms().values():
    if _form.kind != "workshop":
        _add_routes(_form)
