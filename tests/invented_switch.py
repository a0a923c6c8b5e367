"""A switch study on twins that were never fitted: the demo's flap and poppet at its designed places."""

from __future__ import annotations

import datetime
from functools import lru_cache

from invented_twin import demo, twin_of

from clackwork.book import Book, Record
from clackwork.life.whole_study import WholeStudy
from clackwork.quantities import SYSTEMS
from clackwork.shop import job_rows
from clackwork.shop.switching import _builds_of, ask_switch, basis_of_study
from clackwork.switch_job import study_of_workbook
from clackwork.switch_report import switch_json
from clackwork.switch_words import switch_words
from clackwork.twin.twin import Twin
from clackwork.workbook_life import SwitchAsked

TODAY = datetime.date(2024, 1, 1)
DRAWS = 20


def twins() -> dict[str, Twin]:
    """Twins of the demo's builds, about the first guesses."""
    return {name: twin_of(build) for name, build in demo().builds.items()}


@lru_cache
def switch_found() -> tuple[SwitchAsked, WholeStudy]:
    """The demo's switch, worked out."""
    asked = demo().switches["poppet"]
    return asked, study_of_workbook(demo(), asked, twins(), today=TODAY, draws=DRAWS)


def keep_study(book: Book) -> Record:
    """The demo's switch, whose builds are fitted, with that study kept as the worker leaves it."""
    [switch] = book.list("switch").records
    job = ask_switch(book, switch.id)
    assert job_rows.take_up(book, "by hand") is not None
    asked, found = switch_found()
    builds = _builds_of(book, switch, book.workbook(switch.links["pump"]))
    result = {
        "words": {system: switch_words(found, asked, "EUR", system) for system in SYSTEMS},
        "plain": {system: switch_json(found, asked, "EUR", system) for system in SYSTEMS},
        "rests_on": basis_of_study(book, switch, builds),
    }
    job_rows.end(book, job.id, "by hand", "done", result=result)
    return switch
