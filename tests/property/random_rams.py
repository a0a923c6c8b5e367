"""Rams of any make within wide bounds, each worked out from numbers between 0 and 1."""

from __future__ import annotations

import math
from collections.abc import Mapping

from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Snifter,
    Supply,
    SupplyPipe,
    Surroundings,
    WasteValve,
)

PIPES = tuple(
    find_pipe(series, size)
    for series, size in (
        ("steel-sch40", "1/2 in"),
        ("steel-sch40", "1 in"),
        ("steel-sch40", "2 in"),
        ("steel-sch40", "1-1/2 in"),
        ("pvc-sch40", "1/2 in"),
        ("pvc-sch40", "1-1/2 in"),
        ("pvc-sch40", "2 in"),
        ("pe100-sdr11", "32 mm"),
        ("pe100-sdr11", "63 mm"),
    )
)
NUMBERS = (
    "pipe", "length", "fall", "lift", "shut", "entry", "gas", "above", "upper", "top", "temperature", "altitude",
    "kind", "seat", "mass", "stroke", "density", "spring", "preload", "tilt", "distance", "hinge", "discharge",
    "closing", "damping", "restitution", "worn", "grit", "delivery", "loss", "cracking", "slip", "back", "snifter",
    "body_air", "source", "vessel", "anchoring", "upper_length", "top_length",
)  # fmt: skip
"""Names of the numbers that make a ram, each 0 to 1."""


def _between(low: float, high: float, share: float) -> float:
    """A size between two of one sign, even in its logarithm."""
    return float(low * (high / low) ** share)


def _sometimes(share: float, often: float) -> float:
    """0 unless ``share`` is under ``often``; then that stretched to 0 to 1."""
    return share / often if share < often else 0.0


def _waste_valve(of: Mapping[str, float], bore: float, fall: float) -> WasteValve:
    """Heavy or light, with spring, tilt, leak and grit; loaded by a share of the fall over its seat's area."""
    seat = bore * _between(0.5, 1.6, of["seat"])
    density = _between(1150.0, 11000.0, of["density"])
    load = 9.81 * 1000.0 * 0.25 * math.pi * seat**2 * fall * _between(0.02, 1.0, of["mass"])
    mass = min(max(load / 9.81 / (1.0 - 1000.0 / density), 1e-3), 45.0)
    stroke = seat * _between(0.03, 0.5, of["stroke"])
    common = {
        "mass": mass,
        "stroke": stroke,
        "seat_bore": seat,
        "material_density": density,
        "tilt": 0.9 * _sometimes(of["tilt"], 0.5),
        "discharge_coefficient": 0.3 + 0.7 * of["discharge"],
        "closing_coefficient": 0.1 + 1.4 * of["closing"],
        "damping": 5.0 * _sometimes(of["damping"], 0.6),
        "restitution": 0.6 * of["restitution"],
        "seat_leak_area": 0.005 * seat**2 * _sometimes(of["worn"], 0.2),
        "held_open": 0.05 * stroke * _sometimes(of["grit"], 0.1),
    }
    if of["kind"] < 0.5:
        rate, preload = load / stroke * _sometimes(of["spring"], 0.4), load * _sometimes(of["preload"], 0.4)
        return GuidedPoppet(**common, spring_rate=min(rate, 1e5), spring_preload=min(preload, 500.0))
    distance = seat * (0.6 + of["distance"])
    return HingedFlap(
        **common,
        mass_distance=distance,
        seat_distance=distance,
        hinge_stiffness=min(0.2 * load * distance * _sometimes(of["hinge"], 0.3), 100.0),
    )


def _drive_pipe(of: Mapping[str, float], place: int, fall: float) -> DrivePipe:
    """One to three pipes in series, of any materials, those above a third to three times as long as the last."""
    pipe = PIPES[place]
    length = _between(2.0, min(60.0, max(12.0 * fall, 300.0 * pipe.bore)), of["length"])
    upstream = None
    for name, often in (("top", 0.1), ("upper", 0.3)):
        if of["above"] < often:
            its_length = length * _between(0.33, 3.0, of[f"{name}_length"])
            upstream = DrivePipe(PIPES[int(of[name] * 8.999)], its_length, upstream=upstream)
    return DrivePipe(
        pipe,
        length,
        entry_loss=0.1 + 20.0 * _sometimes(of["entry"], 0.3),
        anchoring=("throughout", "one_end", "joints")[int(of["anchoring"] * 2.999)],  # type: ignore[arg-type]
        gas_fraction=0.01 * _sometimes(of["gas"], 0.2),
        upstream=upstream,
    )


def ram_of(of: Mapping[str, float]) -> RamCase:
    """The ram that the :data:`NUMBERS` make; its waste valve may lack a load to open it."""
    place = int(of["pipe"] * 8.999)
    bore = PIPES[place].bore
    fall = _between(0.3, 20.0, of["fall"])
    supply = Supply(fall)
    if of["source"] < 0.1:
        supply = Supply(fall, plan_area=_between(100.0, 3000.0, of["source"] / 0.1) * bore**2,
                        feed=SupplyPipe(PIPES[min(place + 1, 3)], 20.0))  # fmt: skip
    build = Build(
        "random",
        _waste_valve(of, bore, fall),
        DeliveryValve(
            bore * _between(0.25, 1.2, of["delivery"]),
            loss_coefficient=_between(0.5, 60.0, of["loss"]),
            cracking_head=_sometimes(of["cracking"], 0.6),
            slip_volume=0.3 * bore**3 * _sometimes(of["slip"], 0.5),
            leak_area=0.005 * bore**2 * _sometimes(of["back"], 0.2),
        ),
        AirVessel(_between(2e-4, 5e-2, of["vessel"])),
        body_air=min(2.0 * bore**3 * _sometimes(of["body_air"], 0.4), 1e-3),
        snifter=Snifter(_between(3e-4, 3e-3, of["snifter"] / 0.3)) if of["snifter"] < 0.3 else None,
    )
    return RamCase(
        build,
        _drive_pipe(of, place, fall),
        supply,
        Surroundings(274.0 + 35.0 * of["temperature"], 4000.0 * of["altitude"]),
        vessel_head=None if of["shut"] < 0.1 else _between(max(0.3, 0.5 * fall), 100.0, of["lift"]),
    )
