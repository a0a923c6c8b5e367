"""The records of the book as JSON: the same store calls as the pages make."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request

from clackwork.web.access import visitor_of
from clackwork.web.record_pages import book_of, look_at_landings

if TYPE_CHECKING:
    from clackwork.book import Change, Record

router = APIRouter(prefix="/api")

Kind = Literal["pump", "build", "instrument", "rig", "trial", "run", "site", "visit", "part", "switch", "workshop"]
Removable = Literal["pump", "build", "instrument", "rig", "trial", "run", "site", "visit", "part", "switch"]
Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the record.")]
Whole = Annotated[int, Field(ge=1, le=2**31 - 1)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Entered = Annotated[
    dict[str, Any],
    Field(description='As in a workbook\'s table, quantities as text with their unit: {"fall": "2.10 m"}.'),
]
Links = dict[Annotated[str, Field(max_length=40)], Whole]


class NewRecord(BaseModel):
    """A record to be made."""

    model_config = ConfigDict(extra="forbid")

    name: Name
    entered: Entered = Field(default_factory=dict)
    links: Links = Field(default_factory=dict, description='Numbers of what it belongs to, by role: {"pump": 3}.')
    request_id: Annotated[str, Field(min_length=1, max_length=100)] | None = Field(
        None, description="Sent again, it gives the record already made."
    )


class ChangedRecord(BaseModel):
    """What a record shall be; what is left out stays."""

    model_config = ConfigDict(extra="forbid")

    version: Whole = Field(description="The version it was read at; another one now is a conflict.")
    name: Name | None = None
    entered: Entered | None = None
    links: dict[Annotated[str, Field(max_length=40)], Whole | None] | None = None


class RecordOut(BaseModel):
    """A record: what was typed, and its SI figures with the unit in each key."""

    kind: str
    id: int
    version: int
    name: str
    links: dict[str, int]
    entered: dict[str, Any]
    si: dict[str, float | None]
    made_at: datetime
    changed_at: datetime
    made_by: str
    changed_by: str
    removed: bool


class RecordsOut(BaseModel):
    """Part of a list of records."""

    records: list[RecordOut]
    total: int
    offset: int


class ChangeOut(BaseModel):
    """One change in the journal."""

    id: int
    at: datetime
    by: str
    action: str
    kind: str
    record_id: int
    name: str
    before: dict[str, Any] | None
    after: dict[str, Any]
    undone_by: int | None
    undoes: int | None
    together: int


class DifferencesOut(BaseModel):
    """What differs between two builds."""

    differences: list[str]


def record_out(record: Record) -> RecordOut:
    """A record as JSON."""
    return RecordOut.model_validate({name: getattr(record, name) for name in RecordOut.model_fields})


def change_out(change: Change) -> ChangeOut:
    """A change as JSON."""
    return ChangeOut.model_validate({name: getattr(change, name) for name in ChangeOut.model_fields})


@router.get("/records/{kind}", summary="List records of one kind")
def list_records(
    request: Request,
    kind: Kind,
    search: Annotated[str, Query(max_length=80)] = "",
    offset: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
    order: Literal["name", "changed"] = "name",
    removed: bool = False,
    pump: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="Only of this pump.")] = None,
    build: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="Only of this build.")] = None,
) -> RecordsOut:
    """Part of the records of one kind, by name or the last changed first."""
    links = {role: number for role, number in (("pump", pump), ("build", build)) if number is not None}
    found = book_of(request).list(
        kind, links=links, search=search, offset=offset, limit=limit, order=order, removed=removed
    )
    return RecordsOut(records=[record_out(one) for one in found.records], total=found.total, offset=found.offset)


@router.post("/records/{kind}", status_code=201, summary="Make a record")
def add_record(request: Request, kind: Kind, new: NewRecord) -> RecordOut:
    """Check what was typed and write it."""
    made = book_of(request).add(
        kind, new.name, new.entered, links=new.links, by=visitor_of(request).name, request_id=new.request_id
    )
    look_at_landings(request, made)
    return record_out(made)


@router.get("/records/{kind}/{number}", summary="Read a record")
def get_record(request: Request, kind: Kind, number: Number) -> RecordOut:
    """One record, also one that was taken away."""
    return record_out(book_of(request).get(kind, number))


@router.put("/records/{kind}/{number}", summary="Change a record")
def change_record(request: Request, kind: Kind, number: Number, wanted: ChangedRecord) -> RecordOut:
    """Write another name, other fields or links, when nobody else changed it in between."""
    changed = book_of(request).change(
        kind,
        number,
        version=wanted.version,
        name=wanted.name,
        entered=wanted.entered,
        links=wanted.links,
        by=visitor_of(request).name,
    )
    look_at_landings(request, changed)
    return record_out(changed)


@router.delete("/records/{kind}/{number}", summary="Take a record away")
def remove_record(
    request: Request, kind: Removable, number: Number, version: Annotated[int, Query(ge=1, le=2**31 - 1)]
) -> RecordOut:
    """Take it away; the journal can put it back."""
    return record_out(book_of(request).remove(kind, number, version=version, by=visitor_of(request).name))


@router.get("/builds/{old}/differences/{new}", summary="What differs between two builds")
def build_differences(request: Request, old: Number, new: Number) -> DifferencesOut:
    """One short line for each part that differs."""
    return DifferencesOut(differences=list(book_of(request).differences(old, new)))


@router.get("/journal", summary="Read the journal")
def read_journal(
    request: Request,
    kind: Kind | None = None,
    record: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
    offset: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
) -> list[ChangeOut]:
    """Every change, the newest first."""
    return [change_out(one) for one in book_of(request).changes(kind=kind, id=record, offset=offset, limit=limit)]


@router.post("/journal/{number}/undo", summary="Undo a change")
def undo_change(request: Request, number: Number) -> ChangeOut:
    """Put a change back, as a new change."""
    return change_out(book_of(request).undo(number, by=visitor_of(request).name))


@router.post("/journal/{number}/undo-together", summary="Undo an action with all its changes")
def undo_together(request: Request, number: Number) -> list[ChangeOut]:
    """Put back every change of the action a change belongs to, such as a workbook taken in."""
    return [change_out(one) for one in book_of(request).undo_together(number, by=visitor_of(request).name)]
