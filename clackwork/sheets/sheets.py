"""All paper of a workbook into one folder: the test report, a sheet for every site, the charts."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from clackwork.charts.promise_chart import beat_chart, delivery_chart, elevation_chart
from clackwork.charts.twin_chart import residual_chart, spread_chart
from clackwork.charts.vega import Spec, to_svg
from clackwork.errors import InputError
from clackwork.quantities import SYSTEMS
from clackwork.sheets.promise_sheet import Trace, promise_pdf
from clackwork.sheets.report import judgement_chart, report_pdf
from clackwork.sheets.typeset import PAPERS, file_stem

if TYPE_CHECKING:
    from clackwork.bench.judge import Judgement
    from clackwork.site.site import Promise
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Workbook


def write_sheets(
    workbook: Workbook,
    judgements: Mapping[str, Judgement],
    twins: Mapping[str, Twin],
    promises: Mapping[str, Promise],
    out: Path,
    *,
    units: str = "metric",
    paper: str = "a4",
    date: datetime.date,
    traces: Mapping[str, Trace] | None = None,
) -> list[Path]:
    """Write every sheet and chart there is something to print for.

    Parameters
    ----------
    workbook : Workbook
    judgements, twins, promises : mapping by name
        Of trials and builds of the workbook, and of promises as "SITE, BUILD"; worked out before, nothing is
        computed here.
    out : Path
        Folder, made when it is not there.
    units : {"metric", "us"}
    paper : {"a4", "us-letter"}
    date : datetime.date
        Printed on every sheet; the same date gives the same bytes.
    traces : mapping of str to trace, optional
        By the same names as ``promises``, as from :func:`clackwork.ram.engine.run_trace`: the picture of one beat.

    Returns
    -------
    list of Path
        What was written, PDFs first.

    Raises
    ------
    InputError
        Unknown units or paper, or a promise for a site that is not in the workbook.
    """
    if units not in SYSTEMS:
        raise InputError("units", units, f"it must be one of {', '.join(SYSTEMS)}")
    if paper not in PAPERS:
        raise InputError("paper", paper, f"it must be one of {', '.join(PAPERS)}")
    traces = traces or {}
    pdfs: dict[str, bytes] = {}
    if judgements or twins:
        pdfs["test-report"] = report_pdf(workbook, judgements, twins, units=units, paper=paper, date=date)
    for name, promise in promises.items():
        if promise.site not in workbook.sites:
            raise InputError(
                "promise.site", promise.site, f"it must be one of {', '.join(workbook.sites) or 'the sites'}"
            )
        site = workbook.sites[promise.site]
        pdf = promise_pdf(promise, site, trace=traces.get(name), units=units, paper=paper, date=date)
        pdfs[_free(f"promise-{file_stem(name)}", pdfs)] = pdf
    charts = {
        stem: to_svg(spec) for stem, spec in _charts(workbook, judgements, twins, promises, traces, units).items()
    }
    out.mkdir(parents=True, exist_ok=True)
    written = []
    for stem, pdf in pdfs.items():
        written.append(out / f"{stem}.pdf")
        written[-1].write_bytes(pdf)
    for stem, svg in charts.items():
        written.append(out / f"{stem}.svg")
        written[-1].write_text(svg, encoding="utf-8")
    return written


def _charts(
    workbook: Workbook,
    judgements: Mapping[str, Judgement],
    twins: Mapping[str, Twin],
    promises: Mapping[str, Promise],
    traces: Mapping[str, Trace],
    units: str,
) -> dict[str, Spec]:
    """Every chart by file stem."""
    made: dict[str, Spec] = {}
    for name, judgement in judgements.items():
        trial = workbook.trials[name]
        drawn = judgement_chart(judgement, trial, workbook.runs_of_trial(trial), system=units)
        made[_free(f"trial-{file_stem(name)}", made)] = drawn
    for name, twin in twins.items():
        made[_free(f"twin-{file_stem(name)}-residuals", made)] = residual_chart(twin)
        made[_free(f"twin-{file_stem(name)}-spread", made)] = spread_chart(twin)
    if promises:
        made["promises"] = delivery_chart(promises, system=units)
    for name, promise in promises.items():
        site = workbook.sites[promise.site]
        made[_free(f"site-{file_stem(name)}", made)] = elevation_chart(site, system=units)
        if name in traces:
            made[_free(f"beat-{file_stem(name)}", made)] = beat_chart(traces[name], name=promise.site, system=units)
    return made


def _free(stem: str, taken: Mapping[str, object]) -> str:
    """The stem, numbered when two names come to the same one."""
    number, free = 2, stem
    while free in taken:
        free, number = f"{stem}-{number}", number + 1
    return free
