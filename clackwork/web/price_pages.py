"""The page of the workshop's prices, which quotations are made from."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import Conflict
from clackwork.errors import ClackworkError
from clackwork.web import record_forms
from clackwork.web.access import visitor_of
from clackwork.web.field_lists import price_form
from clackwork.web.forms import NAME, Filled, entered_of, filled_from, place_error
from clackwork.web.pages import go_to, page
from clackwork.web.problems import status_of
from clackwork.web.record_pages import book_of

router = APIRouter(include_in_schema=False)


@router.get("/book/prices")
def prices(request: Request) -> Response:
    """The price list, to be changed."""
    return _form_page(request, record_forms.of_record(book_of(request).workshop(), price_form()))


@router.post("/book/prices")
async def change_prices(request: Request) -> Response:
    """Keep a price list."""
    filled = filled_from(price_form(), await request.form())
    return await run_in_threadpool(_save, request, filled)


def _form_page(request: Request, filled: Filled, status: int = 200) -> Response:
    return page(request, "prices.html", status=status, filled=filled)


def _save(request: Request, filled: Filled) -> Response:
    """Keep what the form holds with all else that is known of the workshop, or show the form again."""
    book = book_of(request)
    present = book.workshop()
    filled.values[NAME] = present.name
    try:
        version = record_forms.version_in(filled)
        entered = entered_of(filled, present.entered)
        book.change("workshop", present.id, version=version, entered=entered, by=visitor_of(request).name)
    except Conflict as error:
        filled.values["version"] = str(error.theirs.version)
        filled.errors[""] = (
            "Somebody else changed the workshop meanwhile. What you typed is kept below; saving it again puts it in place "
            "of theirs."
        )
        return _form_page(request, filled, status=409)
    except ClackworkError as error:
        place_error(filled, error)
        return _form_page(request, filled, status=status_of(error))
    return go_to(
        request, "/book#workshop", "The prices are saved. The journal in the book keeps what they were before."
    )
