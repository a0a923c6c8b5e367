"""Beat rates of parts in service whose beats were not counted: by the engine, of the build at its place."""

from __future__ import annotations

from collections.abc import Sequence

from clackwork.errors import InputError
from clackwork.life.part_record import PartRecord
from clackwork.life_report import beats_counted
from clackwork.ram.engine import RamCase
from clackwork.ram.shared import settle_alike
from clackwork.switch_job import site_of_record
from clackwork.workbook import Workbook


def engine_rates(workbook: Workbook, records: Sequence[PartRecord]) -> dict[str, float]:
    """Beats a second by name of part, of its build as described.

    Left out are parts whose beats were counted at every look, whose site is not designed or whose rig never delivered, and
    those whose pump does not beat there.
    """
    where = {one.name: (one.build, one.place, one.on_rig) for one in records if not beats_counted(one)}
    cases: dict[tuple[str, str, bool], RamCase] = {}
    for record in records:
        key = where.get(record.name)
        if key is None or key in cases:
            continue
        try:
            site = site_of_record(workbook, record)
        except InputError:
            continue
        build = workbook.builds[record.build]
        cases[key] = RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)
    runs = dict(zip(cases, settle_alike(list(cases.values()), [1] * len(cases)), strict=True)) if cases else {}
    return {name: runs[key].beat_rate for name, key in where.items() if key in runs and runs[key].is_beating}
