"""Errors as pages and as JSON: one sentence, its parts beside it, the right status, never a traceback."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from clackwork.book.errors import BookError, CannotUndo, Conflict, InUse, NameTaken, NotThere
from clackwork.errors import ClackworkError, InputError
from clackwork.web.access import NotHere
from clackwork.web.pages import go_to, page
from clackwork.web.pairing import TooManyTries
from clackwork.web.refusal import header, refusal, wants_json
from clackwork.web.shelf import NoBook

STATUS: tuple[tuple[type[Exception], int], ...] = (
    (NotThere, 404),
    (NoBook, 404),
    (NotHere, 403),
    (TooManyTries, 429),
    (Conflict, 409),
    (InUse, 409),
    (NameTaken, 409),
    (CannotUndo, 409),
    (BookError, 503),
    (ClackworkError, 422),
)
"""The status of each error; the first that fits."""

TITLES = {
    400: "That could not be read",
    403: "Not allowed",
    404: "Not there",
    405: "Not done this way",
    409: "It does not fit what is there",
    413: "Too large",
    422: "That cannot be used",
    429: "Wait a little",
    503: "The book cannot be used now",
}


class Problem(BaseModel):
    """What the JSON API says of an error."""

    error: str = Field(description="One sentence: the field, its value, what is allowed, the next step.")
    status: int
    field: str | None = Field(None, description="The field at fault, as the sentence names it.")
    value: str | None = None
    allowed: str | None = None
    next_step: str | None = None


PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {"model": Problem, "description": TITLES[status]} for status in (400, 403, 404, 409, 413, 422, 429, 503)
}
"""For the OpenAPI description of every route."""


def status_of(error: Exception) -> int:
    """The HTTP status of an error."""
    return next((status for kind, status in STATUS if isinstance(error, kind)), 500)


def problem(error: ClackworkError) -> dict[str, Any]:
    """An error as JSON."""
    told: dict[str, Any] = {"error": str(error), "status": status_of(error)}
    if isinstance(error, InputError):
        told |= {
            "field": error.field,
            "value": str(error.value),
            "allowed": error.allowed,
            "next_step": error.next_step,
        }
    return told


async def show_error(request: Request, error: Exception) -> Response:
    """The answer to a request that ended in an error meant for a person."""
    assert isinstance(error, ClackworkError)
    status = status_of(error)
    headers = {"retry-after": str(max(1, round(error.wait)))} if isinstance(error, TooManyTries) else {}
    if wants_json(request.scope):
        return JSONResponse(problem(error), status, headers)
    if isinstance(error, NoBook) and request.method == "GET":
        return go_to(request, "/")
    answer = await run_in_threadpool(_error_page, request, status, error)
    answer.headers.update(headers)
    return answer


def _error_page(request: Request, status: int, error: Exception) -> Response:
    title = TITLES.get(status, "That did not work")
    if header(request.scope, b"hx-request") == "true":
        return refusal(request.scope, status, title, str(error))
    return page(request, "error.html", status=status, title=title, sentence=str(error))


async def show_http_error(request: Request, error: Exception) -> Response:
    """The answer to an address that is not there or a method it does not take."""
    assert isinstance(error, HTTPException)
    status = error.status_code
    words = {
        404: "There is no such page. Go on from the start, or from the list it belongs to.",
        405: "This address does not take that kind of request.",
    }
    detail = str(error.detail)
    sentence = words.get(status, detail)
    if wants_json(request.scope):
        return JSONResponse({"error": sentence, "status": status}, status, error.headers)
    told = ClackworkError(sentence)
    return await run_in_threadpool(_error_page, request, status, told)


async def show_invalid(request: Request, error: Exception) -> Response:
    """The answer to JSON or an address that does not fit its description."""
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    place = [str(part) for part in first["loc"] if part not in ("body", "query", "path")]
    field = ".".join(place) or "the request"
    given = InputError(field, _shown(first.get("input")), str(first["msg"]).lower())
    if wants_json(request.scope):
        return JSONResponse(problem(given), 422)
    return await run_in_threadpool(_error_page, request, 404, ClackworkError("There is no such page."))


def _shown(value: object) -> str:
    """What was given, cut short."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def add_handlers(app: FastAPI) -> None:
    """Make an app answer errors in sentences."""
    app.add_exception_handler(ClackworkError, show_error)
    app.add_exception_handler(HTTPException, show_http_error)
    app.add_exception_handler(RequestValidationError, show_invalid)
