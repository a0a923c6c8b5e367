"""What the invented book works out by itself once it is opened: twins of its builds, designs of two sites, all answers."""

from __future__ import annotations

from clackwork.book import Book
from clackwork.shop.designing import ask_design
from clackwork.shop.fitted import builds_to_fit
from clackwork.shop.fitting import ask_fit
from clackwork.shop.glances import ask_glances
from clackwork.shop.job_rows import list_jobs

BY = "the demonstration"
SHOWN = ("Upper Hazel", "Fern Clough")
"""Sites of the demonstration that are designed: one with pipes of before, one only surveyed."""


def begin_demonstration(book: Book) -> int:
    """Queue the work of a freshly opened demonstration; how many pieces, 0 where any work was ever asked for.

    The readings are invented; what is made of them is fitted and searched on the engine as anybody's would be.
    """
    if list_jobs(book, limit=1):
        return 0
    jobs = [ask_fit(book, build.id, by=BY) for build in builds_to_fit(book)]
    if not jobs:
        return 0
    sites = [book.find("site", name) for name in SHOWN]
    jobs += [ask_design(book, site.id, by=BY) for site in sites if site is not None]
    return len([*jobs, ask_glances(book, by=BY)])
