"""A design kept as text: it comes back as it was, and another shape is refused in a sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_design import choice, design, place, standpipe_choice

from clackwork.errors import ClackworkError
from clackwork.shop.design_text import design_from, design_text
from clackwork.site.design import Assumed


def test_a_design_comes_back_as_it_was() -> None:
    whole = replace(
        design(),
        choices=(choice(by_length=((9.0, 1.2, 1.1), (18.0, 1.3, 0.9))), standpipe_choice()),
        assumed=(Assumed("submergence", 0.3, "length", "why"), Assumed("route", "", "words", "why")),
    )
    found = design_from(design_text(whole))
    assert found == whole
    assert found.choices[0].site.standpipe_area == place().standpipe_area == float("inf")


@pytest.mark.parametrize(
    "text", ["", "[]", '{"format": "design 0"}', '{"format": "design 1", "design": {"is a": "x"}}']
)
def test_another_shape_is_refused(text: str) -> None:
    with pytest.raises(ClackworkError, match="design the site again"):
        design_from(text)
