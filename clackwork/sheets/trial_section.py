"""The part of the test report that tells of a trial. Formats only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.answers_text import figure_words
from clackwork.bench.gum import Contribution
from clackwork.bench.runs import Run
from clackwork.charts.trial_chart import MeanPoint, RunPoint, trial_chart
from clackwork.charts.vega import Spec
from clackwork.quantities import format_quantity, format_range, format_with_uncertainty
from clackwork.sheets.typeset import Fields, drawing

BUDGET_HEAD = ["Cause", "Part of the variance", "How known", "Where from"]
HOW_KNOWN = {"A": "scatter of runs", "B": "instrument"}
LEAST_SHARE = 0.0005
"""Parts of a budget below this share of the variance round to nothing and are left out."""


@dataclass(frozen=True)
class TrialPrint:
    """A judged trial as it is printed, SI.

    Attributes
    ----------
    name, sentence : str
        Of the trial; the verdict in words.
    reasons : tuple of str
        Why, in sentences.
    figure, kind : str
        What was compared, and its kind of quantity.
    difference : tuple of three float
        Low end, value and high end of new less old.
    interval_words : str
        What the ends of the difference are.
    level : float
        Of the intervals of the means.
    margin : float or None
        Half-width within which builds count as the same.
    points : tuple of RunPoint
    means : tuple of MeanPoint
        Old, then new.
    budget : tuple of Contribution
        Of the difference.
    odd : tuple of str
        Runs that stand apart; they are counted all the same.
    facts : tuple of (str, str)
    warnings : tuple of str
    """

    name: str
    sentence: str
    reasons: tuple[str, ...]
    figure: str
    kind: str
    difference: tuple[float, float, float]
    interval_words: str
    level: float
    margin: float | None
    points: tuple[RunPoint, ...]
    means: tuple[MeanPoint, ...]
    budget: tuple[Contribution, ...]
    odd: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()


def chart_of(trial: TrialPrint, *, system: str) -> Spec:
    """The trial's chart."""
    return trial_chart(
        trial.points,
        trial.means,
        figure=figure_words(trial.figure),
        kind=trial.kind,
        margin=trial.margin,
        system=system,
        level=trial.level,
    )


def trial_fields(trial: TrialPrint, runs: Sequence[Run], *, units: str) -> Fields:
    """All that the template prints of one trial.

    Parameters
    ----------
    trial : TrialPrint
    runs : sequence of Run
        The runs compared, for readings and notes.
    units : {"metric", "us"}
    """
    low, value, high = trial.difference
    middle, _, beside = format_range(low, value, high, trial.kind, units).rpartition(" (")
    old, new = (trial.means[0].build, trial.means[-1].build) if trial.means else ("old", "new")
    points = ", percentage points" if trial.kind == "fraction" else ""
    means = [
        [f"Mean of {mean.build}", format_range(mean.low, mean.middle, mean.high, trial.kind, units)]
        for mean in trial.means
    ]
    margin = (
        []
        if trial.margin is None
        else [["Counts as the same within", f"± {format_quantity(trial.margin, trial.kind, units)}"]]
    )
    return {
        "heading": f"Trial {trial.name}: {figure_words(trial.figure)}",
        "verdict": trial.sentence,
        "reasons": list(trial.reasons),
        "difference": [f"{new} less {old}{points}", middle, f"{beside.rstrip(')')} ({trial.interval_words})"],
        "facts": [*means, *margin, *([name, words] for name, words in trial.facts)],
        "warnings": list(trial.warnings),
        "chart": drawing(chart_of(trial, system=units)),
        **_runs(trial, runs, units),
        "budget_head": BUDGET_HEAD,
        "budget": [
            [part.name, format_quantity(part.share, "fraction", figures=2), HOW_KNOWN[part.kind], part.source]
            for part in trial.budget
            if part.share >= LEAST_SHARE
        ],
    }


def _runs(trial: TrialPrint, runs: Sequence[Run], units: str) -> Fields:
    """Heading and rows of the runs; the last column is left out when nothing was noted."""
    figure = figure_words(trial.figure)
    head = ["Run", "Build", "Order", "Time", "Beats", f"{figure[:1].upper()}{figure[1:]}", "Note"]
    rows = _run_rows(trial, runs, units)
    wide = len(head) if any(row[-1] for row in rows) else len(head) - 1
    return {"runs_head": head[:wide], "runs": [row[:wide] for row in rows]}


def _run_rows(trial: TrialPrint, runs: Sequence[Run], units: str) -> list[list[str]]:
    """One row a run, in the order made."""
    by_name = {run.name: run for run in runs}
    rows = []
    for point in sorted(trial.points, key=lambda point: point.order):
        run = by_name.get(point.name)
        duration = format_quantity(run.duration, "duration", units) if run and run.duration is not None else ""
        beats = str(run.beats) if run and run.beats is not None else ""
        note = "; ".join(
            words for words in ("stands apart" if point.name in trial.odd else "", run.note if run else "") if words
        )
        figure = format_with_uncertainty(point.value, point.standard_uncertainty, trial.kind, units)
        rows.append([point.name, point.build, str(point.order), duration, beats, figure, note])
    return rows
