"""An endurance test planned, as a page: everything in its address, so that a reload loses nothing."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from clackwork.endurance_job import EnduranceAsked
from clackwork.endurance_report import endurance_words
from clackwork.errors import ClackworkError, InputError
from clackwork.life.stress import MATERIALS
from clackwork.quantities import parse
from clackwork.shop.endurance import EnduranceChoices, endurance_choices, kinds_of_book, plan_of_book
from clackwork.shop.fitted import builds_to_fit
from clackwork.site.visit import PARTS
from clackwork.web.fields import Choice, Field, Form, Group, LinkField
from clackwork.web.forms import LINK, Filled, entered_of, filled_from, place_error
from clackwork.web.pages import page, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_forms import number_in
from clackwork.web.record_pages import book_of

router = APIRouter(include_in_schema=False)

_USUAL = {"months": "12", "reliability": "90 %", "level": "90 %", "shape": "1", "most_parts": "8"}


def endurance_form() -> Form:
    """What a plan is asked with."""
    links = (
        LinkField("build", "Build", "build"),
        LinkField("site", "Site where the life is to hold", "site"),
        LinkField("rig", "Rig where the parts run", "rig"),
    )
    what = (
        Field("part", "What wears", "choice", "", True, tuple(Choice(*one) for one in PARTS.items())),
        Field("material", "Made of", "choice", "", True, tuple(Choice(one, one) for one in MATERIALS)),
        Field("months", "Months it is to last, running all the time", "number", "", True),
        Field("reliability", "Share of parts that is to last so long", "fraction", "", True),
    )
    more = (
        Field("falls", "Falls at the rig", "list", "Such as 2 m; 3 m. Left out: its own, and 1.5 and 2 times that."),
        Field("most_parts", "Parts that can be had", "whole"),
        Field("level", "Confidence", "fraction"),
        Field("shape", "Shape of the life", "number", "1 is chance, the careful choice; 2 to 4 is usual of wear."),
        Field(
            "exponents",
            "Life falls with the power of how hard a part lands",
            "list",
            "Both ends, such as 0; 2. Left out: from prior and records.",
        ),
    )
    groups = (Group("The life to be shown", what), Group("The test", more))
    return Form("endurance", "endurance test", "endurance tests", "", links, groups)


@router.get("/endurance")
def endurance_page(request: Request) -> Response:
    """The form; with what was chosen in its address, the plan above it."""
    book, system = book_of(request), units_of(request)
    choices = endurance_choices(book)
    filled = filled_from(endurance_form(), request.query_params)
    asked = f"{LINK}site" in request.query_params
    if not asked:
        _begin(request, filled, choices)
    words: dict[str, Any] | None = None
    status = 200
    if asked:
        try:
            words = endurance_words(plan_of_book(book, *_asked(filled, choices)), system)
        except ClackworkError as error:
            place_error(filled, error)
            status = status_of(error)
    options = {
        "build": [(one.id, choices.names[one.id]) for one in choices.builds],
        "site": [(one.id, one.name) for one in choices.sites],
        "rig": [(one.id, one.name) for one in choices.rigs],
    }
    return page(
        request,
        "endurance.html",
        status=status,
        filled=filled,
        links=[(link, options[link.role]) for link in filled.form.links],
        words=words,
        has_twin=bool(choices.builds),
        to_fit=() if choices.builds else builds_to_fit(book),
    )


def _begin(request: Request, filled: Filled, choices: EnduranceChoices) -> None:
    """What is likely to be asked: the only build, site and rig there are, and the part in service on the build."""
    filled.values |= _USUAL
    for role, found in (("build", choices.builds), ("site", choices.sites), ("rig", choices.rigs)):
        if not filled.value(LINK + role) and found:
            filled.values[LINK + role] = str(found[0].id)
    build = number_in(filled.value(f"{LINK}build"))
    if build is not None:
        for part, material in kinds_of_book(book_of(request), build)[:1]:
            filled.values |= {"part": part, "material": material}


def _asked(filled: Filled, choices: EnduranceChoices) -> tuple[EnduranceAsked, int]:
    """What was asked, read.

    Raises
    ------
    InputError
        A field cannot be read.
    """
    chosen = {}
    for link, found in (("build", choices.builds), ("site", choices.sites), ("rig", choices.rigs)):
        number = number_in(filled.value(LINK + link))
        named = next((one for one in found if one.id == number), None)
        if named is None:
            raise InputError(link, filled.value(LINK + link) or "(nothing)", "choose one")
        chosen[link] = named
    typed = entered_of(filled)
    ends = [_number("exponents", one) for one in typed.get("exponents", [])]
    if len(ends) not in (0, 2):
        raise InputError("exponents", len(ends), "it takes two ends, the lower one first")
    return EnduranceAsked(
        build=chosen["build"].name,
        part=str(typed.get("part", "")),
        material=str(typed.get("material", "")),
        site=chosen["site"].name,
        rig=chosen["rig"].name,
        months=typed.get("months", 12.0),
        falls=tuple(parse(one, "head", field="falls").value for one in typed.get("falls", [])),
        reliability=parse(typed.get("reliability", "90 %"), "fraction", field="reliability").value,
        level=parse(typed.get("level", "90 %"), "fraction", field="level").value,
        shape=typed.get("shape", 1.0),
        exponents=(ends[0], ends[1]) if ends else None,
        most_parts=typed.get("most_parts", 8),
    ), chosen["build"].id  # fmt: skip


def _number(field: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(field, f'"{text}"', "it must be two plain numbers", "Such as 0; 2.") from error
