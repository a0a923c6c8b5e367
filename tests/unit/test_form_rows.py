"""Rows and lists of a form: every row comes back as it was."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import pytest

from clackwork.errors import InputError
from clackwork.web.field_lists import forms
from clackwork.web.fields import Field
from clackwork.web.forms import entered_of, filled_from, filled_of
from clackwork.web.rows import list_of, rows_of, text_of_list, text_of_rows
from clackwork.workbook_reader import parse_toml

SITES = parse_toml((files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8"))["site"]


def field(key: str) -> Field:
    found = forms()["site"].field(key)
    assert found is not None
    return found


def test_lines_as_a_person_types_them() -> None:
    text = "2026-08-14; bucket; 10 L; 31,2 s, 31,0 s\n\n ;float; 4 m;9 s; 60 cm ; 8 cm, 9 cm; smooth; note = in drought"
    assert rows_of(field("source"), text) == [
        {"date": "2026-08-14", "method": "bucket", "volume": "10 L", "times": ["31,2 s", "31,0 s"]},
        {
            "method": "float", "distance": "4 m", "times": ["9 s"], "width": "60 cm", "depths": ["8 cm", "9 cm"],
            "bed": "smooth", "note": "in drought",
        },
    ]  # fmt: skip


@pytest.mark.parametrize(
    "row",
    [
        {"method": "bucket", "volume": "10 L", "times": ["31 s"], "bucket": {"mark_uncertainty": "50 mL"}},
        {"method": "typed", "flow": "9 L/min ± 1 L/min", "note": "a; b = c\nnext line"},
        {"method": "notch", "heads": ["60 mm"], "head_half_width": "1 mm", "note": "12"},
        {"method": "notch", "heads": ["60 mm", "61 mm"], "angle": "60 deg"},
    ],
)
def test_a_row_comes_back(row: dict[str, Any]) -> None:
    one = field("source")
    assert rows_of(one, text_of_rows(one, [row])) == [row]


@pytest.mark.parametrize("name", SITES)
def test_sites_of_the_demonstration_go_through_the_form(name: str) -> None:
    form = forms()["site"]
    filled = filled_of(form, name, SITES[name], {})
    again = filled_from(form, filled.values)
    assert entered_of(again) == SITES[name]


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("source", "2026-08-14; typed; 9 L/min; more", "a line holds date; method; flow"),
        ("route", "0 m; 0 m; gate; 7", "a line holds distance; height; note"),
        ("needs.use", "sheep; many", "plain number"),
    ],
)
def test_a_line_with_too_much_or_no_number(key: str, text: str, said: str) -> None:
    with pytest.raises(InputError, match="line 1") as told:
        rows_of(field(key), text)
    assert said in str(told.value) and told.value.field == key


def test_lists() -> None:
    assert list_of("sand; iron\nlime;") == ["sand", "iron", "lime"]
    assert list_of("1; 0.5; 80 %") == [1, 0.5, "80 %"]
    assert text_of_list(["1.20 m", 3, 0.5]) == "1.20 m; 3; 0.5"


def test_a_long_route_is_not_cut_short() -> None:
    rows = [
        {"distance": f"{place}.00 m", "height": "0.00 m", "note": "marked by a stake, number on it"}
        for place in range(100)
    ]
    form = forms()["site"]
    filled = filled_from(form, filled_of(form, "a", {"route": rows}, {}).values)
    assert entered_of(filled)["route"] == rows
