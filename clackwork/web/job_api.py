"""Long work as pages and as JSON: what waits, how far it is, cancel it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, FastAPI, Path, Query
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from clackwork.book import Book
from clackwork.shop.job_rows import Job, cancel, find_job, list_jobs
from clackwork.shop.jobs import JobDesk
from clackwork.web.pages import go_to, page, templates
from clackwork.web.record_pages import book_of

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the work.")]

_PAGES = {
    "fit": "/builds/{build_id}/twin",
    "performance": "/builds/{build_id}/performance",
    "design": "/sites/{site_id}",
    "switch": "/switches/{switch_id}",
    "glances": "/sites",
    "landings": "/due",
}
"""Where the result of each kind of work is shown."""
STATES = {
    "queued": "waits for its turn",
    "running": "at work",
    "done": "done",
    "failed": "failed",
    "cancelled": "cancelled",
}


@asynccontextmanager
async def run_jobs(app: FastAPI) -> AsyncIterator[None]:
    """Keep the worker beside the server, for the book that lies open."""
    shelf = app.state.shelf
    desk = JobDesk(lambda: shelf.book() if shelf.is_open else None)
    app.state.jobs = desk
    desk.start()
    try:
        yield
    finally:
        await run_in_threadpool(desk.close)


router = APIRouter(lifespan=run_jobs)


class JobOut(BaseModel):
    """One piece of long work."""

    id: int
    kind: str
    title: str
    arguments: dict[str, Any]
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    percent: int
    seconds_left_s: float | None
    message: str
    cancel_asked: bool
    by: str
    made_at: datetime
    began_at: datetime | None
    ended_at: datetime | None
    page: str


class JobsOut(BaseModel):
    """Open work in its order, then what ended, the last first."""

    work: list[JobOut]


@dataclass(frozen=True)
class JobLine:
    """A piece of work as a page shows it."""

    job: Job
    path: str
    state: str
    words: str


def page_of(job: Job) -> str:
    """The page that shows what a job came to."""
    pattern = _PAGES.get(job.kind, "/progress/jobs")
    return pattern.format(**{key: value for key, value in job.arguments.items() if isinstance(value, int)})


def job_out(job: Job) -> JobOut:
    """A job as JSON."""
    names = set(JobOut.model_fields) - {"seconds_left_s", "page"}
    left = job.seconds_left(datetime.now(UTC))
    known = {name: getattr(job, name) for name in names}
    return JobOut(**known, seconds_left_s=None if left is None else round(left, 1), page=page_of(job))


def time_words(seconds: float) -> str:
    """A time as people say it: "40 s", "3 min", "1 h 20 min"."""
    if seconds < 57.5:
        return f"{max(1, round(seconds / 5.0) * 5) if seconds >= 10.0 else max(1, round(seconds))} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def line_of_job(job: Job) -> JobLine:
    """A job in words."""
    state = "stopping" if job.state == "running" and job.cancel_asked else STATES[job.state]
    words, left, taken = "", job.seconds_left(datetime.now(UTC)), job.seconds_taken()
    if job.state == "running":
        words = f"{job.percent} %" + (f", about {time_words(left)} left" if left is not None else "")
    elif job.state == "done" and taken is not None:
        words = f"in {time_words(taken)}"
    elif job.state in ("failed", "cancelled"):
        words = job.message or ("What was found before is kept." if job.result else "")
    return JobLine(job, page_of(job), state, words)


def look_for_work(request: Request) -> None:
    """Tell the worker that something was asked for."""
    desk = getattr(request.app.state, "jobs", None)
    if desk is not None:
        desk.look()


def has_open_work(book: Book) -> bool:
    """Whether anything waits or runs."""
    return any(job.is_open for job in list_jobs(book, limit=1))


@router.get("/api/jobs", summary="List long work")
def list_work(request: Request, limit: Annotated[int, Query(ge=1, le=100)] = 30) -> JobsOut:
    """What waits and runs, then what ended, the last first."""
    return JobsOut(work=[job_out(job) for job in list_jobs(book_of(request), limit=limit)])


@router.get("/api/jobs/{number}", summary="One piece of long work")
def one_work(request: Request, number: Number) -> JobOut:
    """How far it is, or what came of it."""
    return job_out(find_job(book_of(request), number))


@router.post("/api/jobs/{number}/cancel", summary="Cancel long work")
def cancel_work(request: Request, number: Number) -> JobOut:
    """Ask it to stop; what it has found is kept. Work that has ended stays as it is."""
    return job_out(cancel(book_of(request), number))


@router.get("/progress/jobs", include_in_schema=False)
def jobs_page(request: Request) -> Response:
    """All long work."""
    lines = [line_of_job(job) for job in list_jobs(book_of(request))]
    return page(request, "jobs.html", lines=lines)


@router.get("/progress/jobs/rows", include_in_schema=False)
def jobs_rows(request: Request) -> Response:
    """The list alone, for a page that shows it among other things."""
    lines = [line_of_job(job) for job in list_jobs(book_of(request), limit=10)]
    return _piece(request, "job_rows.html", lines=lines)


@router.get("/progress/jobs/{number:int}/state", include_in_schema=False)
def job_state(request: Request, number: int, whole: str = "") -> Response:
    """How far one job is, asked for every second by the page of a build; at its end it has the page drawn anew."""
    job = find_job(book_of(request), number)
    return _piece(request, "job_state.html", line=line_of_job(job), reload=bool(whole) and not job.is_open)


@router.post("/progress/jobs/{number:int}/cancel", include_in_schema=False)
def cancel_from_page(request: Request, number: int) -> Response:
    """Cancel, and go back to where the work is shown."""
    job = cancel(book_of(request), number)
    return go_to(request, page_of(job), "" if job.is_open else f"{job.title} is cancelled.")


def _piece(request: Request, template: str, **words: Any) -> Response:
    """A part of a page."""
    return HTMLResponse(templates.get_template(template).render(token=request.state.form_token, **words))
