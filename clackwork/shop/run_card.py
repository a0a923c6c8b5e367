"""The run card for the yard: what it asks for, and the runs it sends, each kept once however often it is sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.bench.runs import RunKind
from clackwork.book.errors import NameTaken, NotThere
from clackwork.cautions import cautions_beside
from clackwork.errors import ClackworkError
from clackwork.shop.judging import Standing, answer_of, picture_of, standing_of

if TYPE_CHECKING:
    from clackwork.book import Book, Record

_MOST_RIGS = 100
_TRIES = 20
_LONGEST_NAME = 80

KIND_WORDS: Mapping[RunKind, str] = {
    RunKind.DELIVERING: "delivering",
    RunKind.SHUT_BEATING: "delivery shut, still beating",
    RunKind.DEAD_HEAD: "dead head, gauge at its highest",
    RunKind.HELD_OPEN: "waste valve held open",
}


@dataclass(frozen=True)
class Reading:
    """One reading the card asks for.

    Attributes
    ----------
    key : str
        The field of a run.
    label : str
        In few words, for a phone.
    metric, us : tuple of str
        Units offered, the usual one first; none for a count.
    kinds : tuple of RunKind
        Runs in which it stands among the first; in the others it can be opened.
    """

    key: str
    label: str
    metric: tuple[str, ...]
    us: tuple[str, ...]
    kinds: tuple[RunKind, ...]


_BEATING = (RunKind.DELIVERING, RunKind.SHUT_BEATING)
_TIMED = (*_BEATING, RunKind.HELD_OPEN)
_LEVELS = (("m", "cm", "mm", "ft", "in"), ("ft", "in", "m", "cm", "mm"))
_BUCKETS = (("L", "mL", "gal (US)", "gal (imp)"), ("gal (US)", "qt (US)", "L", "mL"))

READINGS = (
    Reading("waste_volume", "Water spilled", *_BUCKETS, _TIMED),
    Reading("delivered_volume", "Water delivered", *_BUCKETS, (RunKind.DELIVERING,)),
    Reading(
        "gauge_pressure",
        "Pressure at the gauge",
        ("bar", "kPa", "mH2O", "psi"),
        ("psi", "ftH2O", "bar", "kPa"),
        (RunKind.DELIVERING, RunKind.DEAD_HEAD),
    ),
    Reading("fall", "Fall at the start", *_LEVELS, tuple(RunKind)),
    Reading("fall_end", "Fall at the end", *_LEVELS, _TIMED),
    Reading("water_temperature", "Water temperature", ("°C", "°F"), ("°F", "°C"), tuple(RunKind)),
    Reading("drawn_volume", "Water drawn", *_BUCKETS, ()),
    Reading("back_pressure_head", "Height of the standpipe", *_LEVELS, ()),
    Reading("tilt", "Tilt of the pump", ("deg",), ("deg",), ()),
)
"""Readings typed on the card, in the order they are taken. The watch and the beats have places of their own."""


@dataclass(frozen=True)
class RunSent:
    """A run as the card sends it.

    Attributes
    ----------
    build, rig : int
        Numbers of the build and the rig.
    entered : mapping
        As typed.
    request_id : str
        Made on the phone; the same one sent again makes no second run.
    trial_made_at : str
        When the trial was made, as `card_of` gave it; a card of another book is told apart by it.
    name : str
        Empty lets the book name the run after its build.
    """

    build: int
    rig: int
    entered: Mapping[str, Any]
    request_id: str
    trial_made_at: str = ""
    name: str = ""


def card_of(book: Book, trial_id: int, system: str = "metric") -> dict[str, Any]:
    """Everything the card needs to work without a network, and how the trial stands.

    Parameters
    ----------
    book : Book
    trial_id : int
    system : {"metric", "us"}
        Decides the units offered first.
    """
    standing = standing_of(book, trial_id)
    rigs = book.list("rig", limit=_MOST_RIGS).records
    used = next((one.run.rig for one in reversed(standing.figures)), "")
    return {
        **answer_of(book, standing, system),
        "system": system,
        "rigs": [{"id": one.id, "name": one.name} for one in rigs],
        "usual_rig": next((one.id for one in rigs if one.name == used), rigs[0].id if rigs else None),
        "kinds": [{"kind": kind.value, "words": words} for kind, words in KIND_WORDS.items()],
        "readings": [_reading_answer(one, system) for one in READINGS],
        "timed": [kind.value for kind in _TIMED],
        "beating": [kind.value for kind in _BEATING],
        "picture": _picture(standing, system),
        "card_cautions": {RunKind.DEAD_HEAD.value: [one.words for one in cautions_beside("shut_off_head")]},
    }


def _picture(standing: Standing, system: str) -> str | None:
    """Every run so far as SVG for a narrow screen; None while there is nothing to draw."""
    from clackwork.charts.vega import to_svg

    try:
        return to_svg(picture_of(standing, system, narrow=True))
    except ClackworkError:
        return None


def _reading_answer(one: Reading, system: str) -> dict[str, Any]:
    """A reading as plain data."""
    units = one.us if system == "us" else one.metric
    return {"key": one.key, "label": one.label, "units": list(units), "kinds": [kind.value for kind in one.kinds]}


def keep_run(book: Book, trial_id: int, sent: RunSent, *, by: str = "") -> Record:
    """Put a run from the card into the book, once.

    Parameters
    ----------
    book : Book
    trial_id : int
        The trial it was made for.
    sent : RunSent
    by : str, optional
        Who, for the journal.

    Raises
    ------
    InputError
        A reading is missing or cannot be used.
    NotThere
        Trial, build or rig is not there, or the trial is not the one the card was opened for.
    """
    trial = book.get("trial", trial_id)
    if sent.trial_made_at and sent.trial_made_at != trial.made_at.isoformat():
        raise NotThere(
            f"The trial '{trial.name}' is not the one the card was opened for: another book lies open now. "
            "Open the book the run belongs to; the run waits until then."
        )
    links = {"build": sent.build, "rig": sent.rig, "trial": trial_id}
    for place in range(_TRIES):
        name = sent.name.strip() or _free_name(book, sent.build, place)
        try:
            return book.add("run", name, sent.entered, links=links, by=by, request_id=sent.request_id)
        except NameTaken:
            if sent.name.strip() or place == _TRIES - 1:
                raise
    raise AssertionError("the last try returns or raises")


def _free_name(book: Book, build_id: int, skip: int) -> str:
    """The build's name and the next number no run of its pump has: "flap 4"; ``skip`` numbers are passed over."""
    build = book.get("build", build_id)
    number = book.list("run", links={"build": build_id}, limit=1).total + 1
    stem = build.name[: _LONGEST_NAME - 8].rstrip()
    while True:
        name = f"{stem} {number}"
        if book.find("run", name, links={"pump": build.links["pump"]}) is None:
            if skip == 0:
                return name
            skip -= 1
        number += 1
