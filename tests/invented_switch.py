"""A switch study on twins that were never fitted: the demo's flap and poppet at its designed places."""

from __future__ import annotations

import datetime
from functools import lru_cache

from invented_twin import demo, twin_of

from clackwork.life.whole_study import WholeStudy
from clackwork.switch_job import study_of_workbook
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
