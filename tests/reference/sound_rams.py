"""Invented rams in sound order that several reference tests run, and the figures that docs/engine.md quotes."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

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
)

NARROW_SNIFTER = Snifter(0.001)
"""The narrow end of the 1 to 2 mm that are usual (from memory)."""
US_GALLON = 3.785411784e-3
PER_MINUTE = 60.0
_PAGE = Path(__file__).resolve().parents[2] / "docs" / "engine.md"


def swept_volume(bore: float) -> float:
    """Water that a delivery valve's disc sweeps as it seats [m3], pi D^3/16.

    It lifts by a quarter of its bore, where curtain and bore are one area; what it sweeps runs back at every beat.
    """
    return math.pi * bore**3 / 16.0


def one_inch_ram(
    fall: float,
    lift: float,
    length: float,
    *,
    mass: float = 0.2,
    stroke: float = 0.006,
    plastic: bool = False,
    slips: bool = True,
    snifter: Snifter | None = None,
) -> RamCase:
    """A 25 mm metal ram on steel or PVC pipe, its vessel held at ``lift``; invented."""
    valve = DeliveryValve(0.022, slip_volume=swept_volume(0.022) if slips else 0.0)
    poppet = GuidedPoppet(mass=mass, stroke=stroke, seat_bore=0.028)
    build = Build("one inch", poppet, valve, AirVessel(4e-3), snifter=snifter)
    pipe = find_pipe("pvc-sch40" if plastic else "steel-sch40", "1 in")
    return RamCase(build, DrivePipe(pipe, length), Supply(fall), vessel_head=lift)


def metal_ram(mass: float = 0.2, stroke: float = 0.006) -> RamCase:
    """A 25 mm metal ram on 6 m of fall and 30 m of steel pipe against 40 m; invented."""
    return one_inch_ram(6.0, 40.0, 30.0, mass=mass, stroke=stroke)


def half_inch_ram(mass: float = 0.012, fall: float = 0.9) -> RamCase:
    """A half-inch ram on 12.2 m of half-inch PVC against eight times its fall; invented."""
    flap = HingedFlap(
        mass=mass, stroke=0.005, seat_bore=0.016, mass_distance=0.02, seat_distance=0.02, material_density=4000.0
    )
    valve = DeliveryValve(0.013, slip_volume=swept_volume(0.013))
    build = Build("half inch", flap, valve, AirVessel(1e-3))
    return RamCase(build, DrivePipe(find_pipe("pvc-sch40", "1/2 in"), 12.2), Supply(fall), vessel_head=8.0 * fall)


def shut(case: RamCase) -> RamCase:
    """The same ram with its delivery shut."""
    return replace(case, vessel_head=None, line=None)


@cache
def _quoted() -> dict[str, float]:
    rows = re.findall(r"^\| ([^|]+?) \| (-?[0-9.]+)[^|]* \|", _PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return {name: float(value) for name, value in rows}


def assert_quoted(name: str, computed: float, tolerance: float = 0.1) -> None:
    """Fail when the figure that docs/engine.md quotes under this name is no longer what is computed."""
    quoted = _quoted()[name]
    off = abs(computed - quoted)
    assert off <= tolerance * abs(quoted), f"docs/engine.md says {quoted:g} for {name!r}; computed {computed:.4g}"


def sniffing(case: RamCase, bore: float) -> RamCase:
    """The same ram with a snifter hole of this bore [m]."""
    return replace(case, build=replace(case.build, snifter=Snifter(bore)))
