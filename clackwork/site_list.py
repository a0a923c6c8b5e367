"""The places of a workbook as one list: what is known of each, and whether it is designed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from clackwork.quantities import format_quantity, format_with_uncertainty, key_name, to_display
from clackwork.site.source_flow import driest
from clackwork.site.told import ASSUMED, is_assumed

if TYPE_CHECKING:
    from clackwork.bench.gum import Estimate
    from clackwork.site.survey import Survey
    from clackwork.workbook import Workbook

_KINDS = {"fall": "head", "lift": "head", "source_flow": "volume_flow", "line_length": "length"}


def _state(workbook: Workbook, name: str) -> str:
    """How far a place has come."""
    if name in workbook.as_built:
        return "built"
    return "designed" if name in workbook.sites else "surveyed"


def _figures(survey: Survey) -> dict[str, Estimate]:
    return {"fall": survey.fall, "lift": survey.lift, "source_flow": driest(survey)}


def site_lines(workbook: Workbook, system: str) -> list[str]:
    """A line for each place, in the order written."""
    return [f"{name} ({_state(workbook, name)}): {_known(survey, system)}" for name, survey in workbook.surveys.items()]


def _known(survey: Survey, system: str) -> str:
    parts = []
    for name, found in _figures(survey).items():
        kind, spread = _KINDS[name], found.standard_uncertainty
        shown = (
            format_with_uncertainty(found.value, spread, kind, system)
            if spread
            else format_quantity(found.value, kind, system)
        )
        said = f" ({ASSUMED})" if is_assumed(found) else ""
        parts.append(f"{name.replace('_', ' ')} {shown}{said}")
    return ", ".join(parts)


def site_json(workbook: Workbook, system: str) -> list[dict[str, Any]]:
    """The same as data, the unit in every key."""
    rows = []
    for name, survey in workbook.surveys.items():
        row: dict[str, Any] = {"site": name, "state": _state(workbook, name)}
        for key, found in _figures(survey).items():
            kind = _KINDS[key]
            row[key_name(key, kind, system)] = to_display(found.value, kind, system)
            row[key_name(f"{key}_standard_uncertainty", kind, system)] = to_display(
                found.standard_uncertainty, kind, system
            )
            row[f"{key}_assumed"] = is_assumed(found)
        row[key_name("line_length", "length", system)] = to_display(survey.line_length, "length", system)
        rows.append(row)
    return rows
