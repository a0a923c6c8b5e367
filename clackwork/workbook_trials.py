"""A trial of a workbook judged, and its judgement as lines and as plain data."""

from __future__ import annotations

import math
from typing import Any

from clackwork.answers_json import figure as shown
from clackwork.answers_json import keyed, number
from clackwork.answers_text import figure_words
from clackwork.bench.judge import Judgement, judge
from clackwork.bench.pool import PooledFigure
from clackwork.bench.runs import reduce_run
from clackwork.errors import ClackworkError
from clackwork.quantities import format_with_uncertainty, key_name
from clackwork.ram.changes import changes_between
from clackwork.twin.twin import find_rig
from clackwork.workbook import Workbook
from clackwork.workbook_runs import TRIAL_FIGURES, Trial

_VERDICTS = {
    "different": "{new} differs from {old}",
    "the same within the margin": "{new} and {old} are the same within the margin",
    "not yet known": "whether {new} differs from {old} is not yet known",
}


def judge_trial(workbook: Workbook, trial: Trial) -> Judgement:
    """Judge a trial; its margins are shares of the old build's mean.

    Raises
    ------
    ClackworkError
        A build has no run of the trial's kind that gives its figure, or runs that cannot be compared.
    """
    reduced = [reduce_run(run, find_rig(workbook.rigs, run.rig).instruments) for run in workbook.runs_of_trial(trial)]
    sides = [[one for one in reduced if one.run.build == build] for build in trial.builds]
    given = [[found for one in side if (found := one.figure(trial.figure)) is not None] for side in sides]
    for build, values in zip(trial.builds, given, strict=True):
        if not values:
            raise ClackworkError(
                f"Build {build} has no {trial.kind.value} run to compare that gives "
                f"{figure_words(trial.figure)}; make one, or choose another figure."
            )
    old, new = (workbook.builds[name] for name in trial.builds)
    changes = changes_between(old, new)
    if {one.run.tilt for one in sides[0]} != {one.run.tilt for one in sides[1]} and "tilt" not in changes:
        changes = (*changes, "tilt")
    scale = abs(math.fsum(found.value for found in given[0])) / len(given[0])
    return judge(
        sides[0],
        sides[1],
        trial.figure,
        margin=trial.margin * scale,
        difference_that_matters=trial.difference_that_matters * scale,
        changes=changes,
    )


def _pooled_words(pooled: PooledFigure, kind: str, system: str) -> str:
    mean = format_with_uncertainty(pooled.mean.value, pooled.mean.standard_uncertainty, kind, system)
    count = len(pooled.runs)
    return f"{mean} ({count} run{'' if count == 1 else 's'})"


def judgement_lines(trial: Trial, judged: Judgement, system: str) -> list[str]:
    """The verdict first, then the figures, the reasons and the doubts."""
    kind = TRIAL_FIGURES[trial.figure]
    verdict = _VERDICTS[judged.verdict].format(old=judged.build_a, new=judged.build_b)
    share = 100.0 * judged.difference.value / judged.pooled_a.mean.value
    lines = [f"Trial {trial.name}, {figure_words(trial.figure)}: {verdict}."]
    interval = judged.interval or judged.instrument_interval
    low, high = (100.0 * limit / judged.pooled_a.mean.value for limit in interval)
    from_what = "" if judged.interval else ", from the instruments alone"
    span = f"{low:+.1f} to {high:+.1f}, {100.0 * judged.level:.0f} %{from_what}"
    lines.append(f"    Difference as a share of {judged.build_a}: {share:+.1f} % ({span})")
    lines.append(f"    {judged.build_a}: {_pooled_words(judged.pooled_a, kind, system)}")
    lines.append(f"    {judged.build_b}: {_pooled_words(judged.pooled_b, kind, system)}")
    lines += [f"  {reason}" for reason in judged.reasons]
    lines += [f"  Note: {one.sentence}" for one in judged.warnings]
    for odd in (*judged.pooled_a.odd_runs, *judged.pooled_b.odd_runs):
        lines.append(f"  Odd: run {odd.run}, {shown(odd.value, kind, system)}. {odd.reason}")
    return lines


def _pooled_json(pooled: PooledFigure, kind: str, system: str) -> dict[str, Any]:
    found: dict[str, Any] = {"runs": list(pooled.runs)}
    found[key_name("values", kind, system)] = [number(value, kind, system) for value in pooled.values]
    found |= keyed("mean", pooled.mean.value, kind, system)
    found |= keyed("standard_uncertainty", pooled.mean.standard_uncertainty, kind, system)
    found["odd_runs"] = [{"run": odd.run, "reason": odd.reason} for odd in pooled.odd_runs]
    return found


def judgement_json(trial: Trial, judged: Judgement, system: str) -> dict[str, Any]:
    """A judgement as plain data; differences are new less old."""
    kind = TRIAL_FIGURES[trial.figure]
    found: dict[str, Any] = {
        "trial": trial.name,
        "figure": trial.figure,
        "kind": trial.kind.value,
        "old": judged.build_a,
        "new": judged.build_b,
        "verdict": judged.verdict,
        "reasons": list(judged.reasons),
        "level": judged.level,
    }
    found |= keyed("difference", judged.difference.value, kind, system)
    found |= keyed("standard_uncertainty", judged.difference.standard_uncertainty, kind, system)
    for name, interval in (("interval", judged.interval), ("instrument_interval", judged.instrument_interval)):
        limits = interval and [number(limit, kind, system) for limit in interval]
        found[key_name(name, kind, system)] = limits
    found |= keyed("margin", judged.margin, kind, system)
    found |= keyed("difference_that_matters", judged.difference_that_matters, kind, system)
    found["chance_if_none"] = judged.chance_if_none
    found["runs_needed"] = judged.runs_needed
    found["old_runs"] = _pooled_json(judged.pooled_a, kind, system)
    found["new_runs"] = _pooled_json(judged.pooled_b, kind, system)
    found["warnings"] = [one.sentence for one in judged.warnings]
    return found
