"""The jobs of a whole workbook: judge trials, fit twins, make promises; one failure stops only itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from clackwork.errors import ClackworkError
from clackwork.workbook_errors import errors_of_runs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from clackwork.bench.judge import Judgement
    from clackwork.site.site import Promise
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Workbook

Progress = Callable[[int, int], None]
Result = TypeVar("Result")


@dataclass
class Done:
    """What has been worked out so far; whatever stops the work leaves it whole.

    Attributes
    ----------
    judgements : dict of trial name to Judgement
    twins : dict of build name to Twin
    promises : dict of "SITE, BUILD" to Promise
    failures : list of str
        One sentence for each piece that could not be done.
    """

    judgements: dict[str, Judgement] = field(default_factory=dict)
    twins: dict[str, Twin] = field(default_factory=dict)
    promises: dict[str, Promise] = field(default_factory=dict)
    failures: list[str] = field(default_factory=list)


def attempt(done: Done, what: str, work: Callable[[], Result]) -> Result | None:
    """The result of ``work``; an error meant for a user becomes a sentence in ``done.failures``."""
    try:
        return work()
    except ClackworkError as error:
        done.failures.append(f"{what}: {error}")
        return None


def share_of(progress: Progress, place: int, of: int) -> Progress:
    """The progress of one piece out of several, as progress of the whole in thousandths."""

    def report(done: int, total: int) -> None:
        progress(round(1000 * (place + done / max(total, 1))), 1000 * of)

    return report


def judge_trials(workbook: Workbook, names: Iterable[str], done: Done) -> None:
    """Judge trials by name into ``done``."""
    from clackwork.workbook_trials import judge_trial

    for name in names:

        def judge(name: str = name) -> Judgement:
            with errors_of_runs(workbook):
                return judge_trial(workbook, workbook.trials[name])

        judged = attempt(done, f"Trial {name}", judge)
        if judged is not None:
            done.judgements[name] = judged


def fit_builds(workbook: Workbook, names: Iterable[str], done: Done, progress: Progress) -> None:
    """Fit twins of builds by name into ``done``."""
    from clackwork.twin.fit import fit_twin

    wanted = [name for name in names if name not in done.twins]
    for place, name in enumerate(wanted):
        part = share_of(progress, place, len(wanted))

        def fit(name: str = name, part: Progress = part) -> Twin:
            with errors_of_runs(workbook):
                return fit_twin(workbook.builds[name], *workbook.fitted_to(name), progress=part)

        twin = attempt(done, f"Build {name}", fit)
        if twin is not None:
            done.twins[name] = twin
        part(1, 1)


def promise_sites(workbook: Workbook, sites: Iterable[str], done: Done, progress: Progress) -> None:
    """Promise every fitted twin at sites by name, into ``done``."""
    from clackwork.site.promise import make_promise

    pairs = [(site, twin) for site in sites for twin in done.twins.values()]
    for place, (name, twin) in enumerate(pairs):
        part = share_of(progress, place, len(pairs))

        def promise(name: str = name, twin: Twin = twin, part: Progress = part) -> Promise:
            return make_promise(twin, workbook.sites[name], progress=part)

        made = attempt(done, f"Site {name}, build {twin.build.name}", promise)
        if made is not None:
            done.promises[f"{name}, {twin.build.name}"] = made
        part(1, 1)


def beat_traces(workbook: Workbook, done: Done, progress: Progress) -> dict[str, dict[str, NDArray[np.float64]]]:
    """The first beats behind every promise, by its name: the best build with the promised vessel head held.

    A pump that stalls there has no beat to show and is left out.
    """
    from clackwork.ram.engine import RamCase, run_trace

    traces = {}
    for place, (name, promise) in enumerate(done.promises.items(), start=1):
        site = workbook.sites[promise.site]
        case = RamCase(
            done.twins[promise.build].build,
            site.drive_pipe,
            site.supply,
            site.surroundings,
            vessel_head=promise.vessel_head.middle,
        )
        result, trace = run_trace(case)
        if result.is_beating:
            traces[name] = trace
        progress(place, len(done.promises))
    return traces


def names_with_runs(workbook: Workbook, builds: Mapping[str, object]) -> list[str]:
    """The builds that have runs, in the order of the workbook."""
    tested = {run.build for run in workbook.runs}
    return [name for name in builds if name in tested]
