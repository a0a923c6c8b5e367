"""Invented runs for the bench tests: figures as wanted, with the default instruments."""

from __future__ import annotations

from collections.abc import Sequence

from clackwork.bench.instruments import Instruments
from clackwork.bench.runs import Run, RunFigures, RunKind, reduce_run

EXACT_ENOUGH = 600.0  # [s] so long that timing hardly matters


def held_open(
    build: str,
    flows: Sequence[float],
    *,
    orders: Sequence[int] | None = None,
    falls: Sequence[float] | None = None,
    temperatures: Sequence[float] | None = None,
    rig: str = "yard",
    instruments: Instruments | None = None,
) -> list[RunFigures]:
    """Runs with the valve held open that give these waste flows [m3/s]."""
    found = []
    for i, flow in enumerate(flows):
        run = Run(
            name=f"{build}{i + 1}",
            build=build,
            rig=rig,
            kind=RunKind.HELD_OPEN,
            order=orders[i] if orders else i,
            fall_start=falls[i] if falls else 1.5,
            duration=EXACT_ENOUGH,
            waste_volume=flow * EXACT_ENOUGH,
            water_temperature=temperatures[i] if temperatures else None,
        )
        found.append(reduce_run(run, instruments or Instruments()))
    return found
