"""Faults as changes to a case, each with a size: what a fault finder asks the engine to run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from clackwork.errors import InputError, require_range
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import STANDARD_GRAVITY, Snifter


@dataclass(frozen=True)
class Fault:
    """One thing that can be wrong, and how the engine is told of it.

    Attributes
    ----------
    name : str
    words : str
        What it is, for a reader.
    size : str
        What its size means, with unit and the value of a sound pump.
    smallest, largest : float
        Sizes allowed, SI.
    change : callable
        (case, size) -> case with the fault.
    """

    name: str
    words: str
    size: str
    smallest: float
    largest: float
    change: Callable[[RamCase, float], RamCase]

    def apply(self, case: RamCase, size: float) -> RamCase:
        """The case with this fault of a ``size``.

        Raises
        ------
        InputError
            When the size is out of range, or the case lacks the part at fault.
        """
        require_range(f"fault.{self.name}", size, self.smallest, self.largest, "", f"It is {self.size}.")
        return self.change(case, size)


def _grit(case: RamCase, size: float) -> RamCase:
    return replace(case, build=replace(case.build, waste_valve=replace(case.build.waste_valve, held_open=size)))


def _worn_seat(case: RamCase, size: float) -> RamCase:
    return replace(case, build=replace(case.build, waste_valve=replace(case.build.waste_valve, seat_leak_area=size)))


def _delivery_leak(case: RamCase, size: float) -> RamCase:
    return replace(case, build=replace(case.build, delivery_valve=replace(case.build.delivery_valve, leak_area=size)))


def _lost_air(case: RamCase, size: float) -> RamCase:
    vessel = case.build.air_vessel
    left = replace(vessel, volume=vessel.volume * (1.0 - size))
    return replace(case, build=replace(case.build, air_vessel=left))


def _much_air(case: RamCase, size: float) -> RamCase:
    """More air in the vessel: it takes the place of a share of the water there, down to the outlet.

    Modelled: the air that stands in the vessel, and with it ripple and period; whatever more it is given leaves by the
    outlet (:meth:`clackwork.ram.parts.AirVessel.air_at`), and how much that is each beat is the snifter's air
    (``BeatResult.snifted_air``). Not modelled: what that air does on its way. A line that rises all the way is
    lightened by it, by little; in one with high points it stays and throttles, for which
    "throttled_line" stands. Nor a vessel with a bladder: charged above the head at work it takes no water, and works
    like one that is "waterlogged".
    """
    line, vessel, water = case.line, case.build.air_vessel, case.water
    head = line.lift if case.vessel_head is None and line else case.vessel_head
    if head is None:
        raise InputError("fault.overfilled", "delivery shut", "the case needs a head", "Hold one, or give a line.")
    weight = water.density * STANDARD_GRAVITY
    outside, air = water.atmospheric_pressure_abs, vessel.air_at(head, water)
    share = (air + size * (vessel.volume - air)) / vessel.volume
    precharge = (outside + head * weight) * share**vessel.polytropic_index - outside
    charged = replace(vessel, precharge_gauge=max(precharge, vessel.precharge_gauge))
    return replace(case, build=replace(case.build, air_vessel=charged))


def _air_in_pipe(case: RamCase, size: float) -> RamCase:
    return replace(case, drive_pipe=replace(case.drive_pipe, gas_fraction=size))


def _blocked_strainer(case: RamCase, size: float) -> RamCase:
    return replace(case, drive_pipe=replace(case.drive_pipe, entry_loss=case.drive_pipe.entry_loss + size))


def _loose_pipe(case: RamCase, size: float) -> RamCase:
    return replace(case, wave_speed_scale=case.wave_speed_scale * size)


def _throttled_line(case: RamCase, size: float) -> RamCase:
    if case.line is None:
        raise InputError("fault.throttled_line", "no delivery line", "the case needs one", "Give its pipe and length.")
    return replace(case, line=replace(case.line, fittings_loss=case.line.fittings_loss + size))


def _leaking_line(case: RamCase, size: float) -> RamCase:
    if case.line is None:
        raise InputError("fault.leaking_line", "no delivery line", "the case needs one", "Give its pipe and length.")
    return replace(case, line=replace(case.line, leak_area=size))


def _wide_snifter(case: RamCase, size: float) -> RamCase:
    return replace(case, build=replace(case.build, snifter=Snifter(size)))


def _air_in_body(case: RamCase, size: float) -> RamCase:
    return replace(case, build=replace(case.build, body_air=size))


FAULTS = {
    fault.name: fault
    for fault in (
        Fault("grit", "grit holds the waste valve off its seat", "the gap left [m], 0 when sound", 0.0, 0.01, _grit),
        Fault(
            "worn_seat",
            "the waste valve's seat or rubber leaks",
            "the leak's area times its discharge coefficient [m2], 0 when sound",
            0.0,
            1e-4,
            _worn_seat,
        ),
        Fault(
            "delivery_leak",
            "the delivery valve leaks back",
            "the leak's area times its discharge coefficient [m2], 0 when sound",
            0.0,
            1e-4,
            _delivery_leak,
        ),
        Fault(
            "waterlogged",
            "the air vessel has lost air",
            "the share of its air lost, 0 when sound",
            0.0,
            0.99,
            _lost_air,
        ),
        Fault(
            "overfilled",
            "the air vessel holds too much air",
            "the share of its water that air has taken the place of, 0 when sound, 1 with the level at its outlet",
            0.0,
            1.0,
            _much_air,
        ),
        Fault(
            "air_in_drive_pipe",
            "air is drawn into the drive pipe",
            "free air in the water by volume, 0 when sound",
            0.0,
            0.05,
            _air_in_pipe,
        ),
        Fault(
            "air_in_body",
            "air is trapped in the body",
            "its volume at outside pressure [m3], 0 when sound",
            0.0,
            1e-3,
            _air_in_body,
        ),
        Fault(
            "blocked_strainer",
            "strainer or pipe mouth is blocked",
            "the loss added, in velocity heads of the drive pipe, 0 when sound",
            0.0,
            90.0,
            _blocked_strainer,
        ),
        Fault(
            "loose_pipe",
            "the drive pipe is flexible or loose",
            "the share of its wave speed left, 1 when sound",
            0.2,
            1.0,
            _loose_pipe,
        ),
        Fault(
            "throttled_line",
            "the delivery line is partly shut or blocked",
            "the loss added, in velocity heads of the delivery line, 0 when sound",
            0.0,
            900.0,
            _throttled_line,
        ),
        Fault(
            "leaking_line",
            "the delivery line leaks on its way",
            "the leak's area times its discharge coefficient [m2], 0 when sound",
            0.0,
            1e-3,
            _leaking_line,
        ),
        Fault("wide_snifter", "the snifter hole is too wide", "its bore [m]", 2e-4, 0.02, _wide_snifter),
    )
}
"""Every fault by name."""
