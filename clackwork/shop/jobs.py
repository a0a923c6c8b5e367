"""Long work done beside the server, in one process of its own; see `clackwork.shop.job_rows` for how it is written down.

A `JobDesk` in the server watches the open book and starts the process when something waits there. The process ends when
the server does: what it was at is put back and begins again at the next start, with what it had found handed to it.
"""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
import secrets
import signal
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from multiprocessing.connection import Connection
from types import MappingProxyType
from typing import Any

from clackwork.book import Book, open_book
from clackwork.errors import ClackworkError
from clackwork.shop import job_rows
from clackwork.shop.job_rows import Job

WORK: Mapping[str, str] = MappingProxyType(
    {
        "fit": "clackwork.shop.fitting:fit_work",
        "performance": "clackwork.shop.performance_work:performance_work",
        "design": "clackwork.shop.designing:design_work",
        "switch": "clackwork.shop.switching:switch_work",
        "glances": "clackwork.shop.glances:glances_work",
        "landings": "clackwork.shop.part_service:landings_work",
    }
)
"""The kinds of work, and the function that does each: called with the book and a `Task`, it returns the result."""

LOOK_EVERY = 0.5
"""How often the desk and an idle worker look for work [s]."""
WRITE_EVERY = 0.4
"""Shortest time between two reports of progress [s]."""
ALIVE_EVERY = 2.0
"""Time between two signs of life [s]."""
GRACE = 4.0
"""How long work may go on after it was told to stop before its process is ended [s]."""
IDLE = 30.0
"""How long a worker without work is kept [s]."""

GOES_ON = f"Asked for again within {job_rows.PIECES_KEPT_FOR.days} days, with nothing changed, it goes on from there."

log = logging.getLogger("clackwork.jobs")


class _Stop(BaseException):
    """Raised inside work that is to stop; not an `Exception`, so that no handler of errors takes it."""


@dataclass
class Task:
    """What work is given besides the book.

    Attributes
    ----------
    arguments : mapping
    before : mapping or None
        What it had found when it was interrupted.
    by : str
        Who asked for it.

    It is also where work keeps what it finds on the way, as `clackwork.twin.engine_runs.Pieces`.
    """

    arguments: Mapping[str, Any]
    before: Mapping[str, Any] | None
    by: str
    _book: Book
    _job: int
    _worker: str
    _stop: threading.Event = field(default_factory=threading.Event)
    _written: float = 0.0
    _done: int = 0
    _carried: int = 0
    _has_carried: bool = False
    _keys: list[str] = field(default_factory=list)

    def progress(self, done: int, total: int) -> None:
        """Report how far it is; does not return when the work is to stop."""
        if self._stop.is_set():
            raise _Stop
        if self._has_carried:
            self._carried += done - self._done
        self._done, self._has_carried = done, False
        now = time.monotonic()
        if now - self._written >= WRITE_EVERY or done >= total:
            self._written = now
            if not job_rows.report(self._book, self._job, self._worker, **self._so_far(done, total)):
                raise _Stop

    def _so_far(self, done: int, total: int) -> dict[str, int]:
        return {"done": int(done), "total": int(total), "carried": self._carried}

    def get(self, key: str) -> bytes | None:
        """What was found before and kept under a key; the progress reported next was then made before, too."""
        self._keys.append(key)
        kept = job_rows.find_piece(self._book, key)
        self._has_carried = kept is not None
        return kept

    def put(self, key: str, content: bytes) -> None:
        """Keep what is found on the way under a key, until the work is done."""
        job_rows.keep_piece(self._book, self._job, key, content)

    def drop_pieces(self) -> None:
        """Let go of what was kept on the way: the result is there."""
        if self._keys:
            job_rows.drop_pieces(self._book, self._keys)

    @property
    def goes_on(self) -> str:
        """What is said of work that was cancelled and kept pieces of what it found."""
        return GOES_ON if self._keys else ""

    def keep(self, result: Mapping[str, Any]) -> None:
        """Keep what is found so far."""
        job_rows.keep_result(self._book, self._job, self._worker, result)


def _function(path: str) -> Callable[[Book, Task], Mapping[str, Any]]:
    """The function behind "module:name"."""
    module, _, name = path.partition(":")
    found: Callable[[Book, Task], Mapping[str, Any]] = getattr(import_module(module), name)
    return found


class _Worker:
    """The process that does the work, seen from inside."""

    def __init__(self, place: str, name: str, work: Mapping[str, str], line: Connection) -> None:
        self.book = open_book(place)
        self.name, self.work = name, work
        self.ending = threading.Event()
        self._line = line
        self._task: Task | None = None

    def run(self) -> None:
        """Do what waits until the server ends, or nothing has waited for a while."""
        threading.Thread(target=self._wait_for_end, daemon=True).start()
        idle_since = time.monotonic()
        while not self.ending.is_set() and time.monotonic() - idle_since < IDLE:
            job = job_rows.take_up(self.book, self.name) if job_rows.is_work_waiting(self.book) else None
            if job is None:
                self.ending.wait(LOOK_EVERY)
                continue
            self._do(job)
            idle_since = time.monotonic()

    def _wait_for_end(self) -> None:
        """The line from the server breaks when it ends, however it ends."""
        with contextlib.suppress(EOFError, OSError):
            self._line.recv()
        self.ending.set()
        task = self._task
        if task is not None:
            task._stop.set()
        time.sleep(GRACE)
        if self._task is not None:
            with contextlib.suppress(Exception):
                job_rows.end(self.book, self._task._job, self.name, "queued")
        os._exit(0)

    def _do(self, job: Job) -> None:
        """Do one job and write how it ended."""
        task = Task(job.arguments, job.result, job.by, self.book, job.id, self.name)
        over = threading.Event()
        self._task = task
        if self.ending.is_set():
            task._stop.set()
        threading.Thread(target=self._keep_alive, args=(job.id, task, over), daemon=True).start()
        try:
            result = _function(self.work[job.kind])(self.book, task)
            job_rows.end(self.book, job.id, self.name, "done", result=result)
            task.drop_pieces()
        except _Stop:
            put_back = self.ending.is_set() and not job_rows.is_cancelled(self.book, job.id)
            if put_back:
                job_rows.end(self.book, job.id, self.name, "queued")
            else:
                job_rows.end(self.book, job.id, self.name, "cancelled", message=task.goes_on)
        except ClackworkError as error:
            job_rows.end(self.book, job.id, self.name, "failed", message=str(error))
        except Exception as error:
            log.exception("work %d (%s) broke", job.id, job.kind)
            job_rows.end(self.book, job.id, self.name, "failed", message=_broken(error))
        finally:
            self._task = None
            over.set()
            with contextlib.suppress(ClackworkError):  # a book that is busy: the next job's end prunes
                job_rows.prune(self.book)

    def _keep_alive(self, number: int, task: Task, over: threading.Event) -> None:
        """Signs of life while a job runs, and an ear for being told to stop."""
        told, alive = 0.0, time.monotonic()
        while not over.wait(LOOK_EVERY):
            now = time.monotonic()
            with contextlib.suppress(ClackworkError):  # a book that is busy for a moment
                if now - alive >= ALIVE_EVERY:
                    alive = now
                    if not job_rows.report(self.book, number, self.name) and not over.is_set():
                        task._stop.set()
                if not told and job_rows.is_cancelled(self.book, number):
                    told = now
                    task._stop.set()
            if told and now - told > GRACE:
                job_rows.end(self.book, number, self.name, "cancelled")
                os._exit(0)


def _broken(error: Exception) -> str:
    """A fault of the program in a sentence."""
    if isinstance(error, MemoryError):
        return "The machine has too little memory for this: ask for fewer draws, or end other programs first."
    return (
        f"The program itself failed at this ({type(error).__name__}), and no reading is at fault. The details are in what "
        "the server wrote where it was started; tell them to whoever looks after it."
    )


def work_in_process(place: str, name: str, work: Mapping[str, str], line: Connection) -> None:
    """What the worker's process runs.

    Parameters
    ----------
    place : str
        Of the book, as `clackwork.book.open_book` takes it.
    name : str
        Of this worker, in the rows it takes up.
    work : mapping of str to str
        As `WORK`.
    line : Connection
        Breaks when the server ends.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which then ends this
    if hasattr(os, "nice"):
        os.nice(5)
    worker = _Worker(place, name, work, line)
    try:
        worker.run()
    finally:
        worker.book.close()


def _address_of(book: Book) -> str:
    """Where a book lies, as another process opens it."""
    place = book.place
    return place.address.render_as_string(hide_password=False) if place.folder is None else str(place.folder)


class JobDesk:
    """Watches a book for work, from inside the server.

    Parameters
    ----------
    book : callable
        The book that lies open now; None when none does.
    work : mapping of str to str, optional
        As `WORK`.
    """

    def __init__(self, book: Callable[[], Book | None], work: Mapping[str, str] = WORK) -> None:
        self._open_book, self._work = book, dict(work)
        self._kick, self._ended = threading.Event(), threading.Event()
        self._thread: threading.Thread | None = None
        self._process: Any = None
        self._line: Connection | None = None
        self._name, self._at = "", ""

    def start(self) -> None:
        """Begin to watch; what was interrupted begins again."""
        self._thread = threading.Thread(target=self._watch, name="jobs", daemon=True)
        self._thread.start()

    def look(self) -> None:
        """Look now: something was asked for."""
        self._kick.set()

    def close(self) -> None:
        """End the worker; what it is at is put back."""
        self._ended.set()
        self._kick.set()
        if self._thread is not None:
            self._thread.join()
        self._end_process()

    @property
    def worker_pid(self) -> int | None:
        """Number of the worker's process; None when there is none."""
        return self._process.pid if self._process is not None and self._process.is_alive() else None

    def _watch(self) -> None:
        while not self._ended.is_set():
            try:
                self._look_once()
            except ClackworkError:  # the book was closed, or is busy; the next look tells
                log.debug("the book could not be looked at", exc_info=True)
            except Exception:
                log.exception("looking for work failed")
                self._ended.wait(5.0)
            self._kick.wait(LOOK_EVERY)
            self._kick.clear()

    def _look_once(self) -> None:
        book = self._open_book()
        at = "" if book is None else _address_of(book)
        if at != self._at:
            self._end_process()
            self._at = at
        if book is None:
            return
        if self._process is not None and not self._process.is_alive():
            self._note_end(book)
        if self._process is None and job_rows.is_work_waiting(book):
            self._start_process(at)

    def _start_process(self, at: str) -> None:
        context = multiprocessing.get_context("spawn")
        theirs, self._line = context.Pipe(duplex=False)
        self._name = f"{os.getpid()}-{secrets.token_hex(4)}"
        self._process = context.Process(
            target=work_in_process, args=(at, self._name, self._work, theirs), name="clackwork-work", daemon=True
        )
        self._process.start()
        theirs.close()

    def _note_end(self, book: Book) -> None:
        """A worker that broke off leaves its job failed: begun again by itself it would break off again."""
        code = self._process.exitcode
        self._end_process()
        if code:
            how = f"signal {-code}" if code < 0 else f"code {code}"
            words = f"The process at this work ended in the middle ({how}), perhaps for want of memory. Start it again."
            job_rows.fail_those_of(book, self._name, words)

    def _end_process(self) -> None:
        process, line = self._process, self._line
        self._process = self._line = None
        if line is not None:
            line.close()
        if process is None:
            return
        process.join(GRACE + 2.0)
        if process.is_alive():
            process.kill()
            process.join(2.0)
        process.close()
