"""Long work: progress, cancel, failure in a sentence, begun again after the server ended, partial results kept."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
import sqlalchemy as sa
from invented_work import WORK

from clackwork.book import Book, NotThere, open_book
from clackwork.book.tables import job, job_piece
from clackwork.shop import job_rows, jobs
from clackwork.shop.job_rows import Busy, Job, ask_for, cancel, find_job, list_jobs
from clackwork.shop.jobs import JobDesk

PATIENCE = 60.0


@pytest.fixture
def desk(book: Book) -> Iterator[JobDesk]:
    """A desk that watches the book."""
    made = JobDesk(lambda: book, WORK)
    made.start()
    yield made
    made.close()


def ask(book: Book, kind: str = "count", **arguments: object) -> Job:
    return ask_for(book, kind, arguments, title="Counting", by="the test")


def wait_for(book: Book, number: int, is_so: Callable[[Job], bool]) -> Job:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        found = find_job(book, number)
        if is_so(found):
            return found
        time.sleep(0.05)
    raise AssertionError(f"still {find_job(book, number)}")


def ended(one: Job) -> bool:
    return not one.is_open


def pieces_gone(book: Book) -> bool:
    """Whether the pieces of work that is done go: just after it is called done."""
    until = time.monotonic() + PATIENCE
    while kept_keys(book) and time.monotonic() < until:
        time.sleep(0.05)
    return kept_keys(book) == []


def test_work_is_done_in_another_process_and_its_result_kept(book: Book, desk: JobDesk) -> None:
    asked = ask(book, to=3)
    assert (asked.state, asked.percent, asked.by, asked.title) == ("queued", 0, "the test", "Counting")
    done = wait_for(book, asked.id, ended)
    assert (done.state, done.percent, done.message) == ("done", 100, "")
    assert done.result == {"counted": [1, 2, 3], "begun_at": 0}
    assert done.seconds_taken() is not None
    assert desk.worker_pid not in (None, os.getpid())


@pytest.mark.slow
def test_jobs_are_done_one_after_the_other_in_the_order_asked(book: Book, desk: JobDesk) -> None:
    asked = [ask(book, to=2, pause=0.05, place=place) for place in range(3)]
    done = [wait_for(book, one.id, ended) for one in asked]
    spans = [(one.began_at, one.ended_at) for one in done]
    assert all(before[1] <= after[0] for before, after in pairwise(spans))


def test_progress_and_time_left_are_told(book: Book, desk: JobDesk) -> None:
    asked = ask(book, to=40, pause=0.1)
    running = wait_for(book, asked.id, lambda one: one.done >= 10)
    assert running.state == "running" and running.total == 40 and 25 <= running.percent < 100
    left = running.seconds_left(datetime.now(UTC))
    assert left is not None and 0.5 < left < 20.0
    cancel(book, asked.id)


def test_running_work_is_cancelled_and_what_it_found_kept(book: Book, desk: JobDesk) -> None:
    asked = ask(book, to=1000, pause=0.05)
    wait_for(book, asked.id, lambda one: one.result is not None and len(one.result["counted"]) >= 3)
    assert cancel(book, asked.id).cancel_asked
    stopped = wait_for(book, asked.id, ended)
    assert stopped.state == "cancelled" and stopped.result is not None
    assert 3 <= len(stopped.result["counted"]) < 1000
    after = ask(book, to=1)
    assert wait_for(book, after.id, ended).state == "done"


@pytest.mark.slow
def test_work_that_does_not_listen_is_ended_and_the_next_begins(book: Book, desk: JobDesk) -> None:
    asked = ask(book, "deaf")
    wait_for(book, asked.id, lambda one: one.done == 1)
    began = time.monotonic()
    cancel(book, asked.id)
    assert wait_for(book, asked.id, ended).state == "cancelled"
    assert time.monotonic() - began < jobs.GRACE + 5.0
    assert wait_for(book, ask(book, to=1).id, ended).state == "done"


def test_waiting_work_is_cancelled_at_once(book: Book) -> None:
    asked = ask(book, to=3)
    assert cancel(book, asked.id).state == "cancelled"
    assert not job_rows.is_work_waiting(book)
    assert cancel(book, asked.id).state == "cancelled"


def test_a_failure_is_a_sentence(book: Book, desk: JobDesk) -> None:
    refused = wait_for(book, ask(book, to=5, refuse_at=3).id, ended)
    assert (refused.state, refused.result) == ("failed", {"counted": [1, 2], "begun_at": 0})
    assert refused.message == "stroke = 0.5 mm is not usable: it must be 5 to 500 mm. Was it metres?"


def test_a_fault_of_the_program_is_a_sentence_without_a_traceback(book: Book, desk: JobDesk) -> None:
    broken = wait_for(book, ask(book, to=5, break_at=2).id, ended)
    assert broken.state == "failed" and "KeyError" in broken.message
    assert "Traceback" not in broken.message and "a fault of the program" not in broken.message
    assert wait_for(book, ask(book, to=1).id, ended).state == "done"


@pytest.mark.slow
def test_a_process_that_dies_leaves_its_work_failed_and_the_next_is_done(book: Book, desk: JobDesk) -> None:
    died, after = ask(book, to=5, die_at=2), ask(book, to=1)
    found = wait_for(book, died.id, ended)
    assert found.state == "failed" and "ended in the middle" in found.message
    assert found.result == {"counted": [1], "begun_at": 0}
    assert wait_for(book, after.id, ended).state == "done"


def test_the_end_of_the_server_puts_work_back_and_the_next_start_goes_on_with_it(book: Book) -> None:
    first = JobDesk(lambda: book, WORK)
    first.start()
    asked = ask(book, to=60, pause=0.05)
    wait_for(book, asked.id, lambda one: one.result is not None and len(one.result["counted"]) >= 3)
    first.close()
    left = find_job(book, asked.id)
    assert left.state == "queued" and left.result is not None
    second = JobDesk(lambda: book, WORK)
    second.start()
    done = wait_for(book, asked.id, ended)
    second.close()
    assert done.state == "done" and done.result is not None
    assert done.result["counted"] == list(range(1, 61))
    assert done.result["begun_at"] >= 3


def kept_keys(book: Book) -> list[str]:
    """Keys of the pieces that work has kept on its way."""
    with book.reading() as connection:
        return list(connection.execute(sa.select(job_piece.c.key)).scalars())


def test_pieces_found_before_the_end_of_the_server_are_taken_up_and_dropped_when_done(book: Book) -> None:
    first = JobDesk(lambda: book, WORK)
    first.start()
    asked = ask(book, "pieces", to=40, pause=0.1)
    wait_for(book, asked.id, lambda one: one.done >= 5)
    first.close()
    assert find_job(book, asked.id).state == "queued" and len(kept_keys(book)) >= 5
    second = JobDesk(lambda: book, WORK)
    second.start()
    running = wait_for(book, asked.id, lambda one: one.done > one.carried >= 5)
    left = running.seconds_left(datetime.now(UTC))
    assert left is not None and left < 60.0
    done = wait_for(book, asked.id, ended)
    second.close()
    assert done.result is not None and done.result["found_again"] >= 5
    assert pieces_gone(book)


def test_time_left_goes_by_what_was_done_since_it_was_taken_up() -> None:
    began = datetime(2024, 5, 6, tzinfo=UTC)
    one = Job(1, "fit", "Fit", {}, "running", 60, 100, 50, "", None, False, "", began, began, None)
    assert one.percent == 60
    assert one.seconds_left(began + timedelta(seconds=20)) == 80.0  # 10 of 100 in 20 s, 40 left
    assert replace(one, done=50).seconds_left(began + timedelta(seconds=20)) is None


def test_cancelled_work_asked_for_again_goes_on_from_what_it_found(book: Book, desk: JobDesk) -> None:
    asked = ask(book, "pieces", to=40, pause=0.1)
    wait_for(book, asked.id, lambda one: one.done >= 5)
    cancel(book, asked.id)
    stopped = wait_for(book, asked.id, ended)
    assert stopped.message == "Asked for again within 7 days, with nothing changed, it goes on from there."
    again = wait_for(book, ask(book, "pieces", to=40, pause=0.1).id, ended)
    assert again.id != asked.id and again.result is not None and again.result["found_again"] >= 5
    assert pieces_gone(book)


def end_at(book: Book, number: int, state: str, at: datetime, result: object = None) -> None:
    """Write that a job ended at a moment."""
    text = None if result is None else json.dumps(result)
    with book.writing() as connection:
        chosen = sa.update(job).where(job.c.id == number)
        connection.execute(chosen.values(state=state, ended_at=at, result=text))


def test_old_work_is_deleted_but_for_what_a_page_shows(book: Book) -> None:
    now = datetime.now(UTC)
    old, fresh = now - timedelta(days=31), now - timedelta(days=29)
    first, second, other, refused, late, waits = (
        ask_for(book, "performance", {"build_id": build, "twin_id": place}, title="t")
        for place, build in enumerate((1, 1, 2, 3, 4, 5))
    )
    for one, state, at, result in (
        (first, "done", old, {"a": 1}),
        (second, "done", old, {"a": 2}),
        (other, "cancelled", old, {"a": 3}),
        (refused, "failed", old, None),
        (late, "failed", fresh, None),
    ):
        end_at(book, one.id, state, at, result)
        job_rows.keep_piece(book, one.id, f"piece of {one.id}", b"found")
    assert job_rows.prune(book) == 2
    assert {one.id for one in list_jobs(book)} == {second.id, other.id, late.id, waits.id}
    assert kept_keys(book) == []  # all ended more than a week ago
    assert job_rows.prune(book) == 0


def test_no_more_ended_work_is_listed_than_is_sensible(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_rows, "MOST_ENDED", 3)
    asked = [ask(book, to=number) for number in range(5)]
    for one in asked:
        end_at(book, one.id, "done", datetime.now(UTC))
    job_rows.keep_piece(book, asked[4].id, "fresh", b"found")
    assert job_rows.prune(book) == 2
    assert [one.id for one in list_jobs(book)] == [one.id for one in reversed(asked[2:])]
    assert kept_keys(book) == ["fresh"]


SERVER = """
import sys, time
from pathlib import Path
from clackwork.book import open_book
from clackwork.shop.jobs import JobDesk
from invented_work import WORK
if __name__ == "__main__":
    book = open_book(Path(sys.argv[1]))
    JobDesk(lambda: book, WORK).start()
    time.sleep(120)
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="kill -9 is a signal of POSIX")
def test_a_killed_server_takes_its_worker_with_it_and_the_work_begins_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mark, script = tmp_path / "mark", tmp_path / "server.py"
    script.write_text(SERVER, encoding="utf-8")
    paths = os.pathsep.join([str(Path(__file__).parent), str(Path(__file__).parents[2])])
    with open_book(tmp_path / "book") as book:
        asked = ask(book, to=400, pause=0.05, mark=str(mark))
        server = subprocess.Popen(
            [sys.executable, str(script), str(tmp_path / "book")], env={**os.environ, "PYTHONPATH": paths}
        )
        wait_for(book, asked.id, lambda one: one.done >= 5)
        server.send_signal(signal.SIGKILL)
        server.wait()
        until = time.monotonic() + jobs.GRACE + 10.0
        while time.monotonic() < until:
            before = mark.read_text(encoding="utf-8")
            time.sleep(0.5)
            if mark.read_text(encoding="utf-8") == before:
                break
        else:
            raise AssertionError("the worker goes on without its server")
        monkeypatch.setattr(job_rows, "LOST_AFTER", 0.1)
        time.sleep(0.2)
        assert job_rows.is_work_waiting(book)
        again = job_rows.take_up(book, "the next")
        assert again is not None and again.id == asked.id and again.result is not None


def test_a_worker_that_was_given_up_can_write_no_more(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ask(book, to=3)
    assert job_rows.take_up(book, "first") is not None
    assert job_rows.take_up(book, "second") is None
    with book.writing() as connection:
        connection.execute(sa.update(job).values(seen_at=datetime.now(UTC) - timedelta(hours=1)))
    assert job_rows.take_up(book, "second") is not None
    assert not job_rows.report(book, asked.id, "first", done=2, total=3)
    job_rows.end(book, asked.id, "first", "done", result={"counted": "by the first"})
    assert find_job(book, asked.id).state == "running"
    assert job_rows.report(book, asked.id, "second", done=1, total=3)


def test_work_lost_while_it_was_to_stop_is_cancelled(book: Book) -> None:
    asked = ask(book, to=3)
    job_rows.take_up(book, "first")
    cancel(book, asked.id)
    with book.writing() as connection:
        connection.execute(sa.update(job).values(seen_at=datetime.now(UTC) - timedelta(hours=1)))
    assert job_rows.take_up(book, "second") is None
    assert find_job(book, asked.id).state == "cancelled"


def test_the_same_asked_twice_is_one_job(book: Book) -> None:
    first, second, other = ask(book, to=3), ask(book, to=3), ask(book, to=4)
    assert first.id == second.id != other.id
    sent = [ask_for(book, "count", {"to": 9 + turn}, title="t", request_id="tap") for turn in range(2)]
    assert sent[0].id == sent[1].id
    cancel(book, first.id)
    assert ask(book, to=3).id != first.id


def test_no_more_is_queued_than_is_sensible(book: Book) -> None:
    for number in range(job_rows.MOST_QUEUED):
        ask(book, to=number)
    with pytest.raises(Busy, match="cancel some"):
        ask(book, to=-1)


def test_the_list_has_open_work_first_in_its_order_then_the_last_ended(book: Book) -> None:
    one, two, three, four = (ask(book, to=number) for number in range(4))
    cancel(book, one.id)
    cancel(book, two.id)
    assert [found.id for found in list_jobs(book)] == [three.id, four.id, two.id, one.id]


def test_a_job_that_is_not_there(book: Book) -> None:
    for number in (7, 0, 2**40):
        with pytest.raises(NotThere):
            find_job(book, number)
    with pytest.raises(NotThere):
        cancel(book, 7)


@pytest.mark.slow
def test_the_desk_follows_the_book_that_lies_open(tmp_path: Path) -> None:
    with open_book(tmp_path / "one") as one, open_book(tmp_path / "other") as other:
        lies: dict[str, Book | None] = {"open": one}
        desk = JobDesk(lambda: lies["open"], WORK)
        desk.start()
        long = ask(one, to=1000, pause=0.05)
        wait_for(one, long.id, lambda found: found.done >= 3)
        lies["open"] = other
        assert wait_for(other, ask(other, to=2).id, ended).state == "done"
        assert find_job(one, long.id).state == "queued"
        lies["open"] = None
        desk.close()
        assert desk.worker_pid is None
