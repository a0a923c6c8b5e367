"""An endurance test planned for a workbook: landings and beats from the engine, the exponent from records and prior."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import ClackworkError, InputError, ModelError, require_positive, require_range
from clackwork.life.endurance import EnduranceStand, EnduranceTest, plan_endurance
from clackwork.life.part_record import PartRecord
from clackwork.life.renewals import YEAR
from clackwork.life.site_draws import PlaceDraws, draw_places
from clackwork.life.stress import MATERIALS, fit_life, priors_for
from clackwork.life.whole_study import PartKind, stressed_records
from clackwork.site.site import Site
from clackwork.site.visit import PARTS
from clackwork.switch_job import rig_as_site, site_of_record
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook, pick, pick_sites

DRAWS = 8
"""Cases drawn at each place: landings differ little from case to case."""
RAISED = (1.0, 1.5, 2.0)
"""Falls looked at when none is asked for, as shares of the rig's own."""
MOST_FALLS = 6
_ENDS = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class EnduranceAsked:
    """A life to be shown, and where.

    Attributes
    ----------
    build : str
    part, material : str
        Keys of :data:`clackwork.site.visit.PARTS` and :data:`clackwork.life.stress.MATERIALS`.
    site : str
        Where the life is to hold.
    rig : str
        Where parts are to run.
    months : float or None
        Of running at the site.
    beats : float or None
        In place of months.
    falls : tuple of float
        At the rig [m]; empty for its own and one and a half and two times that.
    reliability : float
        Share of parts that is to reach the life.
    level : float
        Confidence.
    shape : float
        Of the life; 1 is the careful choice.
    exponents : (float, float) or None
        Ends of the exponent of stress; None takes them from prior and records.
    most_parts : int
    """

    build: str
    part: str
    material: str
    site: str
    rig: str
    months: float | None = None
    beats: float | None = None
    falls: tuple[float, ...] = ()
    reliability: float = 0.9
    level: float = 0.9
    shape: float = 1.0
    exponents: tuple[float, float] | None = None
    most_parts: int = 8

    def __post_init__(self) -> None:
        for name, given, known in (("part", self.part, PARTS), ("material", self.material, MATERIALS)):
            if given not in known:
                raise InputError(name, given or "(nothing)", f"it must be one of {', '.join(known)}")
        if (self.months is None) == (self.beats is None):
            raise InputError(
                "months and beats", "neither" if self.months is None else "both", "give exactly one of them"
            )
        if self.months is not None:
            require_range("months", self.months, 0.1, 600.0, "months")
        if self.beats is not None:
            require_range("beats", self.beats, 1e3, 1e11, "beats")
        if len(self.falls) > MOST_FALLS:
            raise InputError("falls", len(self.falls), f"at most {MOST_FALLS} are looked at")
        for fall in self.falls:
            require_range("falls", fall, 0.1, 60.0, "m")
        require_range("reliability", self.reliability, 0.01, 0.9999, "", "0.9 is nine parts in ten.")
        require_range("level", self.level, 0.5, 0.999, "", "0.9 is usual.")
        require_range("shape", self.shape, 1.0, 10.0, "", "1 is chance, 2 to 4 is usual of wear.")
        if self.exponents is not None and not 0.0 <= self.exponents[0] <= self.exponents[1] <= 20.0:
            ends = f"{self.exponents[0]:g} and {self.exponents[1]:g}"
            raise InputError("exponents", ends, "both must be 0 to 20, the lower one first", "0 and 0 count no haste.")
        if not 1 <= self.most_parts <= 100:
            raise InputError("most_parts", self.most_parts, "it must be 1 to 100")


@dataclass(frozen=True)
class StandFound:
    """The pump at the rig with one fall.

    Attributes
    ----------
    name : str
        As in the tests: "2.5 m of fall".
    fall : float
        [m]
    beat_rate, stress : float
        [1/s], [J/m2]; 0 where it does not beat.
    highest_head, rating_head : float
        The highest peak or surge of the cases drawn, and what the rig's drive pipe is rated for [m].
    tests : tuple of EnduranceTest
        By number of parts; empty where none is planned.
    why_not : str
        "does not beat" or "passes its rating" where none is planned.
    """

    name: str
    fall: float
    beat_rate: float
    stress: float
    highest_head: float
    rating_head: float
    tests: tuple[EnduranceTest, ...] = ()
    why_not: str = ""


@dataclass(frozen=True)
class EndurancePlan:
    """What an endurance test takes.

    Attributes
    ----------
    asked : EnduranceAsked
    beats : float
        Life to be shown, at the site.
    beat_rate, stress : float
        At the site [1/s], [J/m2].
    back_pressure : float
        Held at the rig [m].
    stands : tuple of StandFound
        By fall.
    exponent : (float, float, float)
        5, 50 and 95 % points, of prior and records.
    exponents : (float, float)
        Counted with.
    learnt : float
        Share by which records narrowed the exponent.
    records : int
        That it rests on.
    left_out : tuple of str
        Records that could not be used, each with its reason.
    """

    asked: EnduranceAsked
    beats: float
    beat_rate: float
    stress: float
    back_pressure: float
    stands: tuple[StandFound, ...]
    exponent: tuple[float, float, float]
    exponents: tuple[float, float]
    learnt: float
    records: int
    left_out: tuple[str, ...]


def kinds_seen(workbook: Workbook, build: str) -> list[tuple[str, str]]:
    """Part and material of the parts in service on a build, each once."""
    return list(dict.fromkeys((one.part, one.material) for one in workbook.parts if one.build == build))


def rigs_used(workbook: Workbook, build: str) -> list[str]:
    """Rigs a build ran on, the one with most runs first."""
    return [name for name, _ in Counter(run.rig for run in workbook.runs_of(build)).most_common()]


def records_for(workbook: Workbook, part: str, material: str) -> list[PartRecord]:
    """Records that may say how life falls with hard landings."""
    return [one for one in workbook.parts if (one.part, one.material) == (part, material)]


def check_names(workbook: Workbook, asked: EnduranceAsked) -> None:
    """Refuse a build, site or rig that is not there.

    Raises
    ------
    InputError
        The nearest known is named.
    """
    pick(workbook.builds, asked.build, "build")
    pick(workbook.rigs, asked.rig, "rig")
    pick_sites(workbook, asked.site)


@dataclass(frozen=True)
class PlacesSeen:
    """What the engine says of the places of a plan, whatever life is to be shown.

    Attributes
    ----------
    own : Site
        The rig as a place.
    falls : tuple of float
        Looked at there [m].
    there : PlaceDraws
        The build at the site.
    raised : tuple of PlaceDraws
        At the rig, by fall.
    records : tuple of (PartRecord, PlaceDraws)
        Parts that may say how life falls with hard landings, each at its place.
    left_out : tuple of str
    """

    own: Site
    falls: tuple[float, ...]
    there: PlaceDraws
    raised: tuple[PlaceDraws, ...]
    records: tuple[tuple[PartRecord, PlaceDraws], ...]
    left_out: tuple[str, ...]


def see_places(
    workbook: Workbook, asked: EnduranceAsked, twins: Mapping[str, Twin], *, draws: int = DRAWS, seed: int = 1
) -> PlacesSeen:
    """Run the engine for a plan; parameters and errors as of :func:`plan_of_workbook`."""
    check_names(workbook, asked)
    if asked.build not in twins:
        raise InputError("build", asked.build, "it has no twin", "Fit it to its runs first.")
    twin = twins[asked.build]
    own = rig_as_site(workbook, asked.rig, asked.build)
    falls = tuple(sorted(set(asked.falls or (own.fall * share for share in RAISED))))
    records, left_out = _usable(workbook, asked, twins)
    places = [(twin, workbook.sites[asked.site]), *((twin, _raised(own, fall)) for fall in falls)]
    drawn = draw_places([*places, *((twins[one.build], site) for one, site in records)], draws=draws, seed=seed)
    lived = zip((one for one, _ in records), drawn[len(places) :], strict=True)
    return PlacesSeen(own, falls, drawn[0], tuple(drawn[1 : len(places)]), tuple(lived), tuple(left_out))


def plan_of_workbook(
    workbook: Workbook,
    asked: EnduranceAsked,
    twins: Mapping[str, Twin],
    *,
    today: datetime.date,
    draws: int = DRAWS,
    seed: int = 1,
) -> EndurancePlan:
    """Plan an endurance test of a build's part at a rig, so that it shows a life at a site.

    Parameters
    ----------
    workbook : Workbook
    asked : EnduranceAsked
    twins : mapping of str to Twin
        Of the build; of others where their parts are to say how life falls with hard landings.
    today : datetime.date
    draws, seed : int

    Raises
    ------
    InputError
        Something named is not there.
    ModelError
        The build does not beat at the site.
    """
    return plan_from(see_places(workbook, asked, twins, draws=draws, seed=seed), asked, today, seed=seed)


def plan_from(seen: PlacesSeen, asked: EnduranceAsked, today: datetime.date, *, seed: int = 1) -> EndurancePlan:
    """The plan, of what the engine said; parameters and errors as of :func:`plan_of_workbook`."""
    if np.mean(seen.there.beating) <= 0.5:
        raise ModelError(f"Build {asked.build!r} does not beat at {asked.site}, so there is no life to show there.")
    rate, stress = _middle(seen.there)
    beats = asked.beats if asked.beats is not None else asked.months / 12.0 * YEAR * rate  # type: ignore[operator]
    by_record = {one.name: found for one, found in seen.records}
    kind = PartKind(asked.part, asked.material, 0.0, 0.0)
    lived = stressed_records([one for one, found in seen.records if found.beating.any()], kind, by_record, today)
    life = fit_life(lived, priors_for(asked.material), seed=seed)
    low, middle, high = (float(one) for one in np.quantile(life.exponent, _ENDS))
    counted = asked.exponents or (max(low, 0.0), max(high, 0.0))
    stands = [_stand(fall, found) for fall, found in zip(seen.falls, seen.raised, strict=True)]
    return EndurancePlan(
        asked,
        beats,
        rate,
        stress,
        seen.own.line.lift,
        tuple(_with_tests(one, asked, beats, stress, counted) for one in stands),
        (low, middle, high),
        counted,
        life.exponent_learnt,
        len(lived),
        seen.left_out,
    )


def _raised(own: Site, fall: float) -> Site:
    """The rig with another fall: the same pipe and back-pressure, the latter above the fall in any case."""
    line = replace(own.line, lift=max(own.line.lift, 1.2 * fall))
    return replace(own, name=f"{own.name}, {fall:.4g} m", fall=fall, line=line)


def _usable(
    workbook: Workbook, asked: EnduranceAsked, twins: Mapping[str, Twin]
) -> tuple[list[tuple[PartRecord, Site]], list[str]]:
    """Records with the place of each, and why others are left out."""
    found, left_out = [], []
    for record in records_for(workbook, asked.part, asked.material):
        try:
            if record.build not in twins:
                raise InputError("build", record.build, "it has no twin")
            found.append((record, site_of_record(workbook, record)))
        except ClackworkError as error:
            left_out.append(f"{record.name}: {error}")
    return found, left_out


def _middle(drawn: PlaceDraws) -> tuple[float, float]:
    """Beat rate and stress in the middle of the draws that beat."""
    rate = float(np.median(drawn.beat_rate[drawn.beating]))
    return rate, max(float(np.median(drawn.landing_energy[drawn.beating])), 1e-6)


def _stand(fall: float, drawn: PlaceDraws) -> StandFound:
    highest = float(np.max(drawn.highest_head))
    if np.mean(drawn.beating) <= 0.5:
        return StandFound("", fall, 0.0, 0.0, highest, drawn.rating_head, why_not="does not beat")
    why_not = "passes its rating" if highest > drawn.rating_head else ""
    return StandFound("", fall, *_middle(drawn), highest, drawn.rating_head, why_not=why_not)


def _with_tests(
    stand: StandFound, asked: EnduranceAsked, beats: float, stress: float, exponents: tuple[float, float]
) -> StandFound:
    name = f"{stand.fall:.3g} m of fall"
    if stand.why_not:
        return replace(stand, name=name)
    tests = plan_endurance(
        require_positive("life", beats, "beats"),
        asked.reliability,
        [EnduranceStand(name, stand.stress, stand.beat_rate)],
        stress,
        level=asked.level,
        shape=asked.shape,
        exponents=exponents,
        most_parts=asked.most_parts,
    )
    return replace(stand, name=name, tests=tuple(sorted(tests, key=lambda one: one.parts)))


def shortest(plan: EndurancePlan, parts: Sequence[int] = ()) -> EnduranceTest | None:
    """The test that is over first; of those with some numbers of parts where they are named; None where none can be made."""
    tests = [one for stand in plan.stands for one in stand.tests if not parts or one.parts in parts]
    return min(tests, key=lambda one: (one.duration, one.parts), default=None)
