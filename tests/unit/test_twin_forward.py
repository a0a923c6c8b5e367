"""What a twin is fitted to: figures read, and figures read as nothing, which have no logarithm."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from clackwork.bench.instruments import Gauge, Instruments
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.pipes import find_pipe
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply
from clackwork.twin.fit import fit_twin
from clackwork.twin.forward import Forward, build_forward
from clackwork.twin.report import not_fitted_sentences
from clackwork.twin.twin import Rig

BUILD = Build("pump", GuidedPoppet(0.1, 0.007, 0.03), DeliveryValve(0.02), AirVessel(3e-3))
RIG = Rig(
    "yard",
    DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0),
    Supply(2.0),
    instruments=Instruments(gauge=Gauge(full_scale=4e6)),
)
OPEN: dict[str, Any] = {"kind": RunKind.HELD_OPEN, "duration": 30.0, "waste_volume": 0.024}
GIVING: dict[str, Any] = {
    "kind": RunKind.DELIVERING,
    "duration": 120.0,
    "waste_volume": 0.02,
    "delivered_volume": 0.003,
    "beats": 130,
    "pressure_gauge": 1.4e5,
}
NOTHING = {**GIVING, "delivered_volume": 0.0, "pressure_gauge": 2.0e6}


def run(name: str, base: dict[str, Any], **changed: Any) -> Run:
    return Run(**{"name": name, "build": "pump", "rig": "yard", "fall_start": 2.0, **base, **changed})


def laid_out(*runs: Run) -> Forward:
    return build_forward(BUILD, {"yard": RIG}, runs, [reduce_run(one, RIG.instruments) for one in runs])


def test_every_figure_of_a_run_is_a_target() -> None:
    dead = run("c", {"kind": RunKind.DEAD_HEAD, "pressure_gauge": 1.5e6})
    shut = run("d", {"kind": RunKind.SHUT_BEATING, "duration": 60.0, "waste_volume": 0.005, "beats": 55})
    found = laid_out(run("a", OPEN), run("b", GIVING), dead, shut)
    assert [(target.run, target.figure) for target in found.targets] == [
        ("a", "waste_flow"),
        ("b", "waste_flow"),
        ("b", "beat_rate"),
        ("b", "delivered_flow"),
        ("c", "shut_off_head"),
        ("d", "waste_flow"),
        ("d", "beat_rate"),
    ]
    assert found.not_fitted == () and all(target.spread >= 2e-3 for target in found.targets)


@pytest.mark.parametrize(
    ("changed", "figure"),
    [({"delivered_volume": 0.0}, "delivered_flow"), ({"beats": 0}, "beat_rate"), ({"waste_volume": 0.0}, "waste_flow")],
)
def test_a_figure_read_as_nothing_is_not_fitted_and_the_rest_kept(changed: dict[str, Any], figure: str) -> None:
    found = laid_out(run("b", GIVING, **changed))
    assert found.not_fitted == (("b", figure),)
    assert {target.figure for target in found.targets} == {"waste_flow", "beat_rate", "delivered_flow"} - {figure}
    assert np.isfinite(np.log([target.measured for target in found.targets])).all()


def test_words_for_what_is_not_fitted() -> None:
    not_fitted = (("a", "delivered_flow"), ("b", "delivered_flow"), ("b", "beat_rate"))
    delivered, beats = not_fitted_sentences(not_fitted)
    assert delivered.startswith("Runs a, b read the delivered flow as nothing.") and "less back-pressure" in delivered
    assert beats.startswith("Run b read the beat rate as nothing.")
    assert not_fitted_sentences(()) == ()


@pytest.mark.slow
def test_a_pump_that_delivered_nothing_is_fitted_and_told() -> None:
    twin = fit_twin(BUILD, {"yard": RIG}, [run("a", OPEN), run("b", NOTHING)], draws=40)
    assert {one.figure for one in twin.residuals if one.run == "b"} == {"waste_flow", "beat_rate"}
    assert any(words.startswith("Run b read the delivered flow as nothing.") for words in twin.warnings)
    assert all(np.isfinite(one.normalised) for one in twin.residuals) and np.isfinite(twin.draws).all()
