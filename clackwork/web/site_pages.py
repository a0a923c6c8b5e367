"""A site as a page: its answer first, its design, and what was surveyed."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork import design_words
from clackwork.book.errors import Conflict
from clackwork.charts import site_charts
from clackwork.errors import ClackworkError, InputError
from clackwork.shop.choosing import choose
from clackwork.shop.designing import alternatives_text, ask_design, read_alternatives
from clackwork.shop.site_view import SiteView, drawing_of, kept_choice, site_view, tank_year
from clackwork.shop.sites_due import sites_due
from clackwork.shop.visits import place_of
from clackwork.shop.workshop_prices import prices_of
from clackwork.web.access import visitor_of
from clackwork.web.job_api import line_of_job, look_for_work
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_forms import number_in
from clackwork.web.record_pages import book_of, cautions_of, part_of
from clackwork.web.summaries import fact_groups, path_of, summary
from clackwork.web.visit_pages import due_rows
from clackwork.words import languages

router = APIRouter(include_in_schema=False)

CAPTIONS = {
    "months": site_charts.MONTHS_CAPTION,
    "source": site_charts.SOURCE_CAPTION,
    "lengths": site_charts.LENGTHS_CAPTION,
    "tank": site_charts.TANK_CAPTION,
}
PAPERS = {
    "proposal": "Proposal",
    "materials": "Bill of materials",
    "installation": "Installation and first start",
    "care": "Care card",
    "as-built": "As-built record",
}
LANGUAGES = {"en": "English", "es": "Spanish"}


@router.get("/sites/{number:int}")
def site_page(request: Request, number: int) -> Response:
    """One site: the answer first."""
    return _site_page(request, number)


def _site_page(
    request: Request, number: int, *, status: int = 200, error: str = "", alternatives: str | None = None
) -> Response:
    choice = number_in(request.query_params.get("choice", ""))
    view = site_view(book_of(request), number, None if choice is None else choice - 1)
    record, units, kept = view.found.site, units_of(request), view.found.kept
    shown: dict[str, Any] = {}
    if kept is not None:
        shown = dict(design_words.design_words(kept.design, view.place, units))
    job = view.found.job
    return page(
        request,
        "site.html",
        status=status,
        error=error,
        record=record,
        path=path_of(record),
        summary=summary(record, units),
        groups=fact_groups(record, units),
        cautions=[] if kept else cautions_of(record),
        parts=[_visits_part(request, number)],
        view=view,
        kept=kept,
        line=line_of_job(job) if job else None,
        reload=False,
        captions=CAPTIONS,
        months_head=design_words.MONTHS_HEAD,
        checks_head=design_words.CHECKS_HEAD,
        rules_head=design_words.RULES_HEAD,
        needs_head=design_words.NEEDS_HEAD,
        alternatives=_alternatives(view, units) if alternatives is None else alternatives,
        has_prices=prices_of(book_of(request)) is not None,
        papers=PAPERS,
        paper="us-letter" if units == "us" else "a4",
        languages=[(one, LANGUAGES.get(one, one)) for one in languages()],
        **_surveyed(view, units),
        **shown,
    )


def _visits_part(request: Request, number: int) -> dict[str, Any]:
    """What is due there, and the way to its visits."""
    book = book_of(request)
    due = due_rows(sites_due(book, site_id=number), units_of(request), here=True)
    visits = book.list("visit", links={"site": number}, limit=1).total
    part = part_of("After it was built", due, "Nothing is due.", f"/visits/new?site={number}", "Enter a visit")
    return part | {"all": f"/sites/{number}/visits", "all_words": f"Its visits ({visits})"}


def _alternatives(view: SiteView, units: str) -> str:
    """The other ways to this water that were given last."""
    job = view.found.job or (view.found.kept.job if view.found.kept else None)
    return "" if job is None else alternatives_text(job.arguments.get("alternatives", []), units)


def _surveyed(view: SiteView, units: str) -> dict[str, Any]:
    """What was surveyed, drawn and in words; empty where the record cannot be read by this version."""
    try:
        place = place_of(view.found.site)
        drawings = [drawing_of(view, units, narrow=narrow) for narrow in (False, True)]
    except ClackworkError as error:
        return {"drawing": "", "narrow_drawing": "", "survey_rows": [], "need_rows": [], "tank": "", "bad": str(error)}
    needs = place.survey.needs
    tank = None if view.choice is None else tank_year(view.choice, place.survey)
    return {
        "drawing": drawings[0],
        "narrow_drawing": drawings[1],
        "survey_rows": design_words.survey_rows(place.survey, units),
        "need_rows": [] if needs is None else design_words.need_rows(needs, units),
        "tank": "" if tank is None else design_words.tank_words(tank),
        "bad": "",
    }


@router.post("/sites/{number:int}/design")
async def design_from_page(request: Request, number: int) -> Response:
    """Ask for a design."""
    typed = str((await request.form()).get("alternatives", ""))[:2000].replace("\r\n", "\n")

    def ask() -> Response:
        try:
            others = read_alternatives(typed)
            ask_design(book_of(request), number, alternatives=others, by=visitor_of(request).name)
        except InputError as error:
            return _site_page(request, number, status=422, error=str(error), alternatives=typed)
        look_for_work(request)
        return go_to(request, f"/sites/{number}")

    return await run_in_threadpool(ask)


@router.post("/sites/{number:int}/choose")
async def choose_from_page(request: Request, number: int) -> Response:
    """Take a choice into the site."""
    form = await request.form()
    choice, version, work = (number_in(str(form.get(name, ""))) for name in ("choice", "version", "work"))

    def take() -> Response:
        book = book_of(request)
        if choice is None or version is None:
            raise InputError(
                "choice", str(form.get("choice", ""))[:12], "it is the number of a choice", "Open it again."
            )
        _, kept, _ = kept_choice(book, number)
        if kept.job.id != work:
            words = "The site was designed again since this page was opened: look at the new choices first."
            return _site_page(request, number, status=409, error=words)
        try:
            choose(
                book,
                kept,
                choice - 1,
                site_id=number,
                version=version,
                system=units_of(request),
                by=visitor_of(request).name,
            )
        except Conflict:
            words = "The site was changed since this page was opened. Nothing was taken: look again, then take it."
            return _site_page(request, number, status=409, error=words)
        except ClackworkError as error:
            return _site_page(request, number, status=status_of(error), error=str(error))
        return go_to(
            request, f"/sites/{number}", "Taken into the site. The journal in the book can put back what was there."
        )

    return await run_in_threadpool(take)
