"""The part of the test report that tells of a fitted twin. Formats only."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from clackwork.answers_text import parameter_words
from clackwork.cautions import CAUTIONS
from clackwork.charts.twin_chart import plain, residual_chart, spread_chart
from clackwork.sheets.typeset import Fields, drawing, sentence

if TYPE_CHECKING:
    from clackwork.twin.twin import Pinned, Twin

PARAMETERS_HEAD = ["Value", "Best", "5 %", "95 %", "Spread before", "Spread after", "Pinned most by"]

AT_THE_BENCH = ("dead_head", "moving_valve")
"""Cautions printed beside the runs proposed next."""
LEAST_GAIN = 0.005
"""Runs that would narrow the promise by less than this share round to nothing and are left out."""


def percent(spread: float) -> str:
    """A standard deviation of a logarithm, as per cent."""
    if not math.isfinite(spread):
        return "not known"
    return f"{100.0 * spread:.0f} %" if spread >= 0.1 else f"{100.0 * spread:.2g} %"


def twin_fields(name: str, twin: Twin, *, units: str) -> Fields:
    """All that the template prints of one twin.

    Parameters
    ----------
    name : str
        As the workbook calls it.
    twin : Twin
    units : {"metric", "us"}
    """
    useful = [run.sentence for run in twin.next_runs if run.narrowing >= LEAST_GAIN]
    pinned = {entry.parameter: entry for entry in twin.pinned}
    return {
        "heading": f"Build {name}, fitted",
        "next": useful[0] if useful else None,
        "more_runs": [sentence(words) for words in useful[1:]],
        "cautions": [CAUTIONS[name].words for name in AT_THE_BENCH] if useful else [],
        "warnings": list(twin.warnings),
        "parameters_head": PARAMETERS_HEAD,
        "parameters": [
            _parameter_row(twin, parameter, pinned.get(parameter), units) for parameter in twin.parameter_names
        ],
        "pinned": [sentence(entry.sentence) for entry in twin.pinned],
        "spread": drawing(spread_chart(twin)) if twin.pinned else None,
        "residuals": drawing(residual_chart(twin)) if twin.residuals else None,
        "facts": [
            [
                "What the model misses",
                f"{percent(twin.model_form_spread)}, learnt from measured against modelled",
            ],
            ["Independent draws", f"{twin.effective_draws:.0f} of {len(twin.draws)}"],
            ["Seed, model runs", f"{twin.seed}, {twin.engine_runs}"],
            ["Values without a unit", "are ratios; the delivery loss counts velocity heads"],
        ],
    }


def _parameter_row(twin: Twin, parameter: str, pinned: Pinned | None, units: str) -> list[str]:
    """One parameter with its range and what pinned it."""
    values = (part[parameter] for part in (twin.best, twin.low, twin.high))
    row = [plain(parameter), *(parameter_words(value, parameter, units) for value in values)]
    if pinned is None:
        return [*row, "", "", ""]
    by = pinned.pinned_by or "no run: as assumed"
    return [*row, percent(pinned.prior_spread), percent(pinned.posterior_spread), by]
