"""Readings in a file as JSON: looked at, taken, given out again."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Form, Path, Query, UploadFile
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.raw_table import MOST_ROWS
from clackwork.book.run_columns import ColumnUse
from clackwork.shop import readings
from clackwork.shop.readings import Choices
from clackwork.web.access import visitor_of
from clackwork.web.readings_held import HeldFile, held_of
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api")

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the record.")]
Short = Annotated[str, Field(max_length=200)]
Header = Annotated[str, Field(max_length=10_000)]
Units = Annotated[
    Literal["typed", "metric", "us"],
    Query(description="What was typed alone, or columns of plain figures beside it."),
]


class ColumnIn(BaseModel):
    """What one column is read as."""

    model_config = ConfigDict(extra="forbid")

    header: Header
    field: Short = Field("", description="A field of a run: duration, waste_volume, ...; empty leaves it out.")
    unit: Short = Field("", description="Of figures that have none of their own.")


class ChoicesIn(BaseModel):
    """What was chosen for a file; what is left out is suggested."""

    model_config = ConfigDict(extra="forbid")

    upload: Short = Field(description="As given when the file was sent; it is held for an hour.")
    columns: list[ColumnIn] = Field(default_factory=list, max_length=100)
    fixed: dict[Short, Short] = Field(
        default_factory=dict,
        max_length=20,
        description='The same for every row: {"rig": "yard", "kind": "delivering"}.',
    )
    answers: dict[Header, Short] = Field(
        default_factory=dict,
        max_length=200,
        description='Answers to questions, by their key: {"decimal:Waste": "comma"}.',
    )

    def choices(self) -> Choices:
        """As the shop takes them."""
        columns = {one.header: ColumnUse(one.header, one.field, one.unit) for one in self.columns}
        return Choices(columns, self.fixed, self.answers)


class TakeIn(ChoicesIn):
    """Take the file so."""

    only_good: bool = Field(False, description="Leave out rows with an error; else one refuses all.")


class FileOut(BaseModel):
    """A file of readings kept in the book."""

    id: int
    name: str
    size_bytes: int
    made_at: datetime
    made_by: str


def held_file(request: Request, upload: str) -> HeldFile:
    """A file that was sent before.

    Raises
    ------
    NotThere
        It is held no more.
    """
    return held_of(request).get(upload, request.app.state.shelf.place)


def hold_file(request: Request, pump: int, name: str, raw: bytes) -> str:
    """Hold a file that was sent; its key."""
    return held_of(request).hold(request.app.state.shelf.place, pump, name, raw)


@router.post("/readings/files", status_code=201, summary="Send a file of readings and look at it")
def send_file(request: Request, pump: Annotated[int, Form(ge=1, le=2**31 - 1)], file: UploadFile) -> dict[str, Any]:
    """Columns, questions, rows and their errors as they are suggested; nothing is taken."""
    raw, name = file.file.read(), file.filename or ""
    seen = readings.look_at(book_of(request), pump, raw, name, most_rows=MOST_ROWS)
    return {"upload": hold_file(request, pump, name, raw)} | seen


@router.post("/readings/look", summary="Look at a file with other choices")
def look(request: Request, wanted: ChoicesIn) -> dict[str, Any]:
    """The same for the choices made; nothing is taken."""
    one = held_file(request, wanted.upload)
    return readings.look_at(book_of(request), one.pump_id, one.raw, one.name, wanted.choices(), most_rows=MOST_ROWS)


@router.post("/readings/take", status_code=201, summary="Take the runs of a file")
def take(request: Request, wanted: TakeIn) -> dict[str, Any]:
    """All rows or the good ones, in one action with the file; the change told undoes it all."""
    one = held_file(request, wanted.upload)
    return readings.take(
        book_of(request),
        one.pump_id,
        one.raw,
        one.name,
        wanted.choices(),
        only_good=wanted.only_good,
        by=visitor_of(request).name,
    )


@router.get("/readings/files/{number}", summary="What was taken from a file")
def taken(request: Request, number: Number) -> dict[str, Any]:
    """The runs, and the change that undoes it all."""
    return readings.taken_from(book_of(request), number)


@router.get("/readings/files/{number}/content", summary="The file as it was sent", response_class=Response)
def content(request: Request, number: Number) -> Response:
    """Byte for byte."""
    book = book_of(request)
    file = book.get("file", number)
    return download(book.file_bytes(number), "application/octet-stream", file.name)


@router.get("/pumps/{number}/readings/files", summary="The files of readings of a pump")
def files(request: Request, number: Number) -> list[FileOut]:
    """The last taken first."""
    return [
        FileOut(
            id=one.id,
            name=one.name,
            size_bytes=int(str(one.entered.get("size_bytes", 0))),
            made_at=one.made_at,
            made_by=one.made_by,
        )
        for one in readings.files_of(book_of(request), number)
    ]


@router.get("/pumps/{number}/readings.csv", summary="A pump's runs as CSV", response_class=Response)
def give_csv(request: Request, number: Number, units: Units = "typed", decimal_comma: bool = False) -> Response:
    """One row for each run; it can be brought in again without loss."""
    book = book_of(request)
    raw = readings.give_out(book, number, "csv", units, decimal_comma=decimal_comma)
    return download(raw, "text/csv; charset=utf-8", f"runs of {book.get('pump', number).name}.csv")


@router.get("/pumps/{number}/readings.xlsx", summary="A pump's runs as XLSX", response_class=Response)
def give_xlsx(request: Request, number: Number, units: Units = "typed") -> Response:
    """The same as a spreadsheet."""
    book = book_of(request)
    raw = readings.give_out(book, number, "xlsx", units)
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return download(raw, kind, f"runs of {book.get('pump', number).name}.xlsx")


def download(raw: bytes, kind: str, name: str) -> Response:
    """A file for the browser under its own name, whatever letters that has."""
    safe = "".join(one for one in name if one.isprintable() and one not in '/\\:*?"<>|') or "readings"
    plain = safe.encode("ascii", "ignore").decode().strip() or "readings"
    how = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(safe, safe='')}"
    return Response(raw, media_type=kind, headers={"content-disposition": how})
