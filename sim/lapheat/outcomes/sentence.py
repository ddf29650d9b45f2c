"""Findings in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees, pi

from ..history.wetting import SPOT, Dry
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
    Pedal,
    SideFacts,
    WeakJoint,
    Where,
)
from .wording import OUT_OF_SCOPE, Wording, listed, numbered

__all__ = ["MOST_NOTES", "capital", "notes_of", "sentence", "sentences_of", "summary_of"]

MOST_SPANS = 3  # named in a sentence; more are counted
MOST_NOTES = 3  # the weightiest; more would not be read


def summary_of(judgement: Judgement, words: Wording | None = None) -> str:
    """One sentence with the numbers that decide.

    Parameters
    ----------
    words : units it adds in brackets; none by default, so that a case in inches and the same case
        in millimetres have the same outcomes
    """
    return sentence("; ".join(sentences_of(judgement, words)))


def sentence(clause: str) -> str:
    """Begin a clause with a capital and end it with a full stop."""
    return f"{capital(clause)}."


def capital(clause: str) -> str:
    """Begin a clause with a capital."""
    return f"{clause[0].upper()}{clause[1:]}"


def sentences_of(judgement: Judgement, words: Wording | None = None) -> list[str]:
    """Say the verdict in clauses, without capitals and full stops: faults, or what comes closest.

    Parameters
    ----------
    words : as in `summary_of`
    """
    words = words or Wording()
    told = [_said(finding, judgement, words) for finding in judgement.findings]
    if not judgement.fails:
        told = [*_works(judgement, words), *told]
    if len(judgement.laid) < judgement.ring:
        laid = numbered("segment", judgement.laid)
        told[0] = f"in the part that was run, {laid} of {judgement.ring}, {told[0]}"
    return told


def notes_of(judgement: Judgement, words: Wording | None = None) -> list[str]:
    """Say what to look at besides, in clauses: at most three, the weightiest first.

    Parameters
    ----------
    words : as in `summary_of`
    """
    words = words or Wording()
    return [_said(finding, judgement, words) for finding in judgement.notes[:MOST_NOTES]]


def _works(judgement: Judgement, words: Wording) -> Iterator[str]:
    sides = judgement.sides
    head = "the base stays solid"
    if sides:
        wets = "enough of both sides" if any(side.spans for side in sides) else "on both sides"
        head = f"{head} and the fillet wets {wets}"
    yield f"{head}: {_closest(judgement.parts, words)}"
    if not sides:
        return
    cold = min(sides, key=lambda side: side.coldest)
    spot = "the coldest spot under the filler" if cold.coldest >= judgement.flow else "a dry spot"
    yield f"{spot} peaks {_above_flow(cold, judgement.flow, words)}"
    shares = [
        f"{words.share(side.share)} of the {side.name} side"
        for side in sorted(sides, key=lambda side: side.name, reverse=True)
    ]
    dry = max(side.longest for side in sides)
    # nothing of what would be rounded to 0.0 mm
    most = f", the longest dry stretch is {words.long(dry)}" if dry >= 0.5e-4 else ""
    yield f"filler wets {listed(shares)}{most}"
    yield _lap(judgement.lap_filled, words)


def _lap(filled: float, words: Wording) -> str:
    if filled >= 1.0:
        return "the lap fills"
    if filled <= 0.0:
        return "the lap stays open: none of it fills"
    told = "stays open" if filled < 0.5 else "fills in part"
    return f"the lap {told}: {words.share(filled)} of it fills"


def _above_flow(side: SideFacts, flow: float, words: Wording) -> str:
    surplus = side.coldest - flow
    way = "above" if surplus >= 0.0 else "below"
    return (
        f"{words.apart(abs(surplus), 0.0)} {way} the filler's flow at {words.hot(flow)}, on the "
        f"{side.name} side {_from_root(side.from_root, side, words)}, {_at(side.where, words)}"
    )


def _from_root(from_root: float, side: SideFacts, words: Wording) -> str:
    if from_root <= SPOT:
        return "at its root"
    if from_root >= side.leg - SPOT:
        return "at its toe"
    return f"{words.long(from_root)} from its root"


def _at(where: Where, words: Wording) -> str:
    told = "" if where.segment is None else f"segment {where.segment}"
    if where.tack:
        told = f"{told} or the arc of the tack there" if told else "the arc of the tack there"
    return f"at {words.angle(where.angle)}" + (f" ({told})" if told else "")


def _spot(part: Part, words: Wording) -> str:
    """Say where a part is hottest: surface, height or radius, angle, segment."""
    place = part.place
    line = "arc line" if part.bead else "flange face"
    size = words.long(abs(place.position))
    side = "above" if place.position >= 0.0 else "below"
    spot = {
        "tube outside": f"on its outside {size} {side} the {line}",
        "tube bore": f"in its bore {size} {side} the {line}",
        "tube end": "at its free end",
        "tube foot": "at its lower end" if part.bead else "at its end in the lap",
        "flange face": f"on its face {size} from the tube",
        "flange back": f"on its back {size} from the tube",
        "flange rim": "at its rim",
        "flange bore": f"in its bore {size} {side} its face",
    }[place.surface]
    return f"{spot}, {_at(part.where, words)}"


def _closest(parts: tuple[Part, ...], words: Wording) -> str:
    if not parts:
        return "no alloy in it has a solidus"
    part = parts[0]
    closest = "comes closest to melting," if len(parts) > 1 else "stays"
    return (
        f"the {part.name} {closest} {words.apart(part.margin)} below its solidus of "
        f"{words.hot(part.solidus)}, {_spot(part, words)}"
    )


def _said(finding: Finding, judgement: Judgement, words: Wording) -> str:
    match finding:
        case Melts():
            hot = [f for f in judgement.findings if isinstance(f, Melts)]
            return _melting(finding, hot[0] is not finding, words)
        case NearMelting():
            return _near_melting(finding, words)
        case DrySide():
            return _dry_side(finding, words)
        case DryStretch():
            return _dry_stretch(finding, words)
        case NearDry():
            return _near_dry(finding, judgement.flow, words)
        case NearMesh():
            return _near_mesh(finding, words)
        case HotFiller():
            return _hot_filler(finding, words)
        case Boils():
            return (
                f"the {finding.part} comes out at {words.hot(finding.peak)}, but its main metal "
                f"boils at {words.hot(finding.boils)}: the model no longer holds there"
            )
        case OpenLap():
            return (
                f"filler fills {words.share(finding.filled, finding.wanted)} of the lap where "
                f"{words.share(finding.wanted, finding.filled)} is wanted"
            )
        case LapShut():
            when, entered = "while hot, so filler cannot enter it", ""
            if finding.filled > 0.0:
                when = "at times while hot"
                entered = f"; filler fills {words.share(finding.filled)} of it while it is open"
            return (
                f"the lap shuts {when}: from a gap of "
                f"{words.thin(finding.cold)} when cold, the tube would outgrow its bore by "
                f"{words.thin(finding.over)}{entered}"
            )
        case Brief():
            return (
                f"{words.share(finding.share)} of the wet spots spend less than "
                f"{finding.seconds:g} s above the filler's liquidus: doubt that they wet"
            )
        case FastFeed():
            return (
                f"the rod must go in at {1e3 * finding.feed:.0f} mm/s, more than the "
                f"{1e3 * finding.limit:.0f} mm/s that a hand can feed: take a thicker rod or "
                "travel more slowly"
            )
        case WeakJoint():
            return _weak(finding, words)
        case ColdStart():
            return _cold_start(finding, words)
        case Pedal():
            return _pedal(finding, words)


def _melting(finding: Melts, too: bool, words: Wording) -> str:
    part, limit = finding.part, finding.wanted
    also = " too" if too else ""
    peak, solidus = words.hot(part.place.peak), words.hot(part.solidus)
    if part.margin > 0.0:
        return (
            f"the {part.name} comes too close to melting{also}: it peaks at {peak}, "
            f"{words.apart(part.margin, 0.0, limit)} below its solidus of {solidus} where "
            f"{words.apart(limit)} are wanted, {_spot(part, words)}"
        )
    over = words.apart(-part.margin, 0.0) if part.margin < 0.0 else "0 K"
    deep = f", molten through {words.share(part.depth)} of the wall" if part.depth > 0.0 else ""
    if part.depth >= 1.0:
        deep = ", molten through the whole wall: it can burn through"
    return (
        f"the {part.name} melts{also}: it peaks at {peak}, {over} above its solidus of {solidus}, "
        f"{_spot(part, words)}{deep}"
    )


def _near_melting(finding: NearMelting, words: Wording) -> str:
    part, limit = finding.part, finding.wanted
    side = "above" if part.margin < 0.0 else "below"
    doubt = words.apart(finding.unsure, 0.0, abs(part.margin - limit))
    return (
        f"it is too close to call whether the {part.name} stays solid: it peaks at "
        f"{words.hot(part.place.peak)}, {words.apart(abs(part.margin), 0.0, limit)}, give or take "
        f"{doubt}, {side} its solidus of {words.hot(part.solidus)} where {words.apart(limit)} are "
        f"wanted, {_spot(part, words)}"
    )


def _near_dry(finding: NearDry, flow: float, words: Wording) -> str:
    side = finding.side
    what = "all of it but short stretches" if finding.stretch else "the wanted share of it"
    way = "above" if finding.surplus >= 0.0 else "below"
    doubt = words.apart(finding.unsure, 0.0, abs(finding.surplus - finding.wanted))
    return (
        f"it is too close to call whether the filler flows on the {side.name} side: {what} peaks "
        f"{words.apart(abs(finding.surplus), 0.0, finding.wanted)}, give or take {doubt}, {way} "
        f"the filler's flow at {words.hot(flow)} where {words.apart(finding.wanted)} are wanted"
    )


def _near_mesh(finding: NearMesh, words: Wording) -> str:
    way = "over" if finding.over >= 0.0 else "under"
    what = "margin of the" if finding.shares is None else "surplus on the"
    side = "" if finding.shares is None else " side"
    side += " but for short stretches" if finding.stretch else ""
    told = (
        f"near a limit: the {what} {finding.part}{side} is {words.apart(abs(finding.over), 0.0)} "
        f"{way} what is wanted, and the {finding.detail} mesh may move that by "
        f"{words.apart(finding.may)}"
    )
    if finding.shares is not None:
        share, least, most = finding.shares
        told += (
            f", so that {words.share(share)} wet may be {words.share(least)} to {words.share(most)}"
        )
    return f"{told}; a run with a finer --detail or --converge tells"


def _dry_side(finding: DrySide, words: Wording) -> str:
    side, wanted = finding.side, finding.wanted
    share, dry = words.share(side.share, wanted), "has dry spots" if side.share else "is dry"
    return (
        f"the filler does not flow on the {side.name} side: {share} of it is wet where "
        f"{words.share(wanted, side.share)} is wanted, it {dry} "
        f"{_round(side.spans, side.share)}, and its coldest spot peaks at "
        f"{words.hot(side.coldest)} where it must reach {words.hot(finding.wets_at)}"
    )


def _dry_stretch(finding: DryStretch, words: Wording) -> str:
    side = finding.side
    return (
        f"the filler leaves a dry stretch of {_told_long(finding, words)} on the {side.name} side "
        f"{_from_root(finding.span.from_root, side, words)}, "
        f"{_round((finding.span,), side.share)}, where "
        f"{words.long(finding.allowed)} is allowed: it peaks at {words.hot(finding.span.coldest)} "
        f"where it must reach {words.hot(finding.wets_at)}; "
        f"{words.share(side.share)} of that side is wet"
    )


def _told_long(finding: DryStretch, words: Wording) -> str:
    """Length of the stretch, never rounded onto what is allowed."""
    text = words.long(finding.length)
    return text if text != words.long(finding.allowed) else f"a little over {text}"


def _hot_filler(finding: HotFiller, words: Wording) -> str:
    told = (
        f"the filler peaks at {words.hot(finding.peak)}, {words.apart(finding.superheat)} above "
        f"its liquidus, {_at(finding.where, words)}"
    )
    if finding.allowed is not None:
        return f"{told}, where {words.apart(finding.allowed)} are allowed"
    return (
        f"{told}: what evaporates easily is lost there and the base dissolves; a puddle that "
        "stirs itself is cooler (fillet.stirring)"
    )


def _weak(finding: WeakJoint, words: Wording) -> str:
    lap = words.force(finding.lap) if finding.lap > 0.0 else "nothing"
    helps = "" if finding.dry else ": filling it or a larger leg helps"
    return (
        f"lap and fillet carry {words.force(finding.joint)}, with a safety factor of "
        f"{finding.safety:g}, less than the {words.force(finding.tube)} at which the tube yields; "
        f"the lap adds {lap}{helps} ({OUT_OF_SCOPE})"
    )


def _cold_start(finding: ColdStart, words: Wording) -> str:
    whole = [
        "cold start: the arc set off without flow on both sides at the start of "
        f"{numbered('segment', finding.segments)}, after {finding.limit:g} s (travel.dwell_limit)"
    ]
    return "; ".join([*whole, *(_pedal(pedal, words) for pedal in finding.why)])


def _pedal(pedal: Pedal, words: Wording) -> str:
    """What the pedal did, and what helps; nothing hotter is advised where the base melts."""
    hold = f"arc.hold, {words.hot(pedal.hold)}"
    waited = pedal.arc == 0.0
    match pedal.what:
        case "top" if waited:
            more = "a longer wait" if pedal.melts else "more current or a longer wait"
            return f"the pedal was at the top of arc.current_range: {more} helps"
        case "gave way":
            more = "" if pedal.melts else "a higher hold or "
            return (
                "the pedal gave way at arc.hold before the colder side flowed: "
                f"{more}an aim further to that side helps"
            )
        case "not yet":
            return "the base was not yet at arc.hold: a longer wait helps"
        case "bottom":
            return f"the pedal was at the bottom of arc.current_range, with the base above {hold}"
        case "top":
            return "the pedal was at the top of arc.current_range: it could give no more"
        case "no room":
            return "under the pedal the hotter side has no room: aim further to the colder side"
        case "held":
            return f"the pedal held the base at {hold}: a higher hold warms the colder side"
        case _:
            return (
                f"the base was at {hold}, for only {pedal.seconds:.0f} of {pedal.arc:.0f} s of arc"
            )


def _round(spans: tuple[Dry, ...], wet: float) -> str:
    """Say which angles: "from 0 to 38 deg (segment 1)"."""
    if not spans:  # less than a spot wide
        return f"within {0.5e3 * SPOT:.1f} mm of its root or toe"
    segments = numbered("segment", [n for span in spans for n in span.segments])
    if len(spans) == 1 and spans[0].end - spans[0].begin > 2.0 * pi - 1e-9:
        # An angle counts as dry for one dry spot: some of it may be wet.
        return f"{'at every angle' if wet > 0.0 else 'all the way round'} ({segments})"
    longest = sorted(spans, key=lambda span: span.begin - span.end)[:MOST_SPANS]
    texts = [
        f"from {round(degrees(span.begin)) % 360} to {round(degrees(span.end)) % 360 or 360} deg"
        for span in sorted(longest, key=lambda span: span.begin)
    ]
    more = len(spans) - len(longest)
    if more:
        texts.append(f"{more} shorter {'stretch' if more == 1 else 'stretches'}")
    return f"{listed(texts)} ({segments})"
