"""Measured against modelled of a twin as rows of words, and as CSV with the unit in every column. Formats only."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clackwork.answers_json import FIGURE_KINDS, figure
from clackwork.answers_text import figure_words, parameter_words
from clackwork.charts.twin_chart import plain
from clackwork.quantities import key_name, to_display
from clackwork.sheets.twin_section import percent

if TYPE_CHECKING:
    from clackwork.twin.twin import Residual, Twin

FAR = 2.0
"""Normalised difference beyond which a reading is missed."""


@dataclass(frozen=True)
class ResidualRow:
    """One figure of one run in words."""

    run: str
    figure: str
    measured: str
    uncertainty: str
    modelled: str
    difference: str
    is_far: bool


def is_met(residual: Residual) -> bool:
    """Whether the model meets a reading within twice the uncertainty."""
    return abs(residual.normalised) <= FAR


def residual_rows(twin: Twin, units: str) -> list[ResidualRow]:
    """Every figure of every run, in the order of the runs."""
    rows = []
    for one in twin.residuals:
        kind = FIGURE_KINDS.get(one.figure)
        gap = one.modelled / one.measured - 1.0 if one.modelled > 0.0 else math.nan
        rows.append(
            ResidualRow(
                run=one.run,
                figure=figure_words(one.figure),
                measured=figure(one.measured, kind, units),
                uncertainty=f"± {100.0 * one.standard_uncertainty / one.measured:.1f} %" if one.measured else "",
                modelled=figure(one.modelled, kind, units),
                difference=f"{100.0 * gap:+.1f} %".replace("-", "\u2212") if math.isfinite(gap) else "none",
                is_far=not is_met(one),
            )
        )
    return rows


def parameter_rows(twin: Twin, units: str) -> list[list[str]]:
    """The fitted values under `clackwork.sheets.twin_section.PARAMETERS_HEAD`: value, range, spread before and after."""
    pinned = {one.parameter: one for one in twin.pinned}
    rows = []
    for name in twin.parameter_names:
        row = [plain(name), *(parameter_words(part[name], name, units) for part in (twin.best, twin.low, twin.high))]
        one = pinned.get(name)
        if one is not None:
            row += [percent(one.prior_spread), percent(one.posterior_spread), one.pinned_by or "no run: as assumed"]
        rows.append(row)
    return rows


def residuals_csv(twin: Twin, *, units: str = "metric") -> str:
    """The same as CSV; a column for every figure's unit."""
    rows = []
    for one in twin.residuals:
        kind = FIGURE_KINDS.get(one.figure)
        row = {"run": f"'{one.run}" if one.run[:1] in "=+-@" else one.run, "figure": one.figure}
        for name in ("measured", "standard_uncertainty", "modelled"):
            value = getattr(one, name)
            key = name if kind is None else key_name(name, kind, units)
            shown = value if kind is None else to_display(value, kind, units)
            row[key] = f"{shown:.6g}" if math.isfinite(shown) else ""
        row["normalised_difference"] = f"{one.normalised:.4g}" if math.isfinite(one.normalised) else ""
        rows.append(row)
    columns = list(dict.fromkeys(["run", "figure", *(key for row in rows for key in row)]))
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
