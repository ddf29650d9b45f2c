"""The verdict: does the base stay solid, does the filler flow, and the number that decides it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import degrees, pi

import numpy as np
from numpy.typing import NDArray

from .case import Case
from .currents import cold_pedal, why_cold
from .history import History, SurfacePeaks
from .wording import Wording, listed, numbered

__all__ = ["Place", "Span", "Verdict", "dry_spans", "hottest_place", "judge", "side_wet"]

Array = NDArray[np.float64]

MOST_SPANS = 3  # named in a sentence; more are counted
SAME = 1e-6  # [K]: peaks closer than this are one and the same


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Attributes
    ----------
    base_stays_solid : the peak of tube and flange stays `limits.base_margin` below solidus; an
        alloy without a solidus cannot melt
    filler_flows : the wet share of both sides is at least `limits.wet_fraction`; true for a
        bead-on-tube, which has no filler that could fail to flow
    summary : one sentence with the number that decides
    too_close : outcomes that differ from their limit by less than their numerical uncertainty, by
        name; the boolean they decide is false then. None where the uncertainty was not computed
    """

    base_stays_solid: bool
    filler_flows: bool
    summary: str
    too_close: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Place:
    """Hottest spot of a part.

    Attributes
    ----------
    peak : [K]
    surface : its surface by name
    position : along that surface as in `SurfacePeaks` [m]
    angle : [rad]
    """

    peak: float
    surface: str
    position: float
    angle: float


@dataclass(frozen=True)
class Span:
    """Stretch of the ring where part of a side stayed dry; angles [rad], `end` may pass 2 pi.

    `coldest` is the lowest peak in it [K], `segments` the numbers it touches.
    """

    begin: float
    end: float
    coldest: float
    segments: tuple[int, ...]


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


def side_wet(history: History, side: str) -> float:
    """Share of the "tube" or "flange" side under filler that was wet [-].

    Segments are equally long, so it is the plain mean of theirs.
    """
    shares = [getattr(run, f"{side}_side_wet") for run in history.segments]
    return float(np.mean(shares))


def dry_spans(peak: Array, flow: float, segments: int) -> tuple[Span, ...]:
    """Find where round the ring a side stayed dry.

    Parameters
    ----------
    peak : (m, layers) peak of the faces of that side, nan where no filler was laid [K]
    flow : filler liquidus [K]
    segments : number of segments round the ring

    Returns
    -------
    spans : by angle; one that runs over 0 begins before it and ends past 2 pi
    """
    layers = peak.shape[1]
    laid = np.isfinite(peak)
    lowest = np.where(laid, peak, np.inf).min(axis=0)
    dry = lowest < flow
    runs = _runs(dry)
    step, per = 2.0 * pi / layers, layers / segments
    spans = []
    for first, count in runs:
        inside = np.arange(first, first + count) % layers
        spans.append(
            Span(
                begin=first * step,
                end=(first + count) * step,
                coldest=float(lowest[inside].min()),
                segments=tuple(sorted({int(k // per) + 1 for k in inside})),
            )
        )
    return tuple(spans)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First index and length of each run of True round a ring."""
    n = len(flags)
    if flags.all():
        return [(0, n)]
    starts = np.flatnonzero(flags & ~np.roll(flags, 1))
    ends = np.flatnonzero(~flags & np.roll(flags, 1))
    return [(int(a), int(min((b - a) % n for b in ends))) for a in starts]


def judge(
    history: History,
    words: Wording | None = None,
    uncertainty: Mapping[str, float] | None = None,
) -> Verdict:
    """Hold a run against the limits of its case.

    Parameters
    ----------
    history : the run
    words : units the sentence adds in brackets; none by default, so that a case in inches and
        the same case in millimetres have the same outcomes
    uncertainty : of margins [K] and wet shares, by the outcome's name, where it is known
    """
    case = history.problem.case
    assert case is not None
    words = words or Wording()
    wanted = case.limits.wet_fraction
    parts = sorted(_parts(history, case, words), key=lambda part: part.margin)
    wet = {} if case.fillet is None else {s: side_wet(history, s) for s in ("tube", "flange")}
    sides = sorted(wet, key=wet.__getitem__)  # driest first
    unsure = uncertainty or {}

    def close(distance: float, name: str) -> bool:
        return abs(distance) < unsure.get(name, 0.0)

    limit = case.limits.base_margin
    near = [part for part in parts if close(part.margin - limit, part.outcome)]
    vague = [side for side in sides if close(wet[side] - wanted, _wet_outcome(side))]
    at_fault = [part for part in parts if part.margin < limit and part not in near]
    dry = [side for side in sides if wet[side] < wanted and side not in vague]
    if at_fault or dry or near or vague:
        told = [_melting(part, index, case, words) for index, part in enumerate(at_fault)]
        told += [_dryness(history, case, side, words) for side in dry]
        told += [_near(part, unsure[part.outcome], limit, words) for part in near]
        told += [_vague(s, wet[s], unsure[_wet_outcome(s)], wanted, words) for s in vague]
    else:
        head = "the base stays solid and the filler flows" if wet else "the base stays solid"
        told = [f"{head}: {_closest(parts, words)}"]
        if wet:
            shares = [f"{words.share(s, wanted)} of the {side} side" for side, s in wet.items()]
            told.append(f"filler wets {listed(shares)}")
    told += _shut_lap(history, case, words)
    colds = list(_cold_starts(history, case, bool(at_fault)))
    if dry and not colds:
        colds = list(filter(None, [cold_pedal(history, bool(at_fault))]))
    summary = "; ".join([*told, *colds])
    return Verdict(
        base_stays_solid=not (at_fault or near),
        filler_flows=not (dry or vague),
        summary=f"{summary[0].upper()}{summary[1:]}.",
        too_close=None
        if uncertainty is None
        else (*(part.outcome for part in near), *map(_wet_outcome, vague)),
    )


def _shut_lap(history: History, case: Case, words: Wording) -> Iterator[str]:
    """Tell of a lap that shuts: it does not decide whether the fillet's sides are wet."""
    gap = history.hot_clearance
    if case.lap is not None and gap <= 0.0:
        cold = words.thin(case.lap.clearance)
        yield (
            f"the lap shuts while hot, so filler cannot enter it: from a gap of {cold} when cold, "
            f"the tube would outgrow its bore by {words.thin(-gap)}"
        )


def _cold_starts(history: History, case: Case, melts: bool) -> Iterator[str]:
    """Say where the arc waited for flow in vain: a finding beside the verdict."""
    if case.travel.start != "on-flow":
        return
    cold = [run.number for run in history.segments if run.flowed is False]
    if cold:
        why = dict.fromkeys(why_cold(history, number, melts) for number in cold)
        yield "; ".join(
            [
                f"cold start: the arc set off without flow on both sides at the start of "
                f"{numbered('segment', cold)}, after {case.travel.dwell_limit:g} s "
                "(travel.dwell_limit)",
                *filter(None, why),
            ]
        )


def _wet_outcome(side: str) -> str:
    return f"filler.{side}_side_wet"


@dataclass(frozen=True)
class _Part:
    """A part that can melt: `margin` solidus - peak [K], `depth` melted share of the wall [-]."""

    name: str
    solidus: float
    margin: float
    place: Place
    where: str
    depth: float

    @property
    def outcome(self) -> str:
        return f"{self.name}.margin_K"


def _parts(history: History, case: Case, words: Wording) -> Iterator[_Part]:
    alloys = {"tube": case.tube.alloy}
    if case.flange is not None:
        alloys["flange"] = case.flange.alloy
    for name, alloy in alloys.items():
        solidus = case.alloys[alloy].solidus
        if solidus is not None:
            place = hottest_place(history, name)
            depth = float(history.melted_wall.max()) if name == "tube" else 0.0
            where = _where(place, history, case, words)
            yield _Part(name, solidus, solidus - place.peak, place, where, depth)


def _where(place: Place, history: History, case: Case, words: Wording) -> str:
    """Say where a spot is: surface, height or radius, angle, segment."""
    line = "arc line" if case.flange is None else "flange face"
    size = words.long(abs(place.position))
    side = "above" if place.position >= 0.0 else "below"
    spot = {
        "tube outside": f"on its outside {size} {side} the {line}",
        "tube bore": f"in its bore {size} {side} the {line}",
        "tube end": "at its free end",
        "tube foot": "at its end in the lap" if case.flange else "at its lower end",
        "flange face": f"on its face {size} from the tube",
        "flange back": f"on its back {size} from the tube",
        "flange rim": "at its rim",
        "flange bore": f"in its bore {size} {side} its face",
    }[place.surface]
    number = int(place.angle / (2.0 * pi) * case.segment_count) % case.segment_count + 1
    laid = number in {run.number for run in history.segments}
    told = f"segment {number}" if laid else ""
    for tack in case.tacks:
        reach = 0.5 * tack.length / case.tube.radius + 2.0 * case.arc.spot / case.tube.radius
        off = abs((place.angle - tack.angle + pi) % (2.0 * pi) - pi)
        if tack.current is not None and off < reach:
            told = f"{told} or the arc of the tack there" if told else "the arc of the tack there"
            break
    return f"{spot}, at {words.angle(place.angle)}" + (f" ({told})" if told else "")


def _closest(parts: list[_Part], words: Wording) -> str:
    if not parts:
        return "no alloy in it has a solidus"
    part = parts[0]
    closest = "comes closest to melting," if len(parts) > 1 else "stays"
    return (
        f"the {part.name} {closest} {words.apart(part.margin)} below its solidus of "
        f"{words.hot(part.solidus)}, {part.where}"
    )


def _melting(part: _Part, index: int, case: Case, words: Wording) -> str:
    limit = case.limits.base_margin
    too = " too" if index else ""
    peak, solidus = words.hot(part.place.peak), words.hot(part.solidus)
    if part.margin > 0.0:
        return (
            f"the {part.name} comes too close to melting{too}: it peaks at {peak}, "
            f"{words.apart(part.margin, 0.0, limit)} below its solidus of {solidus} where "
            f"{words.apart(limit)} are wanted, {part.where}"
        )
    over = words.apart(-part.margin, 0.0) if part.margin < 0.0 else "0 K"
    deep = f", molten through {words.share(part.depth)} of the wall" if part.depth > 0.0 else ""
    return (
        f"the {part.name} melts{too}: it peaks at {peak}, {over} above its solidus of {solidus}, "
        f"{part.where}{deep}"
    )


def _near(part: _Part, unsure: float, limit: float, words: Wording) -> str:
    side = "above" if part.margin < 0.0 else "below"
    doubt = words.apart(unsure, 0.0, abs(part.margin - limit))
    return (
        f"it is too close to call whether the {part.name} stays solid: it peaks at "
        f"{words.hot(part.place.peak)}, {words.apart(abs(part.margin), 0.0, limit)}, give or take "
        f"{doubt}, {side} its solidus of {words.hot(part.solidus)} where {words.apart(limit)} are "
        f"wanted, {part.where}"
    )


def _vague(side: str, share: float, unsure: float, wanted: float, words: Wording) -> str:
    return (
        f"it is too close to call whether the filler flows on the {side} side: "
        f"{words.share(share, wanted)} of it, give or take "
        f"{words.share(unsure, abs(share - wanted))}, is wet where {words.share(wanted)} is wanted"
    )


def _dryness(history: History, case: Case, side: str, words: Wording) -> str:
    peak = history.tube_side if side == "tube" else history.flange_side
    assert case.fillet is not None
    assert peak is not None
    flow, wanted = case.alloys[case.fillet.filler].liquidus, case.limits.wet_fraction
    assert flow is not None  # case files are refused without it
    wet = side_wet(history, side)
    share = words.share(wet, wanted)
    spans = dry_spans(peak, flow, case.segment_count)
    coldest = min(span.coldest for span in spans)
    return (
        f"the filler does not flow on the {side} side: {share} of it is wet where "
        f"{words.share(wanted)} is wanted, it is dry {_round(spans, wet)}, and its coldest spot "
        f"peaks at {words.hot(coldest)} where filler flows at {words.hot(flow)}"
    )


def _round(spans: tuple[Span, ...], wet: float) -> str:
    """Say which angles: "from 0 to 38 deg (segment 1)"."""
    segments = numbered("segment", [n for span in spans for n in span.segments])
    if len(spans) == 1 and spans[0].end - spans[0].begin > 2.0 * pi - 1e-9:
        # An angle counts as dry for one dry face: some of it may be wet.
        return f"{'somewhere at every angle' if wet > 0.0 else 'all the way round'} ({segments})"
    longest = sorted(spans, key=lambda span: span.begin - span.end)[:MOST_SPANS]
    texts = [
        f"from {degrees(span.begin):.0f} to {degrees(span.end) % 360.0 or 360.0:.0f} deg"
        for span in sorted(longest, key=lambda span: span.begin)
    ]
    more = len(spans) - len(longest)
    if more:
        texts.append(f"{more} shorter {'stretch' if more == 1 else 'stretches'}")
    return f"{listed(texts)} ({segments})"
