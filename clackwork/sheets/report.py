"""The test report: every judged trial and every fitted twin of a workbook. Formats only."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from clackwork.charts.vega import Spec
from clackwork.sheets.judged import trial_print
from clackwork.sheets.trial_section import chart_of, trial_fields
from clackwork.sheets.twin_section import twin_fields
from clackwork.sheets.typeset import Fields, compile_pdf

if TYPE_CHECKING:
    from clackwork.bench.judge import Judgement
    from clackwork.bench.runs import Run
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Trial, Workbook


def judgement_chart(judgement: Judgement, trial: Trial, runs: Sequence[Run], *, system: str) -> Spec:
    """The chart of a judged trial and the runs it compares."""
    return chart_of(trial_print(judgement, trial, runs), system=system)


def _trial(workbook: Workbook, name: str, judgement: Judgement, units: str) -> Fields:
    """All that the template prints of one trial."""
    trial = workbook.trials[name]
    runs = workbook.runs_of_trial(trial)
    return trial_fields(trial_print(judgement, trial, runs), runs, units=units)


def report_fields(
    workbook: Workbook,
    judgements: Mapping[str, Judgement],
    twins: Mapping[str, Twin],
    *,
    units: str,
    date: datetime.date,
) -> Fields:
    """All that the template prints.

    Parameters
    ----------
    workbook : Workbook
    judgements, twins : mapping by name
        Of trials and of builds.
    units : {"metric", "us"}
    date : datetime.date
    """
    trials = [_trial(workbook, name, judgement, units) for name, judgement in judgements.items()]
    return {
        "title": f"Test report: {workbook.title}",
        "subtitle": " ".join(words for words in (f"{date.isoformat()}.", workbook.note) if words),
        "footer": f"{workbook.title}, {date.isoformat()}",
        "trials": trials,
        "twins": [twin_fields(name, twin, units=units) for name, twin in twins.items()],
    }


def report_pdf(
    workbook: Workbook,
    judgements: Mapping[str, Judgement],
    twins: Mapping[str, Twin],
    *,
    units: str = "metric",
    paper: str = "a4",
    date: datetime.date,
) -> bytes:
    """The test report as PDF."""
    fields = report_fields(workbook, judgements, twins, units=units, date=date)
    return compile_pdf("report.typ", fields, paper=paper, date=date)
