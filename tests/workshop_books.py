"""What tests put into a book: the demo's workbook, and a pump with parts and readings made up for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from clackwork.book import Book, Record

FLAP: Mapping[str, Any] = {
    "note": "moulded",
    "waste_valve": {
        "kind": "hinged flap",
        "mass": "140 g",
        "stroke": "7 mm",
        "seat_bore": "30 mm",
        "mass_distance": "22 mm",
        "seat_distance": "22 mm",
        "material_density": "4200 kg/m3",
    },
    "delivery_valve": {"bore": "20 mm", "loss_coefficient": 4.0},
    "air_vessel": {"volume": "3 L"},
}
POPPET: Mapping[str, Any] = {
    **FLAP,
    "waste_valve": {"kind": "guided poppet", "mass": "30 g", "stroke": "8 mm", "seat_bore": "30 mm"},
}
RIG: Mapping[str, Any] = {
    "fall": "2.10 m",
    "drive_pipe": {"series": "steel-sch40", "size": "1 in", "length": "12.0 m"},
    "instruments": {"gauge": {"name": "fine gauge", "full_scale": "4 bar"}},
}
RUN: Mapping[str, Any] = {
    "kind": "delivering",
    "duration": "2:00",
    "beats": 116,
    "waste_volume": "24.5 L",
    "delivered_volume": "7.80 L",
    "gauge_pressure": "0.58 bar",
}
TRIAL: Mapping[str, Any] = {
    "kind": "delivering",
    "figure": "delivered_flow",
    "margin": "5 %",
    "difference_that_matters": "10 %",
}
SITE: Mapping[str, Any] = {
    "fall": "3.00 m ± 0.03 m",
    "source_flow": "32 L/min",
    "lift_from_source": "19 m",
    "drive_pipe": {"series": "steel-sch40", "size": "1 in", "length": "18 m"},
    "delivery_line": {"series": "pe100-sdr11", "size": "25 mm", "length": "90 m"},
}

SHORT: Mapping[str, str] = {
    "waste_volume": "15.0 L",
    "waste_duration": "60 s",
    "delivered_volume": "3.0 L",
    "delivered_duration": "4:00",
    "beats": "124",
    "beats_duration": "2:00",
}
"""Readings of a visit that found less water delivered than promised."""


def demo_text() -> str:
    """The demo's workbook."""
    return (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Shop:
    """Records of a small workshop: one of each kind, two builds."""

    pump: Record
    flap: Record
    poppet: Record
    rig: Record
    trial: Record
    run: Record
    site: Record


def small_shop(book: Book, by: str = "Ann") -> Shop:
    """Put a small workshop into an empty book."""
    pump = book.add("pump", "25 mm", {}, by=by)
    flap = book.add("build", "flap", FLAP, links={"pump": pump.id}, by=by)
    poppet = book.add("build", "poppet", POPPET, links={"pump": pump.id, "revision_of": flap.id}, by=by)
    rig = book.add("rig", "yard", RIG, by=by)
    trial = book.add("trial", "lift", TRIAL, links={"old_build": flap.id, "new_build": poppet.id}, by=by)
    links = {"build": flap.id, "rig": rig.id, "trial": trial.id}
    run = book.add("run", "flap 3", RUN, links=links, by=by)
    return Shop(pump, flap, poppet, rig, trial, run, book.add("site", "Upper Hazel", SITE, by=by))
