"""Long work as rows of the book's table `job`: asked for, taken up, reported on, ended.

A row is open while it is queued or running. A running row belongs to the worker named in it, which gives a sign of life
every few seconds; a row without one for `LOST_AFTER` was left by a server that ended in the middle, and is taken up again.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from clackwork.book import Book, NotThere
from clackwork.book.records import as_json, is_number
from clackwork.book.tables import job, job_piece
from clackwork.errors import ClackworkError, InputError

OPEN = ("queued", "running")
ENDED = ("done", "failed", "cancelled")
LOST_AFTER = 12.0
"""Time without a sign of life after which a running job is taken up by another worker [s]."""
MOST_QUEUED = 40
MOST_LISTED = 100
_LARGEST_SEED = 2**31 - 1
_LONGEST_MESSAGE = 600
KEPT_FOR = timedelta(days=30)
MOST_ENDED = 200
"""Jobs that ended are listed so long, and so many of them; see `prune`."""
PIECES_KEPT_FOR = timedelta(days=7)
"""How long what was found on the way is kept after work was cancelled or failed, in case it is asked for again."""


class Busy(ClackworkError):
    """More work is waiting than is sensible."""


@dataclass(frozen=True)
class Job:
    """One piece of long work.

    Attributes
    ----------
    id : int
    kind : str
        What is done: "fit", "performance".
    title : str
        The same for people: "Fit of flap 2".
    arguments : mapping
        What it is done with.
    state : str
        "queued", "running", "done", "failed" or "cancelled".
    done, total : int
        How far it is, in its own counts; 0 of 0 before it has begun.
    carried : int
        How much of that was found before an interruption, and says nothing of its pace.
    message : str
        Why it failed, or what it came to.
    result : mapping or None
        What is found so far: all of it when done, a part of it while running, when cancelled or failed.
    cancel_asked : bool
    by : str
    made_at, began_at, ended_at : datetime or None
        UTC.
    """

    id: int
    kind: str
    title: str
    arguments: Mapping[str, Any]
    state: str
    done: int
    total: int
    carried: int
    message: str
    result: Mapping[str, Any] | None
    cancel_asked: bool
    by: str
    made_at: datetime
    began_at: datetime | None
    ended_at: datetime | None

    @property
    def is_open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in OPEN

    @property
    def percent(self) -> int:
        """How much of it is done."""
        if self.state == "done":
            return 100
        return min(99, round(100.0 * self.done / self.total)) if self.total else 0

    def seconds_left(self, now: datetime) -> float | None:
        """Time until it ends at its pace so far [s]; None before the pace is known."""
        made = self.done - self.carried
        if self.state != "running" or self.began_at is None or made <= 0 or self.done > self.total:
            return None
        return max(0.0, (now - self.began_at).total_seconds()) * (self.total - self.done) / made

    def seconds_taken(self) -> float | None:
        """Time it took [s]; None while it is open or when it never ran."""
        if self.began_at is None or self.ended_at is None:
            return None
        return max(0.0, (self.ended_at - self.began_at).total_seconds())


def _from_row(row: sa.Row[Any], *, with_result: bool = True) -> Job:
    values = row._mapping
    held = json.loads(values["arguments"])
    result = values.get("result") if with_result else None
    return Job(
        id=values["id"],
        kind=values["kind"],
        title=held["title"],
        arguments=held["arguments"],
        state=values["state"],
        done=values["done"],
        total=values["total"],
        carried=values["carried"],
        message=values["message"],
        result=None if result is None else json.loads(result),
        cancel_asked=bool(values["cancel"]),
        by=values["by"],
        made_at=values["made_at"],
        began_at=values["began_at"],
        ended_at=values["ended_at"],
    )


def ask_for(
    book: Book,
    kind: str,
    arguments: Mapping[str, Any],
    *,
    title: str,
    by: str = "",
    request_id: str | None = None,
) -> Job:
    """Queue work; asked for again while the same is open, or with the same ``request_id``, it is the job that is there.

    Raises
    ------
    Busy
        Too much waits already.
    """
    text = as_json({"title": title, "arguments": dict(arguments)})
    with book.writing() as connection:
        same = sa.and_(job.c.kind == kind, job.c.arguments == text, job.c.state.in_(OPEN), job.c.cancel == 0)
        known = sa.or_(same, job.c.request_id == request_id) if request_id else same
        there = connection.execute(sa.select(job).where(known).order_by(job.c.id)).first()
        if there is not None:
            return _from_row(there)
        count = sa.select(sa.func.count()).select_from(job).where(job.c.state == "queued")
        if connection.execute(count).scalar_one() >= MOST_QUEUED:
            raise Busy(f"{MOST_QUEUED} pieces of work are waiting already: cancel some, or wait for them.")
        values = {"kind": kind, "arguments": text, "by": by, "request_id": request_id, "made_at": datetime.now(UTC)}
        blank = {"state": "queued", "done": 0, "total": 0, "message": "", "cancel": 0, "worker": ""}
        made = connection.execute(sa.insert(job).values(**values, **blank).returning(job))
        return _from_row(made.one())


def refuse_draws(draws: int, seed: int, *, least: int, most: int) -> None:
    """Refuse a number of draws outside its limits, or a seed that is none.

    Raises
    ------
    InputError
    """
    if not least <= draws <= most:
        raise InputError("draws", draws, f"it must be {least} to {most}")
    if not 0 <= seed <= _LARGEST_SEED:
        raise InputError("seed", seed, f"it must be 0 to {_LARGEST_SEED}")


def find_job(book: Book, number: int) -> Job:
    """A job by its number.

    Raises
    ------
    NotThere
    """
    with book.reading() as connection:
        found = connection.execute(sa.select(job).where(job.c.id == number)).first() if is_number(number) else None
    if found is None:
        raise NotThere(f"There is no work number {str(number)[:20]} in this book.")
    return _from_row(found)


def list_jobs(book: Book, *, limit: int = 30) -> tuple[Job, ...]:
    """Open jobs in the order they are taken up, then those ended, the last one first; without their results."""
    columns = [column for column in job.c if column.name != "result"]
    with book.reading() as connection:
        queue = connection.execute(sa.select(*columns).where(job.c.state.in_(OPEN)).order_by(job.c.id)).all()
        ended = (
            sa.select(*columns).where(job.c.state.in_(ENDED)).order_by(job.c.id.desc()).limit(min(limit, MOST_LISTED))
        )
        rest = connection.execute(ended).all()
    return tuple(_from_row(row, with_result=False) for row in (*queue, *rest))


def last_job(
    book: Book, kind: str, key: str, value: object, *, states: tuple[str, ...] = (*OPEN, *ENDED)
) -> Job | None:
    """The latest job of a kind with a value among its arguments, in one of the states; None when there is none."""
    columns = (job.c.id, job.c.arguments)
    with book.reading() as connection:
        chosen = sa.select(*columns).where(job.c.kind == kind, job.c.state.in_(states)).order_by(job.c.id.desc())
        for number, text in connection.execute(chosen):
            if json.loads(text)["arguments"].get(key) == value:
                return _from_row(connection.execute(sa.select(job).where(job.c.id == number)).one())
    return None


def cancel(book: Book, number: int) -> Job:
    """Ask for a job to stop: at once when it is queued, soon when it runs; what it has found is kept.

    Raises
    ------
    NotThere
    """
    now = datetime.now(UTC)
    with book.writing() as connection:
        mine = job.c.id == number
        queued = sa.update(job).where(mine, job.c.state == "queued")
        connection.execute(queued.values(state="cancelled", cancel=1, ended_at=now))
        connection.execute(sa.update(job).where(mine, job.c.state == "running").values(cancel=1))
    return find_job(book, number)


def _is_waiting(now: datetime) -> sa.ColumnElement[bool]:
    """Condition of a job that a worker may take up."""
    lost = sa.and_(job.c.state == "running", job.c.seen_at < now - timedelta(seconds=LOST_AFTER))
    return sa.or_(job.c.state == "queued", lost)


def is_work_waiting(book: Book) -> bool:
    """Whether there is a job to take up."""
    with book.reading() as connection:
        return (
            connection.execute(sa.select(job.c.id).where(_is_waiting(datetime.now(UTC))).limit(1)).first() is not None
        )


def take_up(book: Book, worker: str) -> Job | None:
    """Give the oldest waiting job to a worker; None when none waits.

    One that was asked to stop while its worker was lost is cancelled instead.
    """
    now = datetime.now(UTC)
    with book.writing() as connection:
        stopped = sa.update(job).where(_is_waiting(now), job.c.cancel == 1)
        connection.execute(stopped.values(state="cancelled", worker="", ended_at=now))
        number = connection.execute(
            sa.select(job.c.id).where(_is_waiting(now)).order_by(job.c.id).limit(1)
        ).scalar_one_or_none()
        if number is None:
            return None
        values = {
            "state": "running",
            "worker": worker,
            "began_at": now,
            "seen_at": now,
            "done": 0,
            "total": 0,
            "carried": 0,
        }
        taken = connection.execute(sa.update(job).where(job.c.id == number).values(**values).returning(job))
        return _from_row(taken.one())


def _owned(number: int, worker: str) -> sa.ColumnElement[bool]:
    return sa.and_(job.c.id == number, job.c.worker == worker, job.c.state == "running")


def report(book: Book, number: int, worker: str, **values: Any) -> bool:
    """Write how far a job is, with a sign of life; False when it no longer belongs to the worker."""
    with book.writing() as connection:
        written = connection.execute(
            sa.update(job).where(_owned(number, worker)).values(seen_at=datetime.now(UTC), **values)
        )
        return written.rowcount == 1


def keep_result(book: Book, number: int, worker: str, result: Mapping[str, Any]) -> None:
    """Write what a job has found so far."""
    report(book, number, worker, result=as_json(dict(result)))


def find_piece(book: Book, key: str) -> bytes | None:
    """What some work found on its way and kept under a key; None when nothing is there."""
    with book.reading() as connection:
        return connection.execute(sa.select(job_piece.c.content).where(job_piece.c.key == key)).scalar_one_or_none()


def keep_piece(book: Book, number: int, key: str, content: bytes) -> None:
    """Keep what a job found on its way, until it is done."""
    with book.writing() as connection:
        connection.execute(sa.delete(job_piece).where(job_piece.c.key == key))
        connection.execute(sa.insert(job_piece).values(key=key, job_id=number, content=content))


def drop_pieces(book: Book, keys: Collection[str]) -> None:
    """Let go of what was kept on the way."""
    with book.writing() as connection:
        connection.execute(sa.delete(job_piece).where(job_piece.c.key.in_(keys)))


def prune(book: Book) -> int:
    """Delete jobs that ended long ago, and all but the last `MOST_ENDED`, with what they kept on the way; how many.

    Of every kind of work on one thing the last that has a result stays, however old: pages show what it found.
    """
    now = datetime.now(UTC)
    columns = (job.c.id, job.c.kind, job.c.arguments, job.c.ended_at, job.c.result.is_not(None).label("has_result"))
    with book.writing() as connection:
        rows = connection.execute(sa.select(*columns).where(job.c.state.in_(ENDED)).order_by(job.c.id.desc())).all()
        shown: set[tuple[str, str]] = set()
        gone = []
        for place, row in enumerate(rows):
            of = (row.kind, as_json(_subject(json.loads(row.arguments)["arguments"])))
            is_shown = row.has_result and of not in shown
            if is_shown:
                shown.add(of)
            elif place >= MOST_ENDED or row.ended_at < now - KEPT_FOR:
                gone.append(row.id)
        stale = sa.select(job.c.id).where(job.c.state.in_(ENDED), job.c.ended_at < now - PIECES_KEPT_FOR)
        connection.execute(sa.delete(job_piece).where(job_piece.c.job_id.in_(stale)))
        for start in range(0, len(gone), 500):
            some = gone[start : start + 500]
            connection.execute(sa.delete(job_piece).where(job_piece.c.job_id.in_(some)))
            connection.execute(sa.delete(job).where(job.c.id.in_(some)))
    return len(gone)


def _subject(arguments: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """What work is about: the records named in its arguments, save a twin, which each fit makes anew."""
    return sorted((key, value) for key, value in arguments.items() if key.endswith("_id") and key != "twin_id")


def is_cancelled(book: Book, number: int) -> bool:
    """Whether a job was asked to stop."""
    with book.reading() as connection:
        return bool(connection.execute(sa.select(job.c.cancel).where(job.c.id == number)).scalar_one_or_none())


def end(
    book: Book, number: int, worker: str, state: str, *, message: str = "", result: Mapping[str, Any] | None = None
) -> None:
    """Write that a job has ended, or ("queued") that it is put back for another worker."""
    values: dict[str, Any] = {"state": state, "message": message[:_LONGEST_MESSAGE], "worker": ""}
    if state in ENDED:
        values["ended_at"] = datetime.now(UTC)
    if state == "done":
        values["done"] = values["total"] = sa.case((job.c.total > 0, job.c.total), else_=1)
    if result is not None:
        values["result"] = as_json(dict(result))
    with book.writing() as connection:
        connection.execute(sa.update(job).where(_owned(number, worker)).values(**values))


def fail_those_of(book: Book, worker: str, message: str) -> None:
    """Write that whatever a worker was at has failed: its process ended in the middle."""
    now = datetime.now(UTC)
    with book.writing() as connection:
        left = sa.update(job).where(job.c.worker == worker, job.c.state == "running")
        connection.execute(left.values(state="failed", message=message[:_LONGEST_MESSAGE], worker="", ended_at=now))
