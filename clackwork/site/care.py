"""When a pump is to be looked after, in beats as well as in months."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from clackwork.site.design import Choice

DAY = 86400.0
MONTH = 30.4375 * DAY
"""A twelfth of a Julian year [s]."""
CARE_INTERVALS: Mapping[str, float] = {
    "intake": 7.0 * DAY,
    "beat_count": 7.0 * DAY,
    "bolts_and_leaks": MONTH,
    "vessel_air": MONTH,
    "rubbers": 6.0 * MONTH,
    "flush": 12.0 * MONTH,
    "paint": 12.0 * MONTH,
}
"""How often each task comes [s]. Weekly, monthly and yearly: common practice, no published source. Rubbers 6 to 24 months:
from memory; the shorter end is taken, as a rubber looked at too early is only looked at."""
_KEPT = 0.5
"""Share of the time the vessel's air lasts after which it is looked at: our choice."""


@dataclass(frozen=True)
class CareTask:
    """One thing to do again and again.

    Attributes
    ----------
    id : str
        A key of :data:`CARE_INTERVALS`, or "drive_pipe".
    interval : float
        Time between [s].
    beats : float
        Beats of one pump in that time; 0 where it does not beat.
    why : str
        "" for the usual interval; "air_goes" or "fatigue" where this very design sets it.
    """

    id: str
    interval: float
    beats: float
    why: str = ""


def care_plan(choice: Choice, *, intervals: Mapping[str, float] = CARE_INTERVALS) -> tuple[CareTask, ...]:
    """Tasks of a design, the most frequent first.

    Parameters
    ----------
    choice : Choice
        Its beat rate turns times into beats.
    intervals : mapping of str to float, optional
        Time between [s] by task; a workshop may keep its own.
    """
    rate = choice.promise.beat_rate.middle
    tasks = [CareTask(id, interval, rate * interval) for id, interval in intervals.items()]
    tasks = [_with_vessel(task, choice, rate) for task in tasks]
    cycles = fatigue_cycles(choice)
    if rate > 0.0 and math.isfinite(cycles):
        tasks.append(CareTask("drive_pipe", cycles / rate, cycles, "fatigue"))
    return tuple(sorted(tasks, key=lambda task: task.interval))


def _with_vessel(task: CareTask, choice: Choice, rate: float) -> CareTask:
    """The look at the vessel's air, sooner where its air goes sooner."""
    lasts = choice.promise.vessel_air
    if task.id != "vessel_air" or lasts is None or _KEPT * min(lasts) >= task.interval:
        return task
    interval = max(_KEPT * min(lasts), DAY)
    return CareTask(task.id, interval, rate * interval, "air_goes")


def fatigue_cycles(choice: Choice) -> float:
    """Beats after which the first plastic pipe is to be renewed by the most careful law; infinite where none tires."""
    return min((law.cycles for check in choice.checks for law in check.fatigue), default=math.inf)
