"""Answers as plain data for JSON, with the unit in every key; described in docs/json.md."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from clackwork.cautions import CAUTIONS
from clackwork.quantities import format_quantity, key_name, to_display
from clackwork.ram.engine import BeatResult
from clackwork.site.site import Promise, Range, Reason
from clackwork.twin.twin import Residual, Twin

FORMAT = "clackwork 1"
"""Changes when a key changes its meaning or goes."""

PARAMETER_KINDS = {"slip_volume": "volume", "body_air": "volume"}
"""Kinds of the fitted parameters that have a unit; the others are plain numbers."""

FIGURE_KINDS = {
    "waste_flow": "volume_flow",
    "delivered_flow": "volume_flow",
    "drawn_flow": "volume_flow",
    "beat_rate": "beat_rate",
    "water_per_beat": "volume",
    "back_pressure_head": "head",
    "shut_off_head": "head",
    "effective_fall": "head",
    "daubuisson_efficiency": "fraction",
    "rankine_efficiency": "fraction",
}
"""Kinds of the figures of a run."""

PROMISE_KINDS = {
    "daily_delivery": "volume",
    "delivered_flow": "volume_flow",
    "waste_flow": "volume_flow",
    "water_needed": "volume_flow",
    "water_there": "volume_flow",
    "beat_rate": "beat_rate",
    "daubuisson_efficiency": "fraction",
    "rankine_efficiency": "fraction",
    "vessel_head": "head",
    "peak_head": "head",
    "surge_head": "head",
}
"""Kinds of the ranges in a promise."""

BEAT_KINDS = {
    "beat_rate": "beat_rate",
    "waste_flow": "volume_flow",
    "delivered_flow": "volume_flow",
    "drawn_flow": "volume_flow",
    "water_per_beat": "volume",
    "closing_velocity": "velocity",
    "peak_head": "head",
    "lowest_head": "head",
    "surge_head": "head",
    "vessel_head": "head",
    "daubuisson_efficiency": "fraction",
    "rankine_efficiency": "fraction",
    "open_time": "duration",
    "delivery_time": "duration",
}
"""Kinds of the figures of one engine run."""


def figure(value: float, kind: str | None, system: str) -> str:
    """One figure with its unit; "not known" for what is no number."""
    if not math.isfinite(value):
        return "not known"
    return f"{value:#.3g}".removesuffix(".") if kind is None else format_quantity(value, kind, system)


def reason_words(reason: Reason, system: str) -> str:
    """A reason in words, its figures in the units asked for."""
    values = {name: figure(value, kind, system) for name, (value, kind) in reason.values.items()}
    return reason.words.format(**values)


def number(value: float, kind: str | None, system: str) -> float | None:
    """An SI value in the unit of its key; None for what JSON cannot hold."""
    shown = float(value) if kind is None else to_display(float(value), kind, system)
    return shown if math.isfinite(shown) else None


def keyed(name: str, value: float, kind: str | None, system: str) -> dict[str, float | None]:
    """{"waste_flow_l_min": 11.5}"""
    return {name if kind is None else key_name(name, kind, system): number(value, kind, system)}


def range_json(name: str, shown: Range, kind: str, system: str) -> dict[str, Any]:
    """{"waste_flow_l_min": {"low": .., "middle": .., "high": ..}}: the 5, 50 and 95 % points."""
    values = {part: number(getattr(shown, part), kind, system) for part in ("low", "middle", "high")}
    return {key_name(name, kind, system): values}


def promise_json(promise: Promise, system: str) -> dict[str, Any]:
    """A promise as plain data."""
    found: dict[str, Any] = {
        "site": promise.site,
        "build": promise.build,
        "answer": promise.answer,
        "reasons": [reason_json(reason, system) for reason in promise.reasons],
        "state_shares": {state: number(share, None, system) for state, share in promise.state_shares.items()},
    }
    for name, kind in PROMISE_KINDS.items():
        found |= range_json(name, getattr(promise, name), kind, system)
    found |= keyed("rating_head", promise.rating_head, "head", system)
    for name in ("pressure_margin", "stall_margin", "share_enough_water"):
        found |= keyed(name, getattr(promise, name), None, system)
    found |= {"draws": promise.draws, "seed": promise.seed, "cautions": cautions_json(promise.cautions)}
    return found


def reason_json(reason: Reason, system: str) -> dict[str, Any]:
    """A reason as plain data: its id, its words, and the figures in them."""
    found: dict[str, Any] = {"id": reason.id, "hardness": reason.hardness, "words": reason_words(reason, system)}
    for name, (value, kind) in reason.values.items():
        found |= keyed(name, value, kind, system)
    return found


def cautions_json(ids: Iterable[str]) -> list[dict[str, str]]:
    """Cautions with their words."""
    return [{"id": one, "words": CAUTIONS[one].words} for one in ids if one in CAUTIONS]


def _residual_json(residual: Residual, system: str) -> dict[str, Any]:
    kind = FIGURE_KINDS.get(residual.figure)
    found: dict[str, Any] = {"run": residual.run, "figure": residual.figure}
    found |= keyed("measured", residual.measured, kind, system)
    found |= keyed("standard_uncertainty", residual.standard_uncertainty, kind, system)
    found |= keyed("modelled", residual.modelled, kind, system)
    found |= keyed("normalised", residual.normalised, None, system)
    return found


def twin_json(twin: Twin, system: str) -> dict[str, Any]:
    """A twin as plain data; its draws are left out."""
    parameters = []
    for name, pinned in zip(twin.parameter_names, twin.pinned, strict=True):
        kind = PARAMETER_KINDS.get(name)
        one: dict[str, Any] = {"name": name}
        for part in ("best", "low", "high"):
            one |= keyed(part, getattr(twin, part)[name], kind, system)
        one |= keyed("prior_spread", pinned.prior_spread, None, system)
        one |= keyed("posterior_spread", pinned.posterior_spread, None, system)
        parameters.append(one | {"pinned_by": pinned.pinned_by, "sentence": pinned.sentence})
    return {
        "build": twin.build.name,
        "parameters": parameters,
        "residuals": [_residual_json(residual, system) for residual in twin.residuals],
        "model_form_spread": number(twin.model_form_spread, None, system),
        "effective_draws": number(twin.effective_draws, None, system),
        "next_runs": [
            {"description": run.description, "narrowing": number(run.narrowing, None, system), "sentence": run.sentence}
            for run in twin.next_runs
        ],
        "warnings": list(twin.warnings),
        "seed": twin.seed,
        "engine_runs": twin.engine_runs,
    }


def beat_json(result: BeatResult, system: str) -> dict[str, Any]:
    """One engine run as plain data."""
    found: dict[str, Any] = {"state": result.state, "settled": result.settled, "beats": result.beats}
    for name, kind in BEAT_KINDS.items():
        found |= keyed(name, getattr(result, name), kind, system)
    return found | keyed("velocity_ratio", result.velocity_ratio, None, system)
