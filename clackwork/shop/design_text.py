"""A design as text and back, as it is kept with the work that found it: exact to the last bit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from clackwork.book.twin_text import BUILD_CLASSES, classes_by_name, from_plain, to_plain
from clackwork.errors import ClackworkError
from clackwork.pipes import Pipe
from clackwork.ram.parts import DeliveryLine, DrivePipe, SupplyPipe, Surroundings
from clackwork.site.design import Assumed, Choice, Design, FatigueLaw, MonthPlan, PipeCheck, RuleOfThumb, Zone
from clackwork.site.prices import Alternative, CostLine, Quotation
from clackwork.site.site import Promise, Range, Reason, Site

FORMAT = "design 1"
"""Changes when a key changes its meaning or goes."""

_CLASSES = classes_by_name(
    *BUILD_CLASSES,
    *(Pipe, DrivePipe, SupplyPipe, DeliveryLine, Surroundings),
    *(Site, Promise, Range, Reason),
    *(Design, Choice, Zone, PipeCheck, FatigueLaw, RuleOfThumb, MonthPlan, Assumed),
    *(Quotation, CostLine, Alternative),
)


def design_text(design: Design) -> str:
    """A design as JSON text; Python's JSON holds infinities too."""
    return json.dumps({"format": FORMAT, "design": to_plain(design, {}, _CLASSES)}, separators=(",", ":"))


def design_from(text: str) -> Design:
    """The inverse of `design_text`.

    Raises
    ------
    ClackworkError
        Written by a version whose designs were of another shape.
    """
    try:
        plain: Mapping[str, Any] = json.loads(text)
        if plain["format"] != FORMAT:
            raise ValueError(plain["format"])
        found = from_plain(plain["design"], None, _CLASSES)
    except (KeyError, TypeError, ValueError) as error:
        raise ClackworkError("The kept design cannot be read by this version; design the site again.") from error
    if not isinstance(found, Design):
        raise ClackworkError("The kept design cannot be read by this version; design the site again.")
    return found
