"""A design kept as text: it comes back as it was, and another shape is refused in a sentence."""

from __future__ import annotations

import math

import pytest
from invented_design import design

from clackwork.errors import ClackworkError
from clackwork.shop.design_text import design_from, design_text


def test_a_design_comes_back_as_it_was() -> None:
    found = design_from(design_text(design()))
    assert found == design()
    assert found.choices[1].site.standpipe_area == math.inf
    assert found.choices[0].build.waste_valve == design().choices[0].build.waste_valve


@pytest.mark.parametrize(
    "text", ["", "[]", '{"format": "design 0"}', '{"format": "design 1", "design": {"is a": "x"}}']
)
def test_another_shape_is_refused(text: str) -> None:
    with pytest.raises(ClackworkError, match="design the site again"):
        design_from(text)
