"""What the sheet says, apart from its drawings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...case.case import Case
from ...case.faults import printable
from ...case.file import digest_of
from ...history.records import History, SegmentRun
from ...outcomes.findings import Finding, HotFiller, WeakJoint
from ...outcomes.outcomes import Outcomes
from ...outcomes.sentence import capital, notes_of, sentence, sentences_of
from ...outcomes.soundness import TINT
from ...outcomes.wording import OUT_OF_SCOPE, Wording
from ...version import __version__
from ..soundness import COLD_WORK
from .values import STAR, Values, counts, whole

__all__ = ["COLUMNS", "Setting", "Words", "words_of"]

COLUMNS = ("lay", "seg.", "pause", "start at")  # of the order of laying


@dataclass(frozen=True)
class Setting:
    """One thing to set: its name, the value to read from afar, and what belongs to it."""

    name: str
    value: str
    more: str


@dataclass(frozen=True)
class Words:
    """Text of a sheet, in the order it stands.

    Attributes
    ----------
    title, day : heading
    answer : the verdict in a few words
    heading : of what to set
    verdict : its sentences
    chance : that a bench succeeds, or that nobody knows
    settings : what to set
    order : which segment after which
    rows : one a segment, as `COLUMNS`
    watch : what to watch for
    assumed : what was assumed
    also : what else the case file sets
    footer : version, digest, mesh
    """

    title: str
    day: str
    answer: str
    heading: str
    verdict: tuple[str, ...]
    chance: str
    settings: tuple[Setting, ...]
    order: str
    rows: tuple[tuple[str, ...], ...]
    watch: tuple[str, ...]
    assumed: tuple[str, ...]
    also: tuple[str, ...]
    footer: str


def words_of(history: History, outcomes: Outcomes, values: Values, day: str, chance: str) -> Words:
    """Collect the text of a sheet.

    Parameters
    ----------
    history, outcomes : the run
    values : of the case; the drawings must have said theirs already
    day : on which the sheet is made
    chance : sentence about the chance that a bench succeeds
    """
    case, verdict = history.case, outcomes.verdict
    judgement, wording = verdict.judgement, Wording.of(case)
    settings = tuple(_settings(case, outcomes, values))
    told = sentences_of(judgement, wording)
    limits = (
        f"Air and work at {values('surroundings.temperature')} before the first arc. Wanted: base "
        f"{values('limits.base_margin')} below its solidus"
    )
    if case.fillet is not None:
        limits += (
            f", {values('limits.wet_fraction')} of each side {values('limits.flow_margin')} above "
            f"the filler's liquidus, no dry stretch over {values('limits.dry_length')}"
        )
    melts = any(part.margin < 0.0 for part in judgement.parts)
    star = f"{STAR} is Lapheat's default. " if case.written else ""
    if values.resolved:
        star = "The file gives every key: Lapheat's defaults may stand among them without a star. "
    return Words(
        title=printable(case.title),
        day=day,
        answer=_answer(outcomes),
        heading="DO NOT BRAZE WITH THESE SETTINGS" if melts else "Set",
        verdict=tuple(map(sentence, told)) if judgement.fails else (sentence("; ".join(told)),),
        chance=chance,
        settings=settings,
        order=_tacks(case, values)
        + f"Order of laying ({values('travel.order')}), by segment number: "
        + ", ".join(str(run.number) for run in history.segments)
        + ".",
        rows=tuple(_rows(history.segments, values)),
        watch=tuple(_watch(case, outcomes, values, wording)),
        assumed=(f"A count is one second. {star}{limits}.", *case.assumed),
        also=tuple(values.rest()),
        footer=f"Lapheat {__version__}. Case {digest_of(case)} (first digits of the SHA-256 of "
        f"case.toml). {outcomes.mesh.detail.capitalize()} mesh, {outcomes.mesh.cells} cells. "
        "Computed, not measured; full record in report.html.",
    )


def _tacks(case: Case, values: Values) -> str:
    """Where tacks are, and how those are laid that an arc lays; they come before any segment."""
    told = []
    for number, tack in enumerate(case.tacks, start=1):
        at = f"at {values(f'tack[{number}].angle')}, {values(f'tack[{number}].length')} long"
        if tack.current is not None:
            of = f"{values(f'tack[{number}].current')} for {values(f'tack[{number}].time')}"
            at += f", laid first by {of}"
        told.append(at)
    return f"Tacks {'; '.join(told)}. " if told else ""


def _answer(outcomes: Outcomes) -> str:
    verdict = outcomes.verdict
    if verdict.judgement.undecided:
        return "TOO CLOSE TO CALL"
    base = "BASE STAYS SOLID" if verdict.base_stays_solid else "BASE TOO HOT"
    if outcomes.tube.melted_wall_fraction >= 1.0:
        base = "TUBE CAN BURN THROUGH"
    if outcomes.filler is None:
        return base
    return f"{base}, FILLER {'FLOWS' if verdict.filler_flows else 'FAILS'}"


def _settings(case: Case, outcomes: Outcomes, values: Values) -> Iterator[Setting]:
    arc = case.arc
    more = "held steady"
    if arc.pedal is not None:
        more = (
            f"at the strike; the {values('arc.control')}, {values('arc.current_range')}, then "
            f"holds the hottest base at {values('arc.hold')}, lag {values('arc.pedal_lag')}"
        )
    yield Setting("Current", values("arc.current"), more)
    yield _arc(case, values)
    if case.flange is not None:
        aim = {
            1: "out from the tube, on the flange",
            0: "at the root",
            -1: "from the tube's outside, inward",
        }[(arc.aim > 0.0) - (arc.aim < 0.0)]
        yield Setting(
            "Torch", values("arc.work_angle"), f"above the flange; aim {values('arc.aim')} {aim}"
        )
    else:
        yield Setting("Torch", "90 deg", "square to the tube's wall, over its middle")
    yield from _travel(case, outcomes, values)
    if case.fillet is not None:
        rod, inches = outcomes.supplies, case.display.length == "in"
        feed = (
            f"{values.long(60.0 * rod.feed_m_s)}/min"
            if inches
            else f"{values.long(rod.feed_m_s)}/s"
        )
        more = f"{values('fillet.filler')}, {values.long(rod.rod_m)} of it, fed at {feed}"
        yield Setting("Rod", values("fillet.wire_diameter"), more)
    yield Setting("Gas", "argon", _gas(outcomes, values))
    chill = case.fixture.chill
    if chill is not None:
        yield Setting(
            "Chill",
            values("fixture.chill_alloy"),
            f"ring in the bore, {values('fixture.chill_length')} long, "
            f"{values('fixture.chill_wall')} thick, {values('fixture.chill_conductance')}",
        )
    if case.fixture.bench is not None:
        under = f"under the flange, at {values('fixture.bench_temperature')}"
        yield Setting("Bench", values("fixture.bench_conductance"), under)


def _arc(case: Case, values: Values) -> Setting:
    arc = case.arc
    spread = f"efficiency {values('arc.efficiency')}, spot {values('arc.spot')}"
    if arc.length is None:
        how = "measured at the torch" if arc.voltage_measured else "by convention, not measured"
        return Setting("Arc", values("arc.voltage"), f"{how}; {spread}")
    volts = f"{values('arc.voltage')}{'' if arc.voltage_measured else ' expected'}"
    return Setting("Arc", values("arc.length"), f"tungsten to work; {volts}; {spread}")


def _travel(case: Case, outcomes: Outcomes, values: Values) -> Iterator[Setting]:
    travel = case.travel
    length = case.tube.circumference / case.segment_count
    yield Setting(
        "Travel",
        values("travel.speed"),
        f"{case.segment_count} segments of {values.long(length)} ({values('travel.segment')} at "
        f"most), {counts(length / travel.speed)} each",
    )
    if travel.start == "on-flow":
        waits = [run.wait_s for run in outcomes.segments]
        yield Setting(
            "Start",
            values("travel.start"),
            f"wait until both sides flow, {values('travel.dwell_limit')} at most; computed: "
            f"{min(waits):.1f} to {counts(max(waits))}",
        )
    elif travel.dwell > 0.0:
        yield Setting(
            "Start", values("travel.dwell"), f"stand still, then travel: {counts(travel.dwell)}"
        )
    else:
        yield Setting("Start", "at once", f"travel as the arc strikes (dwell {travel.dwell:g} s)")
    if travel.taper > 0.0:
        yield Setting("End", values("travel.taper"), "stand as the current falls to zero")
    if travel.overlap > 0.0:
        yield Setting("Overlap", values("travel.overlap"), "over filler already laid")
    more = f"at least, {counts(travel.pause)}"
    if travel.resume_below is not None:
        more += f"; resume when the next start is below {values('travel.resume_below')}"
    yield Setting("Pause", values("travel.pause"), more)


def _gas(outcomes: Outcomes, values: Values) -> str:
    """Name what the case sets of supplies, and how far to purge."""
    flow, before, after = (values(f"supplies.{k}") for k in ("argon_flow", "pre_flow", "post_flow"))
    told, bore = (
        f"{flow}, from {before} before to {after} after each arc",
        outcomes.soundness.bore_tint_m,
    )
    if bore <= 0.0:
        return told
    return f"{told}; purge the bore: {values.long(bore)} of it gets above {values.kelvin(TINT)}"


def _rows(runs: tuple[SegmentRun, ...], values: Values) -> Iterator[tuple[str, ...]]:
    before = None
    for turn, run in enumerate(runs, start=1):
        pause = "-" if before is None else f"{run.start - before:.0f} s"
        yield f"{turn}", f"{run.number}", pause, values.kelvin(run.start_temperature)
        before = run.end


def _brief(finding: Finding, note: str, outcomes: Outcomes, wording: Wording) -> str:
    """Say a note in a line or two where it is longer."""
    if isinstance(finding, WeakJoint) and outcomes.strength and outcomes.strength.ratio is not None:
        share = wording.share(outcomes.strength.ratio)
        return f"lap and fillet carry {share} of what the tube yields at; {OUT_OF_SCOPE}"
    if isinstance(finding, HotFiller):
        return note.partition(": what")[0]
    return note.removesuffix("; a run with a finer --detail or --converge tells")


def _watch(case: Case, outcomes: Outcomes, values: Values, wording: Wording) -> Iterator[str]:
    parts = (("tube", outcomes.tube), ("flange", outcomes.flange))
    hot = [
        f"{name} {values.hot(part.peak_C)} at {part.peak_angle_deg:.0f} deg"
        for name, part in parts
        if part is not None and part.peak_C is not None
    ]
    judgement = outcomes.verdict.judgement
    notes = zip(judgement.notes, notes_of(judgement, wording), strict=False)  # not all are told
    for finding, note in notes:
        yield whole(capital(_brief(finding, note, outcomes, wording)))
    yield whole(f"Hottest {', '.join(hot)}")
    if outcomes.soundness.tube_liquid_copper_s:
        yield COLD_WORK
    for name, probe in list(outcomes.probes.items())[:3]:
        top = f"{values.hot(probe.peak_C)}, at {probe.peak_s:.0f} s"
        yield f"Thermocouple {printable(name)}: at most {top}"
    if case.travel.coverage < 1.0:
        yield (
            f"Only {len(outcomes.segments)} of {case.segment_count} segments are laid (coverage "
            f"{values('travel.coverage')})"
        )
