"""A case: everything a run needs, frozen and in SI (temperatures in kelvin, angles in radians)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil, floor, pi
from typing import NamedTuple

from .alloys import Alloy
from .torch import Arc, Pedal
from .units import rounded

__all__ = [
    "CONTROLS",
    "HANDS",
    "ORDERS",
    "STARTS",
    "Arc",
    "ArcTack",
    "Bench",
    "Brazed",
    "Case",
    "Chill",
    "Choice",
    "Display",
    "Fillet",
    "Fixture",
    "Flange",
    "Lap",
    "Limits",
    "Pedal",
    "Probe",
    "Scale",
    "Spread",
    "Supplies",
    "Surroundings",
    "Tack",
    "Travel",
    "Tube",
    "tacked_layers",
]

ORDERS = ("in-turn", "opposite", "quarters", "backstep")
CONTROLS = ("steady", "pedal")
STARTS = ("timed", "on-flow")
HANDS = ("clock", "flow", "pedal")  # by the clock, waiting for flow, and with a pedal


@dataclass(frozen=True)
class Tube:
    """Thin tube; `length` [m] is free, from the flange's torch side, or whole on a bead-on-tube."""

    alloy: str
    outside_diameter: float
    wall: float
    length: float

    @property
    def radius(self) -> float:
        """Outside radius [m]."""
        return 0.5 * self.outside_diameter

    @property
    def circumference(self) -> float:
        """Outside circumference [m]."""
        return pi * self.outside_diameter


@dataclass(frozen=True)
class Flange:
    """Round plate with a bore for the tube [m]."""

    alloy: str
    thickness: float
    outside_diameter: float


@dataclass(frozen=True)
class Lap:
    """How far the tube enters the bore, and the radial gap when cold [m]."""

    depth: float
    clearance: float


@dataclass(frozen=True)
class Fillet:
    """Equal-legged fillet and the rod that makes it: `leg` and `wire_diameter` [m].

    Molten filler conducts `stirring` times as well as at rest [-].
    """

    filler: str
    leg: float
    wire_diameter: float
    stirring: float = 1.0

    @property
    def wire_area(self) -> float:
        """Cross-section of the rod [m2]."""
        return 0.25 * pi * self.wire_diameter * self.wire_diameter

    def section(self, radius: float) -> float:
        """Volume of filler per length of tube surface, on a tube of `radius` [m] [m2].

        ``S = leg^2 / 2 (R + leg / 3) / R``: a triangle of two legs, revolved about the tube's axis
        at the radius R plus leg / 3 of its centroid (Pappus). It holds for a flat fillet that is
        full.
        """
        return 0.5 * self.leg * self.leg * (radius + self.leg / 3.0) / radius


@dataclass(frozen=True)
class Travel:
    """How the arc steps round: `speed` [m/s], lengths [m], times [s], `resume_below` [K].

    With `start` "timed" the arc is still for `dwell` before it travels; with "on-flow" until both
    sides have reached filler flow, at the latest for `dwell_limit`.
    """

    speed: float
    segment: float
    pause: float
    overlap: float = 0.0
    resume_below: float | None = None
    order: str | tuple[int, ...] = "in-turn"
    dwell: float = 0.0
    taper: float = 0.0
    coverage: float = 1.0
    start: str = "timed"
    dwell_limit: float = 10.0

    def segments_in(self, circumference: float) -> int:
        """Number of equal segments that close a ring of this circumference [m]."""
        return max(1, ceil(circumference / self.segment * (1.0 - 1e-9)))


@dataclass(frozen=True)
class Tack:
    """Filler in place at the start, `length` [m] along the tube about `angle` [rad].

    With `current` [A] and `time` [s] it is laid by a short arc before the first segment instead.
    """

    angle: float
    length: float
    current: float | None = None
    time: float | None = None


@dataclass(frozen=True)
class ArcTack(Tack):
    """A tack that a short arc lays before the first segment: `current` [A], `time` [s]."""

    current: float
    time: float


def tacked_layers(tack: Tack, layers: int, radius: float) -> list[int]:
    """Mesh layers of a tack on a tube of `radius` [m]: whole ones, at least one."""
    step = 2.0 * pi / layers
    count = max(1, round(tack.length / radius / step))
    first = floor(tack.angle / step - 0.5 * count + 0.5)
    return [(first + i) % layers for i in range(min(count, layers))]


@dataclass(frozen=True)
class Chill:
    """Heat-sink ring in the bore, its middle at the flange face (or at a bead's arc line).

    `length` and `wall` [m], `conductance` to the tube's bore [W/(m2 K)].
    """

    alloy: str
    length: float
    wall: float
    conductance: float


@dataclass(frozen=True)
class Bench:
    """What the flange's back lies on: `conductance` [W/(m2 K)] to a `temperature` [K]."""

    conductance: float
    temperature: float


@dataclass(frozen=True)
class Fixture:
    """What holds the part and takes its heat."""

    chill: Chill | None = None
    bench: Bench | None = None


@dataclass(frozen=True)
class Surroundings:
    """Air and start `temperature` [K]; film coefficients outside and in the bore [W/(m2 K)]."""

    temperature: float
    convection: float
    bore_convection: float


@dataclass(frozen=True)
class Limits:
    """When the base counts as solid and the filler as flowing.

    Attributes
    ----------
    base_margin : how far the base's peak stays below its solidus [K]
    wet_fraction : share of each side that must be wet [-]
    flow_margin : how far above the filler's liquidus a face must get to count as wet [K]
    dry_length : longest dry stretch of a side in one piece [m]
    filler_superheat : how far the filler may peak above its liquidus [K]; None: not judged
    lap_filled : share of the lap that filler must fill [-]; 0: not asked
    """

    base_margin: float
    wet_fraction: float
    flow_margin: float = 10.0
    dry_length: float = 3e-3
    filler_superheat: float | None = None
    lap_filled: float = 0.0


@dataclass(frozen=True)
class Supplies:
    """Torch gas: `argon_flow` [m3/s], and how long it runs before a strike and after it [s]."""

    argon_flow: float = rounded(8e-3 / 60.0)
    pre_flow: float = 0.5
    post_flow: float = 8.0


@dataclass(frozen=True)
class Scale:
    """Factors on conductivity and emissivity of every alloy, and on what `arc.length` gives."""

    conductivity: float = 1.0
    emissivity: float = 1.0
    efficiency: float = 1.0
    spot: float = 1.0


@dataclass(frozen=True)
class Spread:
    """How far an input of a real bench strays: 95 % lie within `size`.

    `way`: a "share" of the value or an "amount" [SI] on either side, or a "factor" up or down.
    """

    size: float
    way: str


@dataclass(frozen=True)
class Choice:
    """What `find` may choose from: ranges of current [A], speed [m/s] and segment [m], `hands`."""

    current: tuple[float, float] = (20.0, 150.0)
    speed: tuple[float, float] = (1e-3, 4e-3)
    segment: tuple[float, float] = (8e-3, 30e-3)
    hands: tuple[str, ...] = HANDS


@dataclass(frozen=True)
class Probe:
    """Thermocouple: on "tube" (`height` [m]) or "flange" (`radius` [m] outward from the tube).

    `place_error` is the standard deviation of its place, along and round the surface [m].
    """

    name: str
    on: str
    angle: float
    height: float
    radius: float
    depth: float
    place_error: float = 0.5e-3


@dataclass(frozen=True)
class Display:
    """Units the user wrote in: `length` is "mm" or "in", `temperature` is "degC" or "degF"."""

    length: str = "mm"
    temperature: str = "degC"


class Brazed(NamedTuple):
    """What a tube-to-flange joint has beside its tube."""

    flange: Flange
    lap: Lap
    fillet: Fillet
    filler: Alloy


@dataclass(frozen=True)
class Case:
    """One braze. `flange`, `lap` and `fillet` are None for a bead-on-tube; see `brazed`.

    `alloys` maps every alloy name the case uses to its `Alloy`; `assumed` holds one sentence for
    each value that was filled in from a convention, and on what was never tested; `written` maps
    the keys a user gave to the text given, and `file` names the file for messages: neither counts
    when cases are compared; `scatter` holds the spread of each input that `[scatter]` names and
    this joint has.
    """

    title: str
    joint: str
    tube: Tube
    flange: Flange | None
    lap: Lap | None
    fillet: Fillet | None
    arc: Arc
    travel: Travel
    surroundings: Surroundings
    limits: Limits
    supplies: Supplies = Supplies()
    detail: str = "standard"
    probes: tuple[Probe, ...] = ()
    tacks: tuple[Tack, ...] = ()
    fixture: Fixture = Fixture()
    alloys: Mapping[str, Alloy] = field(default_factory=dict)
    scale: Scale = Scale()
    scatter: Mapping[str, Spread] = field(default_factory=dict)
    choice: Choice = Choice()
    display: Display = Display()
    assumed: tuple[str, ...] = ()
    written: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    file: str = field(default="", compare=False, repr=False)

    @property
    def brazed(self) -> Brazed | None:
        """Flange, lap, fillet and filler, which are there together; None for a bead-on-tube."""
        if self.flange is None or self.lap is None or self.fillet is None:
            return None
        return Brazed(self.flange, self.lap, self.fillet, self.alloys[self.fillet.filler])

    @property
    def rod_power(self) -> float:
        """Heat that melts the rod while the arc travels, fed to fill the fillet [W].

        ``P = S v rho (h(T_liquidus) - h(T_air))``: section S [m2] of `Fillet.section`, speed v
        [m/s], density rho [kg/m3] and enthalpy h with latent heat [J/kg] of the filler (heat
        balance of the rod). 0 without a fillet or where the filler has no liquidus. Superheat is
        not in it.
        """
        if self.fillet is None:
            return 0.0
        filler = self.alloys[self.fillet.filler]
        if filler.liquidus is None:
            return 0.0
        air = self.surroundings.temperature
        heat = float(filler.enthalpy(filler.liquidus)) - float(filler.enthalpy(air))
        return self.fillet.section(self.tube.radius) * self.travel.speed * filler.density * heat

    @property
    def feed(self) -> float:
        """Speed of the rod that fills the fillet as the arc travels [m/s]; 0 without a fillet.

        ``w = S v / a``: section S [m2] of `Fillet.section`, speed v [m/s], section a of the rod
        [m2] (volume balance; nothing is lost as spatter or into the lap).
        """
        if self.fillet is None:
            return 0.0
        return self.fillet.section(self.tube.radius) * self.travel.speed / self.fillet.wire_area

    @property
    def arc_tacks(self) -> tuple[ArcTack, ...]:
        """Tacks that short arcs lay before the first segment, in the order of their angles."""
        laid = [
            ArcTack(t.angle, t.length, t.current, t.time)
            for t in self.tacks
            if t.current is not None and t.time is not None
        ]
        return tuple(sorted(laid, key=lambda tack: tack.angle % (2.0 * pi)))

    @property
    def segment_count(self) -> int:
        """Number N of segments round the whole ring."""
        return self.travel.segments_in(self.tube.circumference)
