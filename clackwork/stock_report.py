"""Service and spares of parts that run on, as lines and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from clackwork.answers_json import reason_json, reason_words
from clackwork.life.part_dates import PartDates
from clackwork.life.service import PartService
from clackwork.life.stocking import StockOfKind
from clackwork.site.visit import PARTS


def stock_lines(found: Sequence[StockOfKind], system: str) -> list[str]:
    """Spares to keep, and under them every part with its life, its dates and what they take for granted."""
    lines = []
    for kind in found:
        chances = f"{100.0 * kind.risk:g} chances in 100"
        pumps = "one pump" if len(kind.each) == 1 else f"{len(kind.each)} pumps"
        keep = (
            "how many spares to keep is not told, as no such part has been looked at yet"
            if kind.spares is None
            else f"keep {kind.spares} for {pumps} for twelve months, with {chances} of running out"
        )
        lines.append(f"{PARTS[kind.part]}, {kind.material}: {keep}")
        for service, dates in kind.each:
            said = [_service_words(service, dates, carry=kind.spares is not None)]
            if kind.spares is None:
                said.append("a life from its material alone, an order of magnitude only")
            if dates.assumed:
                said.append(f"taken for granted: {'; '.join(reason_words(one, system) for one in dates.assumed)}")
            lines.append(f"  {service.where}, {dates.name}: {'. '.join(one[:1].upper() + one[1:] for one in said)}.")
    return lines


def _service_words(service: PartService, dates: PartDates, *, carry: bool) -> str:
    low, middle, high = (_months(12.0 * one) for one in service.years)
    said = (
        f"{service.yearly_beats / 1e6:.3g} million beats a year, a new one lasts {middle} months ({low} to {high}); "
        f"look at it on {dates.look_on}, renew it on {dates.renew_on}"
    )
    return f"{said}, carry {service.spares}" if carry else said


def _months(months: float) -> str:
    return f"{months:.0f}" if months >= 10.0 else f"{months:.2g}"


def stock_json(found: Sequence[StockOfKind], system: str) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "part": kind.part,
            "material": kind.material,
            "risk": kind.risk,
            "spares": kind.spares,
            "in_service": [
                {
                    "name": dates.name,
                    "site": service.where,
                    "yearly_beats": service.yearly_beats,
                    "months": {
                        key: 12.0 * one for key, one in zip(("low", "middle", "high"), service.years, strict=True)
                    },
                    "look_on": dates.look_on.isoformat(),
                    "renew_on": dates.renew_on.isoformat(),
                    "spares": None if kind.spares is None else service.spares,
                    "assumed": [reason_json(one, system) for one in dates.assumed],
                }
                for service, dates in kind.each
            ],
        }
        for kind in found
    ]
