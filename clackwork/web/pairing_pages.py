"""The page on which a phone gives the code shown in the shop."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from clackwork.errors import InputError
from clackwork.web.access import DEVICE_COOKIE, DEVICE_COOKIE_LASTS, PAIR_PATH, visitor_of
from clackwork.web.devices import BookDevices
from clackwork.web.pages import go_to, page
from clackwork.web.pairing import TooManyTries

router = APIRouter(include_in_schema=False)


@router.get(PAIR_PATH)
def ask(request: Request) -> Response:
    """The form for the code."""
    visitor = visitor_of(request)
    if visitor.at_shop or visitor.device_id is not None:
        return RedirectResponse("/", 303)
    return page(request, "pair.html", error="", code="", name="")


@router.post(PAIR_PATH)
async def pair(request: Request) -> Response:
    """Take the code, give the token."""
    form = await request.form()
    code, name = str(form.get("code", ""))[:20], str(form.get("name", ""))[:80]
    return await run_in_threadpool(_pair, request, code, name)


def _pair(request: Request, code: str, name: str) -> Response:
    """Let the device in, or say why not."""
    state = request.app.state
    address = request.client.host if request.client else ""
    try:
        token = state.desk.claim(BookDevices(state.shelf.book()), address, code, name)
    except TooManyTries as error:
        refused = page(request, "pair.html", status=429, error=str(error), code="", name=name)
        refused.headers["retry-after"] = str(max(1, round(error.wait)))
        return refused
    except InputError as error:
        words = f"{error.allowed[:1].upper()}{error.allowed[1:]}. {error.next_step}".strip()
        return page(request, "pair.html", status=422, error=words, code="", name=name)
    answer = go_to(request, "/", f"{name.strip()} is let in.")
    answer.set_cookie(DEVICE_COOKIE, token, max_age=DEVICE_COOKIE_LASTS, httponly=True, samesite="lax")
    return answer
