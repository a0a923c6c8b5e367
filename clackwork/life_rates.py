"""Beat rates of parts in service whose beats were not counted: by the engine, of the build at its place."""

from __future__ import annotations

from collections.abc import Iterable

from clackwork.errors import InputError
from clackwork.life.part_record import PartRecord
from clackwork.life_report import beats_counted
from clackwork.ram.engine import RamCase
from clackwork.ram.shared import settle_alike
from clackwork.switch_job import site_of_record
from clackwork.workbook import Workbook


def engine_rates(workbook: Workbook, records: Iterable[PartRecord]) -> dict[str, float]:
    """Beats a second by name of part, of its build as described.

    Left out are parts whose beats were counted at every look, whose site is not designed or whose rig never delivered, and
    those whose pump does not beat there.
    """
    cases: dict[tuple[str, str, bool], RamCase] = {}
    where: dict[str, tuple[str, str, bool]] = {}
    for record in records:
        if beats_counted(record):
            continue
        key = (record.build, record.place, record.on_rig)
        try:
            site = site_of_record(workbook, record)
        except InputError:
            continue
        build = workbook.builds[record.build]
        cases[key] = RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)
        where[record.name] = key
    runs = dict(zip(cases, settle_alike(list(cases.values()), [1] * len(cases)), strict=True)) if cases else {}
    return {name: runs[key].beat_rate for name, key in where.items() if runs[key].is_beating}
