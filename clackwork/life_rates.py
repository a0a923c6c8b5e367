"""How the parts of a workbook beat and land, by the engine, each on its build at its place; and their service dates."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import replace

from clackwork.errors import ClackworkError
from clackwork.life.part_dates import UNKNOWN, BeatsAt, PartAt, PartDates, card_dates, dates_by_place
from clackwork.life.part_record import PartRecord
from clackwork.life.stress import landing_stress
from clackwork.life_report import beats_counted
from clackwork.ram.engine import RamCase
from clackwork.ram.shared import settle_alike
from clackwork.site.commissioning import as_it_stands
from clackwork.site.design import Choice
from clackwork.site.laid import case_of
from clackwork.site.visit import Visit
from clackwork.switch_job import site_of_record
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook


def engine_beats(
    workbook: Workbook, records: Sequence[PartRecord], twins: Mapping[str, Twin] | None = None
) -> dict[str, BeatsAt]:
    """Beats and landings by name of part, of its build as it stands at the place, else as designed there.

    Left out are parts whose site is not designed or whose rig never delivered, those of which several pumps stand on one
    line, and those whose pump does not beat there.

    Parameters
    ----------
    workbook : Workbook
    records : sequence of PartRecord
        Of its builds and places.
    twins : mapping of str to Twin, optional
        By name of build; a build without one runs as described.
    """
    where = {one.name: (one.build, one.place, one.on_rig) for one in records}
    cases: dict[tuple[str, str, bool], RamCase] = {}
    for record in records:
        if where[record.name] not in cases:
            try:
                cases[where[record.name]] = _case(workbook, record, twins or {})
            except ClackworkError:
                continue
    found = {key: _beats_of(case) for key, case in cases.items()}
    return {name: beats for name, key in where.items() if (beats := found.get(key)) is not None}


def _case(workbook: Workbook, record: PartRecord, twins: Mapping[str, Twin]) -> RamCase:
    """A pump as it stands where a part runs.

    Raises
    ------
    ClackworkError
        It is not known how it stands there.
    """
    site, build, twin = site_of_record(workbook, record), workbook.builds[record.build], twins.get(record.build)
    standing = None
    if not record.on_rig:
        standing = workbook.as_built.get(record.place) or workbook.designs.get(record.place)
        site = as_it_stands(site, standing)
    if standing is not None and standing.build in ("", record.build):
        build = build.retuned(stroke=standing.stroke, mass=standing.mass)
    if twin is not None:
        build = with_parameters(build, twin.best)
    return RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)


def _beats_of(case: RamCase, pumps: int = 1) -> BeatsAt | None:
    """Beats of one of like pumps by the engine; None where it does not beat."""
    try:
        run = settle_alike([case], [pumps])[0]
    except ClackworkError:  # nothing opens its waste valve
        return None
    if not run.is_beating:
        return None
    valve = case.build.waste_valve
    mass = valve.reduced(case.water.density).effective_mass
    stress = float(landing_stress(run.landing_speed_shut, mass, valve.seat_bore))
    return BeatsAt(run.beat_rate, "engine", max(stress, 1e-6))


def engine_rates(workbook: Workbook, records: Sequence[PartRecord]) -> dict[str, float]:
    """Beats a second by name of part, of its build as described; parts counted at every look are left out."""
    uncounted = [one for one in records if not beats_counted(one)]
    return {name: one.rate for name, one in engine_beats(workbook, uncounted).items()}


def beats_of_choice(choice: Choice, twins: Sequence[Twin]) -> BeatsAt:
    """Beats promised of a design's choice, with the landings that the engine finds there."""
    twin = next((one for one in twins if one.build.name == choice.twin_name), None)
    promised = BeatsAt(choice.promise.beat_rate.middle, "promised")
    if twin is None or not promised.rate > 0.0:
        return promised
    found = _beats_of(case_of(replace(twin, build=choice.build), choice.site), choice.pumps)
    return promised if found is None else replace(promised, landing=found.landing)


def counted_rates(visits: Sequence[Visit]) -> dict[str, float]:
    """Beats a second counted last, by name of the site."""
    found: dict[str, float] = {}
    for visit in sorted(visits, key=lambda one: one.date):
        if visit.readings.beats and visit.readings.beats_duration:
            found[visit.site] = visit.readings.beats / visit.readings.beats_duration
    return found


def parts_of_workbook(workbook: Workbook, twins: Mapping[str, Twin]) -> list[PartAt]:
    """The parts in service of a workbook: with the beats counted last at their site, else those of the engine."""
    found, counted = engine_beats(workbook, workbook.parts, twins), counted_rates(workbook.visits)
    records = []
    for one in workbook.parts:
        beats = found.get(one.name, UNKNOWN)
        if not one.on_rig and one.place in counted:
            beats = replace(beats, rate=counted[one.place], rate_from="counted")
        records.append(PartAt(one, beats))
    return records


def dates_of_workbook(
    workbook: Workbook, twins: Mapping[str, Twin], today: datetime.date
) -> dict[str, tuple[PartDates, ...]]:
    """Service dates of the parts that run on at the sites of a workbook, by name of the site."""
    records = parts_of_workbook(workbook, twins)
    return dates_by_place([(one.part.place, one) for one in records if not one.part.on_rig], records, today)


def card_of_workbook(
    workbook: Workbook, twins: Sequence[Twin], choice: Choice, today: datetime.date
) -> tuple[PartDates, ...]:
    """What the care card of a design tells of parts that wear.

    Parameters
    ----------
    workbook : Workbook
        With the parts in service.
    twins : sequence of Twin
        The design rests on.
    choice : Choice
        The one printed.
    today : datetime.date
    """
    if not workbook.parts:
        return ()
    records = parts_of_workbook(workbook, {one.build.name: one for one in twins})
    here = [one for one in records if not one.part.on_rig and one.part.place == choice.site.name]
    return card_dates(here, records, choice.twin_name, beats_of_choice(choice, twins), today)
