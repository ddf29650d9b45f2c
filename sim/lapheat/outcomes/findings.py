"""What a verdict rests on, as data; `sentence` puts it into words.

A finding's `weight` orders what is told: a joint that cannot hold first, then a weak one, then what
makes it doubtful, then what is awkward at the bench. The steps are our judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from ..history.wetting import Dry
from .strength import StrengthOutcome

__all__ = [
    "Boils",
    "Brief",
    "ColdStart",
    "DrySide",
    "DryStretch",
    "FastFeed",
    "Finding",
    "HotFiller",
    "Judgement",
    "LapShut",
    "Melts",
    "NearDry",
    "NearMelting",
    "NearMesh",
    "OpenLap",
    "Part",
    "Pedal",
    "Place",
    "SideFacts",
    "WeakJoint",
    "Where",
]


@dataclass(frozen=True)
class Place:
    """Hottest spot of a part.

    Attributes
    ----------
    peak : [K]
    surface : its surface by name
    position : along that surface as in `records.SurfacePeaks` [m]
    angle : [rad]
    """

    peak: float
    surface: str
    position: float
    angle: float


@dataclass(frozen=True)
class Where:
    """Which arc reached an angle: that of a `segment` (None: none was laid there), of a `tack`."""

    angle: float
    segment: int | None
    tack: bool = False


@dataclass(frozen=True)
class Part:
    """A part that can melt.

    Attributes
    ----------
    name : "tube" or "flange"
    solidus : [K]
    place : its hottest spot, `where` round the ring
    depth : melted share of the wall [-]
    bead : no flange: heights count from the arc line
    """

    name: str
    solidus: float
    place: Place
    where: Where
    depth: float
    bead: bool

    @property
    def margin(self) -> float:
        """Solidus less peak [K]."""
        return self.solidus - self.place.peak

    @property
    def outcome(self) -> str:
        """Its name in `outcomes.json`."""
        return f"{self.name}.margin_K"


@dataclass(frozen=True)
class SideFacts:
    """How the filler wets one side of the fillet.

    Attributes
    ----------
    name : "tube" or "flange"
    share : of its laid area that is wet [-]
    level : temperature that `limits.wet_fraction` of it reached [K]
    stretch_level : temperature that all of it reached but for stretches no longer than
        `limits.dry_length` [K]
    coldest : lowest peak of a spot [K], `from_root` [m] along the side, `where` round the ring
    leg : of the fillet [m]
    spans : stretches that hold a dry spot, `longest` of them [m] along the tube
    """

    name: str
    share: float
    level: float
    stretch_level: float
    coldest: float
    from_root: float
    where: Where
    leg: float
    spans: tuple[Dry, ...]
    longest: float

    @property
    def outcome(self) -> str:
        """Name of its surplus in `outcomes.json`."""
        return f"filler.{self.name}_side_surplus_K"


@dataclass(frozen=True)
class Melts:
    """The base melts, or comes nearer to its solidus than `wanted` [K]."""

    weight: ClassVar[int] = 100
    part: Part
    wanted: float


@dataclass(frozen=True)
class NearMelting:
    """A margin within its numerical uncertainty `unsure` [K] of the wanted one."""

    weight: ClassVar[int] = 75
    part: Part
    wanted: float
    unsure: float


@dataclass(frozen=True)
class DrySide:
    """Too small a share of a side is wet; faces must reach `wets_at` [K]."""

    weight: ClassVar[int] = 90
    side: SideFacts
    wanted: float
    wets_at: float


@dataclass(frozen=True)
class DryStretch:
    """A dry stretch in one piece longer than `allowed` [m]; faces must reach `wets_at` [K]."""

    weight: ClassVar[int] = 85
    side: SideFacts
    span: Dry
    length: float
    allowed: float
    wets_at: float


@dataclass(frozen=True)
class NearDry:
    """A surplus within its numerical uncertainty `unsure` [K] of the wanted one.

    `surplus` and `wanted` [K] are above the filler's liquidus; `stretch`: not that of the wanted
    share but of all but short dry stretches.
    """

    weight: ClassVar[int] = 70
    side: SideFacts
    surplus: float
    wanted: float
    unsure: float
    stretch: bool


@dataclass(frozen=True)
class NearMesh:
    """A margin, or a side's surplus, nearer to its limit than the mesh may move it.

    Attributes
    ----------
    part : "tube" or "flange"
    over : what it has over the wanted one [K]; below 0 where it fails
    may : by how much this `detail` may move it [K]
    shares : of a side that is wet, and with the mesh's move to either side [-]; None: a margin
    stretch : the surplus is that of all but short stretches, not of the wanted share
    """

    weight: ClassVar[int] = 65
    part: str
    over: float
    may: float
    detail: str
    shares: tuple[float, float, float] | None
    stretch: bool = False


@dataclass(frozen=True)
class HotFiller:
    """The filler peaks far above its liquidus: `superheat`, `allowed` [K], None: a warning."""

    weight: ClassVar[int] = 30
    peak: float
    superheat: float
    allowed: float | None
    where: Where


@dataclass(frozen=True)
class Boils:
    """Metal peaks above where it `boils` [K]: the model no longer holds there."""

    weight: ClassVar[int] = 100
    part: str
    peak: float
    boils: float


@dataclass(frozen=True)
class OpenLap:
    """Filler fills less of the lap than was wanted [-]."""

    weight: ClassVar[int] = 80
    filled: float
    wanted: float


@dataclass(frozen=True)
class LapShut:
    """The tube would outgrow its bore by `over` [m]; `cold`: the gap when cold [m].

    `filled` is the share of the lap that filler reached while it was open [-].
    """

    weight: ClassVar[int] = 50
    cold: float
    over: float
    filled: float


@dataclass(frozen=True)
class Brief:
    """A `share` of the wet faces spent less than `seconds` above the filler's liquidus."""

    weight: ClassVar[int] = 40
    share: float
    seconds: float


@dataclass(frozen=True)
class FastFeed:
    """The rod must go in at `feed`, faster than a hand's `limit` [m/s]."""

    weight: ClassVar[int] = 10
    feed: float
    limit: float


@dataclass(frozen=True)
class WeakJoint:
    """Lap and fillet carry `joint`, `lap` of it, less than the `tube` at its yield [N].

    `safety` is the factor in what they carry [-]; `dry`: a side is, which must be mended first.
    """

    weight: ClassVar[int] = 60
    joint: float
    lap: float
    tube: float
    safety: float
    dry: bool = False


@dataclass(frozen=True)
class Pedal:
    """What the pedal did while the filler stayed cold.

    Attributes
    ----------
    what : "top" or "bottom" of its range; by the end of a wait it "gave way" at the hold or was
        "not yet" there; most of the time it "held" the base there, or "at times" only, or there is
        "no room" on the hotter side
    hold : what it held [K]
    seconds, arc : time at the hold, of all time with the arc on [s]
    melts : the base comes too close to melting, so that nothing hotter helps
    """

    weight: ClassVar[int] = 20
    what: str
    hold: float
    melts: bool
    seconds: float = 0.0
    arc: float = 0.0


@dataclass(frozen=True)
class ColdStart:
    """Segments that the arc set off in without flow, after `limit` [s], and why."""

    weight: ClassVar[int] = 45
    segments: tuple[int, ...]
    limit: float
    why: tuple[Pedal, ...]


Finding = (
    Melts
    | NearMelting
    | DrySide
    | DryStretch
    | NearDry
    | NearMesh
    | HotFiller
    | Boils
    | OpenLap
    | LapShut
    | Brief
    | FastFeed
    | WeakJoint
    | Pedal
    | ColdStart
)


@dataclass(frozen=True)
class Judgement:
    """A run held against the limits of its case.

    Attributes
    ----------
    base_stays_solid, filler_flows : see `outcomes.Verdict`
    parts : that can melt, the nearest to melting first
    sides : of the fillet, the driest first; none for a bead-on-tube
    findings : what fails, the gravest first, then what explains it
    notes : what to look at besides, the weightiest first
    flow : liquidus of the filler [K]; nan for a bead-on-tube
    lap_filled : share [-]
    strength : of lap and fillet; None for a bead-on-tube
    laid, ring : segments laid, of those that close the ring
    too_close : outcomes nearer to their limit than their numerical uncertainty; None: not known
    """

    base_stays_solid: bool
    filler_flows: bool
    parts: tuple[Part, ...]
    sides: tuple[SideFacts, ...]
    findings: tuple[Finding, ...]
    notes: tuple[Finding, ...]
    flow: float
    lap_filled: float
    strength: StrengthOutcome | None
    laid: tuple[int, ...]
    ring: int
    too_close: tuple[str, ...] | None = None

    @property
    def fails(self) -> bool:
        """True when base or filler fails, or it is too close to call."""
        return not (self.base_stays_solid and self.filler_flows)

    @property
    def undecided(self) -> bool:
        """True when all that fails is too close to its limit to call."""
        sure = Melts | DrySide | DryStretch | OpenLap | HotFiller
        return bool(self.too_close) and not any(isinstance(f, sure) for f in self.findings)
