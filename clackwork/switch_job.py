"""A switch study of a workbook: its sites with their pairs of builds, its parts in service, and what is asked."""

from __future__ import annotations

import datetime
import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from clackwork.bench.runs import reduce_run
from clackwork.errors import InputError
from clackwork.life.likely import likely_sites, spread_about
from clackwork.life.part_record import PartRecord
from clackwork.life.whole_study import PartKind, StudyPlace, WholeStudy, run_study
from clackwork.pipes import catalogue, find_pipe
from clackwork.ram.parts import DeliveryLine
from clackwork.ram.sweep import Workers
from clackwork.site.site import Site
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook
from clackwork.workbook_life import SwitchAsked, SwitchCosts
from clackwork.workbook_sites import undesigned

Progress = Callable[[int, int], None]

_PLENTY = 1e-2
"""Water at a rig whose source was not said [m3/s]: its tank is kept full."""


def builds_needed(workbook: Workbook, asked: SwitchAsked) -> list[str]:
    """Builds whose twins a study rests on, in the order of the workbook."""
    named = {name for pair in asked.pairs for name in pair}
    named |= {record.build for record in _parts_of(workbook, asked)}
    return [name for name in workbook.builds if name in named]


def _parts_of(workbook: Workbook, asked: SwitchAsked) -> list[PartRecord]:
    """Records of the two kinds of part."""
    materials = (asked.old.material, asked.new.material)
    return [one for one in workbook.parts if one.part == asked.part and one.material in materials]


def study_of_workbook(
    workbook: Workbook,
    asked: SwitchAsked,
    twins: Mapping[str, Twin],
    *,
    today: datetime.date,
    draws: int = 100,
    seed: int = 1,
    executor: Workers = None,
    keep: Path | str | None = None,
    progress: Progress | None = None,
) -> WholeStudy:
    """Work out a switch over all sites of a workbook, and over likely ones where they are asked for.

    Parameters
    ----------
    workbook : Workbook
    asked : SwitchAsked
    twins : mapping of str to Twin
        Of :func:`builds_needed`.
    today, draws, seed, executor, keep, progress
        As for :func:`clackwork.life.whole_study.run_study`.

    Raises
    ------
    InputError, ModelError
    """
    places = _places(workbook, asked, twins, seed)
    records = {}
    for record in _parts_of(workbook, asked):
        records[record.name] = (record, twins[record.build], site_of_record(workbook, record))
    kinds = [_kind(asked.part, costs) for costs in (asked.old, asked.new)]
    return run_study(
        places, records, kinds[0], kinds[1], asked.water,
        today=today, draws=draws, seed=seed, executor=executor, keep=keep, progress=progress,
    )  # fmt: skip


def _kind(part: str, costs: SwitchCosts) -> PartKind:
    return PartKind(part, costs.material, costs.first, costs.renewal)


def _places(workbook: Workbook, asked: SwitchAsked, twins: Mapping[str, Twin], seed: int) -> list[StudyPlace]:
    """Designed sites with the pair of builds that fits each, then likely ones."""
    found = []
    likes: dict[tuple[str, str], Site] = {}
    for name, site in workbook.sites.items():
        pair = _pair_for(workbook, asked, name, site)
        likes.setdefault(pair, site)
        found.append(_place(site, pair, asked, twins))
    if asked.likely:
        if not found:
            raise InputError(
                "likely_sites", asked.likely, "likely sites take their pipes from a designed site; there is none"
            )
        spread = with_spread(workbook, asked).spread
        assert spread is not None  # likely sites are asked for
        first = found[0].site
        by_pair = [
            likely_sites(likes.get(pair) or _of_size(first, workbook, pair), spread, asked.likely, seed=seed)
            for pair in asked.pairs
        ]
        for place in range(asked.likely):  # each size in turn
            which = place % len(asked.pairs)
            found.append(_place(by_pair[which][place], asked.pairs[which], asked, twins))
    return found


def with_spread(workbook: Workbook, asked: SwitchAsked) -> SwitchAsked:
    """The same with what its likely sites are taken to be like, so that the answer can tell it."""
    if not asked.likely or asked.spread is not None:
        return asked
    return replace(asked, spread=spread_about(list(workbook.sites.values())))


def _place(site: Site, pair: tuple[str, str], asked: SwitchAsked, twins: Mapping[str, Twin]) -> StudyPlace:
    """A place with its size of pump: that of the drive pipe, and with several pairs which of them."""
    size = site.drive_pipe.pipe.size
    return StudyPlace(site, size if len(asked.pairs) == 1 else f"{size}, {pair[0]}", twins[pair[0]], twins[pair[1]])


def _of_size(like: Site, workbook: Workbook, pair: tuple[str, str]) -> Site:
    """A place with a drive pipe nearest the seat of a pair's old build, in the series of ``like`` where it has one."""
    bore = workbook.builds[pair[0]].waste_valve.seat_bore
    series = next((one for one in catalogue() if one.name == like.drive_pipe.pipe.series), None)
    pipes = series.pipes if series else (like.drive_pipe.pipe,)
    pipe = min(pipes, key=lambda one: abs(math.log(one.bore / bore)))
    return replace(like, drive_pipe=replace(like.drive_pipe, pipe=pipe))


def _pair_for(workbook: Workbook, asked: SwitchAsked, name: str, site: Site) -> tuple[str, str]:
    """The pair whose old or new build stands at a site, else the one whose seat is nearest the drive pipe's bore."""
    stands = [each[name].build for each in (workbook.as_built, workbook.designs) if name in each]
    for build in stands:
        for pair in asked.pairs:
            if build in pair:
                return pair

    def apart(pair: tuple[str, str]) -> float:
        return abs(math.log(workbook.builds[pair[0]].waste_valve.seat_bore / site.drive_pipe.pipe.bore))

    return min(asked.pairs, key=apart)


def site_of_record(workbook: Workbook, record: PartRecord) -> Site:
    """The designed site where a part runs, or its rig as a place.

    Raises
    ------
    InputError
        The site is not designed, or nothing was delivered at the rig.
    """
    if record.on_rig:
        try:
            return rig_as_site(workbook, record.place, record.build)
        except InputError as error:
            raise InputError(f"part '{record.name}', rig", error.value, error.allowed, error.next_step) from error
    if record.place not in workbook.sites:
        raise undesigned(record.place)
    return workbook.sites[record.place]


def rig_as_site(workbook: Workbook, rig: str, build: str) -> Site:
    """A rig as a place: its pump against the back-pressure its delivering runs had in the middle.

    Raises
    ------
    InputError
        No run of the build there delivered against a head that was read.
    """
    stand = workbook.rigs[rig]
    heads = _heads(workbook, rig, build)
    if not heads:
        raise InputError(
            "rig",
            rig,
            f"no run of build {build!r} there delivered against a head that was read, so its landings are not known",
            "Make one delivering run with the gauge read, or enter the part at a site.",
        )
    lift = max(statistics.median(heads), 1.2 * stand.supply.fall)
    short = DeliveryLine(find_pipe("pe100-sdr11", "63 mm"), 1.0, lift)
    source = stand.source_flow if stand.source_flow < math.inf else _PLENTY
    return Site(f"rig {rig}", stand.supply.fall, source, stand.drive_pipe, short, surroundings=stand.surroundings)


def _heads(workbook: Workbook, rig: str, build: str) -> Sequence[float]:
    runs = [run for run in workbook.runs_of(build) if run.rig == rig]
    reduced = (reduce_run(run, workbook.rigs[run.rig].instruments).back_pressure_head for run in runs)
    return [head.value for head in reduced if head is not None]
