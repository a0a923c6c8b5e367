"""Invented results for the tests of charts and sheets; no pump, place or reading here is real."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.instruments import Instruments
from clackwork.bench.judge import Judgement, judge
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.pipes import find_pipe
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet
from clackwork.site.promise import REASONS
from clackwork.site.site import Promise, Range, Reason, Site
from clackwork.twin.twin import NextRun, Pinned, Residual, Twin
from clackwork.workbook import Trial, Workbook

BUILD = Build("Two-inch B (invented)", GuidedPoppet(0.35, 0.012, 0.04), DeliveryValve(0.03), AirVessel(0.003))
UGLY = 'Spring #1 *top* $x$ [a] @b \\ "q" <svg>'
"""A name full of what a markup language would trip over."""


def site(name: str = "Upper field (invented)", **changes: float) -> Site:
    """A place that never was."""
    line = DeliveryLine(
        find_pipe("pvc-sch40", "1 in"), changes.get("line_length", 95.0), changes.get("lift", 15.2), 8.0
    )
    return Site(
        name=name,
        fall=2.4,
        source_flow=changes.get("source_flow", 4.0e-4),
        drive_pipe=DrivePipe(find_pipe("pvc-sch40", "2 in"), changes.get("drive_length", 14.0)),
        line=line,
        fall_spread=0.02,
        source_flow_spread=2.0e-5,
        lift_spread=0.15,
        wanted_flow=2.5e-5,
    )


def promise(name: str = "Upper field (invented)", answer: str = "yes", scale: float = 1.0) -> Promise:
    """Figures that nobody measured or modelled."""

    def around(middle: float, part: float) -> Range:
        return Range(middle * (1.0 - part), middle, middle * (1.0 + part))

    return Promise(
        site=name,
        build=BUILD.name,
        answer=answer,
        reasons=(
            Reason(
                "too_little_water",
                "only if",
                REASONS["too_little_water"],
                {
                    "needed": (3.0e-4, "volume_flow"),
                    "needed_high": (3.27e-4, "volume_flow"),
                    "source_flow": (4.0e-4, "volume_flow"),
                },
            ),
        ),
        state_shares={"beating": 0.97, "stalled open": 0.03},
        daily_delivery=around(2310.0e-3 * scale, 0.14),
        delivered_flow=around(2.67e-5 * scale, 0.14),
        waste_flow=around(2.73e-4, 0.09),
        water_needed=around(3.0e-4, 0.09),
        beat_rate=around(1.02, 0.06),
        daubuisson_efficiency=around(0.563, 0.08),
        rankine_efficiency=around(0.521, 0.09),
        vessel_head=around(16.4, 0.02),
        peak_head=around(38.0, 0.1),
        surge_head=around(82.0, 0.08),
        rating_head=196.0,
        pressure_margin=2.21,
        stall_margin=0.62,
        water_there=around(4.0e-4, 0.08),
        share_enough_water=0.99,
        draws=200,
        seed=1,
        cautions=(
            "peak_pressure",
            "plastic_pipe",
            "untreated_water",
            "water_rights",
            "frost",
            "moving_valve",
        ),
    )


PARAMETERS = (
    "discharge_coefficient",
    "closing_coefficient",
    "damping",
    "loss_coefficient",
    "slip_volume",
    "wave_speed_scale",
)


def twin() -> Twin:
    """A fit that never was made."""
    best = dict(zip(PARAMETERS, (0.64, 0.58, 0.21, 4.2, 2.1e-6, 0.97), strict=True))
    spreads = (0.02, 0.03, 0.55, 0.08, 0.4, 0.06)
    priors = (0.25, 0.4, 0.6, 0.5, 0.8, 0.08)
    names = ("still 1", "shut 1", None, "delivering 2", "delivering 3", "dead head")
    figures = ("waste_flow", "beat_rate", "delivered_flow")
    shift = np.random.default_rng(7).normal(size=(6, 3))
    return Twin(
        build=BUILD,
        parameter_names=PARAMETERS,
        best=best,
        low={name: value * 0.9 for name, value in best.items()},
        high={name: value * 1.1 for name, value in best.items()},
        draws=np.ones((4, 6)),
        correlation=np.eye(6),
        pinned=tuple(
            Pinned(
                name,
                prior,
                after,
                run,
                f"{name.replace('_', ' ')}: {'pinned by ' + run if run else 'not pinned'}.",
            )
            for name, prior, after, run in zip(PARAMETERS, priors, spreads, names, strict=True)
        ),
        residuals=tuple(
            Residual(
                f"run {row + 1}",
                figure,
                1.0e-4,
                2.0e-6,
                1.0e-4 - 2.0e-6 * shift[row, column],
                float(shift[row, column]),
            )
            for row in range(6)
            for column, figure in enumerate(figures)
        ),
        model_form_spread=0.031,
        model_form_draws=np.full(4, 0.03),
        effective_draws=3.1,
        next_runs=(
            NextRun(
                "dead head at 2.4 m",
                0.31,
                "A dead-head run at 2.4 m of fall would narrow the promise by 31 %.",
            ),
            NextRun("held open", 0.05, "A held-open run would narrow it by 5 %."),
        ),
        warnings=("The damping stayed at its prior.",),
        seed=1,
        engine_runs=5210,
    )


def trace() -> dict[str, NDArray[np.float64]]:
    """Three beats drawn by hand."""
    time = np.linspace(0.0, 3.0, 3000)
    phase = time % 1.0
    opening = np.where(phase < 0.7, 0.012 * np.clip(phase / 0.05, 0.0, 1.0), 0.0)
    velocity = np.where(phase < 0.7, 1.6 * phase / 0.7, 1.6 * (1.0 - phase) / 0.3)
    head = np.where(phase < 0.7, 1.0, 17.0 + 20.0 * np.exp(-40.0 * (phase - 0.7)) * np.cos(300.0 * (phase - 0.7)))
    return {"time": time, "body_head": head, "velocity": velocity, "opening": opening}


OLD, NEW = "old flap", "new flap"


def runs(count: int = 5) -> tuple[Run, ...]:
    """Held-open runs that nobody made, old and new in turn; the new one passes a tenth more."""
    scatter = np.random.default_rng(3).normal(scale=0.008, size=2 * count)
    return tuple(
        Run(
            name=f"{(OLD, NEW)[place % 2]} {place // 2 + 1}",
            build=(OLD, NEW)[place % 2],
            rig="yard",
            kind=RunKind.HELD_OPEN,
            fall_start=2.0,
            fall_end=2.0,
            order=place + 1,
            duration=60.0,
            waste_volume=0.02 * (1.0 + 0.1 * (place % 2)) * (1.0 + float(scatter[place])),
            water_temperature=285.15,
            note="gust of wind" if place == 2 else "",
        )
        for place in range(2 * count)
    )


def judgement(count: int = 5) -> Judgement:
    """What a trial of those runs says."""
    figures = [reduce_run(run, Instruments()) for run in runs(count)]
    old = [figure for figure in figures if figure.run.build == OLD]
    new = [figure for figure in figures if figure.run.build == NEW]
    return judge(old, new, "waste_flow", margin=1.5e-5, difference_that_matters=3.0e-5)


def workbook(count: int = 5, *, site_names: tuple[str, ...] = ("Upper field (invented)",)) -> Workbook:
    """A workbook that holds them."""
    return Workbook(
        title="Spring trials (invented)",
        note="Every figure here is invented.",
        units="metric",
        rigs={},
        builds={BUILD.name: BUILD},
        runs=runs(count),
        trials={"flap": Trial("flap", (OLD, NEW), "waste_flow", RunKind.HELD_OPEN, 0.05, 0.1)},
        sites={name: site(name) for name in site_names},
        typed={},
        text="",
    )
