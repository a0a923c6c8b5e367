"""Sites: the list."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from clackwork.web.lists import listing_of, offset_of, search_of
from clackwork.web.pages import page, units_of
from clackwork.web.record_pages import book_of
from clackwork.web.summaries import line_of

router = APIRouter(include_in_schema=False)


@router.get("/sites")
def sites(request: Request) -> Response:
    """Every site of the book."""
    search = search_of(request)
    found = book_of(request).list("site", search=search, offset=offset_of(request))
    lines = [line_of(site, units_of(request)) for site in found.records]
    empty = "No site of that name." if search else "No site yet: a customer's place with its fall, lift and source."
    listing = listing_of(found, lines, "Find a site", empty, "/sites/new", "Add a site")
    return page(request, "listing.html", title="Sites", listings=[listing], search=search)
