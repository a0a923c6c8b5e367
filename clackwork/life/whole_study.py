"""A switch study from records to verdict: lives learnt, both builds drawn everywhere, retuned where the new one fails."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, ModelError
from clackwork.life.knowing import WorthKnowing, worth_knowing
from clackwork.life.part_record import PartRecord
from clackwork.life.renewals import PartInService
from clackwork.life.retuning import Retuned, retune
from clackwork.life.service import PartService, plan_service, spares_needed
from clackwork.life.site_draws import PlaceDraws, draw_places
from clackwork.life.stress import LifeModel, StressedExposure, fit_life, priors_for
from clackwork.life.switching import SwitchPlace, SwitchStudy, study_switch
from clackwork.life.warranty import WarrantyStudy, study_warranty
from clackwork.life.worth import PartTerms, WaterTerms, life_picks
from clackwork.ram.sweep import Workers
from clackwork.site.site import Site
from clackwork.twin.twin import Twin

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

_TROUBLE = ("loses", "needs more water", "too much pressure", "stalls")


@dataclass(frozen=True)
class PartKind:
    """One of the two parts compared.

    Attributes
    ----------
    part, material : str
        Keys of :data:`clackwork.site.visit.PARTS` and :data:`clackwork.life.stress.MATERIALS`.
    first_cost, renewal_cost : float
        As of :class:`clackwork.life.worth.PartTerms`.
    """

    part: str
    material: str
    first_cost: float
    renewal_cost: float


@dataclass(frozen=True)
class StudyPlace:
    """A place to be studied with its pair of builds.

    Attributes
    ----------
    site : Site
    size : str
    old, new : Twin
    number : float
        Customers it stands for.
    """

    site: Site
    size: str
    old: Twin
    new: Twin
    number: float = 1.0


@dataclass(frozen=True)
class WholeStudy:
    """All that a switch study finds.

    Attributes
    ----------
    study : SwitchStudy
    lives : (LifeModel, LifeModel)
        Of the old and the new part.
    parts_seen : (int, int)
        Records each rests on.
    retuned : mapping of str to Retuned or None
        By place, of those where the new build would be trouble; None where no tuning serves.
    after_retuning : SwitchStudy or None
        The same study with these places retuned; None where nothing had to be.
    knowing : tuple of WorthKnowing
    warranty : (WarrantyStudy, WarrantyStudy)
        Of the old part everywhere, and of the new one where the rules put it.
    service : tuple of (PartService, PartService)
        Old and new part at each place.
    spares : (int, int)
        For the workshop for a year, all pumps with the old, or with the new part, at a risk of 5 %.
    """

    study: SwitchStudy
    lives: tuple[LifeModel, LifeModel]
    parts_seen: tuple[int, int]
    retuned: Mapping[str, Retuned | None]
    after_retuning: SwitchStudy | None
    knowing: tuple[WorthKnowing, ...]
    warranty: tuple[WarrantyStudy, WarrantyStudy]
    service: tuple[tuple[PartService, PartService], ...]
    spares: tuple[int, int]


def stressed_records(
    records: Sequence[PartRecord], kind: PartKind, places: Mapping[str, PlaceDraws], today: datetime.date
) -> list[StressedExposure]:
    """Lives of one kind of part, with the stress of the place where each was lived.

    Parameters
    ----------
    records : sequence of PartRecord
    kind : PartKind
    places : mapping of str to PlaceDraws
        By name of the record: its build at its place.
    today : datetime.date

    Raises
    ------
    InputError
        When a part is said to run where the engine says that its pump does not beat.
    """
    found = []
    for record in records:
        if (record.part, record.material) != (kind.part, kind.material):
            continue
        drawn = places[record.name]
        if not drawn.beating.any():
            raise InputError(
                f"part '{record.name}'",
                record.place,
                f"the model of build {record.build!r} does not beat there, so nothing can wear",
                "Look at the fall and lift of the place, or at the tuning.",
            )
        rate = float(np.median(drawn.beat_rate[drawn.beating]))
        exposure = record.exposure(rate, today)
        if exposure.survived > 0.0 or exposure.failed:
            stress = float(np.median(drawn.landing_energy[drawn.beating]))
            found.append(StressedExposure(exposure, max(stress, 1e-6)))
    return found


def run_study(
    places: Sequence[StudyPlace],
    records: Mapping[str, tuple[PartRecord, Twin, Site]],
    old: PartKind,
    new: PartKind,
    water: WaterTerms,
    *,
    today: datetime.date,
    draws: int = 100,
    seed: int = 1,
    executor: Workers = None,
    keep: Path | str | None = None,
    progress: Progress | None = None,
) -> WholeStudy:
    """Work a whole study out.

    Parameters
    ----------
    places : sequence of StudyPlace
    records : mapping of str to (PartRecord, Twin, Site)
        Parts in service by name, each with the twin of its build and its place.
    old, new : PartKind
    water : WaterTerms
    today : datetime.date
    draws, seed : int
    executor, keep, progress
        As for :func:`clackwork.ram.sweep.sweep_rows`; ``keep`` holds the runs of the first and largest part.

    Raises
    ------
    InputError, ModelError
    """
    if not places:
        raise InputError("sites", "none", "it takes one at least", "Enter sites, or ask for a spread of likely ones.")
    lived = draw_places([(twin, site) for _, twin, site in records.values()], draws=draws, seed=seed, executor=executor)
    by_name = dict(zip(records, lived, strict=True))
    seen = [stressed_records([one for one, _, _ in records.values()], kind, by_name, today) for kind in (old, new)]
    lives = [fit_life(one, priors_for(kind.material), seed=seed) for one, kind in zip(seen, (old, new), strict=True)]
    terms = [PartTerms(life, kind.first_cost, kind.renewal_cost) for life, kind in zip(lives, (old, new), strict=True)]
    asked = [(twin, place.site) for place in places for twin in (place.old, place.new)]
    drawn = draw_places(asked, draws=draws, seed=seed, executor=executor, keep=keep, progress=progress)
    pairs = list(zip(drawn[::2], drawn[1::2], strict=True))
    study = _judge(places, pairs, terms, water, seed)
    retuned, after = _retuned(places, pairs, study, terms, water, draws, seed, executor)
    return WholeStudy(
        study,
        (lives[0], lives[1]),
        (len(seen[0]), len(seen[1])),
        retuned,
        after,
        worth_knowing(study.gains, _figures(places[0], lives, draws, seed), seed=seed),
        *_care(places, pairs, study, terms, seed),
    )


def _judge(
    places: Sequence[StudyPlace],
    pairs: Sequence[tuple[PlaceDraws, PlaceDraws]],
    terms: Sequence[PartTerms],
    water: WaterTerms,
    seed: int,
) -> SwitchStudy:
    together = [
        SwitchPlace(place.site, place.size, place.number, *pair) for place, pair in zip(places, pairs, strict=True)
    ]
    return study_switch(together, terms[0], terms[1], water, seed=seed)


def _retuned(
    places: Sequence[StudyPlace],
    pairs: Sequence[tuple[PlaceDraws, PlaceDraws]],
    study: SwitchStudy,
    terms: Sequence[PartTerms],
    water: WaterTerms,
    draws: int,
    seed: int,
    executor: Workers,
) -> tuple[dict[str, Retuned | None], SwitchStudy | None]:
    """Places of trouble with the new build retuned, and the study with them so."""
    troubled = [at for at, one in enumerate(study.places) if one.outcome in _TROUBLE]
    if not troubled:
        return {}, None
    tried = retune([(places[at].new, places[at].site) for at in troubled])
    found = {places[at].site.name: one for at, one in zip(troubled, tried, strict=True)}
    served = [(at, one) for at, one in zip(troubled, tried, strict=True) if one is not None]
    if not served:
        return found, None
    again = draw_places([(one.twin, one.site) for _, one in served], draws=draws, seed=seed, executor=executor)
    better = list(pairs)
    for (at, _), one in zip(served, again, strict=True):
        better[at] = (pairs[at][0], one)
    return found, _judge(places, better, terms, water, seed)


def _figures(place: StudyPlace, lives: Sequence[LifeModel], draws: int, seed: int) -> dict[str, FloatArray]:
    """What is not known exactly, draw by draw, of both builds and both lives."""
    picks = np.arange(draws)
    found: dict[str, FloatArray] = {}
    for which, twin in (("old", place.old), ("new", place.new)):
        for column, name in enumerate(twin.parameter_names):
            if name not in ("friction_scale", "wave_speed_scale"):
                found[f"{which}, {name}"] = twin.draws[picks % len(twin.draws), column]
    for number, (which, life) in enumerate(zip(("old", "new"), lives, strict=True)):
        of_life = life_picks(life, draws, seed + number)
        found[f"{which}, life"] = life.scale[of_life]
        found[f"{which}, exponent"] = life.exponent[of_life]
    return found


def _care(
    places: Sequence[StudyPlace],
    pairs: Sequence[tuple[PlaceDraws, PlaceDraws]],
    study: SwitchStudy,
    terms: Sequence[PartTerms],
    seed: int,
) -> tuple[tuple[WarrantyStudy, WarrantyStudy], tuple[tuple[PartService, PartService], ...], tuple[int, int]]:
    """Warranty, service of every place, and the workshop's spares."""
    running = [
        (_in_service(place, pair[0]), _in_service(place, pair[1])) for place, pair in zip(places, pairs, strict=True)
    ]
    sold_old = [old for old, _ in running if old is not None]
    sold_new = [
        new for (_, new), verdict in zip(running, study.places, strict=True) if verdict.switch and new is not None
    ]
    if not sold_old:
        raise ModelError("The old build beats at none of these sites, so there is nothing to compare with.")
    warranty = (
        study_warranty(terms[0].life, sold_old, terms[0].renewal_cost, seed=seed),
        study_warranty(terms[1].life, sold_new or sold_old, terms[1].renewal_cost, seed=seed),
    )
    service = tuple(
        (plan_service(terms[0].life, old, seed=seed), plan_service(terms[1].life, new, seed=seed))
        for old, new in running
        if old is not None and new is not None
    )
    everywhere = [new for _, new in running if new is not None]
    spares = (
        spares_needed(terms[0].life, sold_old, 1.0, seed=seed),
        spares_needed(terms[1].life, everywhere, 1.0, seed=seed),
    )
    return warranty, service, spares


def _in_service(place: StudyPlace, drawn: PlaceDraws) -> PartInService | None:
    """A new part at a place with the middle of what is drawn; None where most draws do not beat."""
    if np.mean(drawn.beating) <= 0.5:
        return None
    rate = float(np.median(drawn.beat_rate[drawn.beating]))
    stress = float(np.median(drawn.landing_energy[drawn.beating]))
    return PartInService(place.site.name, 0.0, rate, max(stress, 1e-6))
