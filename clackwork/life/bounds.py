"""What parts show that have not failed, or hardly: bounds at a shape that is named, not fitted.

With the shape known, (life)^shape is exponential, so the sum of all (life)^shape over a chi-squared quantile bounds the
scale (Nelson, Weibull analysis with few or no failures, 1985; from memory); without failures that is the success run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from clackwork.bench.gum import check_level
from clackwork.errors import InputError, require_positive, require_range
from clackwork.life.exposures import Exposure, gather


def lowest_scale(exposures: Sequence[Exposure], shape: float, level: float = 0.90) -> float:
    """Scale that is exceeded with this confidence, at a known shape.

    Failures found at inspections count at the start of their interval, which errs on the low side.

    Parameters
    ----------
    exposures : sequence of Exposure
        No failure is needed; all tests are taken as ended at a time.
    shape : float
    level : float

    Returns
    -------
    float
        In the unit of the lives.
    """
    from scipy.special import chdtri

    check_level(level)
    require_range("shape", shape, 0.05, 50.0, "", "1 is chance, 2 to 4 is usual of wear.")
    lives = gather(exposures)
    total = 0.0
    for life, number in (
        (lives.failed, lives.failed_number),
        (lives.unfailed, lives.unfailed_number),
        (lives.earliest, lives.between_number),
    ):
        total += float((number * (life / lives.longest) ** shape).sum())
    quantile = 0.5 * float(chdtri(2.0 * lives.failures + 2.0, 1.0 - level))
    return float(lives.longest * (total / quantile) ** (1.0 / shape))


def life_shown(exposures: Sequence[Exposure], shape: float, reliability: float, level: float = 0.90) -> float:
    """Life that at least a share ``reliability`` of parts reaches, with this confidence, at a known shape."""
    require_range("reliability", reliability, 1e-9, 1.0 - 1e-9, "")
    return lowest_scale(exposures, shape, level) * (-math.log(reliability)) ** (1.0 / shape)


def reliability_shown(exposures: Sequence[Exposure], shape: float, life: float, level: float = 0.90) -> float:
    """Share of parts that at least lasts ``life``, with this confidence, at a known shape."""
    require_positive("life", life, "")
    return math.exp(-((life / lowest_scale(exposures, shape, level)) ** shape))


def parts_needed(reliability: float, level: float = 0.90, *, lengths: float = 1.0, shape: float = 1.0) -> float:
    """Parts that must run without a failure to show a reliability: the success run.

    Parameters
    ----------
    reliability : float
        At one life.
    level : float
    lengths : float
        Lives that each part runs.
    shape : float

    Returns
    -------
    float
        n = ln(1 - level) / (lengths^shape ln reliability), not rounded up.
    """
    check_level(level)
    require_range("reliability", reliability, 1e-9, 1.0 - 1e-9, "")
    require_positive("lengths", lengths, "")
    require_positive("shape", shape, "")
    return math.log(1.0 - level) / (lengths**shape * math.log(reliability))


def lengths_needed(reliability: float, parts: float, level: float = 0.90, shape: float = 1.0) -> float:
    """Lives that each of so many parts must run without a failure: the success run solved for its length."""
    if not parts > 0.0:
        raise InputError("parts", f"{parts:g}", "it takes one at least")
    return parts_needed(reliability, level, shape=shape) ** (1.0 / shape) / parts ** (1.0 / shape)
