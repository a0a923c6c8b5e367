"""Relations that hold for any pipe."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from clackwork.pipes import Pipe, catalogue, custom_pipe, steel_rating

PIPES = st.sampled_from([pipe for series in catalogue() for pipe in series.pipes])


@given(PIPES, st.floats(273.15, 313.15), st.floats(273.15, 313.15))
def test_rating_never_rises_with_heat(pipe: Pipe, one: float, other: float) -> None:
    cool, warm = sorted((one, other))
    assert 0.0 < pipe.rating_at(warm) <= pipe.rating_at(cool) * (1.0 + 1e-12)
    assert pipe.rating_gauge is not None
    assert pipe.rating_at(cool) <= pipe.rating_gauge


@given(st.floats(0.02, 0.5), st.floats(0.0025, 0.009), st.sampled_from([11.5, 14.0]))
def test_thicker_steel_holds_more(outside: float, wall: float, threads: float) -> None:
    assert steel_rating(outside, wall * 1.1, threads) > steel_rating(outside, wall, threads) > 0.0


@given(st.floats(0.005, 0.5), st.floats(0.01, 0.49))
def test_custom_pipe_keeps_what_it_was_given(bore: float, share: float) -> None:
    wall = max(bore * share, 0.0003)
    pipe = custom_pipe(bore, wall, "PVC")
    assert (pipe.bore, pipe.wall) == (bore, wall)
    assert pipe.outside_diameter == bore + 2.0 * wall
