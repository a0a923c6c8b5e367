"""Visits as JSON: those of a site, one against its promise, what is due at all sites, photographs."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Path, Query, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import NotThere
from clackwork.errors import InputError
from clackwork.shop import photographs
from clackwork.shop.sites_due import SiteDue, sites_due
from clackwork.shop.visits import comparison_of, find_visit, kept_comparison, visits_of
from clackwork.site.due import SOON
from clackwork.visits_report import comparison_json, due_json, visit_json
from clackwork.web.access import visitor_of
from clackwork.web.pages import units_of
from clackwork.web.readings_api import download
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api")

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Units = Annotated[Literal["metric", "us"] | None, Query(description="Of the answer; else those of the page.")]
_WIDE, _NARROW = 520, 300


def _system(request: Request, units: str | None) -> str:
    return units or units_of(request)


@router.get("/sites/{number}/visits", summary="Visits to a site")
def site_visits(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """The last first, each with the comparison worked out last; null where there is none yet."""
    book, system, found = book_of(request), _system(request, units), []
    for record, visit in visits_of(book, number):
        kept = kept_comparison(book, record.id)
        told = {"id": record.id, "visit": visit.name, "date": visit.date.isoformat(), "purpose": visit.purpose}
        found.append(told | {"comparison": None if kept is None else comparison_json(kept, system)})
    return {"units": system, "visits": found}


@router.get("/visits/{number}/comparison", summary="A visit against the promise of its day")
def visit_comparison(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """Each figure read against its band, and which single change would explain what is off."""
    book, system = book_of(request), _system(request, units)
    made = comparison_of(book, number)
    return {"units": system, **visit_json(find_visit(book, number).visit, made, system)}


@router.get("/visits/{number}/chart", summary="The comparison as a Vega-Lite chart")
def visit_chart_spec(request: Request, number: Number, units: Units = None, narrow: bool = False) -> dict[str, Any]:
    """Every figure against its band."""
    return _chart(request, number, units, narrow)


@router.get("/visits/{number}/chart.svg", summary="The comparison as SVG", response_class=Response)
def visit_chart_svg(request: Request, number: Number, units: Units = None, narrow: bool = False) -> Response:
    """The same, drawn."""
    from clackwork.charts.vega import to_svg

    return Response(to_svg(_chart(request, number, units, narrow)), media_type="image/svg+xml")


def _chart(request: Request, number: int, units: str | None, narrow: bool) -> dict[str, Any]:
    from clackwork.charts.visit_chart import visit_chart

    made = comparison_of(book_of(request), number)
    if not made.compared:
        raise NotThere(f"There is nothing to draw. {made.why_not}".strip())
    system = _system(request, units)
    return visit_chart(made.compared, system=system, width=_NARROW if narrow else _WIDE, narrow=narrow)


@router.get("/due", summary="What is due at all sites")
def due(
    request: Request,
    units: Units = None,
    site: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="Only at this site.")] = None,
    day: Annotated[datetime.date | None, Query(description="As on this day; else today.")] = None,
    ahead: Annotated[int, Query(ge=0, le=3650, description="Days ahead.")] = SOON,
) -> dict[str, Any]:
    """The most urgent first."""
    system = _system(request, units)
    found = sites_due(book_of(request), day, site_id=site, ahead=ahead)
    return {"units": system, "due": [_due_out(one, system) for one in found]}


def _due_out(one: SiteDue, system: str) -> dict[str, Any]:
    return {"site_id": one.site.id, **due_json(one.due, system)}


@router.post("/photographs", status_code=201, summary="Keep a photograph of a visit or of a part in service")
def send_photograph(
    request: Request,
    photograph: UploadFile,
    visit: Annotated[int | None, Form(ge=1, le=2**31 - 1, description="Its number; or that of a part.")] = None,
    part: Annotated[int | None, Form(ge=1, le=2**31 - 1)] = None,
) -> RecordOut:
    """A JPEG, PNG or WebP picture, told by its own bytes; the same one sent again is kept once."""
    if (visit is None) == (part is None):
        raise InputError("visit and part", "neither" if visit is None else "both", "give exactly one of them")
    content = photograph.file.read(photographs.LARGEST_PHOTOGRAPH + 1)
    kind, number = ("visit", visit) if part is None else ("part", part)
    assert number is not None  # one of the two
    made = photographs.keep_photograph(book_of(request), number, content, by=visitor_of(request).name, kind=kind)
    return record_out(made)


@router.get("/photographs/{number}", summary="A photograph, or any file of the book", response_class=Response)
def photograph(request: Request, number: Number) -> Response:
    """A picture as such; what its own bytes do not make a picture is sent as a download."""
    book = book_of(request)
    file, content = book.get("file", number), book.file_bytes(number)
    kind = photographs.kind_of_image(content)
    if kind is None:
        return download(content, "application/octet-stream", file.name)
    return Response(content, media_type=kind)
