"""From a judgement to what is printed of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from clackwork.answers_text import figure_words
from clackwork.charts.trial_chart import MeanPoint, RunPoint
from clackwork.sheets.trial_section import TrialPrint
from clackwork.workbook_runs import TRIAL_FIGURES

if TYPE_CHECKING:
    from clackwork.bench.gum import Contribution
    from clackwork.bench.judge import Judgement
    from clackwork.bench.pool import PooledFigure
    from clackwork.bench.runs import Run
    from clackwork.workbook import Trial


def verdict_sentence(judgement: Judgement) -> str:
    """The verdict in one sentence, the builds by name."""
    a, b, figure = judgement.build_a, judgement.build_b, figure_words(judgement.figure)
    if judgement.verdict == "different":
        way = "higher" if judgement.difference.value > 0.0 else "lower"
        return f"Different: the {figure} of {b} is {way} than that of {a}."
    if judgement.verdict == "the same within the margin":
        return f"The same within the margin: the {figure} of {b} and of {a}."
    return f"Not yet known whether the {figure} of {b} differs from that of {a}."


def trial_print(judgement: Judgement, trial: Trial, runs: Sequence[Run]) -> TrialPrint:
    """The judged trial as printed.

    Parameters
    ----------
    judgement : Judgement
    trial : Trial
    runs : sequence of Run
        The runs compared, for their order.
    """
    pooled = ((judgement.build_a, judgement.pooled_a), (judgement.build_b, judgement.pooled_b))
    order = {run.name: run.order for run in runs}
    known = judgement.interval is not None
    low, high = judgement.interval if judgement.interval is not None else judgement.instrument_interval
    level = f"{100.0 * judgement.level:g} % interval"
    return TrialPrint(
        name=trial.name,
        sentence=verdict_sentence(judgement),
        reasons=judgement.reasons,
        figure=judgement.figure,
        kind=TRIAL_FIGURES[trial.figure],
        difference=(low, judgement.difference.value, high),
        interval_words=level if known else f"{level} of the instruments alone; scatter not known",
        level=judgement.level,
        margin=judgement.margin,
        points=tuple(point for build, figure in pooled for point in _points(build, figure, order)),
        means=tuple(_mean(build, figure, judgement.level) for build, figure in pooled),
        budget=_named_parts(judgement),
        odd=tuple(odd.run for _, figure in pooled for odd in figure.odd_runs),
        facts=_facts(judgement),
        warnings=(
            *(warning.sentence for warning in judgement.warnings),
            *(odd.reason for _, figure in pooled for odd in figure.odd_runs),
        ),
    )


def _named_parts(judgement: Judgement) -> tuple[Contribution, ...]:
    """The budget of the difference, its parts in words and the builds by name."""
    names = {"scatter of A": f"scatter of {judgement.build_a}", "scatter of B": f"scatter of {judgement.build_b}"}
    return tuple(
        replace(part, name=names.get(part.name, part.name.replace("_", " "))) for part in judgement.difference.budget
    )


def _points(build: str, pooled: PooledFigure, order: Mapping[str, int]) -> list[RunPoint]:
    """The runs of one build; each carries what its readings scatter by themselves."""
    return [
        RunPoint(name, build, order.get(name, place), value, pooled.reading_noise)
        for place, (name, value) in enumerate(zip(pooled.runs, pooled.values, strict=True), start=1)
    ]


def _mean(build: str, pooled: PooledFigure, level: float) -> MeanPoint:
    """The mean of one build with its interval."""
    low, high = pooled.mean.interval(level)
    return MeanPoint(build, low, pooled.mean.value, high)


def _facts(judgement: Judgement) -> tuple[tuple[str, str], ...]:
    """Chances and runs, as far as they are known."""
    facts = []
    if judgement.chance_if_none is not None:
        words = f"{judgement.chance_if_none:.2g}" if judgement.chance_if_none >= 1e-4 else "below 0.0001"
        facts.append(("Chance of as much if there were none", words))
    if judgement.runs_needed is not None:
        facts.append(("Runs of each build for what matters", str(judgement.runs_needed)))
    if judgement.runs_still_needed is not None:
        more_a, more_b = judgement.runs_still_needed
        facts.append(("Runs still to make", f"{more_a} of {judgement.build_a}, {more_b} of {judgement.build_b}"))
    return tuple(facts)
