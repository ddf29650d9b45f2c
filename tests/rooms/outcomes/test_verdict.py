"""The verdict: the two booleans at their limits, and what the sentence says."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from math import pi

import numpy as np
import pytest
from rich.console import Console

from lapheat.case.case import Display, Limits
from lapheat.history.records import History
from lapheat.joint.section import Region
from lapheat.outcomes.findings import (
    Boils,
    Brief,
    ColdStart,
    DryStretch,
    FastFeed,
    HotFiller,
    Melts,
    NearMesh,
)
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.sentence import notes_of, summary_of
from lapheat.outcomes.verdict import HOT, STRETCH, filler_place, hottest_place, judge, side_wet
from lapheat.outcomes.wording import Wording, listed, numbered, told_apart
from lapheat.report.terminal import report_of
from support.runs import WET, run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS, STEEL_SOLIDUS, make_case

COLD = FLOW - 91.0
LIMIT = 50.0
LAYERS = run_with().problem.mesh.layers

WETS_AT = FLOW + 10.0


def stretch(begin: float, end: float, cold: float = COLD) -> str:
    """Say where the straight line from the dry layers between two angles [deg] reaches flow."""
    first, last = (round(angle / 360.0 * LAYERS) for angle in (begin, end))
    beyond = (WETS_AT - cold) / (WET - cold) - 0.5
    degrees = [360.0 / LAYERS * k for k in (first - beyond, last + beyond)]
    return f"from {degrees[0]:.0f} to {degrees[1] - 360.0 * (degrees[1] > 360.0):.0f} deg"


def said(history: History, words: Wording | None = None) -> str:
    return summary_of(judge(history), words)


def test_good_run_names_the_closest_part_and_both_shares() -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - 142.0)
    verdict = judge(run)
    assert verdict.base_stays_solid
    assert verdict.filler_flows
    place = hottest_place(run, "tube")
    height, angle = f"{place.position * 1e3:.1f}", f"{np.degrees(place.angle):.0f}"
    number = int(place.angle / (2.0 * pi) * 8) + 1
    assert summary_of(verdict) == (
        "The base stays solid and the fillet wets on both sides: the tube comes closest to "
        f"melting, 142 K below its solidus of 1400 degC, on its outside {height} mm above the "
        f"flange face, at {angle} deg (segment {number}); the coldest spot under the filler peaks "
        "80 K above the filler's flow at 1025 degC, on the tube side at its root, at 0 deg "
        "(segment 1); filler wets 100 % of the tube side and 100 % of the flange side; the lap "
        "fills."
    )


def test_flange_can_be_the_closest() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS - 400.0, flange=STEEL_SOLIDUS - 120.0))
    assert verdict.base_stays_solid
    assert (
        "the flange comes closest to melting, 120 K below its solidus of 1490 degC, on its fa"
        in summary_of(verdict)
    )


def test_melted_tube_tells_peak_excess_place_and_depth() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS + 32.0, flange=1500.0, melted=0.41))
    assert not verdict.base_stays_solid
    assert verdict.filler_flows
    assert summary_of(verdict).startswith(
        "The tube melts: it peaks at 1432 degC, 32 K above its solidus of 1400 degC, on its outside"
    )
    assert summary_of(verdict).endswith(", molten through 41 % of the wall.")
    through = judge(run_with(tube=STAINLESS_SOLIDUS + 300.0, flange=1500.0, melted=1.0))
    told = ", molten through the whole wall: it can burn through."
    assert summary_of(through).endswith(told)


@pytest.mark.parametrize(
    ("below", "solid"), [(LIMIT, True), (LIMIT - 1e-6, False), (0.0, False), (-1.0, False)]
)
def test_base_margin_decides_at_its_limit(below: float, solid: bool) -> None:
    # solidus - (solidus - 50) is exact in floats here
    assert judge(run_with(tube=STAINLESS_SOLIDUS - below)).base_stays_solid is solid


def test_too_close_is_not_called_melting() -> None:
    summary = said(run_with(tube=STAINLESS_SOLIDUS - 28.0))
    assert summary.startswith(
        "The tube comes too close to melting: it peaks at 1372 degC, 28 K below its solidus of "
        "1400 degC where 50 K are wanted, on its outside"
    )
    assert "molten" not in summary


def test_a_hair_under_the_margin_is_not_rounded_onto_it() -> None:
    summary = said(run_with(tube=STAINLESS_SOLIDUS - 49.97))
    assert "49.97 K below its solidus of 1400 degC where 50 K are wanted" in summary


def test_both_parts_at_fault_are_told_the_worse_first() -> None:
    summary = said(run_with(tube=STAINLESS_SOLIDUS + 5.0, flange=STEEL_SOLIDUS + 90.0))
    flange, tube = summary.index("The flange melts: it peaks"), summary.index("the tube melts too")
    assert flange == 0 < tube


def test_an_alloy_without_solidus_cannot_melt() -> None:
    case = make_case()
    never = {
        name: replace(alloy, solidus=None, liquidus=None, latent_heat=None)
        if name == "304L"
        else alloy
        for name, alloy in case.alloys.items()
    }
    verdict = judge(run_with(tube=3000.0, flange=STEEL_SOLIDUS - 70.0, case={"alloys": never}))
    assert verdict.base_stays_solid
    assert "the flange stays 70 K below" in summary_of(verdict)
    bead = judge(run_with(tube=3000.0, bead=True, case={"alloys": never}))
    assert bead.base_stays_solid
    assert summary_of(bead) == "The base stays solid: no alloy in it has a solidus."


def test_dry_side_tells_share_angles_segment_and_coldest_spot() -> None:
    verdict = judge(run_with(flange_dry=((0.0, 45.0, COLD),)))
    assert verdict.base_stays_solid
    assert not verdict.filler_flows
    assert summary_of(verdict) == (
        "The filler does not flow on the flange side: 88 % of it is wet where 95 % is wanted, it "
        "has dry spots from 0 to 45 deg (segment 1), and its coldest spot peaks at 934 degC where "
        "it must reach 1035 degC."
    )


def test_dry_stretches_are_all_named_up_to_three() -> None:
    two = said(run_with(tube_dry=((10.0, 30.0, COLD), (100.0, 170.0, COLD - 20.0))))
    assert "on the tube side" in two
    both = f"{stretch(10.0, 30.0)} and {stretch(100.0, 170.0, COLD - 20.0)}"
    assert f"has dry spots {both} (segments 1, 3 and 4)" in two
    assert "coldest spot peaks at 914 degC" in two
    many = tuple((90.0 * i, 90.0 * i + 20.0, COLD) for i in range(4))
    five = said(run_with(tube_dry=(*many, (45.0, 50.0, COLD))))
    assert five.partition("dry spots ")[2].partition(" (")[0].count(" to ") == 3
    assert "2 shorter stretches (segments 1 to 3, 5 and 7)" in five


def test_dry_all_the_way_round() -> None:
    summary = said(run_with(flange_dry=((0.0, 360.0, COLD),)))
    assert "0 % of it is wet" in summary
    assert "dry all the way round (segments 1 to 8)" in summary


def test_a_ring_with_a_dry_face_at_every_angle_is_not_told_as_wholly_dry() -> None:
    run = run_with(flange_dry=((0.0, 360.0, COLD),))
    segments = tuple(replace(segment, flange_side_wet=0.24) for segment in run.segments)
    summary = said(replace(run, segments=segments))
    assert "24 % of it is wet" in summary
    assert "it has dry spots at every angle (segments 1 to 8)" in summary


def test_dry_across_the_start_is_one_stretch() -> None:
    summary = said(run_with(flange_dry=((340.0, 385.0, COLD),)))
    assert f"has dry spots {stretch(340.0, 385.0)} (segments 1 and 8)" in summary


def test_both_sides_dry_and_a_melted_tube_are_all_told_in_one_sentence() -> None:
    summary = said(
        run_with(
            tube=STAINLESS_SOLIDUS + 10.0,
            tube_dry=((0.0, 90.0, COLD),),
            flange_dry=((0.0, 120.0, COLD),),
        )
    )
    parts = summary.split("; ")
    assert parts[0].startswith("The tube melts")
    assert parts[1].startswith("the filler does not flow on the flange side")  # the driest first
    assert parts[2].startswith("the filler does not flow on the tube side")
    assert summary.count(". ") == 0
    assert summary.endswith(".")


@pytest.mark.parametrize(("wanted", "flows"), [(0.75, True), (0.7500001, False)])
def test_wet_fraction_decides_at_its_limit(wanted: float, flows: bool) -> None:
    limits = Limits(50.0, wanted, dry_length=1.0)
    history = run_with(flange_dry=((0.0, 90.0, COLD),), case={"limits": limits})
    assert side_wet(history, "flange") == 0.75
    assert judge(history).filler_flows is flows


def test_a_share_just_short_is_not_rounded_onto_the_limit() -> None:
    history = run_with(flange_dry=((0.0, 90.0, COLD),), case={"limits": Limits(50.0, 0.7500001)})
    told = said(history).partition("side: ")[2].partition(" wanted")[0]
    assert told == "75 % of it is wet where 75.00001 % is"


def test_bead_has_no_filler_to_judge() -> None:
    cool = judge(run_with(bead=True, tube=STAINLESS_SOLIDUS - 200.0))
    assert cool.base_stays_solid
    assert cool.filler_flows
    assert "filler" not in summary_of(cool)
    assert summary_of(cool).startswith(
        "The base stays solid: the tube stays 200 K below its solidus"
    )
    assert "the arc line" in summary_of(cool)
    assert not judge(run_with(bead=True, tube=STAINLESS_SOLIDUS)).base_stays_solid


def test_segments_never_run_are_neither_dry_nor_named() -> None:
    history = run_with(coverage=0.5, flange_dry=((0.0, 360.0, COLD),))
    assert "is dry from 0 to 180 deg (segments 1 to 4)" in said(history)
    assert side_wet(run_with(coverage=0.5), "flange") == 1.0


def test_sentence_can_add_the_users_units() -> None:
    inches = Display("in", "degF")
    history = run_with(tube=STAINLESS_SOLIDUS + 10.0, display=inches)
    case = history.case
    assert case is not None
    hot = said(history, Wording.of(case))
    assert "1410 degC (2570 degF), 10 K (18 degF) above its solidus of 1400 degC (2552 degF)" in hot
    assert " in) above the flange face" in hot


def test_outcomes_do_not_depend_on_the_users_units() -> None:
    inches = run_with(display=Display("in", "degF"), flange_dry=((0.0, 90.0, COLD),))
    assert judge(inches) == judge(run_with(flange_dry=((0.0, 90.0, COLD),)))


def test_a_dry_stretch_fails_whatever_the_share() -> None:
    """7 mm of the root stay dry in one piece: 98 % wet, and yet no joint."""
    run = run_with(flange_dry=((180.0, 202.5, COLD),), case={"limits": Limits(50.0, 0.9)})
    length = (202.5 - 180.0) / 360.0 * 2.0 * pi * 19.05
    verdict = judge(run)
    assert not verdict.filler_flows
    (finding,) = verdict.findings
    assert isinstance(finding, DryStretch)
    assert finding.length == pytest.approx(1e-3 * length, rel=0.1)
    assert summary_of(verdict).startswith("The filler leaves a dry stretch of 7")
    assert " (segment 5), where 3.0 mm is allowed" in summary_of(verdict)
    assert judge(with_limits(run, dry_length=20e-3)).filler_flows


def with_limits(run: History, **limits: float) -> History:
    case = run.case
    return replace(run, case=replace(case, limits=replace(case.limits, **limits)))


@pytest.mark.parametrize(("margin", "flows"), [(80.0 - 1e-6, True), (80.0 + 1e-6, False)])
def test_faces_must_get_above_flow_by_the_margin(margin: float, flows: bool) -> None:
    run = run_with(case={"limits": Limits(50.0, 0.95, flow_margin=margin)})
    assert judge(run).filler_flows is flows


@pytest.mark.parametrize(("wanted", "flows"), [(0.31, True), (0.32, False)])
def test_a_lap_can_be_asked_to_fill(wanted: float, flows: bool) -> None:
    run = replace(run_with(case={"limits": Limits(50.0, 0.95, lap_filled=wanted)}), lap_filled=0.31)
    assert judge(run).filler_flows is flows
    told = said(run)
    if flows:
        assert told.endswith("; the lap stays open: 31 % of it fills.")
    else:
        assert told == "Filler fills 31 % of the lap where 32 % is wanted."


def with_filler_at(run: History, kelvin: float) -> History:
    return replace(run, cell_peak=np.full_like(run.cell_peak, kelvin))


def test_hot_filler_is_a_note_and_a_fault_only_where_a_limit_is_set() -> None:
    calm = judge(with_filler_at(run_with(), FLOW + HOT))
    assert calm.notes == ()
    noted = judge(with_filler_at(run_with(), FLOW + HOT + 1.0))
    assert noted.filler_flows
    (note,) = noted.notes
    assert isinstance(note, HotFiller)
    assert "276 K above its liquidus" in notes_of(noted)[0]
    limits = Limits(50.0, 0.95, filler_superheat=250.0)
    failed = judge(with_filler_at(run_with(case={"limits": limits}), FLOW + 260.0))
    assert failed.base_stays_solid
    assert not failed.filler_flows
    assert summary_of(failed).startswith("The filler peaks at 1285 degC, 260 K above its liquidus")
    assert summary_of(failed).endswith(", where 250 K are allowed.")


def test_metal_hotter_than_it_boils_is_the_first_thing_to_look_at() -> None:
    """Iron boils at 2861 degC, copper at 2560 degC (CRC Handbook, from memory)."""
    assert not [n for n in judge(run_with(3133.0, 3133.0)).notes if isinstance(n, Boils)]
    boiling = judge(run_with(3135.0, 13_000.0))
    assert [n.part for n in boiling.notes if isinstance(n, Boils)] == ["tube", "flange"]
    assert isinstance(boiling.notes[0], Boils)
    assert "the flange comes out at 12727 degC, but its main metal boils at 2861 degC" in " ".join(
        notes_of(boiling)
    )
    filler = judge(with_filler_at(run_with(), 2834.0)).notes[0]
    assert isinstance(filler, Boils)
    assert (filler.part, filler.boils) == ("filler", 2833.0)
    assert judge(run_with(3135.0, bead=True)).notes


def test_what_the_mesh_may_move_over_its_limit_is_noted() -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - LIMIT - 12.0)
    run = replace(run, problem=run.problem, case=replace(run.case, detail="coarse"))
    (note,) = judge(run).notes
    assert isinstance(note, NearMesh)
    assert (note.part, note.over, note.shares) == ("tube", pytest.approx(12.0), None)
    assert (
        "12 K over what is wanted, and the coarse mesh may move that by 32 K"
        in notes_of(judge(run))[0]
    )
    assert judge(run, {"tube.margin_K": 2.0}).notes == ()  # the uncertainty is known: no guess
    assert judge(replace(run, case=replace(run.case, detail="fine"))).notes == ()


def test_a_wet_share_near_its_limit_is_told_with_what_the_mesh_may_make_of_it() -> None:
    """Half of the side 5 K, half of it 50 K over: 100 % wet may be 50 %."""
    run = run_with()
    warm = np.where(np.arange(LAYERS) < LAYERS // 2, WETS_AT + 5.0, WETS_AT + 50.0)
    side = run.sides["tube"]
    sides = {**run.sides, "tube": replace(side, peak=np.broadcast_to(warm, side.peak.shape))}
    run = replace(run, sides=sides, case=replace(run.case, detail="coarse"))
    (note,) = judge(run).notes
    assert isinstance(note, NearMesh)
    assert note.over == pytest.approx(5.0)
    assert note.shares is not None
    assert note.shares[1:] == pytest.approx((0.5, 1.0))
    assert "the surplus on the tube side is 5 K over" in notes_of(judge(run))[0]


def test_a_surplus_of_the_coldest_stretch_is_named_so() -> None:
    """15 degrees of the side are 5 K over what wets: too long a stretch, too small a share."""
    run = run_with(tube_dry=((45.0, 60.0, WETS_AT + 5.0),))
    run = replace(run, case=replace(run.case, detail="coarse"))
    (note,) = judge(run).notes
    assert isinstance(note, NearMesh)
    assert note.stretch
    told = outcomes_of(run).filler
    assert told is not None
    assert told.stretch_surplus_K == pytest.approx(run.case.limits.flow_margin + note.over)
    assert told.tube_side_surplus_K > told.stretch_surplus_K + 10.0
    assert (
        f"the surplus on the tube side but for short stretches is {note.over:.0f} K over"
        in notes_of(judge(run))[0]
    )


def test_a_brief_wetting_is_noted() -> None:
    run = run_with()
    sides = {
        name: replace(side, liquid=np.where(np.arange(LAYERS) < LAYERS // 4, 0.05, side.liquid))
        for name, side in run.sides.items()
    }
    (note,) = judge(replace(run, sides=sides)).notes
    assert isinstance(note, Brief)
    assert note.share == pytest.approx(0.25, abs=0.01)
    assert "25 % of the wet spots spend less than 0.1 s" in " ".join(
        notes_of(judge(replace(run, sides=sides)))
    )


def test_a_rod_no_hand_can_feed_is_noted() -> None:
    case = run_with().case
    assert case is not None
    assert case.fillet is not None
    thin = replace(case.fillet, wire_diameter=0.8e-3)
    (note,) = judge(run_with(case={"fillet": thin})).notes
    assert isinstance(note, FastFeed)
    # the fillet's section, by the circle its middle goes round, over that of the rod
    section = 0.5 * 3.3**2 * (19.05 + 1.1) / 19.05
    assert note.feed == pytest.approx(section * 2.5e-3 / (0.25 * pi * 0.8**2), rel=1e-9)


def test_part_of_a_ring_is_told_as_such() -> None:
    told = said(run_with(coverage=0.5))
    part = "In the part that was run, segments 1 to 4 of 8, "
    assert told.startswith(f"{part}the base stays solid and the fillet wets")
    melted = said(run_with(coverage=0.5, tube=STAINLESS_SOLIDUS + 5.0))
    assert melted.startswith(f"{part}the tube melts: it peaks")


def test_faults_are_facts_before_they_are_words() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS + 5.0))
    (finding,) = verdict.findings
    assert isinstance(finding, Melts)
    assert (finding.part.name, finding.wanted) == ("tube", 50.0)
    assert finding.part.margin == pytest.approx(-5.0)


@pytest.mark.parametrize(
    ("value", "limits", "text"),
    [
        (27.6, (), "28"),
        (49.97, (50.0,), "49.97"),
        (50.0, (50.0,), "50"),
        (-0.2, (0.0,), "-0.2"),
        (-0.2, (), "0"),
        (99.96, (100.0,), "99.96"),
        (0.001, (0.0, 95.0), "0.001"),
    ],
)
def test_rounding_keeps_to_its_side(value: float, limits: tuple[float, ...], text: str) -> None:
    assert told_apart(value, *limits) == text


def test_lists_and_numbers_read_as_sentences_do() -> None:
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert numbered("segment", [2]) == "segment 2"
    assert numbered("segment", [8, 1, 1]) == "segments 1 and 8"
    assert numbered("segment", [1, 3, 5, 6, 7]) == "segments 1, 3 and 5 to 7"


def test_angles_stay_below_a_full_turn() -> None:
    assert Wording.angle(2.0 * pi - 1e-4) == "0 deg"
    assert Wording.angle(pi / 2) == "90 deg"


def test_half_a_kelvin_tells_two_places_apart() -> None:
    run = run_with()
    surface = run.surfaces["tube outside"]
    peak = np.full(surface.peak.shape, 1000.0)
    peak[1, 1], peak[2, 3] = 1999.5, 2000.0
    place = hottest_place(
        replace(run, surfaces={**run.surfaces, "tube outside": replace(surface, peak=peak)}), "tube"
    )
    assert (place.position, place.angle) == (surface.position[2], surface.angle[3])
    with pytest.raises(ValueError, match="no flange"):
        hottest_place(run_with(bead=True), "flange")


def test_the_hottest_filler_is_found_in_its_cells_and_on_its_face() -> None:
    run = run_with()
    cells = np.full(run.cell_peak.shape, FLOW)
    fillet = np.flatnonzero(run.problem.mesh.section.region == Region.FILLET)
    cells[fillet[0], 5] = FLOW + 200.0
    cells[0, 9] = FLOW + 900.0 if fillet[0] else FLOW
    bare = {name: s for name, s in run.surfaces.items() if name != "fillet"}
    place = filler_place(replace(run, cell_peak=cells, surfaces=bare))
    assert place is not None
    assert (place.surface, place.peak) == ("fillet", FLOW + 200.0)
    assert place.angle == pytest.approx(5.5 * 2.0 * pi / LAYERS)
    face = replace(bare["tube outside"], name="fillet", peak=bare["tube outside"].peak * 0 + 1.9e3)
    hotter = filler_place(replace(run, cell_peak=cells, surfaces={**bare, "fillet": face}))
    assert hotter is not None
    assert hotter.peak == 1.9e3
    nothing = replace(run, cell_peak=np.full(cells.shape, np.nan), surfaces=bare)
    assert filler_place(nothing) is None


@pytest.mark.parametrize(("start", "cold"), [("on-flow", (3,)), ("timed", ())])
def test_a_start_without_flow_is_reported_where_the_hand_waits(
    start: str, cold: tuple[int, ...]
) -> None:
    run = run_with(case={"travel": replace(make_case().travel, start=start)})
    segments = tuple(replace(s, flowed=s.number != 3) for s in run.segments)
    judged = judge(replace(run, segments=segments))
    found = [f for f in (*judged.findings, *judged.notes) if isinstance(f, ColdStart)]
    assert tuple(number for f in found for number in f.segments) == cold


def test_a_stretch_nearer_to_its_limit_than_the_mesh_moves_it_is_too_close() -> None:
    run = run_with(tube_dry=((0.0, 14.0, WETS_AT - 1.0),))
    assert judge(run, {}).too_close == ()
    assert judge(run, {STRETCH: 0.5}).too_close == ()
    judged = judge(run, {STRETCH: 5.0})
    assert judged.too_close == (STRETCH,)
    assert not judged.filler_flows


@pytest.mark.parametrize(
    ("length", "said", "printed"),
    [
        (0.4e-3, "the longest dry stretch is 0.4 mm", "longest dry stretch 0.4 mm"),
        (0.01e-3, "", "longest dry stretch under 0.1 mm"),
        (0.0, "", "no dry stretch over 0.2 mm"),
    ],
)
def test_a_dry_stretch_is_never_told_to_be_0_mm_long(
    length: float, said: str, printed: str
) -> None:
    judgement = judge(run_with())
    sides = tuple(replace(side, share=0.99999, longest=length) for side in judgement.sides)
    told = summary_of(replace(judgement, sides=sides))
    assert said in told
    assert ("dry stretch" in told) is bool(said)
    outcomes = outcomes_of(run_with())
    assert outcomes.filler is not None
    filler = replace(outcomes.filler, longest_dry_m=length, tube_side_wet=0.99999)
    text = StringIO()
    shown = report_of(run_with(), replace(outcomes, filler=filler))
    Console(file=text, width=1000).print(shown)
    assert f"99.999 % of the tube side, 100 % of the flange side; 95 % wanted; {printed}" in (
        " ".join(text.getvalue().split())
    )


@pytest.mark.parametrize(
    ("over", "said"),
    [
        (-15.0, "; a dry spot peaks 15 K below the filler's flow at 1025 degC, on the tube side"),
        (15.0, "; the coldest spot under the filler peaks 15 K above the filler's flow at 1025"),
    ],
)
def test_a_spot_below_flow_is_called_dry_though_enough_is_wet(over: float, said: str) -> None:
    judgement = judge(run_with())
    tube = next(side for side in judgement.sides if side.name == "tube")
    cold = replace(tube, coldest=judgement.flow + over)
    others = tuple(side for side in judgement.sides if side is not tube)
    assert said in summary_of(replace(judgement, sides=(cold, *others)))
