"""The sheet of a switch study: the verdict first, then the figures. Formats only."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from clackwork.charts.switch_chart import switch_chart
from clackwork.sheets.typeset import Fields, compile_pdf, drawing


def switch_fields(
    words: Mapping[str, Any], *, name: str, pump: str, note: str, reasons: tuple[str, ...], date: datetime.date
) -> Fields:
    """All that the template prints.

    Parameters
    ----------
    words : mapping
        As :func:`clackwork.switch_words.switch_words` has them.
    name, pump, note : str
    reasons : tuple of str
        Why it is out of date; empty when it stands.
    date : datetime.date
    """
    units = words["bar_units"]
    return {
        **{key: value for key, value in words.items() if key not in ("bars", "bar_units")},
        "title": f"Switch study: {name}",
        "subtitle": " ".join(one for one in (f"Pump {pump}. {date.isoformat()}.", note) if one),
        "footer": f"{pump}, {name}, {date.isoformat()}",
        "reasons": list(reasons),
        "worth_chart": drawing(switch_chart(words["bars"], "worth", units["worth"])),
        "delivery_chart": drawing(switch_chart(words["bars"], "delivery", units["delivery"])),
    }


def switch_pdf(
    words: Mapping[str, Any],
    *,
    name: str,
    pump: str,
    note: str = "",
    reasons: tuple[str, ...] = (),
    paper: str = "a4",
    date: datetime.date,
) -> bytes:
    """The sheet as PDF.

    Raises
    ------
    InputError
        Another paper.
    """
    fields = switch_fields(words, name=name, pump=pump, note=note, reasons=reasons, date=date)
    return compile_pdf("switch.typ", fields, paper=paper, date=date)
