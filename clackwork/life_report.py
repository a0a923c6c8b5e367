"""What parts in service show, as lines and as plain data."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from clackwork.answers_json import keyed
from clackwork.errors import InputError, ModelError
from clackwork.life.bounds import life_shown
from clackwork.life.exposures import Exposure
from clackwork.life.part_record import PartRecord, causes, count_outcomes
from clackwork.life.wear import WearModel, fit_wear
from clackwork.life.weibull import Interval, WeibullFit, fit_weibull
from clackwork.quantities import format_quantity
from clackwork.site.visit import PARTS
from clackwork.workbook import Workbook

LEVEL = 0.90
SHAPES = (1.0, 2.0, 3.0)
"""Shapes at which a bound is told where none can be fitted: chance failures, and wear."""
_BY_SHAPE = {1.0: "by chance", 2.0: "by wear", 3.0: "by steady wear"}
_LEAST_FAILURES = 2
_TOO_FEW = "too few have failed to tell how their lives are spread"
HALF = 0.5


@dataclass(frozen=True)
class LifeGroup:
    """Parts of one kind and material.

    Attributes
    ----------
    part, material : str
    records : tuple of PartRecord
    lives : tuple of Exposure
        In months.
    fit : WeibullFit or None
        None with fewer than two failures.
    why_not : str
        Why there is no fit.
    bounds : mapping of float to float
        Months that half of all parts reach, at 90 %, by shape; where there is no fit.
    wear : WearModel or None
        Over months; None without readings.
    wear_limit : float or None
        [m]
    """

    part: str
    material: str
    records: tuple[PartRecord, ...]
    lives: tuple[Exposure, ...]
    fit: WeibullFit | None
    why_not: str
    bounds: dict[float, float]
    wear: WearModel | None
    wear_limit: float | None


def life_groups(workbook: Workbook, part: str | None, today: datetime.date) -> list[LifeGroup]:
    """All parts of a workbook by kind and material.

    Raises
    ------
    InputError
        When there is none.
    """
    if part is not None and part not in PARTS:
        raise InputError("--part", part, f"it must be one of {', '.join(PARTS)}")
    records = [one for one in workbook.parts if part in (None, one.part)]
    if not records:
        raise InputError("parts", "none", "there is no part in service here", "Write a table [[part]] with its looks.")

    def key(one: PartRecord) -> tuple[str, str]:
        return one.part, one.material

    return [_group(*of, tuple(members), today) for of, members in groupby(sorted(records, key=key), key=key)]


def _group(part: str, material: str, records: tuple[PartRecord, ...], today: datetime.date) -> LifeGroup:
    lives = tuple(one.months_lived(today) for one in records)
    fit, why_not, bounds = None, "", {}
    lived = [one for one in lives if one.failed or one.survived > 0.0]
    try:
        fit = fit_weibull(lives)
    except (ModelError, InputError) as error:
        why_not = str(error)
        bounds = {shape: life_shown(lived, shape, HALF, LEVEL) for shape in SHAPES} if lived else {}
    readings = [reading for one in records for reading in one.wear_by_month()]
    limits = [one.wear_limit for one in records if one.wear_limit is not None]
    wear = fit_wear(readings) if readings else None
    return LifeGroup(part, material, records, lives, fit, why_not, bounds, wear, min(limits, default=None))


def life_lines(group: LifeGroup, system: str) -> list[str]:
    """One kind of part for a terminal."""
    counts = ", ".join(
        f"{number} {'run on' if number > 1 and outcome == 'runs on' else outcome}"
        for outcome, number in count_outcomes(group.records).items()
        if number
    )
    lines = [f"{PARTS[group.part]}, {group.material}: {len(group.records)} in the records, {counts}"]
    if found := causes(group.records):
        lines.append(f"  failed by: {', '.join(f'{cause} ({number})' for cause, number in found.items())}")
    if group.fit is not None:
        lines.append(f"  half last {_interval(group.fit.life_interval(HALF, LEVEL))} months (90 % interval)")
        lines.append(f"  one in ten has failed by {_interval(group.fit.life_interval(0.1, LEVEL))} months")
        lines.append(f"  shape {_interval(group.fit.shape_interval(LEVEL))}: {_shape_words(group.fit.shape)}")
    else:
        few = sum(one.number for one in group.lives if one.failed) < _LEAST_FAILURES
        lines.append(f"  {_TOO_FEW if few else group.why_not}")
        if group.bounds:
            shown = [
                f"{months:.1f} months if they fail {_BY_SHAPE[at]} (shape {at:g})"
                for at, months in group.bounds.items()
            ]
            lines.append(f"  half of all last, shown at 90 %, more than {'; '.join(shown)}")
    if group.wear is not None and group.wear_limit is not None:
        limit = format_quantity(group.wear_limit, "small_length", system)
        low, middle, high = np.quantile(group.wear.life_to(group.wear_limit), (0.05, 0.5, 0.95))
        marked = any(look.wear for one in group.records for look in one.looks)
        if marked:
            lines.append(f"  a part wears by {limit} in {low:.0f} to {high:.0f} months, middle {middle:.0f}")
        else:
            lines.append(f"  no mark yet: a part wears by {limit} in more than {low:.0f} months, at 95 %")
    return lines


def _interval(found: Interval) -> str:
    high = "without end" if found.high == float("inf") else f"{found.high:.3g}"
    low = f"{found.low:.3g}" if found.low >= 0.1 else "under 0.1"
    return f"{found.value:.3g} ({low} to {high})"


def _shape_words(shape: float) -> str:
    if shape < 0.9:
        return "early failures: look at how they are fitted"
    return "chance, not wear" if shape < 1.2 else "wear: renew before it fails"


def life_json(group: LifeGroup, system: str) -> dict[str, Any]:
    """One kind of part as plain data; lives in months."""
    found: dict[str, Any] = {
        "part": group.part,
        "material": group.material,
        "outcomes": count_outcomes(group.records),
        "causes": causes(group.records),
        "fit": None,
        "bounds": [{"shape": shape, "half_last_months": months} for shape, months in group.bounds.items()],
        "wear": None,
    }
    if group.fit is not None:
        found["fit"] = {
            name: {"value": each.value, "low": each.low, "high": None if each.high == float("inf") else each.high}
            for name, each in (
                ("half_last_months", group.fit.life_interval(HALF, LEVEL)),
                ("one_in_ten_failed_months", group.fit.life_interval(0.1, LEVEL)),
                ("shape", group.fit.shape_interval(LEVEL)),
            )
        }
    if group.wear is not None and group.wear_limit is not None:
        low, middle, high = (float(one) for one in np.quantile(group.wear.life_to(group.wear_limit), (0.05, 0.5, 0.95)))
        found["wear"] = {
            **keyed("limit", group.wear_limit, "small_length", system),
            "months_to_limit": {"low": low, "middle": middle, "high": high},
        }
    return found
