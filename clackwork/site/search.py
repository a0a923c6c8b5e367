"""Design a surveyed place: every sensible combination of pump, tuning, number and pipes searched on the engine.

A coarse stage tries every pump on every drive pipe along its line of tunings with the twins' best values, all in one batch
with the head held. The best few of every aim are tuned more finely, laid on their delivery, supply and standpipes at their
operating points, and then promised with the draws of their twins. Of those a few that differ clearly become the choices.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from clackwork.errors import InputError
from clackwork.ram.batch import Progress
from clackwork.site.candidates import Asked, coarse_paths, first_candidates, refine, with_less_water
from clackwork.site.choosing import Promised, passed_over, pick, worth_promising
from clackwork.site.completing import Completion
from clackwork.site.design import AIMS, Choice, Design
from clackwork.site.laid import Laid, candidate_cost, laid_cost, lay_all
from clackwork.site.limits import answer_of, limit_of
from clackwork.site.measure_again import what_to_measure_again
from clackwork.site.place import Place, assumed_of, place_of
from clackwork.site.prices import Alternative, PriceList
from clackwork.site.promise import ENOUGH, make_promise
from clackwork.site.stock import Stock
from clackwork.site.survey import Survey
from clackwork.twin.twin import Twin

__all__ = ["Stock", "search_designs"]

_FIRST_DRAWS = 24
"""Of the promise by which the candidates for a full one are told."""
_PARTS = {"coarse": 0.25, "refine": 0.15, "lay": 0.05, "try": 0.15, "promise": 0.25, "complete": 0.15}
"""Share of the work in each stage, for the progress."""


class _Report:
    """Progress of stages as thousandths of the whole."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress, self._before, self._stage = progress, 0.0, ""

    def stage(self, name: str) -> Progress:
        """Progress of a stage, after all those before it."""
        names = list(_PARTS)
        before = sum(_PARTS[each] for each in names[: names.index(name)])

        def report(done: int, total: int) -> None:
            if self._progress:
                self._progress(round(1000 * (before + _PARTS[name] * done / max(total, 1))), 1000)

        report(0, 1)
        return report

    def end(self) -> None:
        """All done."""
        if self._progress:
            self._progress(1000, 1000)


def search_designs(
    survey: Survey,
    twins: Sequence[Twin],
    stock: Stock,
    *,
    prices: PriceList | None = None,
    alternatives: Sequence[Alternative] = (),
    draws: int = 200,
    seed: int = 1,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Design:
    """Search the designs of a surveyed place.

    Parameters
    ----------
    survey : Survey
    twins : sequence of Twin
        One at least.
    stock : Stock
        Pipes that the workshop uses, bounds of its tunings, most pumps.
    prices : PriceList, optional
        Without one nothing is best for cost, and nothing is quoted.
    alternatives : sequence of Alternative, optional
        Other ways to the same water, for the quotations.
    draws : int
        Of the twins in each promise.
    seed : int
        The same seed gives the same design, for any number of workers.
    workers : int, optional
        Threads; all cores when not given.
    progress : callable, optional
        Called with (thousandths done, 1000); may raise to stop.

    Returns
    -------
    Design
        Of one choice where only one is sensible, or where the answer is no.

    Raises
    ------
    InputError
        When there is no twin, or the survey cannot be designed for.
    """
    if not twins:
        raise InputError("twins", "(none)", "it takes one fitted pump at least", "Test a pump and fit it.")
    report, place = _Report(progress), place_of(survey)
    aims = AIMS if prices is not None else AIMS[:2]
    paths = coarse_paths(place, twins, stock, workers, report.stage("coarse"))
    runs = sum(len(path.tried) for path, _ in paths)
    price = None if prices is None else partial(candidate_cost, place, stock, prices)
    asked = Asked(place.drawn_at_most, place.wanted_flow, price=price)
    first, asked = first_candidates(paths, asked, stock.most_pumps, aims)
    refined, more = refine(first, asked, workers, report.stage("refine"))
    runs += more
    report.stage("lay")
    cost = None if prices is None else partial(laid_cost, prices)
    lay = partial(lay_all, place, stock, asked=asked, cost=cost, workers=workers)
    laid, more = lay(refined)
    tried = _promise(laid, min(draws, _FIRST_DRAWS), seed, workers, report.stage("try"))
    tried, extra = _with_room(tried, asked, lay, seed, workers)
    chosen = worth_promising(tried, asked, aims)
    promised = _promise(chosen, draws, seed, workers, report.stage("promise"))
    runs += more + extra + (_FIRST_DRAWS + 1) * len(tried) + (draws + 1) * len(promised)
    completion = Completion(place, stock, paths, prices, alternatives, workers)
    promised, more = completion.checked(promised)
    runs += more
    picked, passed = pick(promised, asked, aims, cost), passed_over(promised, asked, aims, cost)
    choices, more = completion.choices(picked, passed, report.stage("complete"))
    report.end()
    return _design(place, stock, choices, picked[0][0], runs + more)


def _promise(chosen: Sequence[Laid], draws: int, seed: int, workers: int | None, progress: Progress) -> list[Promised]:
    """Every laid candidate promised with the same draws."""
    found = []
    for place, laid in enumerate(chosen):

        def report(done: int, total: int, place: int = place) -> None:
            progress(round(1000 * (place + done / total)), 1000 * len(chosen))

        pumps = laid.candidate.pumps
        promise = make_promise(
            laid.twin, laid.site, pumps=pumps, draws=draws, seed=seed, workers=workers, progress=report
        )
        found.append(Promised(laid, promise))
    return found


def _with_room(
    tried: Sequence[Promised], asked: Asked, lay: Callable[..., tuple[list[Laid], int]], seed: int, workers: int | None
) -> tuple[list[Promised], int]:
    """Those that may draw more than the source gives tuned again with the room that their twin's draws ask for."""
    short = [
        at for at, each in enumerate(tried) if each.laid.candidate.serves and each.promise.share_enough_water < ENOUGH
    ]
    if not short:
        return list(tried), 0
    tight = [with_less_water(tried[at].laid.candidate, tried[at].promise) for at in short]
    again, runs = refine(tight, asked, workers, None)
    laid, more = lay(again)
    found = list(tried)
    promised = _promise(laid, tried[0].promise.draws, seed, workers, lambda done, total: None)
    for at, each in zip(short, promised, strict=True):
        found[at] = each
    return found, runs + more + len(short) * (tried[0].promise.draws + 1)


def _design(place: Place, stock: Stock, choices: Sequence[Choice], first: Promised, runs: int) -> Design:
    """The choices with what limits the first of them."""
    best, laid = choices[0], first.laid
    most = max(choice.promise.delivered_flow.middle for choice in choices)
    enough = place.wanted_flow is not None and best.promise.delivered_flow.middle < 0.95 * most
    return Design(
        site=place.survey.name,
        answer=answer_of(best.reasons),
        choices=tuple(choices),
        limit=limit_of(best.promise, best.site, best.reasons, enough),
        measure_again=what_to_measure_again(laid.twin, place.survey, laid.site, pumps=laid.candidate.pumps),
        engine_runs=runs,
        assumed=assumed_of(place, not stock.bounds),
    )
