"""The kernel against the plain method of characteristics, over random rams.

The oracle is another scheme of our own, so agreement shows that the kernel solves the stated model, not that the
model is the pump: the outside checks stand in the other reference tests.
"""

from __future__ import annotations

import numpy as np
import pytest

from clackwork.pipes import Pipe, find_pipe
from clackwork.ram import kernel
from clackwork.ram.characteristics import ORACLE_RESULTS, simulate_plain
from clackwork.ram.engine import RamCase, choose_resolution, pack, run_beats
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply

CASES = 200
STALL_HAIR = 0.985
"""Closing velocity over the steady one above which a ram is within a hair of standing open."""


def random_ram(seed: int) -> RamCase:
    """A ram of random but sensible size; invented."""
    rng = np.random.default_rng([41, seed])
    pipe: Pipe = find_pipe(*(("steel-sch40", "1 in") if rng.random() < 0.5 else ("pvc-sch40", "1/2 in")))
    fall = rng.uniform(0.8, 6.0)
    seat = pipe.bore * rng.uniform(0.9, 1.2)
    scale = (pipe.bore / 0.0266) ** 2 * fall
    poppet = GuidedPoppet(
        mass=rng.uniform(0.01, 0.05) * scale,
        stroke=rng.uniform(0.12, 0.3) * seat,
        seat_bore=seat,
        closing_coefficient=rng.uniform(0.4, 0.9),
    )
    delivery = DeliveryValve(0.8 * pipe.bore, slip_volume=rng.choice([0.0, 2e-6]))
    build = Build("random", poppet, delivery, AirVessel(1e-3), body_air=rng.choice([0.0, 5e-7]))
    return RamCase(build, DrivePipe(pipe, rng.uniform(8.0, 40.0)), Supply(fall), vessel_head=fall * rng.uniform(2.0, 10.0))


def oracle(case: RamCase, reaches: int = 96) -> dict[str, float]:
    out = np.zeros(len(ORACLE_RESULTS))
    simulate_plain(pack(case), reaches, 20, 400.0, out)
    return dict(zip(ORACLE_RESULTS, out, strict=True))


@pytest.mark.parametrize("block", range(8))
def test_kernel_meets_the_oracle(block: int) -> None:
    compared = 0
    for seed in range(block, CASES, 8):
        case = random_ram(seed)
        ours = run_beats(case)
        plain = oracle(case)
        states = {0.0: "beating", 1.0: "stalled open", 2.0: "stalled shut"}
        if ours.state == "irregular" or ours.beat_spread * ours.beat_rate > 0.01:
            continue  # beats that never repeat are compared as long means elsewhere
        if ours.velocity_ratio > STALL_HAIR:
            continue  # within a hair of standing open
        assert ours.state == states[plain["state"]], (seed, ours.state, plain)
        if ours.state != "beating":
            continue
        compared += 1
        drawn = plain["drawn_flow"]
        assert ours.beat_rate * plain["beat_period"] == pytest.approx(1.0, abs=0.01), seed
        assert ours.waste_flow == pytest.approx(plain["waste_flow"], abs=0.01 * drawn), seed
        lift_ratio = case.vessel_head / case.supply.fall
        assert ours.delivered_flow == pytest.approx(plain["delivered_flow"], abs=0.01 * drawn / lift_ratio), seed
    assert compared >= 10


def test_halving_the_step_moves_little() -> None:
    moved = []
    for seed in range(60):
        case = random_ram(seed)
        ours = run_beats(case)
        if ours.state != "beating" or ours.beat_spread * ours.beat_rate > 0.005 or ours.velocity_ratio > STALL_HAIR:
            continue
        fine = run_beats(case, resolution=choose_resolution(case, refine=2))
        moved.append(
            max(abs(ours.waste_flow / fine.waste_flow - 1), abs(ours.beat_rate / fine.beat_rate - 1))
        )
    assert len(moved) >= 15
    assert max(moved) < 0.005


def test_batch_is_the_single_run_to_the_last_bit() -> None:
    from clackwork.ram.batch import run_packed

    packed = np.array([pack(random_ram(seed)) for seed in range(12)])
    one, two = run_packed(packed, workers=1), run_packed(packed, workers=2)
    assert np.array_equal(one, two)
    alone = np.zeros(len(kernel.RESULTS))
    kernel.simulate(packed[5], alone, np.zeros((0, len(kernel.TRACE_COLUMNS))), 1)
    assert np.array_equal(alone, one[5])
