"""The verdict: the two booleans at their limits, and what the sentence says."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from lapheat.case import Display, Limits
from lapheat.verdict import dry_spans, hottest_place, judge, side_wet
from lapheat.wording import Wording, listed, numbered, told_apart
from unit.runs import run_with
from unit.synthetic import FLOW, STAINLESS_SOLIDUS, STEEL_SOLIDUS, make_case

COLD = FLOW - 91.0
LIMIT = 50.0
LAYERS = run_with().problem.mesh.layers


def stretch(begin: float, end: float) -> str:
    """Say the edges of the layers whose middle lies between two angles [deg]."""
    first, last = (round(angle / 360.0 * LAYERS) for angle in (begin, end))
    degrees = [360.0 / LAYERS * k for k in (first, last)]
    return f"from {degrees[0]:.0f} to {degrees[1] - 360.0 * (degrees[1] > 360.0):.0f} deg"


def test_good_run_names_the_closest_part_and_both_shares() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS - 142.0))
    assert verdict.base_stays_solid
    assert verdict.filler_flows
    place = hottest_place(run_with(tube=STAINLESS_SOLIDUS - 142.0), "tube")
    height, angle = f"{place.position * 1e3:.1f}", f"{np.degrees(place.angle):.0f}"
    number = int(place.angle / (2.0 * pi) * 8) + 1
    assert verdict.summary == (
        "The base stays solid and the filler flows: the tube comes closest to melting, 142 K "
        f"below its solidus of 1400 degC, on its outside {height} mm above the flange face, at "
        f"{angle} deg (segment {number}); filler wets 100 % of the tube side and 100 % of the "
        "flange side."
    )


def test_flange_can_be_the_closest() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS - 400.0, flange=STEEL_SOLIDUS - 120.0))
    assert verdict.base_stays_solid
    assert (
        "the flange comes closest to melting, 120 K below its solidus of 1490 degC, on its fa"
        in (verdict.summary)
    )


def test_melted_tube_tells_peak_excess_place_and_depth() -> None:
    verdict = judge(run_with(tube=STAINLESS_SOLIDUS + 32.0, flange=1500.0, melted=0.41))
    assert not verdict.base_stays_solid
    assert verdict.filler_flows
    assert verdict.summary.startswith(
        "The tube melts: it peaks at 1432 degC, 32 K above its solidus of 1400 degC, on its outside"
    )
    assert verdict.summary.endswith(", molten through 41 % of the wall.")


@pytest.mark.parametrize(
    ("below", "solid"), [(LIMIT, True), (LIMIT - 1e-6, False), (0.0, False), (-1.0, False)]
)
def test_base_margin_decides_at_its_limit(below: float, solid: bool) -> None:
    # solidus - (solidus - 50) is exact in floats here
    assert judge(run_with(tube=STAINLESS_SOLIDUS - below)).base_stays_solid is solid


def test_too_close_is_not_called_melting() -> None:
    summary = judge(run_with(tube=STAINLESS_SOLIDUS - 28.0)).summary
    assert summary.startswith(
        "The tube comes too close to melting: it peaks at 1372 degC, 28 K below its solidus of "
        "1400 degC where 50 K are wanted, on its outside"
    )
    assert "molten" not in summary


def test_a_hair_under_the_margin_is_not_rounded_onto_it() -> None:
    summary = judge(run_with(tube=STAINLESS_SOLIDUS - 49.97)).summary
    assert "49.97 K below its solidus of 1400 degC where 50 K are wanted" in summary


def test_both_parts_at_fault_are_told_the_worse_first() -> None:
    summary = judge(run_with(tube=STAINLESS_SOLIDUS + 5.0, flange=STEEL_SOLIDUS + 90.0)).summary
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
    assert "the flange stays 70 K below" in verdict.summary
    bead = judge(run_with(tube=3000.0, bead=True, case={"alloys": never}))
    assert bead.base_stays_solid
    assert bead.summary == "The base stays solid: no alloy in it has a solidus."


def test_dry_side_tells_share_angles_segment_and_coldest_spot() -> None:
    verdict = judge(run_with(flange_dry=((0.0, 45.0, COLD),)))
    assert verdict.base_stays_solid
    assert not verdict.filler_flows
    assert verdict.summary == (
        "The filler does not flow on the flange side: 88 % of it is wet where 95 % is wanted, it "
        "is dry from 0 to 45 deg (segment 1), and its coldest spot peaks at 934 degC where "
        "filler flows at 1025 degC."
    )


def test_dry_stretches_are_all_named_up_to_three() -> None:
    two = judge(run_with(tube_dry=((10.0, 30.0, COLD), (100.0, 170.0, COLD - 20.0)))).summary
    assert "on the tube side" in two
    both = f"{stretch(10.0, 30.0)} and {stretch(100.0, 170.0)}"
    assert f"dry {both} (segments 1, 3 and 4)" in two
    assert "coldest spot peaks at 914 degC" in two
    many = tuple((90.0 * i, 90.0 * i + 20.0, COLD) for i in range(4))
    five = judge(run_with(tube_dry=(*many, (45.0, 50.0, COLD)))).summary
    assert five.partition("dry ")[2].partition(" (")[0].count(" to ") == 3
    assert "2 shorter stretches (segments 1 to 3, 5 and 7)" in five


def test_dry_all_the_way_round() -> None:
    summary = judge(run_with(flange_dry=((0.0, 360.0, COLD),))).summary
    assert "0 % of it is wet" in summary
    assert "dry all the way round (segments 1 to 8)" in summary


def test_a_ring_with_a_dry_face_at_every_angle_is_not_told_as_wholly_dry() -> None:
    run = run_with(flange_dry=((0.0, 360.0, COLD),))
    segments = tuple(replace(segment, flange_side_wet=0.24) for segment in run.segments)
    summary = judge(replace(run, segments=segments)).summary
    assert "24 % of it is wet" in summary
    assert "dry somewhere at every angle (segments 1 to 8)" in summary


def test_dry_across_the_start_is_one_stretch() -> None:
    summary = judge(run_with(flange_dry=((340.0, 385.0, COLD),))).summary
    assert f"dry {stretch(340.0, 385.0)} (segments 1 and 8)" in summary


def test_both_sides_dry_and_a_melted_tube_are_all_told_in_one_sentence() -> None:
    summary = judge(
        run_with(
            tube=STAINLESS_SOLIDUS + 10.0,
            tube_dry=((0.0, 90.0, COLD),),
            flange_dry=((0.0, 120.0, COLD),),
        )
    ).summary
    parts = summary.split("; ")
    assert parts[0].startswith("The tube melts")
    assert parts[1].startswith("the filler does not flow on the flange side")  # the driest first
    assert parts[2].startswith("the filler does not flow on the tube side")
    assert summary.count(". ") == 0
    assert summary.endswith(".")


@pytest.mark.parametrize(("wanted", "flows"), [(0.75, True), (0.7500001, False)])
def test_wet_fraction_decides_at_its_limit(wanted: float, flows: bool) -> None:
    history = run_with(flange_dry=((0.0, 90.0, COLD),), case={"limits": Limits(50.0, wanted)})
    assert side_wet(history, "flange") == 0.75
    assert judge(history).filler_flows is flows


def test_a_share_just_short_is_not_rounded_onto_the_limit() -> None:
    history = run_with(flange_dry=((0.0, 90.0, COLD),), case={"limits": Limits(50.0, 0.7500001)})
    assert "75.00000 % of it is wet" not in judge(history).summary
    assert "75.000 % of it is wet where 75 %" not in judge(history).summary


def test_bead_has_no_filler_to_judge() -> None:
    cool = judge(run_with(bead=True, tube=STAINLESS_SOLIDUS - 200.0))
    assert cool.base_stays_solid
    assert cool.filler_flows
    assert "filler" not in cool.summary
    assert cool.summary.startswith("The base stays solid: the tube stays 200 K below its solidus")
    assert "the arc line" in cool.summary
    assert not judge(run_with(bead=True, tube=STAINLESS_SOLIDUS)).base_stays_solid


def test_segments_never_run_are_neither_dry_nor_named() -> None:
    history = run_with(coverage=0.5, flange_dry=((0.0, 360.0, COLD),))
    assert "dry from 0 to 180 deg (segments 1 to 4)" in judge(history).summary
    assert side_wet(run_with(coverage=0.5), "flange") == 1.0


def test_sentence_can_add_the_users_units() -> None:
    inches = Display("in", "degF")
    history = run_with(tube=STAINLESS_SOLIDUS + 10.0, display=inches)
    case = history.problem.case
    assert case is not None
    hot = judge(history, Wording.of(case)).summary
    assert "1410 degC (2570 degF), 10 K (18 degF) above its solidus of 1400 degC (2552 degF)" in hot
    assert " in) above the flange face" in hot


def test_outcomes_do_not_depend_on_the_users_units() -> None:
    inches = run_with(display=Display("in", "degF"), flange_dry=((0.0, 90.0, COLD),))
    assert judge(inches) == judge(run_with(flange_dry=((0.0, 90.0, COLD),)))


def test_spans_of_a_ring() -> None:
    peak = np.full((2, 12), 1400.0)
    assert dry_spans(peak, 1300.0, 4) == ()
    peak[1, [11, 0, 1, 5]] = [1200.0, 1100.0, 1250.0, 1299.0]
    one, across = dry_spans(peak, 1300.0, 4)
    assert (one.begin, one.end) == pytest.approx((5 * pi / 6, pi))
    assert (one.coldest, one.segments) == (1299.0, (2,))
    assert (across.begin, across.end) == pytest.approx((11 * pi / 6, 14 * pi / 6))
    assert (across.coldest, across.segments) == (1100.0, (1, 4))


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
