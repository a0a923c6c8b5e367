"""The part of the test report that tells of a fitted twin. Formats only."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from clackwork.cautions import CAUTIONS
from clackwork.charts.twin_chart import plain, residual_chart, spread_chart
from clackwork.sheets.typeset import Fields, drawing

if TYPE_CHECKING:
    from clackwork.twin.twin import Pinned, Twin

PARAMETERS_HEAD = ["Value", "Best", "5 %", "95 %", "Spread before", "Spread after", "Pinned most by"]

AT_THE_BENCH = ("dead_head", "moving_valve")
"""Cautions printed beside the runs proposed next."""


def si_number(value: float) -> str:
    """A fitted value with no unit of the trade: four figures, powers of ten where they are needed."""
    return f"{value:.4g}" if math.isfinite(value) else "not known"


def percent(spread: float) -> str:
    """A standard deviation of a logarithm, as per cent."""
    return f"{100.0 * spread:.2g} %" if math.isfinite(spread) else "not known"


def twin_fields(name: str, twin: Twin) -> Fields:
    """All that the template prints of one twin.

    Parameters
    ----------
    name : str
        As the workbook calls it.
    twin : Twin
    """
    pinned = {entry.parameter: entry for entry in twin.pinned}
    return {
        "heading": f"Build {name}, fitted",
        "next": twin.next_runs[0].sentence if twin.next_runs else None,
        "more_runs": [run.sentence for run in twin.next_runs[1:]],
        "cautions": [CAUTIONS[name].words for name in AT_THE_BENCH] if twin.next_runs else [],
        "warnings": list(twin.warnings),
        "parameters_head": PARAMETERS_HEAD,
        "parameters": [_parameter_row(twin, parameter, pinned.get(parameter)) for parameter in twin.parameter_names],
        "pinned": [entry.sentence for entry in twin.pinned],
        "spread": drawing(spread_chart(twin)) if twin.pinned else None,
        "residuals": drawing(residual_chart(twin)) if twin.residuals else None,
        "facts": [
            [
                "What the model misses",
                f"{percent(twin.model_form_spread)}, learnt from the differences above",
            ],
            ["Independent draws", f"{twin.effective_draws:.0f} of {len(twin.draws)}"],
            ["Seed, model runs", f"{twin.seed}, {twin.engine_runs}"],
            ["Units of the fitted values", "SI: kg, m, s and their products; ratios have none"],
        ],
    }


def _parameter_row(twin: Twin, parameter: str, pinned: Pinned | None) -> list[str]:
    """One parameter with its range and what pinned it."""
    row = [plain(parameter), *(si_number(values[parameter]) for values in (twin.best, twin.low, twin.high))]
    if pinned is None:
        return [*row, "", "", ""]
    by = pinned.pinned_by or "no run: as assumed"
    return [*row, percent(pinned.prior_spread), percent(pinned.posterior_spread), by]
