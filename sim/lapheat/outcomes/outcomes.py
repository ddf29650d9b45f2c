# ruff: noqa: N815 - names carry the unit, as `outcomes.json` has them
"""The numbers of `outcomes.json`, under its own names.

Temperatures are in degC and everything else in SI, as the suffix of each name says. A number that
does not exist (the solidus of an alloy that never melts) is None, and null in the file;
a table that does not exist (the flange of a bead-on-tube) is left out of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from math import isfinite
from typing import Any

from .current import CurrentOutcome
from .findings import Judgement
from .sentence import notes_of, sentence, summary_of
from .soundness import SoundnessOutcome
from .strength import StrengthOutcome

__all__ = [
    "DIGITS",
    "AlloyNotes",
    "ChillOutcome",
    "FillerOutcome",
    "FlangeOutcome",
    "HeatOutcome",
    "MarchOutcome",
    "MeshOutcome",
    "Outcomes",
    "ProbeOutcome",
    "SegmentOutcome",
    "StrengthOutcome",
    "SuppliesOutcome",
    "TimeOutcome",
    "TubeOutcome",
    "Verdict",
]

Number = float | None
Spans = tuple[tuple[float, float], ...]

DIGITS = 10  # significant ones in the file


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Attributes
    ----------
    base_stays_solid : the peak of tube and flange stays `limits.base_margin` below solidus; an
        alloy without a solidus cannot melt
    filler_flows : `limits.wet_fraction` of both sides is wet without a dry stretch longer than
        `limits.dry_length`, as much of the lap fills as `limits.lap_filled` asks for, and the
        filler stays within `limits.filler_superheat`, if given; true for a bead-on-tube, which has
        no filler that could fail to flow
    summary : one sentence with the numbers that decide
    also_look_at : at most three findings besides, a sentence each, the weightiest first
    too_close : outcomes that differ from their limit by less than their numerical uncertainty, by
        name; the boolean they decide is false then. None where the uncertainty was not computed
    judgement : the facts behind the sentence; not in `outcomes.json`
    """

    base_stays_solid: bool
    filler_flows: bool
    summary: str
    also_look_at: tuple[str, ...]
    too_close: tuple[str, ...] | None
    judgement: Judgement = field(repr=False, compare=False)

    @classmethod
    def of(cls, judgement: Judgement) -> Verdict:
        """Put a judgement into words."""
        return cls(
            judgement.base_stays_solid,
            judgement.filler_flows,
            summary_of(judgement),
            tuple(map(sentence, notes_of(judgement))),
            judgement.too_close,
            judgement,
        )


@dataclass(frozen=True)
class TubeOutcome:
    """The tube: hottest surface, where it is, and how deep the wall melted (0 to 1)."""

    peak_C: Number
    solidus_C: Number
    margin_K: Number
    bore_peak_C: Number
    melted_wall_fraction: float
    peak_surface: str
    peak_position_m: float
    peak_angle_deg: float


@dataclass(frozen=True)
class FlangeOutcome:
    """The flange: hottest surface and where it is."""

    peak_C: Number
    solidus_C: Number
    margin_K: Number
    peak_surface: str
    peak_position_m: float
    peak_angle_deg: float


@dataclass(frozen=True)
class FillerOutcome:
    """The filler. Angles are those of `segments`; surpluses are above its liquidus, `flow_C`.

    Attributes
    ----------
    flow_C : its liquidus
    wets_at_C : what a face must reach to count as wet
    peak_C : hottest filler
    peak_angle_deg : where that is
    superheat_K : how far that is above the liquidus
    tube_side_wet : share of the tube's surface under the fillet that is wet
    flange_side_wet : share of the flange's surface under the fillet that is wet
    tube_side_surplus_K : surplus that `limits.wet_fraction` of the tube side has
    flange_side_surplus_K : surplus that `limits.wet_fraction` of the flange side has
    stretch_surplus_K : surplus that all of both sides has, but for dry stretches that are short
        enough for `limits.dry_length`
    coldest_C : lowest peak of any spot under the filler
    coldest_side : which side that spot is on
    coldest_from_root_m : how far from the fillet's root that spot is
    coldest_angle_deg : at which angle that spot is
    coldest_segment : segment that laid that spot; null where none did
    longest_dry_m : longest stretch with a dry spot in one piece, along the tube
    tube_side_dry_deg : angles between which the tube side has a dry spot
    flange_side_dry_deg : angles between which the flange side has a dry spot
    shortest_liquid_s : shortest time above the liquidus of a wet spot; null where none is wet
    median_liquid_s : median time above the liquidus of the wet spots; null where none is wet
    brief_share : share of the wet spots that spent less than 0.1 s above the liquidus
    """

    flow_C: float
    wets_at_C: float
    peak_C: Number
    peak_angle_deg: Number
    superheat_K: Number
    tube_side_wet: float
    flange_side_wet: float
    tube_side_surplus_K: float
    flange_side_surplus_K: float
    stretch_surplus_K: float
    coldest_C: float
    coldest_side: str
    coldest_from_root_m: float
    coldest_angle_deg: float
    coldest_segment: int | None
    longest_dry_m: float
    tube_side_dry_deg: Spans
    flange_side_dry_deg: Spans
    shortest_liquid_s: Number
    median_liquid_s: Number
    brief_share: float


@dataclass(frozen=True)
class SegmentOutcome:
    """One segment, in the order they were run; `start_C` is the base when the arc strikes.

    Peaks are the highest of the whole run on the segment's part of the ring: near its ends a
    neighbour's arc may have made them.
    The arc was still for `wait_s` before it travelled; `flowed_at_start` says if the wanted
    share of both sides of the start point was then at filler flow.
    """

    number: int
    start_s: float
    end_s: float
    from_deg: float
    to_deg: float
    start_C: float
    tube_peak_C: Number
    flange_peak_C: Number
    tube_side_wet: Number
    flange_side_wet: Number
    wait_s: float
    flowed_at_start: bool | None


@dataclass(frozen=True)
class TimeOutcome:
    """Arc time; first arc to last arc-off; the same with the cooling that was marched."""

    arc_on_s: float
    total_s: float
    simulated_s: float


@dataclass(frozen=True)
class HeatOutcome:
    """The heat ledger; `electrical_J` is volts x amps x time, before the efficiency.

    `lost_J` is all that left the joint: the sum of `air_J`, `chill_J` and `bench_J`.
    """

    arc_J: float
    filler_J: float
    lost_J: float
    stored_J: float
    imbalance: float
    electrical_J: float
    air_J: float
    chill_J: float
    bench_J: float


@dataclass(frozen=True)
class ProbeOutcome:
    """A thermocouple's highest reading and when it came."""

    peak_C: float
    peak_s: float


@dataclass(frozen=True)
class MeshOutcome:
    """Cells of the ring, and layers round it."""

    cells: int
    layers: int
    detail: str


@dataclass(frozen=True)
class MarchOutcome:
    """Steps and wall-clock time."""

    steps: int
    name: str
    wall_s: float


@dataclass(frozen=True)
class SuppliesOutcome:
    """What the job uses; `time` has its time.

    Attributes
    ----------
    rod_m : length of rod that was laid; 0 for a bead-on-tube
    filler_kg : mass of filler that was laid; 0 for a bead-on-tube
    argon_m3 : torch gas as its meter reads it; no purge of the bore
    gas_s : time that the torch gas is on
    arc_energy_J : volts x amps x time, before the efficiency, as `electrical_J`
    feed_m_s : how fast the rod goes in as the arc travels
    fed_by_hand : a hand can
    """

    rod_m: float
    filler_kg: float
    argon_m3: float
    gas_s: float
    arc_energy_J: float
    feed_m_s: float
    fed_by_hand: bool


@dataclass(frozen=True)
class ChillOutcome:
    """The heat-sink ring in the bore."""

    peak_C: float


@dataclass(frozen=True)
class AlloyNotes:
    """A sentence for the properties used outside the range it was published for."""

    held: tuple[str, ...]


@dataclass(frozen=True)
class Outcomes:
    """What `outcomes.json` holds; None for a part the joint does not have."""

    verdict: Verdict
    tube: TubeOutcome
    flange: FlangeOutcome | None
    filler: FillerOutcome | None
    segments: tuple[SegmentOutcome, ...]
    current: CurrentOutcome
    time: TimeOutcome
    heat: HeatOutcome
    probes: Mapping[str, ProbeOutcome]
    mesh: MeshOutcome
    march: MarchOutcome
    versions: Mapping[str, str]
    soundness: SoundnessOutcome
    strength: StrengthOutcome | None
    supplies: SuppliesOutcome
    chill: ChillOutcome | None
    alloys: AlloyNotes

    def as_dict(self) -> dict[str, Any]:
        """Return plain dicts, lists and numbers for JSON, floats to ten significant digits."""
        whole: dict[str, Any] = _plain(self)
        return whole


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        items = {f.name: getattr(value, f.name) for f in fields(value) if f.name != "judgement"}
        # Of the whole, a part that is not there is left out; a number that is not there is null.
        if isinstance(value, Outcomes | Verdict):
            items = {name: item for name, item in items.items() if item is not None}
        return {name: _plain(item) for name, item in items.items()}
    if isinstance(value, Mapping):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if isfinite(value) else None
    return value
