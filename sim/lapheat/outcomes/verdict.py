"""The verdict: does the base stay solid, does the filler flow, and what decides it.

Facts only; `sentence` says them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, nan, pi

import numpy as np
from numpy.typing import NDArray

from ..case.case import Case
from ..history.records import History, SurfacePeaks
from ..history.wetting import level_of_share, spots, wet_share
from ..joint.section import Region
from .current import cold_pedal, why_cold
from .findings import (
    Boils,
    Brief,
    ColdStart,
    DrySide,
    DryStretch,
    FastFeed,
    Finding,
    HotFiller,
    Judgement,
    LapShut,
    Melts,
    NearDry,
    NearMelting,
    NearMesh,
    OpenLap,
    Part,
    Place,
    SideFacts,
    WeakJoint,
    Where,
)
from .strength import StrengthOutcome, strength_of

__all__ = [
    "BRIEF",
    "FASTEST_FEED",
    "HOT",
    "MAY_MOVE",
    "STRETCH",
    "filler_place",
    "hottest_place",
    "judge",
    "liquid_times",
    "side_wet",
]

Array = NDArray[np.float64]

SAME = 1e-6  # [K]: peaks closer than this are one and the same
# [K] The filler's peak is reported from here above its liquidus. At 1300 degC copper's vapour
# pressure is 3 Pa (Alcock, Itkin and Horrigan 1984), and molten copper dissolves some 8 % of iron
# (from memory).
# No source limits an arc-brazed puddle, so it is a warning unless the case sets a limit.
HOT = 275.0
# [K] Boiling points of iron and copper, the main metals of base and filler: CRC Handbook of
# Chemistry and Physics, from memory. Zinc, silicon and manganese leave an alloy long before.
BOILING = {"tube": 3134.0, "flange": 3134.0, "filler": 2833.0}
# [s] Molten copper spreads over millimetres in about 10 ms where it wets at all (Protsenko et al.
# 2008, J. Mater. Sci. 43, 5669, abstract). Ten times that is an estimate of what to call wet.
BRIEF = 0.1
STRETCH = "filler.stretch_surplus_K"
# [m/s] 15 mm/s of 1.6 mm rod is some 0.9 kg/h. What a hand can dab into a fillet is our estimate.
FASTEST_FEED = 15e-3
# [K] Most by which a margin or surplus of a solid base moved from each mesh to fine: 31.0 and 10.0,
# over margins of the demo, its cold sibling and the starter and surpluses of demo and starter, with
# a kelvin put on. `tests/golden/test_settles.py` holds both. `--converge` measures it for one case.
MAY_MOVE = {"coarse": 32.0, "standard": 11.0}
SHARED = 1e-3  # [-] a smaller share is not worth a word


def hottest_place(history: History, part: str) -> Place:
    """Hottest spot of the surfaces of "tube" or "flange".

    Raises
    ------
    ValueError
        The run has no such part.
    """
    names = [name for name in history.surfaces if name.split()[0] == part]
    if not names:
        raise ValueError(f"this run has no {part}")
    return max((_top(history.surfaces[name]) for name in names), key=lambda place: place.peak)


def _top(surface: SurfacePeaks) -> Place:
    peak = np.where(np.isfinite(surface.peak), surface.peak, -np.inf)
    # of places that are equal but for round-off, as on both sides of a bead, always the same one
    row, layer = np.unravel_index(int(np.argmax(peak >= peak.max() - SAME)), peak.shape)
    return Place(
        peak=float(peak[row, layer]),
        surface=surface.name,
        position=float(surface.position[row]),
        angle=float(surface.angle[layer]),
    )


def filler_place(history: History) -> Place | None:
    """Hottest filler, in its cells or on its face; None without filler."""
    fillet = history.problem.mesh.section.region == Region.FILLET
    inside = history.cell_peak[fillet]
    places = []
    if np.isfinite(inside).any():
        layer = int(np.nanargmax(np.nanmax(np.where(np.isfinite(inside), inside, -inf), axis=0)))
        angle = (layer + 0.5) * 2.0 * pi / inside.shape[1]
        places.append(Place(float(np.nanmax(inside)), "fillet", 0.0, angle))
    face = history.surfaces.get("fillet")
    if face is not None and np.isfinite(face.peak).any():
        places.append(_top(face))
    return max(places, key=lambda place: place.peak, default=None)


def side_wet(history: History, side: str) -> float:
    """Share of the "tube" or "flange" side under filler that was wet [-].

    Segments are equally long, so it is the plain mean of theirs.
    """
    shares = [getattr(run, f"{side}_side_wet") for run in history.segments]
    return float(np.mean(shares))


def liquid_times(history: History) -> Array:
    """Time above the filler's liquidus of every spot that counts as wet, on both sides [s]."""
    case = history.case
    wets_at = _flow(case) + case.limits.flow_margin
    times = [np.empty(0)]
    for side in history.sides.values():
        shape = side.edges, case.segment_count, case.tube.radius
        peak = spots(side.peak, *shape).values
        times.append(spots(side.liquid, *shape, level=True).values[peak >= wets_at])
    return np.concatenate(times)


def judge(history: History, uncertainty: Mapping[str, float] | None = None) -> Judgement:
    """Hold a run against the limits of its case.

    Parameters
    ----------
    history : the run
    uncertainty : of margins and surpluses by the outcome's name, where it is known [K]
    """
    case = history.case
    limits = case.limits
    unsure = uncertainty or {}
    flow = _flow(case)
    parts = sorted(_parts(history, case), key=lambda part: part.margin)
    sides = sorted(_sides(history, case), key=lambda side: (side.share, side.level))
    base = list(_base(parts, limits.base_margin, unsure))
    melts = any(isinstance(finding, Melts) for finding in base)
    filler = list(_filler(sides, case, flow, unsure))
    hot = _hot(history, case, flow)
    over = hot is not None and hot.allowed is not None
    lap = []
    if case.lap is not None and history.lap_filled < limits.lap_filled:
        lap.append(OpenLap(history.lap_filled, limits.lap_filled))
    base.sort(key=lambda finding: isinstance(finding, NearMelting))
    filler.sort(key=lambda finding: isinstance(finding, NearDry))
    fails: list[Finding] = [*base, *filler, *lap, *([hot] if hot is not None and over else [])]
    fails.sort(key=lambda finding: isinstance(finding, NearMelting | NearDry))
    dry = any(isinstance(finding, DrySide | DryStretch) for finding in filler)
    why: list[Finding] = [*_shut(history, case), *_cold_starts(history, case, melts)]
    if dry and not any(isinstance(finding, ColdStart) for finding in why):
        pedal = cold_pedal(history, melts)
        why += [] if pedal is None else [pedal]
    laid = tuple(run.number for run in history.segments)
    strength = strength_of(
        case,
        history.lap_filled,
        {side.name: side.share for side in sides},
        len(laid) / case.segment_count,
        melts=any(part.name == "tube" and part.margin <= 0.0 for part in parts),
    )
    notes: list[Finding] = [] if hot is None or over else [hot]
    notes += [*_boils(history), *_brief(history), *_feed(case), *_weak(strength, dry)]
    if uncertainty is None:
        notes += _near_mesh(history, parts, sides, flow)
    if not (filler or lap):  # nothing to explain
        notes, why = [*notes, *why], []
    notes.sort(key=lambda finding: -finding.weight)
    too_close = [_unsure_of(f) for f in fails if isinstance(f, NearMelting | NearDry)]
    return Judgement(
        base_stays_solid=not base,
        filler_flows=not (filler or lap or over),
        parts=tuple(parts),
        sides=tuple(sides),
        findings=(*fails, *why),
        notes=tuple(notes),
        flow=flow,
        lap_filled=history.lap_filled,
        strength=strength,
        laid=laid,
        ring=case.segment_count,
        too_close=None if uncertainty is None else tuple(too_close),
    )


def _near_mesh(
    history: History, parts: list[Part], sides: list[SideFacts], flow: float
) -> Iterator[NearMesh]:
    """Report the least margin and the least surplus where the mesh may move it over its limit."""
    case = history.case
    may, limits = MAY_MOVE.get(case.detail, 0.0), case.limits
    part = min(parts, key=lambda part: part.margin, default=None)
    if part is not None and abs(part.margin - limits.base_margin) < may:
        yield NearMesh(part.name, part.margin - limits.base_margin, may, case.detail, None)
    side = min(sides, key=lambda side: min(side.level, side.stretch_level), default=None)
    wets_at = flow + limits.flow_margin
    if side is None:
        return
    over = min(side.level, side.stretch_level) - wets_at
    if abs(over) < may:
        of = history.sides[side.name]
        least, most = (
            float(np.nanmean(wet_share(of.peak, of.area, wets_at + by))) for by in (may, -may)
        )
        stretch = side.stretch_level < side.level
        shares = side.share, least, most
        yield NearMesh(side.name, over, may, case.detail, shares, stretch)


def _flow(case: Case) -> float:
    return nan if case.brazed is None else case.brazed.filler.flow


def _unsure_of(finding: NearMelting | NearDry) -> str:
    if isinstance(finding, NearMelting):
        return finding.part.outcome
    return STRETCH if finding.stretch else finding.side.outcome


def _parts(history: History, case: Case) -> Iterator[Part]:
    alloys = {"tube": case.tube.alloy}
    if case.flange is not None:
        alloys["flange"] = case.flange.alloy
    for name, alloy in alloys.items():
        solidus = case.alloys[alloy].solidus
        if solidus is not None:
            place = hottest_place(history, name)
            depth = float(history.melted_wall.max()) if name == "tube" else 0.0
            where = _where(place.angle, history, case)
            yield Part(name, solidus, place, where, depth, case.flange is None)


def _where(angle: float, history: History, case: Case) -> Where:
    number = int(angle / (2.0 * pi) * case.segment_count) % case.segment_count + 1
    laid = number in {run.number for run in history.segments}
    beside = False
    for tack in case.tacks:
        reach = (0.5 * tack.length + 2.0 * case.arc.spot) / case.tube.radius
        off = abs((angle - tack.angle + pi) % (2.0 * pi) - pi)
        beside = beside or (tack.current is not None and off < reach)
    return Where(angle, number if laid else None, beside)


def _sides(history: History, case: Case) -> Iterator[SideFacts]:
    limits, radius = case.limits, case.tube.radius
    wets_at = _flow(case) + limits.flow_margin
    for name, side in history.sides.items():
        over = spots(side.peak, side.edges, case.segment_count, radius)
        spans, spot = over.dry(wets_at), over.coldest()
        yield SideFacts(
            name=name,
            share=side_wet(history, name),
            level=level_of_share(side.peak, side.area, limits.wet_fraction),
            stretch_level=over.level_but_for(limits.dry_length / radius),
            coldest=spot.peak,
            from_root=spot.from_root,
            where=_where(spot.angle, history, case),
            leg=float(side.edges[-1]),
            spans=spans,
            longest=max(((s.end - s.begin) * radius for s in spans), default=0.0),
        )


def _base(
    parts: list[Part], wanted: float, unsure: Mapping[str, float]
) -> Iterator[Melts | NearMelting]:
    for part in parts:
        doubt = unsure.get(part.outcome, 0.0)
        if abs(part.margin - wanted) < doubt:
            yield NearMelting(part, wanted, doubt)
        elif part.margin < wanted:
            yield Melts(part, wanted)


def _filler(
    sides: list[SideFacts], case: Case, flow: float, unsure: Mapping[str, float]
) -> Iterator[DrySide | DryStretch | NearDry]:
    limits = case.limits
    wets_at = flow + limits.flow_margin
    for side in sides:
        doubt = unsure.get(side.outcome, 0.0)
        if abs(side.level - wets_at) < doubt:
            yield NearDry(side, side.level - flow, limits.flow_margin, doubt, False)
            continue
        if side.share < limits.wet_fraction:
            yield DrySide(side, limits.wet_fraction, wets_at)
            continue
        doubt = unsure.get(STRETCH, 0.0)
        if abs(side.stretch_level - wets_at) < doubt:
            yield NearDry(side, side.stretch_level - flow, limits.flow_margin, doubt, True)
        elif side.longest > limits.dry_length:
            span = max(side.spans, key=lambda s: s.end - s.begin)
            yield DryStretch(side, span, side.longest, limits.dry_length, wets_at)


def _hot(history: History, case: Case, flow: float) -> HotFiller | None:
    """Report filler far above its liquidus; `allowed` is set where the case's limit is passed."""
    place = filler_place(history) if history.sides else None
    if place is None:
        return None
    superheat, allowed = place.peak - flow, case.limits.filler_superheat
    where = _where(place.angle, history, case)
    if allowed is not None and superheat > allowed:
        return HotFiller(place.peak, superheat, allowed, where)
    if superheat > HOT:
        return HotFiller(place.peak, superheat, None, where)
    return None


def _boils(history: History) -> Iterator[Boils]:
    places = {"tube": hottest_place(history, "tube")}
    if history.case.flange is not None:
        places["flange"] = hottest_place(history, "flange")
    filler = filler_place(history) if history.sides else None
    if filler is not None:
        places["filler"] = filler
    for part, place in places.items():
        if place.peak > BOILING[part]:
            yield Boils(part, place.peak, BOILING[part])


def _brief(history: History) -> Iterator[Brief]:
    times = liquid_times(history)
    share = float((times < BRIEF).mean()) if times.size else 0.0
    if share >= SHARED:
        yield Brief(share, BRIEF)


def _feed(case: Case) -> Iterator[FastFeed]:
    if case.feed > FASTEST_FEED:
        yield FastFeed(case.feed, FASTEST_FEED)


def _weak(strength: StrengthOutcome | None, dry: bool) -> Iterator[WeakJoint]:
    if strength is None:
        return
    joint, lap, tube = strength.joint_N, strength.lap_N, strength.tube_yield_N
    if joint is not None and lap is not None and tube is not None and joint < tube:
        yield WeakJoint(joint, lap, tube, strength.safety_factor, dry)


def _shut(history: History, case: Case) -> Iterator[LapShut]:
    """Report a lap that shuts: it does not decide whether the fillet's sides are wet."""
    if case.lap is not None and history.hot_clearance <= 0.0:
        yield LapShut(case.lap.clearance, -history.hot_clearance, history.lap_filled)


def _cold_starts(history: History, case: Case, melts: bool) -> Iterator[ColdStart]:
    if case.travel.start != "on-flow":
        return
    cold = [run.number for run in history.segments if run.flowed is False]
    if cold:
        why = dict.fromkeys(why_cold(history, number, melts) for number in cold)
        known = tuple(pedal for pedal in why if pedal is not None)
        yield ColdStart(tuple(cold), case.travel.dwell_limit, known)
