"""All answers of a workbook together: as lines, as data, and as files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from clackwork.answers_json import FORMAT, promise_json, twin_json
from clackwork.answers_text import all_promise_lines, twin_lines
from clackwork.cli_frame import json_text, write_text
from clackwork.workbook import Workbook
from clackwork.workbook_jobs import Done
from clackwork.workbook_trials import judgement_json, judgement_lines


def all_json(workbook: Workbook, done: Done, system: str) -> dict[str, Any]:
    """Judgements, twins and promises as plain data."""
    return {
        "judgements": [judgement_json(workbook.trials[name], one, system) for name, one in done.judgements.items()],
        "twins": [twin_json(one, system) for one in done.twins.values()],
        "promises": [promise_json(one, system) for one in done.promises.values()],
    }


def all_lines(workbook: Workbook, done: Done, system: str) -> list[str]:
    """Promises first, then the trials and the twins they rest on."""
    lines = [workbook.title, "", *all_promise_lines(done.promises.values(), system)]
    for name, judged in done.judgements.items():
        lines += [*judgement_lines(workbook.trials[name], judged, system), ""]
    for twin in done.twins.values():
        lines += [*twin_lines(twin, system), ""]
    return lines


def write_results(workbook: Workbook, done: Done, out: Path, system: str) -> list[Path]:
    """Write what was worked out as JSON files, one for each job; returns them.

    Raises
    ------
    ClackworkError
        A file cannot be written.
    """
    written = []
    for name, found in all_json(workbook, done, system).items():
        if found:
            path = out / f"{name}.json"
            data = {"format": FORMAT, "units": system, "title": workbook.title, name: found}
            write_text(path, json_text(data) + "\n")
            written.append(path)
    return written
