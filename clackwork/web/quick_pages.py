"""The answer on the phone as a page: answered while one types, everything in its address, so that a reload loses nothing."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.charts.water_bars import water_bars
from clackwork.errors import ClackworkError, InputError
from clackwork.quick_report import assumed_label, quick_words
from clackwork.shop.fitted import builds_to_fit, fits_at_work, fitted_twins
from clackwork.shop.quick import ASSUMPTIONS, FIELDS, SPREADS, Typed, answer_typed, keep_as_site, pipe_texts, read_typed
from clackwork.shop.workshop_prices import stock_of
from clackwork.site.quick import QuickAnswer
from clackwork.web.access import visitor_of
from clackwork.web.job_api import line_of_job
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_pages import book_of
from clackwork.web.summaries import path_of

router = APIRouter(include_in_schema=False)

_LONGEST = 100
LIFTS = ("pump", "source")


def _texts(sent: Mapping[str, Any]) -> tuple[dict[str, str], str]:
    """The fields as they were sent, and what the lift is told from."""
    keys = (*(one.key for one in FIELDS), *ASSUMPTIONS)
    texts = {key: text.strip()[:_LONGEST] for key in keys if isinstance(text := sent.get(key, ""), str)}
    return texts, "source" if sent.get("lift_from") == "source" else "pump"


@router.get("/ask")
def ask_page(request: Request) -> Response:
    """The page; with what was typed in its address, answered."""
    return _ask_page(request, *_texts(request.query_params))


def _ask_page(
    request: Request,
    texts: dict[str, str],
    lift_from: str,
    *,
    status: int = 200,
    name: str = "",
    name_error: str = "",
) -> Response:
    book, units = book_of(request), units_of(request)
    fitted = fitted_twins(book)
    twins = [one.twin for one in fitted]
    stock = stock_of(book)
    typed = read_typed(texts, lift_from, twins, stock)
    answer, problem = _answered(typed, twins)
    words = quick_words(typed, answer, units) if answer else None
    return page(
        request,
        "ask.html",
        status=status,
        fields=FIELDS,
        typed=typed,
        texts=texts,
        lift_from=lift_from,
        examples={one.key: getattr(one, units) for one in FIELDS},
        assumptions=ASSUMPTIONS,
        labels={one.key: one.label for one in FIELDS},
        spread_labels={name: assumed_label(name) for name in SPREADS},
        pipes=pipe_texts(stock),
        has_twin=bool(fitted),
        to_fit=() if fitted else builds_to_fit(book),
        at_work=[] if fitted else [line_of_job(job) for job in fits_at_work(book)],
        stale=[one.build for one in fitted if one.kept.stale],
        problem=problem,
        problems=_problems(typed),
        words=words,
        shown_assumed=_shown_assumed(words),
        bars=_bars(answer, units),
        name=name,
        name_error=name_error,
        request_id=secrets.token_urlsafe(18),
    )


def _answered(typed: Typed, twins: list[Any]) -> tuple[QuickAnswer | None, str]:
    """The answer, or why there is none."""
    if not twins:
        return None, ""
    try:
        return answer_typed(typed, twins), ""
    except ClackworkError as error:
        return None, str(error)


def _problems(typed: Typed) -> list[tuple[str, str, str]]:
    """Fields that cannot be read: key, label, what is allowed."""
    labels = {one.key: one.label for one in FIELDS} | {key: label for key, (label, _) in ASSUMPTIONS.items()}
    return [
        (key, labels[key], f"{error.allowed[:1].upper()}{error.allowed[1:]}. {error.next_step}".strip())
        for key, error in typed.errors.items()
    ]


def _shown_assumed(words: Mapping[str, Any] | None) -> dict[str, str]:
    """Each thing assumed in words, by its key."""
    if words is None:
        return {}
    return {key: f"{value}: {why}." for key, _, value, why, _ in words["assumed"]}


def _bars(answer: QuickAnswer | None, units: str) -> str:
    """Water needed against water there, drawn."""
    if answer is None:
        return ""
    return water_bars(answer.promise.water_needed, answer.promise.water_there, system=units)


@router.post("/ask/site")
async def keep_page(request: Request) -> Response:
    """Keep what was said as a site."""
    form = await request.form()
    texts, lift_from = _texts(form)
    name, request_id = (str(form.get(key, "")).strip()[:_LONGEST] for key in ("name", "request_id"))

    def keep() -> Response:
        book, twins = book_of(request), [one.twin for one in fitted_twins(book_of(request))]
        typed = read_typed(texts, lift_from, twins, stock_of(book))
        try:
            made = keep_as_site(
                book,
                name,
                typed,
                by=visitor_of(request).name,
                request_id=request_id or None,
            )
        except ClackworkError as error:
            words = f"{error.allowed[:1].upper()}{error.allowed[1:]}." if isinstance(error, InputError) else str(error)
            return _ask_page(request, texts, lift_from, status=status_of(error), name=name, name_error=words)
        return go_to(
            request, path_of(made), f"{made.name} is in the book, as told on the phone. Survey it, then design it."
        )

    return await run_in_threadpool(keep)
