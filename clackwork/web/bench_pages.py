"""The bench: trials and rigs, a trial planned, a trial judged, and the run card for the yard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from clackwork.book import Book, Record
from clackwork.errors import ClackworkError
from clackwork.shop.judging import judge_book_trial
from clackwork.shop.planning import plan_answer, plan_new_trial
from clackwork.web import bench_api, record_forms
from clackwork.web.access import visitor_of
from clackwork.web.assets import KINDS, STATIC
from clackwork.web.field_lists import forms
from clackwork.web.fields import Field
from clackwork.web.forms import LINK, NAME, REQUEST, Filled, entered_of, filled_from, place_error
from clackwork.web.lists import listing_of, offset_of, search_of
from clackwork.web.pages import day, go_to, page, templates, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_pages import book_of, record_page
from clackwork.web.summaries import line_of, path_of

pages = APIRouter(include_in_schema=False)

BUILDS = (("old_build", "old"), ("new_build", "new"))
CARD = "/bench/card"
WORKER = "run_worker.js"
SCATTER = Field("scatter", "Runs of one build scatter by", "fraction", "Left out: what earlier runs show.")
_MOST_RIGS = 200
_CARD_LASTS = 7 * 86_400
"""How long a browser may show the card without asking [s]: a week in the yard; with a network the card renews itself."""


@pages.get("/bench")
def bench(request: Request) -> Response:
    """Trials, rigs and instruments of the book."""
    book, system, search = book_of(request), units_of(request), search_of(request)
    trials = book.list("trial", search=search, offset=offset_of(request), order="changed")
    names = pump_names(book, trials.records)
    asked = [line_of(one, system, end=names.get(one.links["pump"], "")) for one in trials.records]
    rigs, instruments = (book.list(kind, limit=_MOST_RIGS) for kind in ("rig", "instrument"))
    empty = (
        "No trial of that name." if search else "No trial yet: a trial asks whether one build does better than another."
    )
    listings = [
        listing_of(trials, asked, "Find a trial", empty, "/trials/new", "Plan a trial", "Trials"),
        listing_of(
            rigs, [line_of(one, system) for one in rigs.records], "", "No rig yet.", "/rigs/new", "Add a rig", "Rigs"
        ),
        listing_of(
            instruments,
            [line_of(one, system) for one in instruments.records],
            "",
            "None of its own yet: gauge, buckets and watch may also be described in a rig. One that several rigs share is "
            "better kept here, once.",
            "/instruments/new",
            "Add an instrument",
            "Instruments",
        ),
    ]
    return page(request, "listing.html", title="Bench", listings=listings, search=search)


def pump_names(book: Book, records: tuple[Record, ...]) -> dict[int, str]:
    """The names of the pumps that records belong to."""
    return {number: book.get("pump", number).name for number in {one.links["pump"] for one in records}}


@pages.get("/runs")
def runs(request: Request) -> Response:
    """Runs of the book, of a pump or of a build, the last entered first."""
    book, system, search = book_of(request), units_of(request), search_of(request)
    chosen = {role: record_forms.number_in(request.query_params.get(role, "")) for role in ("pump", "build")}
    links = {role: number for role, number in chosen.items() if number is not None}
    found = book.list("run", links=links, search=search, offset=offset_of(request), order="changed")
    lines = [line_of(run, system, end=day(run.made_at)) for run in found.records]
    add = f"/runs/new?build={links['build']}" if "build" in links else "/runs/new"
    listing = listing_of(found, lines, "Find a run", "No such run.", add, "Enter a run")
    of = [book.get(role, number).name for role, number in links.items()]
    title = f"Runs of {' '.join(of)}" if of else "Runs"
    return page(request, "listing.html", title=title, listings=[listing], search=search, kept=links)


# ---- a trial planned


@pages.get("/trials/new")
def plan_page(request: Request) -> Response:
    """An empty form, the plan beside it as it is filled."""
    filled = record_forms.fresh(forms()["trial"])
    for link in filled.form.links:
        filled.values[LINK + link.role] = request.query_params.get(link.role, "")[:12]
    filled.values |= {"margin": "5 %", "difference_that_matters": "10 %"}
    return _plan_form(request, filled, request.query_params)


def _plan_form(request: Request, filled: Filled, asked: Mapping[str, Any], status: int = 200) -> Response:
    book = book_of(request)
    pump = record_forms.number_in(str(asked.get("pump", ""))) or record_forms.pump_of(book, filled)
    scatter = Filled(filled.form, {"scatter": str(asked.get("scatter", ""))[:40]})
    return page(
        request,
        "bench_plan.html",
        status=status,
        filled=filled,
        links=record_forms.link_options(book, filled.form, pump),
        scatter=scatter,
        scatter_field=SCATTER,
        pump=pump or "",
        back=f"/pumps/{pump}" if pump else "/bench",
        plan=_plan_words(request, filled, scatter.value("scatter")),
    )


def _plan_words(request: Request, filled: Filled, scatter: str) -> dict[str, Any]:
    """The plan of a form as it stands, or what is still needed for one."""
    chosen = [record_forms.number_in(filled.value(LINK + role)) for role, _ in BUILDS]
    needed = [filled.value(key) for key in ("figure", "kind", "margin", "difference_that_matters")]
    if None in chosen or not all(needed):
        return {"waiting": "Choose the two builds, the figure and the sort of run: the plan appears here."}
    old, new = (number or 0 for number in chosen)
    try:
        planned = plan_new_trial(
            book_of(request), old, new, entered_of(filled), name=filled.value(NAME), scatter=scatter
        )
    except ClackworkError as error:
        return {"waiting": str(error)}
    return plan_answer(planned, units_of(request))


@pages.get("/bench/plan")
def plan_live(request: Request) -> Response:
    """The plan alone, for the form while it is filled."""
    filled = filled_from(forms()["trial"], request.query_params)
    plan = _plan_words(request, filled, request.query_params.get("scatter", "")[:40])
    return Response(templates.get_template("bench_plan_words.html").render(plan=plan), media_type="text/html")


@pages.post("/trials")
async def add_trial(request: Request) -> Response:
    """Put a trial into the book as planned."""
    typed = await request.form()
    return await run_in_threadpool(_save_trial, request, dict(typed))


def _save_trial(request: Request, typed: Mapping[str, Any]) -> Response:
    filled = filled_from(forms()["trial"], typed)
    try:
        made = book_of(request).add(
            "trial",
            filled.value(NAME),
            entered_of(filled),
            links=record_forms.links_of(filled),
            by=visitor_of(request).name,
            request_id=filled.value(REQUEST) or None,
        )
    except ClackworkError as error:
        place_error(filled, error)
        return _plan_form(request, filled, typed, status_of(error))
    return go_to(request, path_of(made), f"{made.name} is in the book; the run card below is for the yard.")


# ---- a trial judged


@pages.get("/trials/{number:int}")
def trial_page(request: Request, number: int) -> Response:
    """One trial: what is known, the picture, the runs, the budget, what else changed, the plan."""
    book = book_of(request)
    trial = book.get("trial", number)
    if trial.removed:
        return record_page(request, trial)
    judged = judge_book_trial(book, number, units_of(request))
    rig_first = [] if book.list("rig", limit=1).total else [("Add a rig first: runs are made on one", "/rigs/new")]
    return record_page(
        request,
        trial,
        "bench_trial.html",
        summary=judged["sentence"],
        judged=judged,
        parts=[],
        more_actions=[
            *rig_first,
            ("Run card for the yard", f"{CARD}?trial={number}"),
            ("Enter a run here", f"/runs/new?trial={number}&build={_next_number(judged)}"),
        ],
    )


def _next_number(judged: Mapping[str, Any]) -> int:
    """The number of the build to run next."""
    sides = (judged["old"], judged["new"])
    return next(int(one["id"]) for one in sides if one["name"] == judged["next_build"])


# ---- the card


@pages.get(CARD)
def card_page(request: Request) -> Response:
    """The run card; what it shows it asks for itself, so that one page serves every trial, also without a network."""
    answer = page(request, "bench_card.html")
    answer.headers["cache-control"] = f"private, max-age={_CARD_LASTS}"
    return answer


@pages.get(f"/bench/{WORKER}")
async def card_worker() -> Response:
    """The script that keeps the card at hand; it works for addresses below its own only."""
    return FileResponse(STATIC / WORKER, media_type=KINDS[".js"], headers={"cache-control": "no-cache"})


router = APIRouter()
router.include_router(bench_api.router)
router.include_router(pages)
