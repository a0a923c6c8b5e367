"""Errors of readings: what one instrument gets wrong, it gets wrong alike in every run."""

from __future__ import annotations

import numpy as np
import pytest

from clackwork.bench.gum import Component, Estimate, propagate
from clackwork.twin.reading_errors import LEAST_UNCERTAINTY, reading_errors

pytestmark = pytest.mark.unit
FLOOR = LEAST_UNCERTAINTY**2


def read(value: float, own: float, shared: float) -> Estimate:
    """A figure read with an error of its own and one that every run shares."""
    parts = [Component("dial", value, own), Component("class", 0.0, shared, shared_as="gauge: class")]
    return propagate(lambda v: v["dial"] + v["class"], parts)


def test_a_shared_error_ties_two_runs_and_one_of_their_own_does_not() -> None:
    errors = reading_errors(["one", "two"], [read(10.0, 0.1, 0.2), read(40.0, 0.4, 0.2)], [None, None], [None, None])
    found = errors.covariance(np.zeros(2), np.zeros(2))
    assert found[0, 1] == found[1, 0] == pytest.approx(0.02 * 0.005)
    assert np.diag(found) == pytest.approx([0.01**2 + 0.02**2 + FLOOR, 0.01**2 + 0.005**2 + FLOOR])


def test_a_set_point_errs_into_the_figures_by_their_slopes() -> None:
    """Two flows at one fall, read 1 % wrong: both are modelled wrong by half of it, and alike."""
    exact, fall = Estimate(1.0, 0.0, np.inf), read(2.0, 0.02, 0.0)
    errors = reading_errors(["one", "one"], [exact, exact], [fall, fall], [None, None])
    found = errors.covariance(np.array([0.5, 1.0]), np.zeros(2))
    assert found - FLOOR * np.eye(2) == pytest.approx(1e-4 * np.array([[0.25, 0.5], [0.5, 1.0]]))


def test_an_error_that_moves_figure_and_set_point_alike_cancels() -> None:
    """A gauge that reads high: the model is run at too high a head and the head read is too high by as much."""
    head = read(30.0, 0.0, 0.3)
    errors = reading_errors(["dead"], [head], [None], [head])
    assert errors.covariance(np.zeros(1), np.ones(1))[0, 0] == pytest.approx(FLOOR)
    assert errors.covariance(np.zeros(1), -np.ones(1))[0, 0] == pytest.approx(FLOOR + 0.02**2)
