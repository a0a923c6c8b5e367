"""Twins kept with what they rest on, and whether that still stands.

A twin rests on its build, on that build's runs, on the rigs they stood on with their instruments, and on the engine. A note
changed makes no twin stale: what counts is what the fit has read.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

import clackwork
from clackwork._cache import kernel_key
from clackwork.book import writing
from clackwork.book.exchange import read_workbook
from clackwork.book.records import Record, as_json, fetch, fetch_many, from_row
from clackwork.book.tables import INSTRUMENTS, attachment, record
from clackwork.book.twin_text import twin_bytes, twin_from
from clackwork.book.writing import Hand
from clackwork.errors import InputError
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook


@dataclass(frozen=True)
class Basis:
    """What a fit reads, and the marks by which a later change of it is seen.

    Attributes
    ----------
    workbook : Workbook
        Of the build's pump.
    build : Record
    rests_on : mapping
        "build", "runs", "rigs", "instruments", and the "visits" meant for the twin with their "sites": number, version,
        name and mark of each; "engine", "kernel".
    """

    workbook: Workbook
    build: Record
    rests_on: Mapping[str, Any]


@dataclass(frozen=True)
class KeptTwin:
    """The last twin kept of a build.

    Attributes
    ----------
    record : Record
        Its ``entered`` holds what it rests on.
    twin : Twin
    stale : bool
        Whether something it rests on has changed.
    reasons : tuple of str
        What, one sentence each.
    """

    record: Record
    twin: Twin
    stale: bool
    reasons: tuple[str, ...]


def engine_version() -> str:
    """Version of the package that fits."""
    return clackwork.__version__


def basis_of(connection: sa.Connection, build_id: int) -> Basis:
    """What a fit of a build reads, all at one moment."""
    build = fetch(connection, "build", build_id)
    return Basis(read_workbook(connection, build.links["pump"]), build, _rests_on(connection, build))


def _rests_on(connection: sa.Connection, build: Record) -> dict[str, Any]:
    runs = fetch_many(connection, record.c.build_id == build.id, record.c.kind == "run")
    rig_numbers = sorted({run.links["rig"] for run in runs})
    rigs = fetch_many(connection, record.c.id.in_(rig_numbers)) if rig_numbers else ()
    used = sorted({rig.links[role] for rig in rigs for role in INSTRUMENTS if role in rig.links})
    instruments = fetch_many(connection, record.c.id.in_(used)) if used else ()
    visits = fetch_many(connection, record.c.build_id == build.id, record.c.kind == "visit")
    visits = tuple(one for one in visits if one.entered.get("for_twin") == "yes")
    site_numbers = sorted({one.links["site"] for one in visits})
    sites = fetch_many(connection, record.c.id.in_(site_numbers)) if site_numbers else ()
    return {
        "engine": engine_version(),
        "kernel": kernel_key(),
        "build": _marked(build),
        "runs": [_marked(run) for run in runs],
        "rigs": [_marked(rig) for rig in rigs],
        "instruments": [_marked(one) for one in instruments],
        "visits": [_marked(one) for one in visits],
        "sites": [_marked(one) for one in sites],
    }


_NOT_READ = {
    "site": ("note", "needs", "survey", "design", "wanted_flow", "source", "source_flow", "route"),
    "visit": (
        "note",
        "found",
        "who",
        "purpose",
        "date",
        "care",
        "parts",
        "stroke_before",
        "mass_before",
        "source_flow",
    ),
}
"""What a fit does not read of a record; of other kinds it is the note alone."""


def _marked(one: Record) -> list[Any]:
    """Number, version, name and mark of a record."""
    return [one.id, one.version, one.name, mark_of(one)]


def mark_of(one: Record) -> str:
    """Mark of what is read of a record to work something out: it changes with that, and with a note it does not."""
    read = {key: value for key, value in one.entered.items() if key not in _NOT_READ.get(one.kind, ("note",))}
    links = {role: number for role, number in one.links.items() if role in ("build", "rig", "site", *INSTRUMENTS)}
    return hashlib.sha256(as_json([_sorted(read), sorted(links.items())]).encode()).hexdigest()[:16]


def _sorted(table: Mapping[str, Any]) -> list[Any]:
    """A table in an order that does not depend on how it was typed."""
    return [[key, _sorted(value) if isinstance(value, Mapping) else value] for key, value in sorted(table.items())]


def keep_twin(hand: Hand, build_id: int, twin: Twin, rests_on: Mapping[str, Any] | None) -> Record:
    """Keep a twin of a build beside the earlier ones.

    Raises
    ------
    InputError
        A twin of a build of another name.
    """
    build = fetch(hand.connection, "build", build_id)
    rests_on = _rests_on(hand.connection, build) if rests_on is None else rests_on
    if rests_on["build"][0] != build.id:
        raise InputError("twin", twin.build.name, f"it was not fitted from build '{build.name}'")
    count = hand.connection.execute(
        sa.select(sa.func.count()).select_from(record).where(record.c.build_id == build.id, record.c.kind == "twin")
    ).scalar_one()
    name = f"fit {count + 1} of {build.name}"
    name = name if len(name) <= 80 else f"{name[:60]} (number {build.id})"
    made = writing.add(
        hand,
        "twin",
        name,
        {
            "seed": twin.seed,
            "draws": len(twin.draws),
            "engine_runs": twin.engine_runs,
            "engine": rests_on["engine"],
            "kernel": rests_on["kernel"],
            "build": rests_on["build"][2],
            "runs": len(rests_on["runs"]),
        },
        {"pump": build.links["pump"], "build": build.id},
        si=_figures(twin),
    )
    hand.connection.execute(sa.insert(attachment).values(record_id=made.id, content=twin_bytes(twin, rests_on)))
    return made


_SI_OF_PARAMETERS = {"slip_volume": "m3", "body_air": "m3"}
"""End of the key by parameter; the others are coefficients without a unit."""


def _figures(twin: Twin) -> dict[str, float | None]:
    """Best values and 5 and 95 % points of the parameters."""
    found: dict[str, float | None] = {"model_form_spread": twin.model_form_spread}
    for name in twin.parameter_names:
        unit = _SI_OF_PARAMETERS.get(name, "")
        for point, values in (("best", twin.best), ("low", twin.low), ("high", twin.high)):
            key = "_".join(part for part in (name, point, unit) if part)
            found[key] = float(values[name]) if math.isfinite(values[name]) else None
    return found


def twin_of(connection: sa.Connection, build_id: int) -> KeptTwin | None:
    """The last twin kept of a build, and whether it is stale; None when there is none.

    Raises
    ------
    BookError
        It was kept by a version whose twins were of another shape.
    """
    build = fetch(connection, "build", build_id)
    row = connection.execute(
        sa.select(record, attachment.c.content)
        .join(attachment, attachment.c.record_id == record.c.id)
        .where(record.c.build_id == build.id, record.c.kind == "twin", record.c.removed == 0)
        .order_by(record.c.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    twin, rests_on = twin_from(row.content, f"twin of build '{build.name}'")
    reasons = _reasons(rests_on, _rests_on(connection, build))
    return KeptTwin(from_row(row), twin, bool(reasons), reasons)


_GONE = {
    "run": "taken away, or moved to another build,",
    "rig": "left without runs",
    "instrument": "left out of its rigs",
    "visit": "taken away, or out of the twin,",
    "site": "left without visits",
}


def _reasons(then: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    """What has changed between the fit and now, one sentence each."""
    reasons = []
    if then["engine"] != now["engine"]:
        reasons.append(f"Engine {then['engine']} made it; this is {now['engine']}.")
    elif then["kernel"] != now["kernel"]:
        reasons.append("The engine has been changed since the fit.")
    if then["build"][3] != now["build"][3]:
        reasons.append(f"The parts of build '{now['build'][2]}' were changed after the fit.")
    for kind in ("run", "rig", "instrument", "visit", "site"):  # an older twin does not have all of them
        before, after = ({one[0]: one for one in side.get(f"{kind}s", ())} for side in (then, now))
        for number, (_, _, name, mark) in before.items():
            if number not in after:
                reasons.append(f"{kind.capitalize()} '{name}' was {_GONE[kind]} after the fit.")
            elif after[number][3] != mark:
                reasons.append(f"{kind.capitalize()} '{after[number][2]}' was changed after the fit.")
        if kind in ("run", "visit"):
            reasons += [
                f"{kind.capitalize()} '{after[number][2]}' came after the fit."
                for number in after
                if number not in before
            ]
    return tuple(reasons)
