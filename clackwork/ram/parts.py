"""The parts of a ram and of the line it stands in, as given: frozen, SI, no behaviour beyond geometry.

Heads are metres of water above the level at which the waste valve spills (the datum).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from clackwork.errors import InputError, require_range
from clackwork.hammer import Anchoring
from clackwork.pipes import Pipe
from clackwork.water import Water

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2] (ISO 80000-3)."""


@dataclass(frozen=True)
class ReducedValve:
    """A waste valve reduced to one coordinate, the opening at the seat.

    Attributes
    ----------
    effective_mass : float
        Mass that moves with the opening, added water included [kg].
    opening_load_shut, opening_load_open : float
        Load that opens the valve, at zero opening and at full stroke [N]; linear between.
    """

    effective_mass: float
    opening_load_shut: float
    opening_load_open: float


def _added_water_mass(bore: float, density: float) -> float:
    """Added mass of a thin disc moving broadside, (8/3) rho r^3 [kg] (Lamb, Hydrodynamics; from memory)."""
    return 8.0 / 3.0 * density * (0.5 * bore) ** 3


def _check_common(valve: GuidedPoppet | HingedFlap) -> None:
    require_range("waste_valve.mass", valve.mass, 1e-4, 50.0, "kg", "Weigh the moving part dry.")
    require_range("waste_valve.stroke", valve.stroke, 1e-4, 0.2, "m", "Measure the opening at the middle of the seat.")
    require_range("waste_valve.seat_bore", valve.seat_bore, 0.003, 0.5, "m", "Was it millimetres?")
    require_range("waste_valve.material_density", valve.material_density, 850.0, 20000.0, "kg/m3")
    require_range("waste_valve.discharge_coefficient", valve.discharge_coefficient, 0.1, 1.5, "")
    require_range("waste_valve.closing_coefficient", valve.closing_coefficient, 0.02, 3.0, "")
    require_range("waste_valve.damping", valve.damping, 0.0, 100.0, "N s/m")
    require_range("waste_valve.restitution", valve.restitution, 0.0, 0.9, "")
    require_range("waste_valve.seat_leak_area", valve.seat_leak_area, 0.0, 1e-3, "m2")
    require_range(
        "waste_valve.held_open", valve.held_open, 0.0, 0.9 * valve.stroke, "m", "It must stay below the stroke."
    )


@dataclass(frozen=True)
class GuidedPoppet:
    """A waste valve that moves straight along a guide, opening against the flow by weight, spring or both.

    Attributes
    ----------
    mass : float
        Moving part, weighed dry [kg].
    stroke : float
        Travel from shut to the open stop [m].
    seat_bore : float
        Bore of the seat [m].
    material_density : float
        Mean density of the moving part [kg/m3]; sets its weight under water.
    spring_rate, spring_preload : float
        Rate [N/m] and force at the open stop [N] of a spring that pushes the valve open.
    tilt : float
        Angle of the guide from upright [rad]; 0 opens straight down, pi/2 lies level.
    discharge_coefficient : float
        Of the curtain and seat bore in series; fitted by the twin.
    closing_coefficient : float
        Share of body head times seat area that acts on a very wide open valve; fitted by the twin.
    damping : float
        Viscous damping of the moving part [N s/m].
    restitution : float
        Share of speed kept at a stop.
    seat_leak_area : float
        Area of the leak past a shut worn seat times its discharge coefficient [m2].
    held_open : float
        Opening at which grit stops the valve short of its seat [m].
    """

    mass: float
    stroke: float
    seat_bore: float
    material_density: float = 7850.0
    spring_rate: float = 0.0
    spring_preload: float = 0.0
    tilt: float = 0.0
    discharge_coefficient: float = 0.65
    closing_coefficient: float = 0.6
    damping: float = 0.2
    restitution: float = 0.1
    seat_leak_area: float = 0.0
    held_open: float = 0.0

    def __post_init__(self) -> None:
        _check_common(self)
        require_range("waste_valve.spring_rate", self.spring_rate, 0.0, 1e5, "N/m")
        require_range("waste_valve.spring_preload", self.spring_preload, -500.0, 500.0, "N")
        require_range("waste_valve.tilt", self.tilt, 0.0, math.pi, "rad", "Tilt is measured from upright.")

    def reduced(self, water_density: float) -> ReducedValve:
        """Effective mass and opening loads in water of ``water_density`` [kg/m3]."""
        weight = self.mass * (1.0 - water_density / self.material_density) * STANDARD_GRAVITY * math.cos(self.tilt)
        at_stop = weight + self.spring_preload
        return ReducedValve(
            self.mass + _added_water_mass(self.seat_bore, water_density),
            at_stop + self.spring_rate * self.stroke,
            at_stop,
        )


@dataclass(frozen=True)
class HingedFlap:
    """A waste valve that swings on a hinge; its opening is measured at the middle of the seat.

    Attributes
    ----------
    mass, stroke, seat_bore, material_density
        As for :class:`GuidedPoppet`.
    mass_distance : float
        Hinge to centre of mass [m].
    seat_distance : float
        Hinge to middle of the seat [m].
    inertia : float or None
        Moment of inertia about the hinge, dry [kg m2]; None takes a disc of the seat's bore about the hinge.
    hinge_stiffness : float
        Elastic moment that draws the flap shut [N m/rad].
    tilt : float
        Body from upright, towards the side where the flap hangs nearer its seat [rad].
    discharge_coefficient, closing_coefficient, damping, restitution, seat_leak_area, held_open
        As for :class:`GuidedPoppet`.
    """

    mass: float
    stroke: float
    seat_bore: float
    mass_distance: float
    seat_distance: float
    inertia: float | None = None
    hinge_stiffness: float = 0.0
    material_density: float = 7850.0
    tilt: float = 0.0
    discharge_coefficient: float = 0.65
    closing_coefficient: float = 0.6
    damping: float = 0.2
    restitution: float = 0.1
    seat_leak_area: float = 0.0
    held_open: float = 0.0

    def __post_init__(self) -> None:
        _check_common(self)
        require_range("waste_valve.mass_distance", self.mass_distance, 1e-3, 1.0, "m")
        require_range("waste_valve.seat_distance", self.seat_distance, 1e-3, 1.0, "m")
        require_range("waste_valve.hinge_stiffness", self.hinge_stiffness, 0.0, 100.0, "N m/rad")
        require_range("waste_valve.tilt", self.tilt, 0.0, math.pi, "rad", "Tilt is measured from upright.")
        if self.stroke / self.seat_distance > 1.2:
            raise InputError(
                "waste_valve.stroke",
                f"{self.stroke:g} m",
                f"it must stay below 1.2 times the hinge to seat distance of {self.seat_distance:g} m",
                "Measure the opening at the middle of the seat, not at the edge.",
            )

    def reduced(self, water_density: float) -> ReducedValve:
        """Effective mass and opening loads at the seat in water of ``water_density`` [kg/m3]."""
        inertia = self.inertia
        if inertia is None:
            inertia = self.mass * (self.mass_distance**2 + (0.25 * self.seat_bore) ** 2)
        added = _added_water_mass(self.seat_bore, water_density)
        moment = self.mass * (1.0 - water_density / self.material_density) * STANDARD_GRAVITY * self.mass_distance
        angle = self.stroke / self.seat_distance
        return ReducedValve(
            inertia / self.seat_distance**2 + added,
            moment * math.cos(self.tilt) / self.seat_distance,
            (moment * math.cos(self.tilt + angle) - self.hinge_stiffness * angle) / self.seat_distance,
        )


WasteValve = GuidedPoppet | HingedFlap


@dataclass(frozen=True)
class DeliveryValve:
    """The check valve between body and vessel.

    Attributes
    ----------
    bore : float
        Bore of its seat [m].
    loss_coefficient : float
        Loss in velocity heads of the bore; fitted by the twin.
    cracking_head : float
        Head above the vessel's that opens it [m].
    slip_volume : float
        Water that runs back through it before it seats, each beat [m3]; fitted by the twin.
    leak_area : float
        Area of the leak past the shut valve times its discharge coefficient [m2].
    """

    bore: float
    loss_coefficient: float = 4.0
    cracking_head: float = 0.05
    slip_volume: float = 0.0
    leak_area: float = 0.0

    def __post_init__(self) -> None:
        require_range("delivery_valve.bore", self.bore, 0.002, 0.5, "m", "Was it millimetres?")
        require_range("delivery_valve.loss_coefficient", self.loss_coefficient, 0.1, 500.0, "")
        require_range("delivery_valve.cracking_head", self.cracking_head, 0.0, 10.0, "m")
        require_range("delivery_valve.slip_volume", self.slip_volume, 0.0, 0.01, "m3")
        require_range("delivery_valve.leak_area", self.leak_area, 0.0, 1e-3, "m2")


@dataclass(frozen=True)
class Snifter:
    """A hole just below the delivery valve: it draws air in the recoil, and spits a little water under pressure.

    Attributes
    ----------
    bore : float
        [m]
    discharge_coefficient : float
        Of a sharp hole; 0.6 from memory.
    room : float or None
        Room for air between the hole and the delivery valve [m3]; air beyond it is blown out through the hole. None
        takes a cylinder as wide and as high as the bore of the delivery valve (our reading of "just below").
    """

    bore: float
    discharge_coefficient: float = 0.6
    room: float | None = None

    def __post_init__(self) -> None:
        require_range("snifter.bore", self.bore, 2e-4, 0.02, "m", "Snifters are 1 to 2 mm: was it millimetres?")
        require_range("snifter.discharge_coefficient", self.discharge_coefficient, 0.1, 1.0, "")
        if self.room is not None:
            require_range("snifter.room", self.room, 0.0, 0.01, "m3")

    @property
    def effective_area(self) -> float:
        """Area times discharge coefficient [m2]."""
        return self.discharge_coefficient * 0.25 * math.pi * self.bore**2


@dataclass(frozen=True)
class AirVessel:
    """The air vessel: water and air over the delivery valve.

    Attributes
    ----------
    volume : float
        Whole volume inside [m3].
    precharge_gauge : float
        Air pressure in it before water came in [Pa gauge]; 0 is a fill of outside air.
    polytropic_index : float
        1 isothermal to 1.4 adiabatic.
    """

    volume: float
    precharge_gauge: float = 0.0
    polytropic_index: float = 1.2

    def __post_init__(self) -> None:
        require_range("air_vessel.volume", self.volume, 1e-5, 1.0, "m3", "Was it litres?")
        require_range("air_vessel.precharge_gauge", self.precharge_gauge, 0.0, 4e6, "Pa")
        require_range("air_vessel.polytropic_index", self.polytropic_index, 1.0, 1.4, "")

    def air_at(self, head: float, water: Water) -> float:
        """Air in it with the head of its water at ``head`` [m above datum] [m3]; at most the whole vessel, as more leaves
        by the outlet."""
        outside = water.atmospheric_pressure_abs
        weight = water.density * STANDARD_GRAVITY
        inside = (head + outside / weight) * weight
        return self.volume * min(((outside + self.precharge_gauge) / inside) ** (1.0 / self.polytropic_index), 1.0)


@dataclass(frozen=True)
class Build:
    """One pump with given parts.

    Attributes
    ----------
    name : str
    waste_valve : GuidedPoppet or HingedFlap
    delivery_valve : DeliveryValve
    air_vessel : AirVessel
    body_air : float
        Air trapped in the body, as a volume at outside pressure [m3]; fitted by the twin.
    snifter : Snifter or None
        None for a pump without one.
    """

    name: str
    waste_valve: WasteValve
    delivery_valve: DeliveryValve
    air_vessel: AirVessel
    body_air: float = 0.0
    snifter: Snifter | None = None

    def __post_init__(self) -> None:
        require_range("build.body_air", self.body_air, 0.0, 1e-3, "m3")

    @property
    def snifter_room(self) -> float:
        """Room for air between snifter and delivery valve [m3]; 0 without a snifter."""
        if self.snifter is None:
            return 0.0
        if self.snifter.room is not None:
            return self.snifter.room
        return 0.25 * math.pi * self.delivery_valve.bore**3

    def retuned(self, *, stroke: float | None = None, mass: float | None = None, tilt: float | None = None) -> Build:
        """The same build with another stroke [m], moving mass [kg] or tilt [rad]."""
        valve = self.waste_valve
        changed = replace(
            valve,
            stroke=valve.stroke if stroke is None else stroke,
            mass=valve.mass if mass is None else mass,
            tilt=valve.tilt if tilt is None else tilt,
        )
        return replace(self, waste_valve=changed)


@dataclass(frozen=True)
class DrivePipe:
    """The pipe between supply and pump.

    Attributes
    ----------
    pipe : Pipe
        Wall, bore and material.
    length : float
        [m]
    entry_loss : float
        Loss at its mouth and fittings in velocity heads, the velocity head itself not counted.
    anchoring : str
        How the pipe is held, as in :func:`clackwork.hammer.restraint_factor`.
    gas_fraction : float
        Free gas in the water by volume at outside pressure.
    upstream : DrivePipe or None
        The pipe it comes from when it is not one pipe all the way, two such pipes at most; ``entry_loss`` counts at the
        uppermost only.
    """

    pipe: Pipe
    length: float
    entry_loss: float = 0.5
    anchoring: Anchoring = "joints"
    gas_fraction: float = 0.0
    upstream: DrivePipe | None = None

    def __post_init__(self) -> None:
        require_range("drive_pipe.length", self.length, 0.5, 500.0, "m")
        require_range("drive_pipe.entry_loss", self.entry_loss, 0.0, 100.0, "")
        require_range("drive_pipe.gas_fraction", self.gas_fraction, 0.0, 0.05, "")
        above = self.upstream.upstream if self.upstream else None
        if above is not None and above.upstream is not None:
            raise InputError("drive_pipe.upstream", "four pipes", "a drive pipe has three at most", "Join like pipes.")


@dataclass(frozen=True)
class SupplyPipe:
    """A pipe from the source to an open standpipe or tank at the head of the drive pipe.

    Attributes
    ----------
    pipe : Pipe
    length : float
        [m]
    fittings_loss : float
        Sum of entry, exit and fitting losses in velocity heads.
    """

    pipe: Pipe
    length: float
    fittings_loss: float = 1.5

    def __post_init__(self) -> None:
        require_range("supply_pipe.length", self.length, 0.5, 2000.0, "m")
        require_range("supply_pipe.fittings_loss", self.fittings_loss, 0.0, 1000.0, "")


@dataclass(frozen=True)
class Supply:
    """Where the water comes from.

    Attributes
    ----------
    fall : float
        Supply surface above the datum at the start [m].
    plan_area : float
        Of a vessel that falls as it empties, or of the standpipe [m2]; infinite for a constant head.
    feed : SupplyPipe or None
        Brings the water from a source at ``fall`` into a standpipe of ``plan_area``; None for none.
    """

    fall: float
    plan_area: float = math.inf
    feed: SupplyPipe | None = None

    def __post_init__(self) -> None:
        require_range("supply.fall", self.fall, 0.05, 100.0, "m", "Fall is the supply surface above the spill level.")
        if not self.plan_area > 0.0:
            raise InputError("supply.plan_area", f"{self.plan_area:g} m2", "it must be above zero")
        if self.feed is not None and not math.isfinite(self.plan_area):
            raise InputError(
                "supply.plan_area", "none", "a standpipe fed by a supply pipe has one", "Measure its inside diameter."
            )

    def at_level(self, fall: float) -> Supply:
        """The same held at a level [m above datum]: a standpipe keeps its plan area, a vessel falls no more."""
        return replace(self, fall=fall, plan_area=self.plan_area if self.feed else math.inf)


@dataclass(frozen=True)
class DeliveryLine:
    """The pipe from vessel to outlet.

    Attributes
    ----------
    pipe : Pipe
    length : float
        [m]
    lift : float
        Outlet above the datum, that is lift from the pump [m].
    fittings_loss : float
        Sum of fitting losses in velocity heads.
    leak_area : float
        Area of a leak on the way times its discharge coefficient [m2].
    leak_place : float
        Share of length and lift at which it leaks.
    """

    pipe: Pipe
    length: float
    lift: float
    fittings_loss: float = 0.0
    leak_area: float = 0.0
    leak_place: float = 0.5

    def __post_init__(self) -> None:
        require_range("delivery_line.leak_area", self.leak_area, 0.0, 1e-3, "m2")
        require_range("delivery_line.leak_place", self.leak_place, 0.0, 1.0, "")
        require_range("delivery_line.length", self.length, 0.1, 20000.0, "m")
        require_range("delivery_line.lift", self.lift, 0.0, 400.0, "m")
        require_range("delivery_line.fittings_loss", self.fittings_loss, 0.0, 1000.0, "")


@dataclass(frozen=True)
class Surroundings:
    """Water temperature [K] and altitude [m] of the place."""

    temperature: float = field(default=283.15)
    altitude: float = field(default=0.0)
