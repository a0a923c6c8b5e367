"""An endurance test planned, as JSON."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request

from clackwork.endurance_job import MOST_FALLS, EnduranceAsked
from clackwork.endurance_report import endurance_json
from clackwork.errors import InputError
from clackwork.quantities import parse
from clackwork.shop.endurance import plan_of_book
from clackwork.web.pages import units_of
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api")

Whole = Annotated[int, Field(ge=1, le=2**31 - 1)]
Text = Annotated[str, Field(max_length=100)]


class EnduranceIn(BaseModel):
    """A life to be shown by an endurance test, and where."""

    model_config = ConfigDict(extra="forbid")

    build_id: Whole = Field(description="The build whose part is to run; it needs a twin.")
    site_id: Whole = Field(description="Where the life is to hold; a designed site.")
    rig_id: Whole = Field(description="Where the parts are to run.")
    part: Text = Field(description='What wears: "waste_rubber".')
    material: Text = Field(description='What it is made of: "brass", "stainless", "rubber", "plastic" or "other".')
    months: float | None = Field(
        12.0, description="Life to be shown, of running at the site; null where beats are given."
    )
    beats: float | None = Field(None, description="Life to be shown, in place of months.")
    falls: list[Text] = Field(
        default_factory=list,
        max_length=MOST_FALLS,
        description='At the rig: ["3 m"]. None for its own, and one and a half and two times that.',
    )
    reliability: float = Field(0.9, description="Share of parts that is to last so long.")
    confidence: float = 0.9
    shape: float = Field(1.0, description="Of the life: 1 is chance, the careful choice; 2 to 4 is usual of wear.")
    lowest_exponent: float | None = Field(
        None,
        description="Low end of the exponent by which life falls with hard landings; null: from prior and records.",
    )
    highest_exponent: float | None = Field(None, description="Its high end; needed with the low end.")
    most_parts: int = Field(8, description="Parts that can be had.")
    units: Literal["metric", "us"] | None = Field(None, description="Of the answer; else those of the page.")


@router.post("/endurance", summary="Plan an endurance test")
def plan(request: Request, asked: EnduranceIn) -> dict[str, Any]:
    """How many parts, how many beats, at which fall, and how long that takes, with what is taken for granted.

    At a fall whose peaks pass the rating of the rig's pipe no test is planned.
    """
    book, system = book_of(request), asked.units or units_of(request)
    ends = (asked.lowest_exponent, asked.highest_exponent)
    if (ends[0] is None) != (ends[1] is None):
        raise InputError("lowest_exponent and highest_exponent", "one of them", "give both or neither")
    wanted = EnduranceAsked(
        build=book.get("build", asked.build_id).name,
        part=asked.part,
        material=asked.material,
        site=book.get("site", asked.site_id).name,
        rig=book.get("rig", asked.rig_id).name,
        months=asked.months if asked.beats is None else None,
        beats=asked.beats,
        falls=tuple(parse(one, "head", field="falls").value for one in asked.falls),
        reliability=asked.reliability,
        level=asked.confidence,
        shape=asked.shape,
        exponents=None if ends[0] is None or ends[1] is None else (ends[0], ends[1]),
        most_parts=asked.most_parts,
    )
    return {"units": system, **endurance_json(plan_of_book(book, wanted, asked.build_id), system)}
