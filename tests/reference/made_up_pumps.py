"""Do the ranges hold? Made-up pumps, simulated by the plain oracle, read with reading errors, fitted and promised.

Every pump is invented: true parameters are drawn from the priors of the fit, the bench runs are those of the oracle
(characteristics), read with the errors the instruments are said to have. The promise at other sites is then compared
with what the oracle says the true pump does there. ``python tests/reference/made_up_pumps.py 12`` prints the share covered.
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from kept_oracle import oracle_run

from clackwork.bench.instruments import Gauge, Instruments
from clackwork.bench.runs import Run, RunKind
from clackwork.errors import ModelError
from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.engine import RamCase, pack
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet, Supply
from clackwork.site.promise import SITE_FRICTION_SPREAD, SITE_WAVE_SPREAD, make_promise
from clackwork.site.site import Site
from clackwork.twin.fit import fit_twin, with_parameters
from clackwork.twin.forward import parameters_of
from clackwork.twin.twin import Rig

REACHES = 64
BEATS = 40
SITES = 6
INSTRUMENTS = Instruments(gauge=Gauge(full_scale=2.5e6, accuracy_class=0.006, resolution=5e3))


@dataclass(frozen=True)
class Covered:
    """One promise against the truth: which pump and figure, and whether the range held it."""

    pump: int
    figure: str
    low: float
    high: float
    truth: float

    @property
    def held(self) -> bool:
        return self.low <= self.truth <= self.high


def oracle(case: RamCase) -> dict[str, float]:
    """Means of the second half of the beats, by characteristics."""
    return oracle_run(case, REACHES, BEATS, 400.0)


def made_up_pump(seed: int) -> tuple[Build, Rig, RamCase]:
    """An invented build as described, its rig, and the true pump on the rig, which beats and does not stall."""
    for attempt in range(200):
        rng = np.random.default_rng([977, seed, attempt])
        pipe = find_pipe("steel-sch40", "1 in")
        fall = rng.uniform(1.5, 3.0)
        seat = rng.uniform(0.026, 0.031)
        poppet = GuidedPoppet(
            mass=rng.uniform(0.04, 0.09) * fall, stroke=rng.uniform(0.16, 0.26) * seat, seat_bore=seat
        )
        build = Build(f"made-up {seed}", poppet, DeliveryValve(0.022), AirVessel(4e-3))
        rig = Rig("yard", DrivePipe(pipe, rng.uniform(10.0, 16.0)), Supply(fall), instruments=INSTRUMENTS)
        truth = {p.name: p.median * math.exp(p.spread * rng.standard_normal()) for p in parameters_of(build)}
        case = RamCase(
            with_parameters(build, truth),
            rig.drive_pipe,
            rig.supply,
            friction_scale=truth["friction_scale"],
            wave_speed_scale=truth["wave_speed_scale"],
        )
        beats = [oracle(replace(case, vessel_head=ratio * fall)) for ratio in (4.0, 12.0)]
        if all(b["state"] == 0.0 and b["delivered_flow"] > 2e-6 and 0.6 < b["beat_period"] < 2.5 for b in beats):
            return build, rig, case
    raise RuntimeError("no beating pump among 200 draws")


def bench_runs(build: Build, case: RamCase, rng: np.random.Generator) -> list[Run]:
    """Nine runs of the true pump, read with the errors of the instruments."""
    fall = case.supply.fall
    class_error = INSTRUMENTS.gauge.accuracy_class * INSTRUMENTS.gauge.full_scale * rng.uniform(-1.0, 1.0)
    read_fall = fall + rng.uniform(-0.005, 0.005)
    common = {"build": build.name, "rig": "yard", "fall_start": read_fall}

    def bucket(flow: float, seconds: float) -> float:
        return flow * seconds + rng.uniform(-5e-5, 5e-5)

    def watch(seconds: float) -> float:
        return seconds + 0.10 * rng.standard_normal()

    def gauge(head: float) -> float:
        pressure = head * case.water.density * 9.80665 + class_error
        return float(round(pressure / 5e3) * 5e3)

    flow = kernel.terminal_velocity(pack(case)) * 0.25 * math.pi * case.drive_pipe.pipe.bore**2
    runs = [
        Run(name=f"held {i}", kind=RunKind.HELD_OPEN, drawn_volume=0.02, duration=watch(0.02 / flow), **common)
        for i in range(2)
    ]
    shut = oracle(replace(case, vessel_head=None))
    if shut["state"] == 0.0:
        counted = int(120.0 / shut["beat_period"] + rng.random())
        runs.append(
            Run(name="shut", kind=RunKind.SHUT_BEATING, duration=watch(120.0),
                drawn_volume=bucket(shut["drawn_flow"], 120.0), beats=counted, **common)
        )  # fmt: skip
        reading = gauge(shut["peak_head"] - case.build.delivery_valve.cracking_head)
        if reading < INSTRUMENTS.gauge.full_scale:
            runs.append(Run(name="dead", kind=RunKind.DEAD_HEAD, pressure_gauge=reading, **common))
    for ratio in (4.0, 7.0, 12.0):
        beat = oracle(replace(case, vessel_head=ratio * fall))
        seconds = 240.0
        runs.append(
            Run(name=f"delivering {ratio:g}", kind=RunKind.DELIVERING, duration=watch(seconds),
                waste_volume=bucket(beat["waste_flow"], seconds), delivered_volume=bucket(beat["delivered_flow"], seconds),
                beats=int(seconds / beat["beat_period"] + rng.random()), pressure_gauge=gauge(ratio * fall), **common)
        )  # fmt: skip
    return runs


def made_up_site(build: Build, truth: RamCase, rng: np.random.Generator, number: int) -> tuple[Site, RamCase]:
    """An invented site and the true pump there, on a pipe of its own; the delivery line is short and wide."""
    kind = ("steel-sch40", "1 in") if rng.random() < 0.7 else ("pvc-sch40", "1 in")
    fall = rng.uniform(1.2, 5.0)
    line = DeliveryLine(find_pipe("pe100-sdr11", "63 mm"), 2.0, fall * rng.uniform(4.0, 9.0))
    site = Site(f"place {number}", fall, 5e-3, DrivePipe(find_pipe(*kind), rng.uniform(8.0, 30.0)), line)
    there = RamCase(
        truth.build,
        site.drive_pipe,
        Supply(fall),
        vessel_head=line.lift,
        friction_scale=math.exp(SITE_FRICTION_SPREAD * rng.standard_normal()),
        wave_speed_scale=math.exp(SITE_WAVE_SPREAD * rng.standard_normal()),
    )
    return site, there


def study(seed: int) -> list[Covered]:
    """Fit one made-up pump and promise it at places where it truly beats."""
    rng = np.random.default_rng([978, seed])
    build, rig, truth = made_up_pump(seed)
    try:
        twin = fit_twin(build, {"yard": rig}, bench_runs(build, truth, rng), seed=seed)
    except ModelError as error:
        print(f"pump {seed}: {error}")
        return []
    found = []
    for number in range(3 * SITES):
        if len(found) >= 3 * SITES:
            break
        site, there = made_up_site(build, truth, rng, number)
        true = oracle(there)
        if true["state"] != 0.0 or true["delivered_flow"] < 1e-6:
            continue
        promise = make_promise(twin, site, seed=seed)
        for figure, given, value in (
            ("delivered_flow", promise.delivered_flow, true["delivered_flow"]),
            ("water_needed", promise.water_needed, true["drawn_flow"]),
            ("beat_rate", promise.beat_rate, 1.0 / true["beat_period"]),
        ):
            found.append(Covered(seed, figure, given.low, given.high, value))
    return found


def main(pumps: int) -> list[Covered]:
    """Run the study over ``pumps`` pumps and print the share covered by figure."""
    with ThreadPoolExecutor(2) as pool:
        found = [case for cases in pool.map(study, range(pumps)) for case in cases]
    for figure in ("delivered_flow", "water_needed", "beat_rate"):
        mine = [case for case in found if case.figure == figure]
        held = sum(case.held for case in mine)
        width = float(np.median([(case.high - case.low) / (case.high + case.low) for case in mine if case.high > 0.0]))
        print(f"{figure}: {held} of {len(mine)} held ({100 * held / len(mine):.0f} %), half width {100 * width:.0f} %")
    return found


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 12)
