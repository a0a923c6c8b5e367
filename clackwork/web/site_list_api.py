"""All sites as JSON: their answers at a glance, and tables of them brought in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, UploadFile
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request

from clackwork.book.raw_table import MOST_ROWS
from clackwork.shop.glances import Glance, ask_glances, glances
from clackwork.shop.readings import Choices
from clackwork.shop.site_tables import look_at_sites, take_site_table
from clackwork.web.access import visitor_of
from clackwork.web.job_api import JobOut, job_out, look_for_work
from clackwork.web.readings_api import ColumnIn, Header, Short, held_file, hold_file
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/sites")


class GlanceOut(BaseModel):
    """The answer at a site in a line; all of it is null where none was worked out."""

    answer: str
    delivered_low_m3_day: float
    delivered_middle_m3_day: float
    delivered_high_m3_day: float
    pumps: int
    build: str
    designed: bool
    stale: bool
    problem: str


class SiteOut(BaseModel):
    """A site with its answer."""

    site: RecordOut
    answer: GlanceOut | None


class SitesOut(BaseModel):
    """Part of the list of sites."""

    sites: list[SiteOut]
    total: int
    offset: int


class AnswersAsked(BaseModel):
    """The answers at all sites, to be worked out."""

    model_config = ConfigDict(extra="forbid")

    request_id: Annotated[str, Field(min_length=8, max_length=100)] | None = None


class TableIn(BaseModel):
    """What was chosen for a table of sites; what is left out is suggested."""

    model_config = ConfigDict(extra="forbid")

    upload: Short = Field(description="As given when the file was sent; it is held for an hour.")
    columns: list[ColumnIn] = Field(default_factory=list, max_length=100)
    answers: dict[Header, Short] = Field(default_factory=dict, max_length=200)

    def choices(self) -> Choices:
        """As the shop takes them."""
        from clackwork.book.run_columns import ColumnUse

        columns = {one.header: ColumnUse(one.header, one.field, one.unit) for one in self.columns}
        return Choices(columns, {}, self.answers)


class TableTaken(TableIn):
    """Take the table so."""

    only_good: bool = Field(False, description="Leave out rows with an error; else one refuses all.")


def glance_out(one: Glance) -> GlanceOut:
    """An answer as JSON."""
    return GlanceOut(
        answer=one.answer,
        delivered_low_m3_day=one.low,
        delivered_middle_m3_day=one.middle,
        delivered_high_m3_day=one.high,
        pumps=one.pumps,
        build=one.build,
        designed=one.designed,
        stale=one.stale,
        problem=one.problem,
    )


@router.get("", summary="List sites with their answers")
def list_sites(
    request: Request,
    search: Annotated[str, Query(max_length=80)] = "",
    offset: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> SitesOut:
    """Part of the sites, by name, each with the answer worked out last."""
    book = book_of(request)
    found = book.list("site", search=search, offset=offset, limit=limit)
    answers = glances(book, found.records)
    told = [
        SiteOut(site=record_out(one), answer=glance_out(answers[one.id]) if one.id in answers else None)
        for one in found.records
    ]
    return SitesOut(sites=told, total=found.total, offset=found.offset)


@router.post("/answers", status_code=202, summary="Work out the answers at all sites")
def ask_answers(request: Request, asked: AnswersAsked) -> JobOut:
    """Queue them; those that are there and not stale are left alone."""
    job = ask_glances(book_of(request), by=visitor_of(request).name, request_id=asked.request_id)
    look_for_work(request)
    return job_out(job)


@router.post("/tables", status_code=201, summary="Send a table of sites and look at it")
def send_table(request: Request, file: UploadFile) -> dict[str, Any]:
    """Columns, questions, rows and their errors as they are suggested; nothing is taken."""
    raw, name = file.file.read(), file.filename or ""
    seen = look_at_sites(book_of(request), raw, name, most_rows=MOST_ROWS)
    return {"upload": hold_file(request, 0, name, raw)} | seen


@router.post("/tables/look", summary="Look at a table of sites with other choices")
def look_at_table(request: Request, wanted: TableIn) -> dict[str, Any]:
    """The same for the choices made; nothing is taken."""
    held = held_file(request, wanted.upload)
    return look_at_sites(book_of(request), held.raw, held.name, wanted.choices(), most_rows=MOST_ROWS)


@router.post("/tables/take", status_code=201, summary="Take the sites of a table")
def take_table(request: Request, wanted: TableTaken) -> dict[str, Any]:
    """All rows or the good ones, in one action with the file; what is there word for word is left alone."""
    held = held_file(request, wanted.upload)
    taken = take_site_table(
        book_of(request),
        held.raw,
        held.name,
        wanted.choices(),
        only_good=wanted.only_good,
        by=visitor_of(request).name,
    )
    return {
        "sites": [record_out(one).model_dump(mode="json") for one in taken.sites],
        "there": list(taken.same),
        "file_id": None if taken.file is None else taken.file.id,
    }
