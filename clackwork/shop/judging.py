"""A trial of the book judged: what is known in one sentence, whether the runs so far are enough, and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.answers_json import keyed, number
from clackwork.answers_text import figure_words
from clackwork.bench.gum import Contribution, Estimate
from clackwork.bench.judge import Judgement
from clackwork.bench.pool import PooledFigure, pool_figure
from clackwork.bench.runs import RunFigures
from clackwork.cautions import cautions_beside
from clackwork.charts.runs_chart import runs_chart
from clackwork.charts.trial_chart import MeanPoint, RunPoint, trial_chart
from clackwork.charts.vega import Spec
from clackwork.errors import ClackworkError
from clackwork.quantities import format_quantity, format_range, format_with_uncertainty
from clackwork.shop.planning import FEWEST_ADVISED, PlannedTrial, figures_of, plan_answer, plan_in
from clackwork.workbook import Workbook
from clackwork.workbook_errors import errors_of_runs
from clackwork.workbook_runs import TRIAL_FIGURES, Trial
from clackwork.workbook_trials import judge_trial, judgement_json

if TYPE_CHECKING:
    from clackwork.book import Book, Record

CHART_LEVEL = 0.90
_SMALL_SHARE = 0.005  # of a variance; what brings less is not worth a line
_MOST_RUNS = 500


@dataclass(frozen=True)
class Standing:
    """How a trial stands.

    Attributes
    ----------
    record : Record
        Of the trial.
    workbook : Workbook
        Of its pump, without sites.
    trial : Trial
    figures : tuple of RunFigures
        Of every run made for it or compared by it, in the order made.
    compared : tuple of str
        Names of those that are compared and give the figure.
    pooled : mapping of str to PooledFigure or None
        By build, old first.
    judgement : Judgement or None
        None while a build has no run to compare.
    trouble : str
        Why the runs cannot be judged; empty when they can, or when there are too few.
    """

    record: Record
    workbook: Workbook
    trial: Trial
    figures: tuple[RunFigures, ...]
    compared: tuple[str, ...]
    pooled: Mapping[str, PooledFigure | None]
    judgement: Judgement | None
    trouble: str


def standing_of(book: Book, trial_id: int) -> Standing:
    """Read a trial with its runs and judge it as far as they allow.

    Raises
    ------
    NotThere
        There is no such trial.
    ClackworkError
        It has been taken away.
    """
    record = book.get("trial", trial_id)
    workbook = book.workbook(record.links["pump"], with_sites=False)
    if record.removed or record.name not in workbook.trials:
        raise ClackworkError(f"The trial '{record.name}' has been taken away; put it back from the journal first.")
    trial = workbook.trials[record.name]
    chosen = {run.name for run in workbook.runs_of_trial(trial)}
    asked = [run for run in workbook.runs if run.name in chosen or workbook.trial_of.get(run.name) == trial.name]
    figures, trouble, judgement = [], "", None
    try:
        with errors_of_runs(workbook):
            ordered = sorted(asked, key=lambda run: run.order)
            figures = [figures_of(workbook, run) for run in ordered]
            compared = [one for one in figures if one.run.name in chosen and one.figure(trial.figure) is not None]
            pooled = {
                build: pool_figure([one for one in compared if one.run.build == build], trial.figure)
                for build in trial.builds
            }
            if all(pooled.values()):
                judgement = judge_trial(workbook, trial)
    except ClackworkError as error:
        compared, pooled, trouble = [], dict.fromkeys(trial.builds), str(error)
    names = tuple(one.run.name for one in compared)
    return Standing(record, workbook, trial, tuple(figures), names, pooled, judgement, trouble)


def judge_book_trial(book: Book, trial_id: int, system: str = "metric") -> dict[str, Any]:
    """Judge a trial of the book.

    Parameters
    ----------
    book : Book
    trial_id : int
    system : {"metric", "us"}

    Returns
    -------
    dict
        The sentence first, then whether the runs are enough, the figures with the unit in each key, the runs, the
        budget of uncertainty of the difference, what else changed, the plan.

    Raises
    ------
    ClackworkError
        There is no such trial, or it has been taken away.
    """
    return answer_of(book, standing_of(book, trial_id), system)


def answer_of(book: Book, standing: Standing, system: str = "metric") -> dict[str, Any]:
    """The same, of a trial already read."""
    trial, judged = standing.trial, standing.judgement
    planned, no_plan = _plan(book, standing)
    sentence, enough_sentence, enough = *_known(standing), False
    if judged is not None:
        enough, enough_sentence = _enough(judged, trial, planned.runs_advised if planned else FEWEST_ADVISED)
    next_build = planned.next_build if planned else trial.builds[0]
    found: dict[str, Any] = {
        "sentence": sentence,
        "enough": enough,
        "enough_sentence": enough_sentence,
        "verdict": judged.verdict if judged else None,
        "trial": {
            "id": standing.record.id,
            "name": trial.name,
            "version": standing.record.version,
            "made_at": standing.record.made_at.isoformat(),
            "note": trial.note,
        },
        "figure": trial.figure,
        "figure_words": figure_words(trial.figure),
        "kind": trial.kind.value,
        "old": {"id": standing.record.links["old_build"], "name": trial.builds[0]},
        "new": {"id": standing.record.links["new_build"], "name": trial.builds[1]},
        "next_build": next_build,
        "margin_share": trial.margin,
        "difference_that_matters_share": trial.difference_that_matters,
        "judgement": None if judged is None else judgement_json(trial, judged, system),
        "difference_words": None if judged is None else _difference_words(judged, trial, system),
        "builds": [_build_answer(trial, build, pooled, system) for build, pooled in standing.pooled.items()],
        "runs": _run_answers(book, standing, system),
        "budget": [] if judged is None else budget_of(judged.difference, judged, system),
        "changes": list(book.differences(standing.record.links["old_build"], standing.record.links["new_build"])),
        "doubts": [] if judged is None else [{"id": one.id, "sentence": one.sentence} for one in judged.warnings],
        "notes": [note for one in standing.figures for note in one.notes],
        "cautions": [caution.words for caution in cautions_beside(trial.figure)],
        "plan": None if planned is None else plan_answer(planned, system),
        "no_plan": no_plan,
    }
    return found


def _plan(book: Book, standing: Standing) -> tuple[PlannedTrial | None, str]:
    """The plan of a trial, or why there is none."""
    try:
        return plan_in(book, standing.workbook, standing.record.id), ""
    except ClackworkError as error:
        return None, str(error)


def _known(standing: Standing) -> tuple[str, str]:
    """What is known in one sentence, and whether it is enough while nothing is judged."""
    trial, judged = standing.trial, standing.judgement
    if judged is not None:
        return sentence_of(judged, trial), ""
    figure, old, new = figure_words(trial.figure), *trial.builds
    if standing.trouble:
        return f"The runs cannot be judged: {standing.trouble}", "Correct the run first."
    missing = [build for build, pooled in standing.pooled.items() if pooled is None]
    if len(missing) == 2:
        return f"Nothing is known yet of the {figure} of {new} against {old}: no run was made.", "No run yet."
    return (
        f"Nothing is known yet of the {figure} of {new} against {old}: {missing[0]} has no run to compare.",
        f"Not enough: {missing[0]} has no run yet.",
    )


def sentence_of(judged: Judgement, trial: Trial) -> str:
    """What a judgement says, in one sentence.

    Parameters
    ----------
    judged : Judgement
    trial : Trial
        It judges.
    """
    figure, old, new = figure_words(trial.figure), judged.build_a, judged.build_b
    base = judged.pooled_a.mean.value
    if judged.interval is None or not base:
        lone = [one for one in (judged.pooled_a, judged.pooled_b) if one.scatter is None]
        why = "one run of a build does not show how far its runs scatter" if lone else "the old build's mean is nought"
        return f"Whether the {figure} of {new} differs from that of {old} is not yet known: {why}."
    low, high = sorted(100.0 * limit / base for limit in judged.interval)
    middle = 100.0 * judged.difference.value / base
    if judged.verdict == "different":
        way = "higher" if middle > 0.0 else "lower"
        ends = (abs(low), abs(high)) if middle > 0.0 else (abs(high), abs(low))
        return f"The {figure} of {new} is {_share(ends[0], abs(middle), ends[1])} {way} than that of {old}."
    if judged.verdict == "the same within the margin":
        margin = format_quantity(trial.margin, "fraction", figures=2)
        return (
            f"In {figure}, {new} and {old} are the same within {margin}: the difference is {_share(low, middle, high)}."
        )
    return (
        f"Whether the {figure} of {new} differs from that of {old} is not yet known: "
        f"the difference is {_share(low, middle, high)}."
    )


def _share(low: float, middle: float, high: float) -> str:
    """A percentage with its range: "7.3 % (4.1 to 10.4 %)"."""
    text = format_range(low / 100.0, middle / 100.0, high / 100.0, "fraction").replace("-", "\N{MINUS SIGN}")
    return f"{text[:-1]} %)"


_UNSETTLING = ("order_confounded", "order_unknown", "verdict_hangs_on_odd_run")
"""Doubts with which a verdict is not taken as settled."""


def _enough(judged: Judgement, trial: Trial, advised: int) -> tuple[bool, str]:
    """Whether the runs so far are enough, in one sentence.

    Looking after each run and stopping at the first verdict would find differences that are not there, so a verdict
    counts only once the runs planned are made.
    """
    matters = format_quantity(trial.difference_that_matters, "fraction", figures=2)
    margin = format_quantity(trial.margin, "fraction", figures=2)
    sides = ((judged.build_a, judged.pooled_a), (judged.build_b, judged.pooled_b))
    if judged.interval is None:
        lone = [build for build, pooled in sides if pooled.scatter is None]
        return False, f"Not enough: make at least two runs of {' and of '.join(lone)}."
    to_plan = [(max(0, advised - len(pooled.values)), build) for build, pooled in sides]
    if judged.verdict != "not yet known":
        if any(count for count, _ in to_plan):
            return False, f"It looks settled, but finish what was planned: {_more(to_plan)}."
        doubt = next((one.sentence for one in judged.warnings if one.id in _UNSETTLING), None)
        return (True, "Enough: the runs planned are made, and they settle it.") if doubt is None else (False, doubt)
    still = judged.runs_still_needed
    if still is None:
        return (
            False,
            f"Not enough, and more will not do: at this scatter {matters} cannot be seen. Steady the rig first.",
        )
    more = [(max(one, other), build) for one, (other, build) in zip(still, to_plan, strict=True)]
    if any(count for count, _ in more):
        return False, f"Not enough yet to see {matters}: {_more(more)}."
    same = judged.runs_for_same
    seen = f"Enough to see {matters}, and it is not seen"
    if same is None:
        return True, f"{seen}; these instruments cannot show the two the same within {margin}."
    return False, f"{seen}; to show the two the same within {margin} takes about {same} of each."


def _more(counts: Sequence[tuple[int, str]]) -> str:
    """Runs still to make: "2 more of flap and 1 more of poppet"."""
    return " and ".join(f"{count} more of {build}" for count, build in counts if count)


def _difference_words(judged: Judgement, trial: Trial, system: str) -> dict[str, str]:
    """The difference as an amount and as a share, with their range, in words."""
    kind = TRIAL_FIGURES[trial.figure]
    low, high = judged.interval or judged.instrument_interval
    amount = format_range(low, judged.difference.value, high, kind, system).replace("-", "\N{MINUS SIGN}")
    found = {
        "amount": amount.replace(" %", " points") if kind == "fraction" else amount,
        "level": f"{100.0 * judged.level:.0f} % interval" + ("" if judged.interval else ", from the instruments alone"),
    }
    base = judged.pooled_a.mean.value
    if base:
        ends = sorted((100.0 * low / base, 100.0 * high / base))
        found["share"] = _share(ends[0], 100.0 * judged.difference.value / base, ends[1])
    return found


def _build_answer(trial: Trial, build: str, pooled: PooledFigure | None, system: str) -> dict[str, Any]:
    """One build's mean, runs and scatter."""
    kind = TRIAL_FIGURES[trial.figure]
    if pooled is None:
        return {"build": build, "runs": 0, "mean_words": "no run yet", "scatter_words": "", "odd_note": ""}
    mean = pooled.mean
    found: dict[str, Any] = {
        "build": build,
        "runs": len(pooled.runs),
        "mean_words": format_with_uncertainty(mean.value, mean.standard_uncertainty, kind, system),
        "scatter_words": "one run shows no scatter",
        "scatter_share": None,
        "odd_note": pooled.odd_note,
    }
    if pooled.scatter is not None and mean.value:
        share = pooled.scatter / abs(mean.value)
        found["scatter_share"] = share
        found["scatter_words"] = f"runs scatter by {format_quantity(share, 'fraction', figures=2)}"
        found |= keyed("scatter", pooled.scatter, kind, system)
    found |= keyed("mean", mean.value, kind, system)
    return found | keyed("standard_uncertainty", mean.standard_uncertainty, kind, system)


def _run_answers(book: Book, standing: Standing, system: str) -> list[dict[str, Any]]:
    """Every run with its figure, its number in the book and whether it counts."""
    trial, kind = standing.trial, TRIAL_FIGURES[standing.trial.figure]
    numbers = run_numbers(book, standing.record)
    odd = {one.run for pooled in standing.pooled.values() if pooled is not None for one in pooled.odd_runs}
    found = []
    for place, one in enumerate(standing.figures, start=1):
        estimate = one.figure(trial.figure)
        row: dict[str, Any] = {
            "id": numbers.get(one.run.name),
            "name": one.run.name,
            "build": one.run.build,
            "place": place,
            "order": one.run.order,
            "compared": one.run.name in standing.compared,
            "odd": one.run.name in odd,
            "shown": "not read",
        }
        if estimate is not None:
            row["shown"] = format_with_uncertainty(estimate.value, estimate.standard_uncertainty, kind, system)
            row |= keyed(trial.figure, estimate.value, kind, system)
            row |= keyed("standard_uncertainty", estimate.standard_uncertainty, kind, system)
        if not row["compared"]:
            row["why_not"] = _why_not(one, trial, estimate)
        found.append(row)
    return found


def _why_not(one: RunFigures, trial: Trial, estimate: Estimate | None) -> str:
    """Why a run made for a trial is not compared."""
    if one.run.kind is not trial.kind:
        return f"a {one.run.kind.value.replace('_', ' ')} run"
    return "its readings do not give the figure" if estimate is None else "at another back-pressure"


def run_numbers(book: Book, trial: Record) -> dict[str, int]:
    """Numbers of the runs of a trial's two builds by name."""
    found: dict[str, int] = {}
    for role in ("old_build", "new_build"):
        offset, total = 0, 1
        while offset < total:
            part = book.list("run", links={"build": trial.links[role]}, offset=offset, limit=_MOST_RUNS)
            found |= {one.name: one.id for one in part.records}
            offset, total = offset + _MOST_RUNS, part.total
    return found


def budget_of(estimate: Estimate, judged: Judgement, system: str = "metric") -> list[dict[str, Any]]:
    """What the uncertainty of a difference is made of, the largest first; what brings next to nothing is summed up.

    Parameters
    ----------
    estimate : Estimate
        The difference.
    judged : Judgement
        It belongs to.
    system : {"metric", "us"}
    """
    kind = TRIAL_FIGURES[judged.figure]
    large = [part for part in estimate.budget if part.share >= _SMALL_SHARE]
    rows = [_part_answer(part, judged, kind, system) for part in large]
    left = math.sqrt(sum(part.amount**2 for part in estimate.budget if part.share < _SMALL_SHARE))
    if left > 0.0:
        share = sum(part.share for part in estimate.budget if part.share < _SMALL_SHARE)
        row: dict[str, Any] = {"name": "all else", "source": "", "share": share, "runs_help": False}
        rows.append(row | {"amount_words": _amount(left, kind, system)} | keyed("amount", left, kind, system))
    return rows


def _amount(value: float, kind: str, system: str) -> str:
    return format_quantity(value, kind, system, figures=2)


def _part_answer(part: Contribution, judged: Judgement, kind: str, system: str) -> dict[str, Any]:
    """One part of a budget."""
    names = {"scatter of A": f"scatter of {judged.build_a}", "scatter of B": f"scatter of {judged.build_b}"}
    amount = abs(part.amount)
    found: dict[str, Any] = {
        "name": names.get(part.name, part.name.replace("_", " ")),
        "source": part.source,
        "share": part.share,
        "runs_help": not part.shared_as,
        "amount_words": _amount(amount, kind, system),
        "degrees_of_freedom": number(part.degrees_of_freedom, None, system),
    }
    return found | keyed("amount", amount, kind, system)


def trial_picture(book: Book, trial_id: int, system: str = "metric", *, narrow: bool = False) -> Spec:
    """The chart of a trial: every run so far, the means, the margin.

    Parameters
    ----------
    book : Book
    trial_id : int
    system : {"metric", "us"}
    narrow : bool, optional
        For a phone.

    Raises
    ------
    ClackworkError
        There is no run to draw.
    """
    return picture_of(standing_of(book, trial_id), system, narrow=narrow)


def picture_of(standing: Standing, system: str = "metric", *, narrow: bool = False) -> Spec:
    """The same, of a trial already read."""
    trial = standing.trial
    points = _points(standing)
    means = [_mean(build, pooled) for build, pooled in standing.pooled.items() if pooled is not None]
    if not means:
        raise ClackworkError(standing.trouble or "There is no run of this trial to draw yet.")
    margin = trial.margin * abs(means[0].middle) if standing.pooled[trial.builds[0]] is not None else None
    words, kind = figure_words(trial.figure), TRIAL_FIGURES[trial.figure]
    if narrow:
        return runs_chart(points, means, figure=words, kind=kind, margin=margin, system=system)
    return trial_chart(
        points, means, figure=words, kind=kind, margin=margin, system=system, level=CHART_LEVEL, width=460
    )


def _points(standing: Standing) -> Sequence[RunPoint]:
    """The runs compared, by their place among those of the trial."""
    found: list[RunPoint] = []
    for one in standing.figures:
        estimate = one.figure(standing.trial.figure)
        if one.run.name in standing.compared and estimate is not None:
            found.append(
                RunPoint(one.run.name, one.run.build, len(found) + 1, estimate.value, estimate.standard_uncertainty)
            )
    return found


def _mean(build: str, pooled: PooledFigure) -> MeanPoint:
    """A build's mean; of a single run with the interval of its instruments."""
    low, high = pooled.mean.interval(CHART_LEVEL)
    return MeanPoint(build, low, pooled.mean.value, high)
