"""Builds at many places, draw by draw: what a study over all customers rests on.

At one place every build has the same draws of fall, lift, friction, wave speed and source, so that the difference between
two builds is that of the builds. All rows of all places run in one sweep, on any executor.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clackwork.life.stress import landing_stress
from clackwork.ram import kernel
from clackwork.ram.batch import Progress
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import DeliveryLine
from clackwork.ram.shared import run_at_level, supply_loss
from clackwork.ram.sweep import Workers, sweep_rows
from clackwork.site.promise import drive_rating_head, site_rows, surge_heads
from clackwork.site.site import Site
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin
from clackwork.water import Water

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PlaceDraws:
    """One build at one place.

    Attributes
    ----------
    place, build : str
    beating : bool[draws]
    delivered_flow, drawn_flow, source_flow : float64[draws]
        Delivered is 0 where it does not beat [m3/s].
    beat_rate : float64[draws]
        [1/s]
    landing_energy : float64[draws]
        Of the waste valve as it shuts, over the area of its seat [J/m2]; 0 where it does not beat.
    highest_head : float64[draws]
        The higher of peak and surge [m above datum].
    rating_head : float
        Of the drive pipe [m].
    velocity_ratio : float64[draws]
        Closing velocity over the steady one; 1 where it stands open.
    """

    place: str
    build: str
    beating: NDArray[np.bool_]
    delivered_flow: FloatArray
    drawn_flow: FloatArray
    source_flow: FloatArray
    beat_rate: FloatArray
    landing_energy: FloatArray
    highest_head: FloatArray
    rating_head: float
    velocity_ratio: FloatArray

    @property
    def enough(self) -> NDArray[np.bool_]:
        """Whether it beats and the source gives what it draws."""
        return self.beating & (self.source_flow >= self.drawn_flow)

    @property
    def too_strong(self) -> NDArray[np.bool_]:
        """Whether head in the drive pipe passes its rating."""
        return self.highest_head > self.rating_head


def draw_places(
    asked: Sequence[tuple[Twin, Site]],
    *,
    draws: int = 100,
    seed: int = 1,
    executor: Workers = None,
    keep: Path | str | None = None,
    progress: Progress | None = None,
) -> list[PlaceDraws]:
    """Run every twin at its place.

    Parameters
    ----------
    asked : sequence of (Twin, Site)
        Places of the same name share their draws, in this call and in any other with the same seed.
    draws, seed : int
    executor, keep, progress
        As for :func:`clackwork.ram.sweep.sweep_rows`.

    Returns
    -------
    list of PlaceDraws
        In the order asked.
    """
    if not asked:
        return []
    rows, lines, noises, sources, all_lifts, losses = [], [], [], [], [], []
    for twin, site in asked:
        rng = np.random.default_rng([seed, zlib.crc32(site.name.encode())])
        packed, lifts, picks = site_rows(twin, site, draws, rng, 1)
        there = site.source_flow + site.source_flow_spread * rng.standard_normal(draws)
        case = _case(twin, site)
        rows.append(packed)
        all_lifts.append(lifts)
        lines.extend(_lines(site.line, lifts, case.water))
        losses.extend([supply_loss(case, 1)] * draws)
        sources.append(np.maximum(there, 0.0))
        noises.append(np.exp(twin.model_form_draws[picks][:, np.newaxis] * rng.standard_normal((draws, 3))))
    together = np.concatenate(rows)
    first = [(keep, progress)]

    def run(some: FloatArray, places: NDArray[np.intp]) -> FloatArray:
        # after the first turn only places behind a standpipe are left, at the level found
        kept, told = first.pop() if first else (None, None)
        return sweep_rows(some, lines=[lines[at] for at in places], executor=executor, keep=kept, progress=told)

    out = run_at_level(together, losses, run)
    pieces = zip(asked, rows, all_lifts, np.split(out, len(asked)), noises, sources, strict=True)
    return [
        _place_draws(twin, site, packed, lifts, found, noise, there)
        for (twin, site), packed, lifts, found, noise, there in pieces
    ]


def _case(twin: Twin, site: Site) -> RamCase:
    build = with_parameters(twin.build, twin.best)
    return RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)


def _lines(line: DeliveryLine, lifts: FloatArray, water: Water) -> list[tuple[DeliveryLine, Water]]:
    return [(replace(line, lift=float(lift)), water) for lift in lifts]


def _place_draws(
    twin: Twin,
    site: Site,
    packed: FloatArray,
    lifts: FloatArray,
    out: FloatArray,
    noise: FloatArray,
    there: FloatArray,
) -> PlaceDraws:
    place = kernel.R
    case = _case(twin, site)
    beating = np.isin(out[:, place["state"]], (kernel.BEATING, kernel.IRREGULAR)) & (out[:, place["beat_period"]] > 0.0)
    drawn = out[:, place["drawn_flow"]] * noise[:, 0]
    delivered = np.where(beating, out[:, place["delivered_flow"]] * noise[:, 1], 0.0)
    delivered = np.clip(delivered, 0.0, np.maximum(drawn, 0.0) * packed[:, kernel.P["fall"]] / lifts)
    rate = np.zeros(len(out))
    rate[beating] = noise[beating, 2] / out[beating, place["beat_period"]]
    valve = case.build.waste_valve
    mass = valve.reduced(case.water.density).effective_mass
    energy = np.where(beating, landing_stress(out[:, place["landing_speed_shut"]], mass, valve.seat_bore), 0.0)
    steady = np.array([kernel.terminal_velocity(row) for row in packed])
    ratio = np.where(beating, out[:, place["closing_velocity"]] / steady, 1.0)
    highest = np.maximum(np.where(beating, out[:, place["peak_head"]], 0.0), surge_heads(packed, out))
    return PlaceDraws(
        site.name,
        twin.build.name,
        beating,
        delivered,
        drawn,
        there,
        rate,
        energy,
        highest,
        drive_rating_head(case),
        ratio,
    )
