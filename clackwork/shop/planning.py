"""A trial planned: what changes between the two builds, how many runs show the difference that matters, in what order."""

from __future__ import annotations

import functools
import itertools
import math
import zlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.answers_text import figure_words
from clackwork.bench.instruments import Instruments
from clackwork.bench.plan import USUAL_POWER, TrialPlan, balanced_order, detection_power, plan_trial, runs_for_same
from clackwork.bench.pool import pool_figure, pool_runs
from clackwork.bench.runs import Run, RunFigures, reduce_run
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import format_quantity, key_name, parse, to_display
from clackwork.ram.changes import changes_between
from clackwork.twin.twin import find_rig
from clackwork.workbook import Workbook
from clackwork.workbook_reader import Table
from clackwork.workbook_runs import TRIAL_FIGURES, Trial, read_trial

if TYPE_CHECKING:
    from clackwork.book import Book

USUAL_SCATTER = 0.03
"""Standard deviation of runs as a share of their mean where nothing is known: common practice, no published source."""

FEWEST_ADVISED = 4
"""Runs of each build below which an odd one cannot be told (see `clackwork.bench.pool.find_odd_runs`)."""

_LEAST_SCATTER = 1e-4
"""Runs never agree better than this share of their mean in what is planned: no bench does."""
_MOST_REMEMBERED = 2000
"""Runs whose figures are remembered; each takes some kilobytes."""
_NAME = "this trial"
"""Stands for the name of a trial that has none yet."""


@dataclass(frozen=True)
class SeenScatter:
    """How far runs scatter, as a share of their mean.

    Attributes
    ----------
    share : float
        Standard deviation over mean [-].
    runs : int or None
        Runs it rests on, each build's mean counted off as one; None when it is taken, not seen.
    words : str
        Where it comes from.
    """

    share: float
    runs: int | None
    words: str


@dataclass(frozen=True)
class PlannedTrial:
    """A trial as planned.

    Attributes
    ----------
    trial : Trial
    changes : tuple of str
        What differs between the builds, one line each, old and new as typed.
    things_changed : tuple of str
        The same by part; more than one and the trial cannot tell which did it.
    scatter : SeenScatter
    old_value : float or None
        Mean of the old build's figure so far [SI].
    plan : TrialPlan
        What the difference that matters takes.
    runs_advised : int
        Of each build: what the plan takes, four at least, and even so that the order closes.
    power : float
        Chance to see the difference that matters with those [-].
    order : tuple of str
        Build of each of those runs.
    runs_for_same : int or None
        Runs of each build that show two equal ones as the same within the margin.
    seed : int
        Of the order.
    made : tuple of str
        Build of each run made so far that the trial compares, in the order made.
    sentences : tuple of str
        For the reader, the most important first.
    """

    trial: Trial
    changes: tuple[str, ...]
    things_changed: tuple[str, ...]
    scatter: SeenScatter
    old_value: float | None
    plan: TrialPlan
    runs_advised: int
    power: float
    order: tuple[str, ...]
    runs_for_same: int | None
    seed: int
    made: tuple[str, ...]
    sentences: tuple[str, ...]

    @property
    def next_build(self) -> str:
        """The build to run next."""
        return next_in_order(self.order, self.made, self.trial.builds, self.seed)


def seed_of(old_build: int, new_build: int, figure: str, kind: str) -> int:
    """The seed of a trial's order: the same before and after the trial is in the book, another for another question."""
    return zlib.crc32(f"{old_build} {new_build} {figure} {kind}".encode())


def next_in_order(order: Sequence[str], made: Iterable[str], builds: tuple[str, str], seed: int = 1) -> str:
    """The build of the next run: the first place of the order not yet filled, whatever was run out of turn."""
    done = Counter(made)
    count = max(done.values(), default=0) + 1
    longer = order if len(order) >= 2 * count else balanced_order(count + count % 2, builds=builds, seed=seed)
    for build in longer:
        if done[build] == 0:
            return build
        done[build] -= 1
    return builds[0]


@functools.lru_cache(maxsize=_MOST_REMEMBERED)
def _reduced(run: Run, instruments: Instruments) -> RunFigures:
    return reduce_run(run, instruments)


def figures_of(workbook: Workbook, run: Run) -> RunFigures:
    """A run's figures; those of runs seen before are remembered, as a page asks for them again and again.

    Raises
    ------
    InputError
        The readings do not make sense together.
    """
    return _reduced(run, find_rig(workbook.rigs, run.rig).instruments)


def reduced_runs(workbook: Workbook, trial: Trial) -> list[RunFigures]:
    """The runs a trial compares, as figures, in the order made."""
    return [figures_of(workbook, run) for run in workbook.runs_of_trial(trial)]


def seen_scatter(workbook: Workbook, trial: Trial) -> SeenScatter:
    """How far runs of the trial's sort scatter: of its two builds, else of the pump's others, else as usual.

    Parameters
    ----------
    workbook : Workbook
        Of the trial's pump.
    trial : Trial
    """
    of_kind = [run for run in workbook.runs if run.kind is trial.kind]
    for words, chosen in (
        ("of these two builds", [run for run in of_kind if run.build in trial.builds]),
        ("of this pump's builds", of_kind),
    ):
        figures = [figures_of(workbook, run) for run in chosen]
        squares, freedom = _squares(figures, trial.figure)
        if freedom:
            share = max(math.sqrt(squares / freedom), _LEAST_SCATTER)
            return SeenScatter(share, freedom + 1, f"as seen in earlier runs {words}")
    return SeenScatter(USUAL_SCATTER, None, "taken for want of earlier runs (common practice, no published source)")


def _squares(figures: Sequence[RunFigures], figure: str) -> tuple[float, int]:
    """Sum of squared relative deviations within pools, and its degrees of freedom."""
    squares, freedom = 0.0, 0
    for pool in pool_runs(figures):
        pooled = pool_figure(pool.runs, figure)
        if pooled is not None and pooled.scatter is not None and pooled.mean.value:
            more = len(pooled.values) - 1
            squares += more * (max(pooled.scatter, pooled.reading_noise) / pooled.mean.value) ** 2
            freedom += more
    return squares, freedom


def plan_of(
    workbook: Workbook,
    trial: Trial,
    changes: Sequence[str],
    *,
    seed: int = 1,
    scatter: float | None = None,
    power: float = USUAL_POWER,
) -> PlannedTrial:
    """Plan a trial of a workbook.

    Parameters
    ----------
    workbook : Workbook
        With both builds and the runs made so far.
    trial : Trial
    changes : sequence of str
        What differs between the builds, in words.
    seed : int, optional
        Of the order.
    scatter : float, optional
        Standard deviation of runs as a share of their mean; None takes what earlier runs show.
    power : float, optional
        Chance wanted to see the difference that matters [-].

    Raises
    ------
    InputError
        No number of runs sees the difference at that scatter.
    """
    found = seen_scatter(workbook, trial) if scatter is None else SeenScatter(scatter, None, "as given")
    difference = trial.difference_that_matters
    plan = plan_trial(found.share, difference, power=power, scatter_runs=found.runs, builds=trial.builds, seed=seed)
    same = runs_for_same(trial.margin, found.share, power=power)
    reduced = reduced_runs(workbook, trial)
    given = [one for one in reduced if one.figure(trial.figure) is not None]
    old = pool_figure([one for one in given if one.run.build == trial.builds[0]], trial.figure)
    things = changes_between(*(workbook.builds[name] for name in trial.builds))
    advised = max(plan.runs_per_build, FEWEST_ADVISED)
    advised += advised % 2
    reached = detection_power(difference, found.share, advised, advised)
    return PlannedTrial(
        trial=trial,
        changes=tuple(changes),
        things_changed=things,
        scatter=found,
        old_value=None if old is None else old.mean.value,
        plan=plan,
        runs_advised=advised,
        power=reached,
        order=balanced_order(advised, builds=trial.builds, seed=seed),
        runs_for_same=None if same is None else math.ceil(same - 1e-6),
        seed=seed,
        made=tuple(one.run.build for one in given),
        sentences=_sentences(trial, plan, things, advised, reached),
    )


def _sentences(trial: Trial, plan: TrialPlan, things: Sequence[str], advised: int, power: float) -> tuple[str, ...]:
    """The plan in sentences: how many, then what weakens it, then how to go about it."""
    chance = "more than 99 %" if power > 0.99 else f"{100.0 * power:.0f} %"
    matters = format_quantity(trial.difference_that_matters, "fraction", figures=2)
    said = [f"Make {advised} runs of each build: they show a difference of {matters} {chance} of the time."]
    if len(things) > 1:
        said.append(
            f"{len(things)} things change at once ({', '.join(things)}): the trial will not tell which of them did it. "
            "Change one at a time where you can."
        )
    if not things:
        said.append("The two builds do not differ in any part that is written down: write down what changes first.")
    if trial.difference_that_matters < trial.margin:
        said.append(
            "The difference worth finding is smaller than what counts as the same: a difference found may still be called "
            "none. Make it the larger of the two."
        )
    if plan.runs_per_build < FEWEST_ADVISED:
        said.append(f"{plan.runs_per_build} of each might do, but with fewer than four an odd run cannot be told.")
    cautious = plan.runs_per_build_cautious
    if cautious is not None and cautious > advised:
        said.append(f"The scatter rests on few runs and may be larger: {cautious} of each are safe against that.")
    said.append("Take the pump off and set it up again between runs, or the scatter is that of the readings alone.")
    said.append(
        "Run them in the order shown, so that a slow drift of water, weather or seat falls on both builds alike, and do not "
        "stop at the first look that seems settled."
    )
    return tuple(said)


def trial_asked(old_name: str, new_name: str, entered: Mapping[str, Any], name: str = _NAME) -> Trial:
    """A trial out of what was typed, by the reader of a workbook.

    Raises
    ------
    InputError
        A field is missing or cannot be used.
    """
    table = Table({"builds": [old_name, new_name], **entered}, f"trial '{name}'", f"trial.{name}", {})
    return read_trial(table, name, [old_name, new_name])


def scatter_typed(text: str) -> float | None:
    """A scatter as typed, "3 %"; None when nothing was.

    Raises
    ------
    InputError
        It is no share above 0 % and up to 100 %.
    """
    if not text.strip():
        return None
    share = parse(text, "fraction", field="scatter").value
    if not 0.0 < share <= 1.0:
        raise InputError(
            "scatter", f'"{text}"', "it must be above 0 % and at most 100 %", "Leave it empty if not known."
        )
    return share


def plan_new_trial(
    book: Book, old_build: int, new_build: int, entered: Mapping[str, Any], *, name: str = "", scatter: str = ""
) -> PlannedTrial:
    """Plan a trial before it is in the book.

    Parameters
    ----------
    book : Book
    old_build, new_build : int
        Numbers of two builds of one pump.
    entered : mapping
        The trial's fields as typed.
    name : str, optional
        Of the trial, for messages.
    scatter : str, optional
        How far runs scatter, as typed; empty takes what earlier runs show.

    Raises
    ------
    ClackworkError
        The builds are not of one pump, a field cannot be used, or no number of runs sees the difference.
    """
    old, new = book.get("build", old_build), book.get("build", new_build)
    if old.id == new.id:
        raise InputError("new_build", new.name, "the two builds must differ", "Choose another new build.")
    if old.links["pump"] != new.links["pump"]:
        raise InputError("new_build", new.name, "it belongs to another pump", "Choose two builds of one pump.")
    share = scatter_typed(scatter)
    trial = trial_asked(old.name, new.name, entered, name or _NAME)
    seed = seed_of(old.id, new.id, trial.figure, trial.kind.value)
    workbook = book.workbook(old.links["pump"], with_sites=False)
    return plan_of(workbook, trial, book.differences(old.id, new.id), seed=seed, scatter=share)


def plan_of_trial(book: Book, trial_id: int) -> PlannedTrial:
    """The plan of a trial that is in the book, by what its own runs show so far.

    Raises
    ------
    ClackworkError
        There is no such trial, or no number of runs sees its difference.
    """
    record = book.get("trial", trial_id)
    workbook = book.workbook(record.links["pump"], with_sites=False)
    return plan_in(book, workbook, trial_id)


def plan_in(book: Book, workbook: Workbook, trial_id: int) -> PlannedTrial:
    """The same, from the pump's workbook already read."""
    record = book.get("trial", trial_id)
    if record.removed or record.name not in workbook.trials:
        raise ClackworkError(f"The trial '{record.name}' has been taken away; put it back from the journal first.")
    trial = workbook.trials[record.name]
    old, new = record.links["old_build"], record.links["new_build"]
    seed = seed_of(old, new, trial.figure, trial.kind.value)
    return plan_of(workbook, trial, book.differences(old, new), seed=seed)


def plan_answer(planned: PlannedTrial, system: str = "metric") -> dict[str, Any]:
    """A plan as plain data, the unit in each key.

    Parameters
    ----------
    planned : PlannedTrial
    system : {"metric", "us"}
    """
    trial, plan = planned.trial, planned.plan
    kind = TRIAL_FIGURES[trial.figure]
    found: dict[str, Any] = {
        "old": trial.builds[0],
        "new": trial.builds[1],
        "figure": trial.figure,
        "figure_words": figure_words(trial.figure),
        "kind": trial.kind.value,
        "sentence": planned.sentences[0],
        "sentences": list(planned.sentences),
        "changes": list(planned.changes),
        "things_changed": list(planned.things_changed),
        "margin_share": trial.margin,
        "difference_that_matters_share": trial.difference_that_matters,
        "difference_words": _difference_words(planned, system),
        "scatter_share": planned.scatter.share,
        "scatter_runs": planned.scatter.runs,
        "scatter_words": f"{format_quantity(planned.scatter.share, 'fraction', figures=2)}, {planned.scatter.words}",
        "runs_per_build": plan.runs_per_build,
        "runs_per_build_cautious": plan.runs_per_build_cautious,
        "runs_for_same": planned.runs_for_same,
        "runs_advised": planned.runs_advised,
        "power": planned.power,
        "order": list(planned.order),
        "change_overs": sum(one != other for one, other in itertools.pairwise(planned.order)),
        "seed": planned.seed,
        "made": list(planned.made),
        "next_build": planned.next_build,
    }
    if planned.old_value is not None:
        found[key_name("old_value", kind, system)] = to_display(planned.old_value, kind, system)
    return found


def _difference_words(planned: PlannedTrial, system: str) -> str:
    """The difference that matters, as a share and, where the old build was run, as an amount."""
    share = planned.trial.difference_that_matters
    words = format_quantity(share, "fraction", figures=2)
    if planned.old_value is None:
        return words
    kind = TRIAL_FIGURES[planned.trial.figure]
    if kind == "fraction":
        # a share of a share would be read as points
        value = format_quantity(planned.old_value, kind, system)
        return f"{words} of {planned.trial.builds[0]}'s {value}"
    amount = format_quantity(share * abs(planned.old_value), kind, system, figures=2)
    return f"{words} of {planned.trial.builds[0]}'s, {amount}"
