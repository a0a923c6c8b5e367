"""The answer on the phone as JSON."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request

from clackwork.errors import InputError
from clackwork.quick_report import quick_json
from clackwork.shop.fitted import fitted_twins
from clackwork.shop.quick import ASSUMPTIONS, FIELDS, Typed, answer_typed, keep_as_site, read_typed
from clackwork.shop.workshop_prices import stock_of
from clackwork.site.stock import Stock
from clackwork.twin.twin import Twin
from clackwork.web.access import visitor_of
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/quick")

Text = Annotated[str, Field(max_length=100)]


class QuickAsked(BaseModel):
    """What a customer says on the phone, as typed; the lift above the pump or above the source, one of the two."""

    model_config = ConfigDict(extra="forbid")

    fall: Text = Field(description='From the source down to the pump: "2 m", "2 m ± 0.1 m".')
    flow: Text = Field(description='What the source gives when driest: "20 L/min".')
    lift_from_pump: Text | None = Field(None, description="Outlet above the pump.")
    lift_from_source: Text | None = Field(None, description="Outlet above the source.")
    distance: Text = Field(description="Length of the delivery pipe.")
    wanted: Text = Field("", description='Water wanted: "800 L/day"; empty for as much as there is.')
    to_source: Text = Field("", description="From the pump to the source along the ground; empty when not known.")
    assume: dict[Annotated[str, Field(max_length=40)], Text] = Field(
        default_factory=dict,
        max_length=len(ASSUMPTIONS),
        description="Set in place of what is assumed, by the names in the answer: " + ", ".join(ASSUMPTIONS),
    )
    units: Literal["metric", "us"] = "metric"

    def typed(self, twins: list[Twin], stock: Stock) -> Typed:
        """What was typed, read.

        Raises
        ------
        InputError
            Both lifts or neither, something unknown to be assumed, or a field that cannot be read.
        """
        both = (self.lift_from_pump, self.lift_from_source)
        if (both[0] is None) == (both[1] is None):
            raise InputError(
                "lift_from_pump and lift_from_source", "both" if both[0] else "neither", "give exactly one of them"
            )
        strange = next((key for key in self.assume if key not in ASSUMPTIONS), None)
        if strange is not None:
            raise InputError("assume", strange, f"it must be one of {', '.join(ASSUMPTIONS)}")
        texts = {one.key: getattr(self, one.key, "") for one in FIELDS} | {"lift": both[0] or both[1] or ""}
        found = read_typed(texts | self.assume, "source" if both[0] is None else "pump", twins, stock)
        for key, error in found.errors.items():
            raise InputError(key, error.value, error.allowed, error.next_step)
        if found.missing:
            raise InputError(found.missing[0], "(nothing)", "it is needed")
        return found


class QuickKept(QuickAsked):
    """The same, to be kept as a site."""

    name: Annotated[str, Field(min_length=1, max_length=80)] = Field(description="Of the place.")
    request_id: Annotated[str, Field(min_length=8, max_length=100)] | None = None


def twins_of(request: Request) -> list[Twin]:
    """The twins of the open book.

    Raises
    ------
    InputError
        There is none.
    """
    found = [one.twin for one in fitted_twins(book_of(request))]
    if not found:
        raise InputError("build", "(none fitted)", "it rests on a build with a twin", "Fit a build to its runs first.")
    return found


@router.post("", summary="Answer a call: will it work, and how much")
def ask(request: Request, asked: QuickAsked) -> dict[str, Any]:
    """Yes, only if or no; litres a day with their range, which pump and how many, what limits it, what was assumed."""
    twins = twins_of(request)
    typed = asked.typed(twins, stock_of(book_of(request)))
    answer = answer_typed(typed, twins)
    assert answer is not None  # nothing is missing and nothing is wrong
    return {"units": asked.units, **quick_json(typed, answer, asked.units)}


@router.post("/keep", status_code=201, summary="Keep a call as a site")
def keep(request: Request, asked: QuickKept) -> RecordOut:
    """A site surveyed by word of mouth: each figure with how far it may be off; it is not designed yet."""
    twins = twins_of(request)
    made = keep_as_site(
        book_of(request),
        asked.name,
        asked.typed(twins, stock_of(book_of(request))),
        by=visitor_of(request).name,
        request_id=asked.request_id,
    )
    return record_out(made)
