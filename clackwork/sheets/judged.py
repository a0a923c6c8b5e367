"""From a judgement to what is printed of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clackwork.sheets.trial_section import TrialPrint

if TYPE_CHECKING:
    from clackwork.bench.judge import Judgement
    from clackwork.workbook import Trial


def trial_print(judgement: Judgement, trial: Trial) -> TrialPrint:
    """The judged trial as printed."""
    raise NotImplementedError
