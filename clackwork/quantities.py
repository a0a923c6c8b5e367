"""Text to SI and back, at the edge: "40 ft", "1 1/4 in", "1.4 gpm", "3:30", "12 psi", "2.10 m ± 5 mm".

Inside the package every figure is an SI float. Doors (command line, page, files) call `parse` on what a
person typed and keep the `Quantity`, which holds the text beside the value; sheets and charts call
`format_quantity` and its relatives. A text that can be read in two ways is refused with both spellings:

* "1,5 m" and "1.5 m" are one and a half metres; "1,234 m" is refused; a point alone is always decimal,
  and a space may part the thousands ("12 000 L/day", as written by `format_quantity`).
* A unit is needed, except for counts and fractions ("0.45" or "45 %").
* "gal" (and "gpm") without a country is the US gallon, 3.785 L; write "gal (imp)" for the imperial one.
* "3:30" is minutes and seconds; "1:02:03" hours, minutes and seconds.
"""

from __future__ import annotations

from clackwork.quantity_kinds import KINDS
from clackwork.quantity_reading import Quantity, parse, parse_plus_minus
from clackwork.quantity_writing import (
    SYSTEMS,
    format_quantity,
    format_range,
    format_with_uncertainty,
    from_display,
    key_name,
    key_unit,
    to_display,
    unit_label,
)

__all__ = [
    "Quantity",
    "parse",
    "parse_plus_minus",
    "format_quantity",
    "format_range",
    "format_with_uncertainty",
    "unit_label",
    "key_unit",
    "key_name",
    "to_display",
    "from_display",
    "KINDS",
    "SYSTEMS",
]
