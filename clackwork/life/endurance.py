"""An endurance test: how many parts, how many beats, at which fall, to show a life without a failure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.errors import InputError, require_positive
from clackwork.life.bounds import lengths_needed


@dataclass(frozen=True)
class EnduranceStand:
    """A place where parts can be run to their end.

    Attributes
    ----------
    name : str
        "yard, 4 m of fall".
    stress : float
        On the part there, from the engine [J/m2].
    beat_rate : float
        There [1/s].
    """

    name: str
    stress: float
    beat_rate: float


@dataclass(frozen=True)
class EnduranceTest:
    """One test that would show the life asked for, if no part fails.

    Attributes
    ----------
    stand : EnduranceStand
    parts : int
    beats : float
        That each part has to run.
    duration : float
        Of the test, all parts side by side [s].
    hastened : float
        Beats at the site that one beat here stands for, at the end of the exponents that counts least.
    """

    stand: EnduranceStand
    parts: int
    beats: float
    duration: float
    hastened: float


def plan_endurance(
    life: float,
    reliability: float,
    stands: Sequence[EnduranceStand],
    stress: float,
    *,
    level: float = 0.90,
    shape: float = 1.0,
    exponents: tuple[float, float] = (0.0, 0.0),
    most_parts: int = 8,
) -> tuple[EnduranceTest, ...]:
    """Tests on every stand with one part to ``most_parts``, shortest first.

    No part runs for less than the life to be shown: what ends it may come late, and any number of young parts says
    nothing of that.

    Parameters
    ----------
    life : float
        To be shown [beats], at the site.
    reliability : float
        Share of parts that is to reach it.
    stands : sequence of EnduranceStand
    stress : float
        On the part at the site [J/m2].
    level : float
        Confidence wanted.
    shape : float
        Of the life; of those from 1 upwards 1 asks for most. A larger one has to be known from parts that did fail.
    exponents : (float, float)
        Low and high end of the exponent of stress. Where a stand is harder than the site the low end counts, where it
        is gentler the high end; 0 and 0 lets every beat count as one.
    most_parts : int

    Raises
    ------
    InputError
    """
    require_positive("life", life, "beats")
    require_positive("stress", stress, "J/m2")
    low, high = exponents
    if not 0.0 <= low <= high:
        raise InputError(
            "exponents",
            f"{low:g} to {high:g}",
            "both must be 0 or more, the lower one first",
            "0 counts no haste at all.",
        )
    if not 1 <= most_parts <= 1000:
        raise InputError("most_parts", most_parts, "it must be 1 to 1000")
    found = []
    for stand in stands:
        require_positive(f"{stand.name}, stress", stand.stress, "J/m2")
        require_positive(f"{stand.name}, beat_rate", stand.beat_rate, "1/s")
        hastened = min((stand.stress / stress) ** each for each in exponents)
        for parts in range(1, most_parts + 1):
            lengths = max(lengths_needed(reliability, parts, level, shape), 1.0)
            beats = math.ceil(life * lengths / hastened)
            found.append(EnduranceTest(stand, parts, float(beats), beats / stand.beat_rate, hastened))
    return tuple(sorted(found, key=lambda test: (test.duration, test.parts)))
