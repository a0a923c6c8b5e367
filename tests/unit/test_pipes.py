"""The catalogue: finding a pipe, its rating, pipe of one's own, and what a wrong question is told."""

from __future__ import annotations

import pytest

from clackwork.errors import InputError
from clackwork.pipes import (
    catalogue,
    copper_rating,
    custom_pipe,
    find_pipe,
    material_names,
    series_names,
    steel_rating,
)

PSI = 6894.757293168


def test_series_names_are_the_catalogue() -> None:
    assert series_names() == tuple(series.name for series in catalogue())
    assert series_names() == (
        "pvc-sch40",
        "pvc-sch80",
        "steel-sch40",
        "pe100-sdr11",
        "pe100-sdr13.6",
        "pe100-sdr17",
        "pvc-pn10",
        "pvc-pn16",
        "copper-type-l",
    )


def test_every_row_has_a_source_and_sound_sizes() -> None:
    for series in catalogue():
        diameters = [pipe.outside_diameter for pipe in series.pipes]
        assert diameters == sorted(set(diameters))
        assert len({pipe.size for pipe in series.pipes}) == len(series.pipes)
        for pipe in series.pipes:
            assert (pipe.series, pipe.material) == (series.name, series.material)
            assert pipe.standard == series.standard
            assert pipe.standard.split()[0] in pipe.source
            assert pipe.bore + 2.0 * pipe.wall == pytest.approx(pipe.outside_diameter, rel=1e-12)
            assert 0.010 < pipe.bore < 0.085
            assert pipe.rating_gauge is not None
            assert 0.9e6 < pipe.rating_gauge < 7e6


def test_every_catalogue_pipe_is_found_by_its_own_label() -> None:
    for series in catalogue():
        for pipe in series.pipes:
            assert find_pipe(series.name, pipe.size) is pipe


@pytest.mark.parametrize(
    "size", ["1-1/4 in", "1 1/4 in", '1-1/4"', "1 1/4″", "1.25", "1-1/4", "1¼ in", " 1-1/4 INCH ", "5/4 in."]
)
def test_sizes_may_be_typed_in_many_ways(size: str) -> None:
    assert find_pipe("steel-sch40", size).size == "1-1/4 in"


@pytest.mark.parametrize("series", ["Steel Sch 40", "STEEL-SCH40", "steel_sch40"])
def test_series_may_be_typed_in_many_ways(series: str) -> None:
    assert find_pipe(series, "1 in").series == "steel-sch40"


def test_metric_size_with_and_without_its_unit() -> None:
    assert find_pipe("pe100-sdr11", "25mm") is find_pipe("pe100-sdr11", "25")


def test_unknown_series_names_the_nearest() -> None:
    with pytest.raises(InputError, match=r"series = pvc-40 .*pvc-sch40") as caught:
        find_pipe("pvc-40", "1 in")
    assert caught.value.field == "series"
    with pytest.raises(InputError, match=", ".join(series_names())):
        find_pipe("???", "1 in")


@pytest.mark.parametrize("size", ["25 mm", "1-3/4 in", "DN25", "big", "1/0", "", "1--4"])
def test_unknown_size_lists_the_sizes(size: str) -> None:
    with pytest.raises(InputError, match=r"1/2 in, 3/4 in, 1 in, 1-1/4 in, 1-1/2 in, 2 in") as caught:
        find_pipe("pvc-sch40", size)
    assert caught.value.field == "size"


def test_inches_are_not_taken_for_millimetres() -> None:
    with pytest.raises(InputError, match="size"):
        find_pipe("pe100-sdr11", "25 in")


def test_rating_falls_along_straight_lines() -> None:
    pipe = find_pipe("pvc-sch40", "1 in")
    full = 450.0 * PSI
    assert pipe.rating_at(273.15) == pytest.approx(full, rel=1e-4)
    halfway = (95.0 + 459.67) / 1.8  # between 90 F, .75, and 100 F, .62
    assert pipe.rating_at(halfway) == pytest.approx(full * 0.685, rel=1e-4)


@pytest.mark.parametrize(("series", "too_warm"), [("pvc-sch40", 333.2), ("pe100-sdr11", 313.2)])
def test_plastic_too_warm_is_refused(series: str, too_warm: float) -> None:
    pipe = catalogue()[series_names().index(series)].pipes[0]
    assert pipe.rating_at(too_warm - 0.06) > 0.0
    with pytest.raises(InputError, match="temperature"):
        pipe.rating_at(too_warm)
    with pytest.raises(InputError, match="temperature"):
        pipe.rating_at(273.0)


def test_threads_halve_schedule_80_and_are_refused_on_thinner_plastic() -> None:
    thick = find_pipe("pvc-sch80", "1 in")
    assert thick.rating_at(293.15, threaded=True) == pytest.approx(thick.rating_at(293.15) / 2.0)
    with pytest.raises(InputError, match=r"threaded = True .*only schedule 80"):
        find_pipe("pvc-sch40", "1 in").rating_at(293.15, threaded=True)
    steel = find_pipe("steel-sch40", "1 in")
    assert steel.rating_at(293.15, threaded=True) == steel.rating_at(293.15)


def test_steel_rating_by_hand() -> None:
    # 33.4 mm, 3.38 mm less 12.5 %, thread 0.8 x 25.4/11.5 = 1.76696 mm deep: 1.19054 mm left;
    # 2 x 66.1897 MPa x 1.19054/(33.4 - 0.8 x 1.19054) = 4.8571 MPa
    assert steel_rating(0.0334, 0.0029575, 11.5) == pytest.approx(4.8571e6, rel=1e-4)
    assert find_pipe("steel-sch40", "1 in").rating_gauge == pytest.approx(4.8571e6, rel=1e-4)
    with pytest.raises(InputError, match="thread would cut through"):
        steel_rating(0.0334, 0.0017, 11.5)


def test_copper_rating_by_hand() -> None:
    # 2 x 6000 x (0.050 - 0.005)/1.125 = 480 psi
    assert copper_rating(1.125 * 0.0254, 0.045 * 0.0254) == pytest.approx(480.0 * PSI, rel=1e-9)
    assert find_pipe("copper-type-l", "1 in").rating_gauge == pytest.approx(480.0 * PSI, rel=1e-4)


def test_custom_pipe_takes_the_rest_from_its_material() -> None:
    pipe = custom_pipe(0.05, 0.004, " Steel ")
    assert (pipe.series, pipe.material, pipe.size) == ("custom", "steel", "50 mm bore")
    assert pipe.outside_diameter == pytest.approx(0.058)
    assert pipe.youngs_modulus == find_pipe("steel-sch40", "1 in").youngs_modulus
    own = custom_pipe(0.05, 0.004, "PVC", rating_gauge=1e6, youngs_modulus=3e9, poisson=0.4, roughness=0.0)
    assert (own.youngs_modulus, own.poisson, own.roughness, own.rating_at(290.0)) == (3e9, 0.4, 0.0, 1e6)


def test_unrated_pipe_will_not_guess() -> None:
    with pytest.raises(InputError, match="no pressure rating"):
        custom_pipe(0.05, 0.004, "steel").rating_at(290.0)


@pytest.mark.parametrize(
    ("field", "changed"),
    [
        ("bore", {"bore": 50.0}),
        ("bore", {"bore": 0.0005}),
        ("wall", {"wall": 4.0}),
        ("wall", {"wall": 0.0}),
        ("material", {"material": "bamboo"}),
        ("rating_gauge", {"rating_gauge": 0.0}),
        ("youngs_modulus", {"youngs_modulus": 207.0}),
        ("poisson", {"poisson": 0.6}),
        ("roughness", {"roughness": 0.01}),
    ],
)
def test_custom_pipe_names_the_wrong_field(field: str, changed: dict[str, object]) -> None:
    arguments: dict[str, object] = {"bore": 0.05, "wall": 0.004, "material": "steel", **changed}
    with pytest.raises(InputError) as caught:
        custom_pipe(**arguments)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_material_names() -> None:
    assert set(material_names()) == {series.material for series in catalogue()}


@pytest.mark.parametrize("series", series_names())
def test_plastic_is_known_by_its_material(series: str) -> None:
    (pipes,) = [one.pipes for one in catalogue() if one.name == series]
    assert {pipe.plastic for pipe in pipes} == {series.startswith(("pvc", "pe100"))}


@pytest.mark.parametrize(("material", "plastic"), [("PVC", True), ("pe100", True), ("steel", False), ("copper", False)])
def test_pipe_of_your_own_is_plastic_by_its_material(material: str, plastic: bool) -> None:
    assert custom_pipe(0.025, 0.003, material).plastic is plastic
