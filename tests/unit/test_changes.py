"""What differs between two builds."""

from __future__ import annotations

from dataclasses import replace

from clackwork.ram.changes import changes_between
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, GuidedPoppet, HingedFlap

POPPET = Build("poppet", GuidedPoppet(0.2, 0.006, 0.028), DeliveryValve(0.022), AirVessel(4e-3))
FLAP = replace(POPPET, waste_valve=HingedFlap(0.1, 0.006, 0.028, 0.02, 0.02))


def test_the_same_build_has_no_changes() -> None:
    assert changes_between(POPPET, replace(POPPET, name="other name")) == ()


def test_another_kind_of_valve_is_one_change() -> None:
    assert changes_between(FLAP, POPPET) == ("waste valve",)


def test_part_and_tilt_are_two_changes() -> None:
    assert changes_between(FLAP, POPPET.retuned(tilt=0.1)) == ("waste valve", "tilt")
    assert changes_between(POPPET, POPPET.retuned(mass=0.3, tilt=0.1)) == ("waste valve mass", "tilt")


def test_delivery_valve_and_vessel_are_seen() -> None:
    other = replace(POPPET, delivery_valve=DeliveryValve(0.025), air_vessel=AirVessel(5e-3))
    assert changes_between(POPPET, other) == ("delivery valve", "air vessel")


def test_another_first_guess_is_no_change() -> None:
    assert changes_between(POPPET, replace(POPPET, delivery_valve=DeliveryValve(0.022, loss_coefficient=9.0))) == ()
