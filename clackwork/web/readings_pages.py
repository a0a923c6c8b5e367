"""Readings in and out, as pages: choose a file, see what it would become, take it or the good rows of it."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import NotThere
from clackwork.book.run_columns import RUN_FIELDS, ColumnUse
from clackwork.errors import ClackworkError, InputError
from clackwork.shop import readings
from clackwork.shop.readings import SAME_FOR_ALL, Choices
from clackwork.web.access import visitor_of
from clackwork.web.field_lists import RUN_KIND_SHORT, RUN_KIND_WORDS, forms
from clackwork.web.pages import go_to, page
from clackwork.web.problems import status_of
from clackwork.web.readings_api import held_file, hold_file
from clackwork.web.readings_held import HeldFile
from clackwork.web.record_forms import number_in
from clackwork.web.record_pages import book_of

router = APIRouter(include_in_schema=False)

PATH = "/readings"
LINKS = ("build", "rig", "trial")
_MOST_COLUMNS = 100
_LONGEST = 10_000
_ANSWER = "answer."
_OWN_WORDS = {
    "name": "Name of the run",
    "build": "Build",
    "rig": "Rig",
    "trial": "Trial",
    "back_pressure_head": "Height of the standpipe",
    "note": "Note",
}
_ANSWERED = {
    "decimal": "Decimal mark of",
    "clock": "Times with two colons in",
    "delimiter": "What parts the columns",
    "encoding": "How its letters are written",
    "sheet": "Sheet",
}


def field_words() -> dict[str, str]:
    """Every field a column may be, in words."""
    labels = {one.key: one.label for one in forms()["run"].fields()}
    return {name: _OWN_WORDS.get(name) or labels[name] for name in RUN_FIELDS}


def answered_words(key: str) -> str:
    """What a question was about, in words."""
    what, _, header = key.partition(":")
    words = _ANSWERED.get(what, what)
    return f'{words} "{header}"' if header else words


@router.get("/pumps/{number:int}/readings")
def readings_page(request: Request, number: int) -> Response:
    """Where readings come in and go out."""
    return _choose_page(request, number)


def _choose_page(request: Request, number: int, *, status: int = 200, error: str = "") -> Response:
    book = book_of(request)
    return page(
        request,
        "readings_choose.html",
        status=status,
        pump=book.get("pump", number),
        files=readings.files_of(book, number),
        runs=book.list("run", links={"pump": number}, limit=1).total,
        builds=book.list("build", links={"pump": number}, limit=1).total,
        rigs=book.list("rig", limit=1).total,
        error=error,
    )


@router.post(PATH)
async def bring(request: Request) -> Response:
    """Look at a file, newly sent or held, or take it as it was looked at."""
    form = await request.form()
    sent = form.get("file")
    raw = await sent.read() if isinstance(sent, UploadFile) and sent.filename else None
    name = sent.filename or "" if isinstance(sent, UploadFile) else ""
    return await run_in_threadpool(_bring, request, form, raw, name)


def _bring(request: Request, form: FormData, raw: bytes | None, name: str) -> Response:
    number = number_in(_text(form, "pump"))
    if number is None:
        raise InputError("pump", _text(form, "pump")[:12], "it is the number of a pump", "Begin on the pump's page.")
    book_of(request).get("pump", number)
    choices = choices_in(form)
    try:
        upload = hold_file(request, number, name, raw) if raw is not None else _text(form, "upload")
        if not upload:
            raise InputError("file", "(nothing)", "choose a CSV or XLSX file")
        held = held_file(request, upload)
    except ClackworkError as error:
        return _without_file(request, number, choices, error)
    answer, error_words, status = None, "", 200
    if raw is None and _text(form, "do") in ("all", "good"):  # what was not looked at is not taken
        answer, error_words, status = _take(request, form, held, choices)
    if answer is not None:
        return answer
    try:
        seen = readings.look_at(book_of(request), held.pump_id, held.raw, held.name, choices)
    except ClackworkError as error:
        return _without_file(request, number, choices, error)
    return _look_page(request, held.pump_id, upload, seen, error=error_words, status=status)


def _take(request: Request, form: FormData, held: HeldFile, choices: Choices) -> tuple[Response | None, str, int]:
    """Take a file as it was looked at: where to go then, else why not and with which status."""
    if _text(form, "looked") != mark_of(choices):
        return None, "You changed something since you looked: this is what it becomes now.", 409
    try:
        done = readings.take(
            book_of(request),
            held.pump_id,
            held.raw,
            held.name,
            choices,
            only_good=_text(form, "do") == "good",
            by=visitor_of(request).name,
        )
    except ClackworkError as error:
        return None, str(error), status_of(error)
    return go_to(request, f"/pumps/{held.pump_id}/readings/taken/{done['file_id']}"), "", 303


def mark_of(choices: Choices) -> str:
    """A mark that tells whether choices are those that were looked at."""
    columns = [(use.header, use.field, use.unit) for use in choices.columns.values()]
    told = json.dumps([sorted(columns), sorted(choices.fixed.items()), sorted(choices.answers.items())])
    return hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()


def _choices_shown(seen: dict[str, Any]) -> Choices:
    """The choices that the form of a looked-at file sends when nothing in it is changed."""
    columns = {one["header"]: ColumnUse(one["header"], one["field"], one["unit"]) for one in seen["columns"]}
    fixed = {key: text.strip() for key, text in seen["fixed"].items() if text.strip()}
    return Choices(columns, fixed, {one["key"]: one["answer"] for one in seen["answered"]})


def _without_file(request: Request, number: int, choices: Choices, error: ClackworkError) -> Response:
    """Ask for the file once more, with all that was chosen for the one before."""
    if not (choices.columns or choices.answers):
        words = f"{error.allowed[:1].upper()}{error.allowed[1:]}." if isinstance(error, InputError) else str(error)
        return _choose_page(request, number, status=status_of(error), error=words)
    return page(
        request,
        "readings_again.html",
        status=410 if isinstance(error, NotThere) else status_of(error),
        pump=book_of(request).get("pump", number),
        choices=choices,
        error=str(error),
    )


def _look_page(
    request: Request, number: int, upload: str, seen: dict[str, Any], *, error: str, status: int
) -> Response:
    """A file as it would be taken."""
    shown = _fields_shown(seen)
    return page(
        request,
        "readings_look.html",
        status=status,
        pump=book_of(request).get("pump", number),
        upload=upload,
        looked=mark_of(_choices_shown(seen)),
        seen=seen,
        error=error,
        words=field_words(),
        kinds=RUN_KIND_WORDS,
        used=[one["field"] for one in seen["columns"]],
        shown=shown,
        rows=[(row, _cells(seen, row, shown)) for row in seen["rows"]],
        asked=[one for one in seen["questions"] if not one["key"].startswith("unit:")],
        answered=[(one["key"], answered_words(one["key"]), one["answer"]) for one in seen["answered"]],
    )


def _at_fault(seen: dict[str, Any], row: dict[str, Any]) -> dict[str, str]:
    """What stands in the cells of a row that cannot be used, by field."""
    fields = {one["header"]: one["field"] for one in seen["columns"]}
    return {fields.get(one["column"], one["column"]): one["value"] for one in row["errors"]}


def _fields_shown(seen: dict[str, Any]) -> list[str]:
    """Fields that any row told has, good or not; the name is shown beside them."""
    found: set[str] = set()
    for row in seen["rows"]:
        found |= {*row["entered"], *_at_fault(seen, row)} | {key for key in LINKS if row[key]}
    return [name for name in RUN_FIELDS if name in found and name != "name"]


def _cells(seen: dict[str, Any], row: dict[str, Any], shown: list[str]) -> list[tuple[str, bool]]:
    """A row's cells as they would be kept, and whether each is at fault."""
    wrong, cells = _at_fault(seen, row), []
    for name in shown:
        text = str((row if name in LINKS else row["entered"]).get(name, ""))
        if name == "kind":
            text = RUN_KIND_SHORT.get(text, text)
        cells.append((text or wrong.get(name, "").strip('"') or "-", name in wrong))
    return cells


def _text(form: FormData, key: str) -> str:
    value = form.get(key, "")
    return value[:_LONGEST] if isinstance(value, str) else ""


def choices_in(form: FormData) -> Choices:
    """What a form chooses; a unit chosen for another field than the one now chosen is left out."""
    columns = {}
    for place in range(_MOST_COLUMNS):
        header = _text(form, f"header.{place}")
        if header:
            field = _text(form, f"field.{place}")
            same = field == _text(form, f"was.{place}")
            columns[header] = ColumnUse(header, field, _text(form, f"unit.{place}") if same else "")
    fixed = {key: text for key in SAME_FOR_ALL if (text := _text(form, f"fixed.{key}").strip())}
    again = _text(form, "again")
    answers = {
        key.removeprefix(_ANSWER): value
        for key, value in form.items()
        if key.startswith(_ANSWER) and isinstance(value, str) and value and key.removeprefix(_ANSWER) != again
    }
    return Choices(columns, fixed, answers)


@router.get("/pumps/{number:int}/readings/taken/{file:int}")
def taken_page(request: Request, number: int, file: int) -> Response:
    """What was taken from a file."""
    book = book_of(request)
    done = readings.taken_from(book, file)
    return page(request, "readings_taken.html", pump=book.get("pump", number), done=done, file=book.get("file", file))
