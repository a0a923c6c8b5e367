"""When a pump is to be looked after, in beats as well as in months, for the rate at which it is promised to beat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.site.design import Choice
from clackwork.site.due import DAYS_A_MONTH, SECONDS_A_DAY, CareItem, care_items

MONTH = DAYS_A_MONTH * SECONDS_A_DAY
"""A twelfth of a year [s]."""
WEEK = 7.0 * SECONDS_A_DAY
_KEPT = 0.5
"""Share of the time the vessel's air lasts after which it is looked at: our choice."""


@dataclass(frozen=True)
class CareTask:
    """One thing to do again and again.

    Attributes
    ----------
    id : str
        Of a :class:`clackwork.site.due.CareItem`, or "drive_pipe".
    words : str
        What is done.
    interval : float
        Time between [s].
    beats : float
        Beats of one pump between; 0 where it does not beat.
    who : str
        "owner" or "workshop".
    why : str
        "" for the usual interval; "air_goes" or "fatigue" where this very design sets it.
    """

    id: str
    words: str
    interval: float
    beats: float
    who: str
    why: str = ""


def care_plan(choice: Choice, items: Sequence[CareItem] | None = None) -> tuple[CareTask, ...]:
    """Tasks of a design, the most frequent first.

    Parameters
    ----------
    choice : Choice
        Its beat rate turns months into beats, and beats into months where an item has no months.
    items : sequence of CareItem, optional
        A workshop's own care, as from :func:`clackwork.site.due.care_with`; else the usual.
    """
    rate = choice.promise.beat_rate.middle
    found = [_task(item, rate) for item in (care_items() if items is None else items)]
    tasks = [_with_vessel(task, choice, rate) for task in found if task is not None]
    cycles = fatigue_cycles(choice)
    if rate > 0.0 and math.isfinite(cycles):
        words = "look into the plastic pipe for cracks and plan its renewal"
        tasks.append(CareTask("drive_pipe", words, cycles / rate, cycles, "workshop", "fatigue"))
    return tuple(sorted(tasks, key=lambda task: task.interval))


def _task(item: CareItem, rate: float) -> CareTask | None:
    """An item at a beat rate [1/s]; None where it has no interval there."""
    if item.months is not None:
        interval = _spoken(item.months)
        return CareTask(item.id, item.words, interval, item.beats or rate * interval, item.who)
    if item.beats is None or rate <= 0.0:
        return None
    return CareTask(item.id, item.words, item.beats / rate, item.beats, item.who)


def _spoken(months: float) -> float:
    """A time given in months [s]: a quarter of a month is a week to whoever writes it."""
    weeks = round(4.0 * months)
    return weeks * WEEK if months < 1.0 and weeks else months * MONTH


def _with_vessel(task: CareTask, choice: Choice, rate: float) -> CareTask:
    """The look at the vessel's air, sooner where its air goes sooner."""
    lasts = choice.promise.vessel_air
    if task.id != "vessel_air" or lasts is None or _KEPT * min(lasts) >= task.interval:
        return task
    interval = max(_KEPT * min(lasts), SECONDS_A_DAY)
    return CareTask(task.id, task.words, interval, rate * interval, task.who, "air_goes")


def fatigue_cycles(choice: Choice) -> float:
    """Beats after which the first plastic pipe is to be renewed by the most careful law; infinite where none tires.

    A test that ended without a failure says nothing of what comes after, and is left out.
    """
    laws = [law for check in choice.checks for law in check.fatigue if not law.at_least]
    return min((law.cycles for law in laws), default=math.inf)
