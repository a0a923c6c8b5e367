"""Workshops with a hidden truth: two builds, places, and what the workshop knows of them; all invented.

The truth is run by the engine itself, so that what is tested is the decision and its stated risks, not the engine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from clackwork.life.exposures import Exposure
from clackwork.life.site_draws import PlaceDraws, draw_places
from clackwork.life.stress import LifeModel, LifePriors, Spread, StressedExposure, fit_life
from clackwork.life.switching import SwitchPlace, SwitchStudy, study_switch
from clackwork.life.worth import PartTerms, WaterTerms, yearly_worth
from clackwork.pipes import find_pipe
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet
from clackwork.site.site import Site
from clackwork.twin.fit import with_parameters
from clackwork.twin.forward import parameters_of
from clackwork.twin.twin import Twin

PLACES = 7
DRAWS = 24
KNOWN_TO = {
    "discharge_coefficient": 0.05,
    "closing_coefficient": 0.06,
    "delivery_loss": 0.4,
    "slip_volume": 0.4,
    "body_air": 0.6,
}
"""Spread of the logarithm to which a fit pins each (invented, about what the demo's fits reach)."""
BEATS_A_YEAR = 3.2e7
REFERENCE = 100.0
PRIORS = LifePriors(Spread(math.log(BEATS_A_YEAR), 1.0))


@dataclass(frozen=True)
class Workshop:
    """What is known and what is true of one workshop.

    Attributes
    ----------
    study : SwitchStudy
        From what is known.
    truth : float64[places]
        True gain of a year at each place.
    bench_gain : bool
        Whether the new build delivered more for its water on the one bench.
    told_stall, stalls : float64[places], bool[places]
        Stated chance that the new build does not serve, and whether it truly does not.
    """

    study: SwitchStudy
    truth: np.ndarray
    bench_better: bool
    told_stall: np.ndarray
    stalls: np.ndarray


def _twin(build: Build, rng: np.random.Generator) -> tuple[Twin, Twin]:
    """What a fit would know of a build, and the truth as a twin without doubt."""
    parameters = parameters_of(build)
    names = tuple(one.name for one in parameters)
    widths = np.array([KNOWN_TO.get(name, 0.0) for name in names])
    medians = np.array([one.median for one in parameters])
    true = medians * np.exp(2.0 * widths * rng.standard_normal(len(names)))
    middle = true * np.exp(widths * rng.standard_normal(len(names)))
    values = middle * np.exp(widths * rng.standard_normal((DRAWS, len(names))))

    def made(best: np.ndarray, draws: np.ndarray) -> Twin:
        by_name = dict(zip(names, (float(one) for one in best), strict=True))
        return Twin(
            build=with_parameters(build, by_name),
            parameter_names=names,
            best=by_name,
            low=by_name,
            high=by_name,
            draws=draws,
            correlation=np.eye(len(names)),
            pinned=(),
            residuals=(),
            model_form_spread=0.0,
            model_form_draws=np.zeros(len(draws)),
            effective_draws=float(len(draws)),
            next_runs=(),
            warnings=(),
            seed=1,
            engine_runs=0,
        )

    return made(middle, values), made(true, true[np.newaxis])


def _builds(rng: np.random.Generator) -> tuple[Build, Build]:
    """Old and new: the new one heavier or lighter, with another stroke."""
    valve = GuidedPoppet(mass=rng.uniform(0.10, 0.25), stroke=rng.uniform(0.004, 0.007), seat_bore=0.028)
    other = replace(valve, mass=valve.mass * rng.uniform(0.8, 1.7), stroke=valve.stroke * rng.uniform(0.85, 1.3))
    delivery, vessel = DeliveryValve(0.022), AirVessel(4e-3)
    return Build("old", valve, delivery, vessel), Build("new", other, delivery, vessel)


def _site(name: str, rng: np.random.Generator) -> Site:
    fall = float(rng.uniform(0.7, 4.5))
    lift = fall * float(rng.uniform(3.0, 9.0))
    return Site(
        name,
        fall,
        float(rng.uniform(2.5e-4, 9e-4)),
        DrivePipe(find_pipe("steel-sch40", "1 in"), float(rng.uniform(8.0, 20.0))),
        DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 4.0 * lift, lift),
        fall_spread=0.04 * fall,
        source_flow_spread=2e-5,
        lift_spread=0.03 * lift,
        wanted_flow=float(rng.uniform(2e-6, 2e-5)),
    )


def _true_site(site: Site, rng: np.random.Generator) -> Site:
    """The place as it is: within what was measured of it."""
    return replace(
        site,
        fall=site.fall * (1.0 + 0.04 * rng.standard_normal()),
        fall_spread=0.0,
        source_flow=max(site.source_flow + 2e-5 * rng.standard_normal(), 1e-5),
        source_flow_spread=0.0,
        line=replace(site.line, lift=site.line.lift * (1.0 + 0.03 * rng.standard_normal())),
        lift_spread=0.0,
    )


def _life(years: float, parts: int, rng: np.random.Generator) -> tuple[LifeModel, LifeModel]:
    """What the records of some parts teach, and the truth."""
    shape, exponent = float(rng.uniform(1.5, 3.0)), float(rng.uniform(0.5, 1.5))
    scale = years * BEATS_A_YEAR
    records = []
    for _ in range(parts):
        stress = REFERENCE * float(rng.uniform(0.5, 2.0))
        lived = scale * (stress / REFERENCE) ** -exponent * float(rng.weibull(shape))
        watched = BEATS_A_YEAR * float(rng.uniform(0.5, 3.0))
        exposure = Exposure(lived, lived) if lived < watched else Exposure(watched)
        records.append(StressedExposure(exposure, stress))
    known = fit_life(records, PRIORS, reference=REFERENCE, draws=400, seed=int(rng.integers(1 << 30)))
    one = np.ones(1)
    true = LifeModel(REFERENCE, scale * one, shape * one, exponent * one, 0.0, 0.0, 1.0, 1.0, PRIORS)
    return known, true


def make_workshop(seed: int) -> Workshop:
    """One workshop, its study and its truth."""
    rng = np.random.default_rng([61, seed])
    water = WaterTerms(value=float(rng.uniform(0.3, 2.0)), trouble_cost=float(rng.uniform(50.0, 400.0)))
    twins = [_twin(build, rng) for build in _builds(rng)]
    lives = [_life(float(np.exp(rng.normal(0.0, 0.6))), 6, rng), _life(float(np.exp(rng.normal(0.7, 0.8))), 3, rng)]
    costs = [(20.0, 30.0), (float(rng.uniform(20.0, 120.0)), float(rng.uniform(30.0, 80.0)))]
    known, true = ([PartTerms(life[which], *cost) for life, cost in zip(lives, costs, strict=True)] for which in (0, 1))
    sites = [_site(f"place {i}", rng) for i in range(PLACES)]
    there = [_true_site(site, rng) for site in sites]
    drawn = draw_places([(twin, site) for site in sites for twin in (twins[0][0], twins[1][0])], draws=DRAWS, seed=seed)
    # the truth has one pipe each, no rougher and no slower than its draw says: the first draw's friction and wave speed
    truly = draw_places(
        [(twin, site) for site in there for twin in (twins[0][1], twins[1][1])], draws=1, seed=seed + 1000
    )
    pairs = list(zip(drawn[::2], drawn[1::2], strict=True))
    study = study_switch(
        [SwitchPlace(site, "25 mm", 1.0, old, new) for site, (old, new) in zip(sites, pairs, strict=True)],
        *known,
        water,
    )
    gains = [
        float(
            yearly_worth(new, true[1], water, site.wanted_flow, 1)[0]
            - yearly_worth(old, true[0], water, site.wanted_flow, 1)[0]
        )
        for site, old, new in zip(there, truly[::2], truly[1::2], strict=True)
    ]
    return Workshop(study, np.array(gains), _bench(twins, seed), *_stalls(pairs, truly[1::2]))


def _bench(twins: list[tuple[Twin, Twin]], seed: int) -> bool:
    """Whether the new build delivers more at the workshop's own place, truly and without error."""
    yard = Site("yard", 2.0, 1e-3, DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0),
                DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 40.0, 10.0))  # fmt: skip
    old, new = draw_places([(twins[0][1], yard), (twins[1][1], yard)], draws=1, seed=seed)
    return bool(new.delivered_flow[0] > old.delivered_flow[0])


def _stalls(pairs: list[tuple[PlaceDraws, PlaceDraws]], truly: list[PlaceDraws]) -> tuple[np.ndarray, np.ndarray]:
    told = np.array([float(np.mean(~new.beating)) for _, new in pairs])
    return told, np.array([not one.beating[0] for one in truly])
