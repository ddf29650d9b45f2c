"""The verdict at its limits: what counts on which side, and which finding goes where."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from lapheat.case.case import Limits, Tack
from lapheat.history.records import History, SurfacePeaks
from lapheat.joint.section import Region
from lapheat.outcomes.findings import (
    Boils,
    ColdStart,
    DrySide,
    DryStretch,
    FastFeed,
    HotFiller,
    LapShut,
    Melts,
    NearDry,
    NearMelting,
    NearMesh,
    OpenLap,
    Pedal,
    WeakJoint,
    Where,
)
from lapheat.outcomes.verdict import filler_place, judge, liquid_times
from support.runs import WET, run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS, make_case

WETS_AT = FLOW + 10.0
COLD = FLOW - 91.0
LAYERS = run_with().problem.mesh.layers
RADIUS = 19.05e-3  # [m] of the made-up tube


def kinds(findings: tuple[object, ...]) -> list[type]:
    return [type(finding) for finding in findings]


def at_detail(run: History, detail: str) -> History:
    return replace(run, case=replace(run.case, detail=detail))


def with_sides(kelvin: float, run: History | None = None) -> History:
    """Run whose sides peak at one temperature everywhere."""
    run = run or run_with()
    sides = {n: replace(s, peak=np.full_like(s.peak, kelvin)) for n, s in run.sides.items()}
    wet = float(kelvin >= WETS_AT)
    runs = [replace(s, tube_side_wet=wet, flange_side_wet=wet) for s in run.segments]
    return replace(run, sides=sides, segments=tuple(runs))


def with_filler(kelvin: float, run: History | None = None) -> History:
    run = run or run_with()
    return replace(run, cell_peak=np.full_like(run.cell_peak, kelvin))


def turned(run: History, angle: float) -> History:
    """Run whose tube is hottest at an angle [rad], on the first row of its outside."""
    outside = run.surfaces["tube outside"]
    peak = np.full_like(outside.peak, 1200.0)
    peak[0, int(np.argmin(np.abs(outside.angle - angle)))] = 1500.0
    return replace(run, surfaces={**run.surfaces, "tube outside": replace(outside, peak=peak)})


def where_hottest(run: History) -> Where:
    return next(part for part in judge(run).parts if part.name == "tube").where


def test_a_place_belongs_to_the_segment_that_was_laid_over_it() -> None:
    """Eight segments of 45 deg, the first four of them laid."""
    half = run_with(coverage=0.5)
    for degrees, segment in ((10, 1), (100, 3), (179, 4), (181, None), (350, None)):
        assert where_hottest(turned(half, np.radians(degrees))).segment == segment
    assert where_hottest(turned(run_with(), np.radians(350))).segment == 8
    assert not where_hottest(turned(run_with(), np.radians(350))).tack


@pytest.mark.parametrize("middle", [0.0, 2.0, 6.2])
def test_within_two_spots_of_an_arc_tack_its_arc_counts(middle: float) -> None:
    """5 mm of tack and twice 1.6 mm of spot on 19.05 mm: 5.7 mm to either side, 0.299 rad."""
    laid = Tack(middle, 5e-3, 60.0, 2.0)
    for tacks, beside in (((laid,), True), ((Tack(middle, 5e-3),), False), ((), False)):
        run = run_with(case={"tacks": tacks})
        for off in (-0.28, 0.0, 0.28):
            assert where_hottest(turned(run, (middle + off) % (2.0 * pi))).tack is beside
        for off in (-0.32, 0.32, 1.5, pi):
            assert not where_hottest(turned(run, (middle + off) % (2.0 * pi))).tack
    others = (laid, Tack(middle + 2.0, 5e-3, 60.0, 2.0), Tack(middle + 4.0, 5e-3))
    assert where_hottest(turned(run_with(case={"tacks": others}), middle + 0.1)).tack


def test_only_the_tube_melts_through() -> None:
    verdict = judge(run_with(flange=1500.0, melted=0.4))
    assert {part.name: part.depth for part in verdict.parts} == {"tube": 0.4, "flange": 0.0}
    assert [part.bead for part in verdict.parts] == [False, False]
    assert [part.bead for part in judge(run_with(bead=True)).parts] == [True]


def test_a_hot_place_lies_on_a_face_that_has_a_peak() -> None:
    """A face of filler with holes in it: what was never laid is no place."""
    run = with_filler(np.nan)
    outside = run.surfaces["tube outside"]
    peak = np.full_like(outside.peak, np.nan)
    empty = replace(outside, name="fillet", peak=peak)
    assert filler_place(replace(run, surfaces={**run.surfaces, "fillet": empty})) is None
    peak = peak.copy()
    peak[1, 4] = 1310.0
    place = filler_place(
        replace(run, surfaces={**run.surfaces, "fillet": replace(empty, peak=peak)})
    )
    assert place is not None
    assert (place.peak, place.position, place.angle) == (
        1310.0,
        outside.position[1],
        outside.angle[4],
    )


def test_cells_without_filler_are_no_place_of_the_hottest() -> None:
    run = run_with()
    fillet = np.flatnonzero(run.problem.mesh.section.region == Region.FILLET)
    cells = np.full(run.cell_peak.shape, 2000.0)
    cells[fillet] = np.nan
    cells[fillet[-1], 7] = 1400.0
    place = filler_place(replace(run, cell_peak=cells))
    assert place is not None
    assert (place.peak, place.position) == (1400.0, 0.0)
    assert place.angle == pytest.approx(7.5 * 2.0 * pi / LAYERS)


def test_of_two_faces_alike_but_for_round_off_the_first_is_told() -> None:
    run = turned(run_with(), 1.0)
    outside: SurfacePeaks = run.surfaces["tube outside"]
    row, layer = np.unravel_index(int(outside.peak.argmax()), outside.peak.shape)
    peak = outside.peak.copy()
    peak[row, layer + 5] = peak[row, layer] + 1e-9
    run = replace(run, surfaces={**run.surfaces, "tube outside": replace(outside, peak=peak)})
    assert where_hottest(run).angle == outside.angle[layer]


def test_times_are_counted_of_every_wet_spot_and_stay_level_beyond_the_faces() -> None:
    """Faces that were liquid for 1, 2, 3 and 4 s from root to toe; half the ring is not wet."""
    run = run_with()
    sides = {}
    for name, side in run.sides.items():
        peak = np.where(np.arange(LAYERS) < LAYERS // 2, WETS_AT - 6.0, WET)
        sides[name] = replace(
            side,
            peak=np.broadcast_to(peak, side.peak.shape),
            liquid=np.arange(1.0, 5.0)[:, None] * np.ones(LAYERS),
        )
    times = liquid_times(replace(run, sides=sides))
    assert (times.min(), times.max()) == (1.0, 4.0)
    # of each side root, four faces and toe; of a segment its layers and both ends
    assert len(times) == 2 * 6 * (LAYERS // 8 + 2) * 4
    assert liquid_times(run_with(bead=True)).size == 0
    assert judge(run_with(bead=True)).notes == ()


def test_a_tenth_of_a_second_is_no_longer_brief() -> None:
    def notes(seconds: float) -> tuple[object, ...]:
        run = run_with()
        sides = {
            n: replace(s, liquid=np.full_like(s.liquid, seconds)) for n, s in run.sides.items()
        }
        return judge(replace(run, sides=sides)).notes

    assert notes(0.1) == notes(0.5) == ()
    (brief,) = notes(0.0999)
    assert brief.share == 1.0


def test_without_a_known_uncertainty_nothing_is_too_close_to_call() -> None:
    melts = judge(run_with(tube=STAINLESS_SOLIDUS - 49.5))
    assert kinds(melts.findings) == [Melts]
    assert melts.too_close is None
    assert judge(with_sides(WETS_AT + 0.5)).filler_flows
    # 5 mm of the ring are half a kelvin over, the rest far more
    assert judge(run_with(tube_dry=((45.0, 60.0, WETS_AT + 0.5),))).filler_flows


def test_an_uncertainty_as_large_as_the_distance_decides() -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - 45.0)
    key = "tube.margin_K"
    short = 50.0 - judge(run).parts[0].margin
    assert kinds(judge(run, {key: short}).findings) == [Melts]
    unsure = judge(run, {key: short + 0.1})
    assert kinds(unsure.findings) == [NearMelting]
    assert unsure.too_close == (key,)
    assert not unsure.base_stays_solid
    over = run_with(tube=STAINLESS_SOLIDUS - 55.0)
    assert kinds(judge(over, {key: 5.1}).findings) == [NearMelting]
    assert judge(over, {key: 4.9, "flange.margin_K": 1e3}).parts[0].margin == pytest.approx(55.0)


def test_a_surplus_is_held_against_its_own_uncertainty() -> None:
    run = with_sides(WETS_AT - 6.0)
    tube = judge(run).sides[0]
    doubt = abs(tube.level - WETS_AT)
    names = [f"filler.{side}_side_surplus_K" for side in ("tube", "flange")]
    sure = judge(run, dict.fromkeys(names, doubt))
    assert kinds(sure.findings) == [DrySide, DrySide]
    unsure = judge(run, dict.fromkeys(names, doubt + 0.1))
    assert kinds(unsure.findings) == [NearDry, NearDry]
    assert set(unsure.too_close or ()) == set(names)
    near = unsure.findings[0]
    assert isinstance(near, NearDry)
    assert (near.surplus, near.wanted, near.stretch) == (pytest.approx(4.0), 10.0, False)
    mixed = judge(run, {names[0]: doubt + 0.1})
    assert kinds(mixed.findings) == [DrySide, NearDry]  # what is sure comes first


def test_a_stretch_is_held_against_its_own_uncertainty() -> None:
    run = run_with(tube_dry=((0.0, 14.0, WETS_AT - 1.0),))
    side = next(side for side in judge(run).sides if side.name == "tube")
    key, doubt = "filler.stretch_surplus_K", abs(side.stretch_level - WETS_AT)
    assert kinds(judge(run, {key: doubt}).findings) == [DryStretch]
    unsure = judge(run, {key: doubt + 0.1})
    (near,) = unsure.findings
    assert isinstance(near, NearDry)
    assert (near.stretch, near.surplus) == (True, pytest.approx(side.stretch_level - FLOW))
    assert unsure.too_close == (key,)


def test_a_dry_stretch_as_long_as_is_allowed_passes_and_the_longest_is_told() -> None:
    """2 mm and 5 mm of a ring of 119.7 mm, in layers of half a millimetre."""
    run = run_with(
        tube_dry=((30.0, 45.0, COLD), (200.0, 206.0, COLD)),
        case={"limits": Limits(50.0, 0.9)},
    )
    verdict = judge(run)
    (finding,) = verdict.findings
    assert isinstance(finding, DryStretch)
    assert np.degrees(finding.span.begin) == pytest.approx(30.0, abs=1.5)
    assert finding.length == finding.side.longest
    assert finding.length == pytest.approx(np.radians(15.0) * RADIUS, abs=1e-3)
    assert finding.side.leg == pytest.approx(3.3e-3)
    just = Limits(50.0, 0.9, dry_length=finding.length)
    assert judge(replace(run, case=replace(run.case, limits=just))).filler_flows


def test_a_short_dip_does_not_set_the_level_of_the_stretch() -> None:
    run = run_with(tube_dry=((200.0, 204.0, COLD),))
    tube, flange = sorted(judge(run).sides, key=lambda side: side.name, reverse=True)
    assert tube.longest < 3e-3
    assert flange.longest == 0.0
    assert tube.stretch_level > WETS_AT
    assert tube.coldest == pytest.approx(COLD)


@pytest.mark.parametrize(
    ("detail", "near", "far"),
    [("coarse", 31.9, 32.0), ("standard", 10.9, 11.0), ("fine", None, 0.5)],
)
def test_what_the_mesh_may_move(detail: str, near: float | None, far: float) -> None:
    """31.0 and 10.0 K were measured (`test_settles.py`), and a kelvin is put on."""

    def notes(over: float) -> list[type]:
        return kinds(judge(at_detail(run_with(STAINLESS_SOLIDUS - 50.0 - over), detail)).notes)

    assert notes(far + 1e-9) == []
    if near is not None:
        assert notes(near) == [NearMesh]
    side = judge(at_detail(with_sides(WETS_AT + far + 1e-6), detail))
    assert kinds(side.notes) == []


def test_a_side_that_is_cold_alike_everywhere_is_told_by_its_share() -> None:
    (note,) = judge(at_detail(with_sides(WETS_AT + 5.0), "standard")).notes
    assert isinstance(note, NearMesh)
    assert not note.stretch
    assert note.shares == (1.0, 0.0, 1.0)


def test_a_margin_that_fails_by_less_than_the_mesh_moves_it_is_noted_too() -> None:
    notes = judge(at_detail(run_with(STAINLESS_SOLIDUS - 45.0), "standard")).notes
    assert kinds(notes) == [NearMesh]
    assert notes[0].over == pytest.approx(-5.0)


def test_the_filler_is_hot_beyond_its_limit_only() -> None:
    for over, hot in ((275.0, False), (275.5, True)):
        assert kinds(judge(with_filler(FLOW + over)).notes) == ([HotFiller] if hot else [])
    run = run_with(case={"limits": Limits(50.0, 0.95, filler_superheat=300.0)})
    place = with_filler(FLOW + 300.0, run)
    limit = (FLOW + 300.0) - FLOW
    limits = replace(place.case.limits, filler_superheat=limit)
    verdict = judge(replace(place, case=replace(place.case, limits=limits)))
    assert verdict.filler_flows  # at the limit it still passes, and is noted
    (note,) = verdict.notes
    assert isinstance(note, HotFiller)
    assert note.allowed is None
    failed = judge(with_filler(FLOW + 301.0, run))
    assert not failed.filler_flows
    assert kinds(failed.findings) == [HotFiller]
    assert failed.findings[0].allowed == 300.0


def test_metal_boils_above_its_boiling_point() -> None:
    """Iron at 3134 K, copper at 2833 K (CRC Handbook, from memory)."""

    def boils(run: History) -> list[str]:
        return [note.part for note in judge(run).notes if isinstance(note, Boils)]

    assert boils(run_with(3134.0, 3134.0)) == []
    assert boils(run_with(3134.5, 3134.5)) == ["tube", "flange"]
    assert boils(with_filler(2833.0)) == []
    assert boils(with_filler(2833.5)) == ["filler"]


def test_a_shut_lap_explains_a_filler_that_fails_and_is_noted_otherwise() -> None:
    for gap, told in ((60e-6, []), (1e-9, []), (0.0, [LapShut]), (-20e-6, [LapShut])):
        good = replace(run_with(), hot_clearance=gap)
        assert kinds(judge(good).notes) == told
        assert judge(good).findings == ()
        dry = replace(run_with(tube_dry=((0.0, 90.0, COLD),)), hot_clearance=gap, lap_filled=0.3)
        assert kinds(judge(dry).findings) == [DrySide, *told]
        open_lap = replace(good, case=replace(good.case, limits=Limits(50.0, 0.95, lap_filled=0.9)))
        assert kinds(judge(replace(open_lap, lap_filled=0.3)).findings) == [OpenLap, *told]
    shut = judge(dry).findings[1]
    assert isinstance(shut, LapShut)
    assert (shut.cold, shut.over, shut.filled) == (0.1e-3, 20e-6, 0.3)


def on_pedal(run: History) -> History:
    """Run whose current is a hand's that sat at the top of its range."""
    arc = replace(run.case.arc, control="pedal")
    low, high = arc.current_range
    trace = replace(run.trace, current=np.where(run.trace.current > 0.0, high, 0.0))
    assert low < high
    return replace(run, case=replace(run.case, arc=arc), trace=trace)


def test_a_pedal_explains_a_dry_side_and_nothing_else() -> None:
    dry = on_pedal(run_with(tube_dry=((0.0, 90.0, COLD),)))
    found = judge(dry).findings
    assert kinds(found) == [DrySide, Pedal]
    assert isinstance(found[1], Pedal)
    assert (found[1].what, found[1].melts) == ("top", False)
    assert found[1].arc == pytest.approx(dry.arc_on, rel=0.01)
    hot = on_pedal(run_with(tube=STAINLESS_SOLIDUS + 5.0, tube_dry=((0.0, 90.0, COLD),)))
    assert [f.melts for f in judge(hot).findings if isinstance(f, Pedal)] == [True]
    # a stretch is dry too; without a pedal nobody held the current back
    stretch = on_pedal(run_with(tube_dry=((0.0, 22.5, COLD),), case={"limits": Limits(50.0, 0.9)}))
    assert kinds(judge(stretch).findings) == [DryStretch, Pedal]
    assert kinds(judge(run_with(tube_dry=((0.0, 90.0, COLD),))).findings) == [DrySide]
    # nothing is dry: nothing to explain
    for good in (run_with(), run_with(tube=STAINLESS_SOLIDUS + 5.0)):
        verdict = judge(on_pedal(good))
        assert not any(isinstance(f, Pedal) for f in (*verdict.findings, *verdict.notes))
    lap = replace(
        on_pedal(run_with(case={"limits": Limits(50.0, 0.95, lap_filled=0.9)})), lap_filled=0.3
    )
    assert kinds(judge(lap).findings) == [OpenLap]


def test_a_cold_start_says_by_itself_what_the_pedal_did() -> None:
    """Segment 3 set off without flow, the others with it."""
    travel = replace(make_case().travel, start="on-flow", dwell_limit=12.0)

    def cold(run: History) -> History:
        segments = tuple(replace(s, flowed=s.number != 3, wait=1.0) for s in run.segments)
        return replace(run, segments=segments)

    dry = judge(on_pedal(cold(run_with(tube_dry=((0.0, 90.0, COLD),), case={"travel": travel}))))
    assert kinds(dry.findings) == [DrySide, ColdStart]
    start = dry.findings[1]
    assert isinstance(start, ColdStart)
    assert (start.segments, start.limit) == ((3,), 12.0)
    assert [pedal.what for pedal in start.why] == ["top"]
    good = judge(cold(run_with(case={"travel": travel})))
    assert good.findings == ()
    assert kinds(good.notes) == [ColdStart]
    assert good.notes[0].why == ()  # no pedal
    flowed = judge(run_with(case={"travel": travel}))  # whether it flowed is not known
    assert kinds((*flowed.findings, *flowed.notes)) == []


def strong(run: History, tube: float) -> History:
    """Run whose tube yields at `tube` [Pa] and whose filler holds 199 MPa in shear."""
    alloys = dict(run.case.alloys)
    alloys["304L"] = replace(alloys["304L"], yield_strength=tube)
    alloys["CuSi3Mn1"] = replace(alloys["CuSi3Mn1"], shear_strength=199e6)
    return replace(run, case=replace(run.case, alloys=alloys))


def test_half_a_ring_carries_half_and_a_weak_joint_is_noted() -> None:
    whole, half = (judge(strong(run_with(coverage=c), 170e6)) for c in (1.0, 0.5))
    assert whole.strength is not None
    assert half.strength is not None
    assert half.strength.joint_N == pytest.approx(0.5 * (whole.strength.joint_N or 0.0))
    assert whole.notes == ()
    joint = whole.strength.joint_N or 0.0
    for over, notes in ((1.001, [WeakJoint]), (0.999, [])):
        tube = 170e6 * joint / (whole.strength.tube_yield_N or 0.0) * over
        verdict = judge(strong(run_with(), tube))
        assert kinds(verdict.notes) == notes
    weak = judge(strong(run_with(), 900e6)).notes[0]
    assert isinstance(weak, WeakJoint)
    assert not weak.dry
    dry = judge(strong(run_with(tube_dry=((0.0, 90.0, COLD),)), 900e6)).notes[0]
    assert isinstance(dry, WeakJoint)
    assert dry.dry


def test_only_a_tube_that_melts_takes_the_strength_away() -> None:
    for above, known in ((-0.5, True), (0.0, False), (5.0, False)):
        verdict = judge(strong(run_with(tube=STAINLESS_SOLIDUS + above), 170e6))
        assert verdict.strength is not None
        assert (verdict.strength.joint_N is not None) is known
    flange = judge(strong(run_with(tube=1500.0, flange=1800.0), 170e6))
    assert flange.strength is not None
    assert flange.strength.joint_N is not None


def test_notes_come_in_the_order_of_their_weight() -> None:
    """A fast rod, a hot filler and metal that boils: the last is told first."""
    run = run_with(3200.0)
    fillet = run.case.fillet
    assert fillet is not None
    thin = replace(run.case, fillet=replace(fillet, wire_diameter=0.8e-3))
    notes = judge(with_filler(FLOW + 280.0, replace(run, case=thin))).notes
    assert kinds(notes) == [Boils, Boils, HotFiller, FastFeed]


def test_a_hand_feeds_15_mm_a_second() -> None:
    fillet = run_with().case.fillet
    assert fillet is not None
    as_it_is = run_with().case.feed
    for feed, told in ((14.9e-3, []), (15.1e-3, [FastFeed])):
        wire = fillet.wire_diameter * (as_it_is / feed) ** 0.5  # feed times section is the fillet's
        thin = replace(fillet, wire_diameter=wire)
        assert kinds(judge(run_with(case={"fillet": thin})).notes) == told
