"""What parts in service show, as lines and as plain data."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from clackwork.answers_json import keyed
from clackwork.errors import InputError, ModelError
from clackwork.life.bounds import life_shown
from clackwork.life.exposures import Exposure
from clackwork.life.part_record import MEASURES, PartRecord, causes, count_outcomes
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
_WORN = {"wear": "wears by", "weight_loss": "loses", "leak": "leaks"}


@dataclass(frozen=True)
class LivesIn:
    """Lives in one unit, and what they show.

    Attributes
    ----------
    lives : tuple of Exposure
    fit : WeibullFit or None
        None with fewer than two failures.
    why_not : str
        Why there is no fit.
    bounds : mapping of float to float
        What half of all parts reach, at 90 %, by shape; where there is no fit.
    """

    lives: tuple[Exposure, ...]
    fit: WeibullFit | None
    why_not: str
    bounds: dict[float, float]


@dataclass(frozen=True)
class Worn:
    """Wear by one measure, carried on to its limit.

    Attributes
    ----------
    measure : str
        Of :data:`clackwork.life.part_record.MEASURES`.
    model : WearModel
        Over months.
    limit : float
        The lowest given, SI.
    marked : bool
        Whether any reading was above nothing.
    """

    measure: str
    model: WearModel
    limit: float
    marked: bool

    def months(self) -> tuple[float, float, float]:
        """To the limit: 5, 50 and 95 % points of a new part."""
        low, middle, high = np.quantile(self.model.life_to(self.limit), (0.05, 0.5, 0.95))
        return float(low), float(middle), float(high)


@dataclass(frozen=True)
class LifeGroup:
    """Parts of one kind and material.

    Attributes
    ----------
    part, material : str
    records : tuple of PartRecord
    in_months : LivesIn
    in_beats : LivesIn or None
        None where the beats of one of them are not known.
    counted : int
        Parts whose beats were counted; those of the others are by a beat rate.
    worn : tuple of Worn
        Over months, by each measure that was read and has a limit.
    """

    part: str
    material: str
    records: tuple[PartRecord, ...]
    in_months: LivesIn
    in_beats: LivesIn | None
    counted: int
    worn: tuple[Worn, ...]


def life_groups(
    workbook: Workbook, part: str | None, today: datetime.date, rates: Mapping[str, float] | None = None
) -> list[LifeGroup]:
    """All parts of a workbook by kind and material.

    Parameters
    ----------
    workbook : Workbook
    part : str or None
        Only this one, of :data:`clackwork.site.visit.PARTS`.
    today : datetime.date
    rates : mapping of str to float, optional
        Beats a second by name of the part, for those whose beats were not counted.

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

    groups = groupby(sorted(records, key=key), key=key)
    return [_group(*of, tuple(members), today, rates or {}) for of, members in groups]


def beats_counted(record: PartRecord) -> bool:
    """Whether its beats were counted at every look, or nobody looked yet."""
    return all(look.beats is not None for look in record.looks)


def _group(
    part: str, material: str, records: tuple[PartRecord, ...], today: datetime.date, rates: Mapping[str, float]
) -> LifeGroup:
    counted = [beats_counted(one) for one in records]
    known = all(sure or one.name in rates for sure, one in zip(counted, records, strict=True))
    beats = [one.exposure(rates.get(one.name, 1.0), today) for one in records] if known else None
    return LifeGroup(
        part,
        material,
        records,
        _lives_in([one.months_lived(today) for one in records]),
        None if beats is None else _lives_in(beats),
        sum(counted),
        tuple(one for measure in MEASURES if (one := _worn(records, measure)) is not None),
    )


def _worn(records: Sequence[PartRecord], measure: str) -> Worn | None:
    """Wear by a measure; None where it was never read or has no limit."""
    readings = [reading for one in records for reading in one.wear_by_month(measure)]
    limits = [limit for one in records if (limit := getattr(one, f"{measure}_limit")) is not None]
    if not readings or not limits:
        return None
    return Worn(measure, fit_wear(readings), min(limits), any(one.wear > 0.0 for one in readings))


def _lives_in(lives: Sequence[Exposure]) -> LivesIn:
    fit, why_not, bounds = None, "", {}
    lived = [one for one in lives if one.failed or one.survived > 0.0]
    try:
        fit = fit_weibull(lives)
    except (ModelError, InputError) as error:
        why_not = str(error)
        bounds = {shape: life_shown(lived, shape, HALF, LEVEL) for shape in SHAPES} if lived else {}
    return LivesIn(tuple(lives), fit, why_not, bounds)


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
    lived = group.in_months
    if lived.fit is not None:
        lines.append(f"  half last {_interval(lived.fit.life_interval(HALF, LEVEL))} months (90 % interval)")
        lines.append(f"  one in ten has failed by {_interval(lived.fit.life_interval(0.1, LEVEL))} months")
        lines.append(f"  shape {_interval(lived.fit.shape_interval(LEVEL))}: {_shape_words(lived.fit.shape)}")
    else:
        few = sum(one.number for one in lived.lives if one.failed) < _LEAST_FAILURES
        lines.append(f"  {_TOO_FEW if few else lived.why_not}")
        if lived.bounds:
            shown = [
                f"{months:.1f} months if they fail {_BY_SHAPE[at]} (shape {at:g})"
                for at, months in lived.bounds.items()
            ]
            lines.append(f"  half of all last, shown at 90 %, more than {'; '.join(shown)}")
    lines += _beats_lines(group)
    for worn in group.worn:
        limit = format_quantity(worn.limit, MEASURES[worn.measure], system)
        low, middle, high = worn.months()
        if worn.marked:
            lines.append(
                f"  a part {_WORN[worn.measure]} {limit} in {low:.0f} to {high:.0f} months, middle {middle:.0f}"
            )
        else:
            none = f"no {'mark' if worn.measure == 'wear' else worn.measure.replace('_', ' ')} yet"
            lines.append(f"  {none}: a part {_WORN[worn.measure]} {limit} in more than {low:.0f} months, at 95 %")
    return lines


def _beats_lines(group: LifeGroup) -> list[str]:
    """The same in millions of beats."""
    found = group.in_beats
    if found is None:
        return ["  in beats: not told, as not all were counted and the beat rate of a pump is not known"]
    rated = len(group.records) - group.counted
    of = "counted" if not rated else f"those of {rated} by the beat rate of its pump"
    if found.fit is not None:
        half, tenth = (_interval(found.fit.life_interval(share, LEVEL), 1e-6) for share in (HALF, 0.1))
        return [f"  in millions of beats, {of}: half last {half}, one in ten has failed by {tenth}"]
    if not found.bounds:
        return []
    shown = "; ".join(f"{1e-6 * beats:.3g} at shape {at:g}" for at, beats in found.bounds.items())
    return [f"  in millions of beats, {of}: half of all last, shown at 90 %, more than {shown}"]


def _interval(found: Interval, scale: float = 1.0) -> str:
    value, least, most = (scale * one for one in (found.value, found.low, found.high))
    high = "without end" if most == float("inf") else f"{most:.3g}"
    low = f"{least:.3g}" if least >= 0.1 else "under 0.1"
    return f"{value:.3g} ({low} to {high})"


def _shape_words(shape: float) -> str:
    if shape < 0.9:
        return "early failures: look at how they are fitted"
    return "chance, not wear" if shape < 1.2 else "wear: renew before it fails"


def life_json(group: LifeGroup, system: str) -> dict[str, Any]:
    """One kind of part as plain data; lives in months of the calendar and in beats."""
    months, beats = group.in_months, group.in_beats
    found: dict[str, Any] = {
        "part": group.part,
        "material": group.material,
        "outcomes": count_outcomes(group.records),
        "causes": causes(group.records),
        "fit": _fit_json(months, "months"),
        "bounds": _bounds_json(months, "months"),
        "fit_in_beats": None if beats is None else _fit_json(beats, "beats"),
        "bounds_in_beats": [] if beats is None else _bounds_json(beats, "beats"),
        "beats_counted_of": group.counted,
        **dict.fromkeys(MEASURES),
    }
    for worn in group.worn:
        low, middle, high = worn.months()
        found[worn.measure] = {
            **keyed("limit", worn.limit, MEASURES[worn.measure], system),
            "months_to_limit": {"low": low, "middle": middle, "high": high},
        }
    return found


def _fit_json(lived: LivesIn, unit: str) -> dict[str, Any] | None:
    if lived.fit is None:
        return None
    return {
        name: {"value": each.value, "low": each.low, "high": None if each.high == float("inf") else each.high}
        for name, each in (
            (f"half_last_{unit}", lived.fit.life_interval(HALF, LEVEL)),
            (f"one_in_ten_failed_{unit}", lived.fit.life_interval(0.1, LEVEL)),
            ("shape", lived.fit.shape_interval(LEVEL)),
        )
    }


def _bounds_json(lived: LivesIn, unit: str) -> list[dict[str, float]]:
    return [{"shape": shape, f"half_last_{unit}": reached} for shape, reached in lived.bounds.items()]
