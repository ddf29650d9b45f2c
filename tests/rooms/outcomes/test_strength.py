"""Strength of lap and fillet by hand and against a printed example; what is told of it."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from math import pi, sqrt
from typing import Any

import pytest
from rich.console import Console

from lapheat.case.case import Case, Display
from lapheat.history.records import History
from lapheat.outcomes.findings import Brief, FastFeed, HotFiller, WeakJoint
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.sentence import notes_of
from lapheat.outcomes.strength import StrengthOutcome, strength_of
from lapheat.outcomes.verdict import judge
from lapheat.outcomes.wording import OUT_OF_SCOPE
from lapheat.report.terminal import report_of
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS, make_case

BOTH = {"tube": 1.0, "flange": 1.0}
MPA = 1e6


def strong(case: Case, sigma: float | None = 170.0 * MPA, tau: float | None = 199.0 * MPA) -> Case:
    """Case with these strengths of its tube and filler [Pa]."""
    alloys = dict(case.alloys)
    alloys["304L"] = replace(alloys["304L"], yield_strength=sigma)
    alloys["CuSi3Mn1"] = replace(alloys["CuSi3Mn1"], shear_strength=tau)
    return replace(case, alloys=alloys)


def told(case: Case, filled: float, wet: dict[str, float], laid: float = 1.0) -> StrengthOutcome:
    found = strength_of(case, filled, wet, laid)
    assert found is not None
    return found


def run(lap_filled: float = 0.0, **changes: Any) -> History:
    """Made-up run whose alloys have a strength."""
    history = replace(run_with(**changes), lap_filled=lap_filled)
    return replace(history, case=strong(history.case))


def printed(history: History) -> str:
    file = StringIO()
    Console(file=file, width=4000).print(report_of(history, outcomes_of(history)))
    return file.getvalue()


def test_by_hand() -> None:
    """38.1 x 1.65 mm tube, 6.35 mm deep, 3.3 mm leg; a third of the lap and 90 % of a side."""
    found = told(strong(make_case()), 1.0 / 3.0, {"tube": 1.0, "flange": 0.9})
    assert found.tube_yield_N == pytest.approx(170.0 * pi * 36.45 * 1.65, rel=1e-12)
    assert found.lap_N == pytest.approx(199.0 * pi * 38.1 * 6.35 / 3.0 / 1.25, rel=1e-12)
    # throat: from the root at radius 19.05 to the middle of the face at 19.05 + 1.65
    throat = pi * (19.05 + 20.70) * sqrt(1.65**2 + 1.65**2)
    assert found.fillet_N == pytest.approx(199.0 * throat * 0.9 / 1.25, rel=1e-12)
    assert found.drier_side == "flange"
    assert found.joint_N == found.lap_N + found.fillet_N
    assert found.ratio == found.joint_N / found.tube_yield_N
    assert found.lap_over_wall == pytest.approx(6.35 / 1.65)
    assert found.filled_over_wall == pytest.approx(6.35 / 1.65 / 3.0)
    assert found.missing is None


def lap_alone(diameter: float, wall: float, depth: float) -> float:
    """Ratio of a full lap without a fillet, of Monel and silver filler as in the example [-]."""
    case = strong(make_case(), 482.63 * MPA, 172.37 * MPA)
    assert case.lap is not None
    tube = replace(case.tube, outside_diameter=diameter, wall=wall)
    case = replace(case, tube=tube, lap=replace(case.lap, depth=depth))
    found = told(case, 1.0, {"tube": 0.0, "flange": 0.0}).ratio
    assert found is not None
    return found


def test_the_printed_lap_length_carries_as_much_as_its_sheet() -> None:
    """A maker's brazing handbook: 0.050 in Monel, T 70 ksi, L 25 ksi, C 0.8 need 0.18 in.

    ``X = T W / (C L)`` is 0.175 in unrounded. A tube of 1 km is a flat sheet. The same book has
    ``X = W (D - W) T / (C L D)`` for tubes (from memory).
    """
    wall, inch = 1.27e-3, 0.0254
    depth = 0.1 * inch / lap_alone(1000.0, wall, 0.1 * inch)  # the load grows with the depth
    assert depth / inch == pytest.approx(0.175, rel=1e-3)
    assert depth / inch == pytest.approx(0.18, abs=0.005 + 1e-4)
    for diameter in (10e-3, 25e-3):
        whole = wall * (diameter - wall) * 482.63 / (0.8 * 172.37 * diameter)
        assert lap_alone(diameter, wall, whole) == pytest.approx(1.0, rel=1e-12)


def test_only_what_was_laid_counts() -> None:
    whole = told(strong(make_case()), 0.5, BOTH)
    half = told(strong(make_case()), 0.5, BOTH, laid=0.5)
    assert half.joint_N == pytest.approx(0.5 * whole.joint_N)
    assert half.filled_over_wall == pytest.approx(0.5 * whole.filled_over_wall)
    assert half.tube_yield_N == whole.tube_yield_N
    run_half = outcomes_of(run(lap_filled=0.5, coverage=0.5)).strength
    assert run_half is not None
    assert run_half.joint_N == pytest.approx(half.joint_N)


@pytest.mark.parametrize(
    ("sigma", "tau", "missing"),
    [
        (None, 199e6, "no yield strength is known of 304L"),
        (170e6, None, "no shear strength is known of CuSi3Mn1"),
        (
            *(None, None),
            "no yield strength is known of 304L and no shear strength is known of CuSi3Mn1",
        ),
    ],
)
def test_without_a_strength_loads_are_absent_with_a_reason(
    sigma: float | None, tau: float | None, missing: str
) -> None:
    history = run_with()
    history = replace(history, case=strong(history.case, sigma, tau))
    found = outcomes_of(history).as_dict()["strength"]
    assert found["missing"] == missing
    assert found["ratio"] is None
    assert (found["tube_yield_N"] is None, found["joint_N"] is None) == (sigma is None, tau is None)
    assert found["lap_over_wall"] == pytest.approx(6.35 / 1.65)
    assert f"not told: {missing}" in printed(history)
    assert judge(history).notes == ()


@pytest.mark.parametrize(("over", "melts"), [(-1.0, False), (5.0, True)])
def test_no_load_is_told_of_a_tube_that_melts(over: float, melts: bool) -> None:
    history = run(1.0, tube=STAINLESS_SOLIDUS + over)
    found = outcomes_of(history).strength
    assert found is not None
    loads = (found.lap_N, found.fillet_N, found.joint_N, found.tube_yield_N, found.ratio)
    assert all((load is None) is melts for load in loads)
    assert found.missing == ("the tube melts" if melts else None)
    assert ("not told: the tube melts" in printed(history)) is melts
    assert ("carry" in printed(history)) is not melts


def test_a_bead_has_no_strength() -> None:
    assert outcomes_of(run_with(bead=True)).strength is None
    assert strength_of(make_case(bead=True), 0.0, BOTH, 1.0) is None


def with_ratio(ratio: float) -> History:
    """Run of which lap and fillet carry `ratio` times what yields the tube."""
    history = run()
    now = outcomes_of(history).strength
    assert now is not None
    assert now.ratio is not None
    return replace(history, case=strong(history.case, 170.0 * MPA * now.ratio / ratio))


@pytest.mark.parametrize(("ratio", "weak"), [(1.0 - 1e-6, True), (1.0 + 1e-6, False)])
def test_a_ratio_below_1_is_a_finding_that_fails_nothing(ratio: float, weak: bool) -> None:
    judgement = judge(with_ratio(ratio))
    assert [type(note) for note in judgement.notes] == [WeakJoint] * weak
    assert not judgement.fails


def test_a_dry_joint_is_not_told_to_take_a_larger_leg() -> None:
    dry = run(flange_dry=((0.0, 360.0, FLOW - 50.0),))
    weak = {True: with_ratio(0.8), False: dry}
    for helps, history in weak.items():
        (note,) = (n for n in Verdict.of(judge(history)).also_look_at if "carry" in n)
        assert ("a larger leg helps" in note) == helps


def test_what_it_is_not_for_is_said_every_time_it_is_shown() -> None:
    for history in (with_ratio(0.8), with_ratio(1.4)):
        text = printed(history)
        # once: as a finding where it is weak, else as a row
        assert text.count("at which the tube yields") == text.count(OUT_OF_SCOPE) == 1
    for word in ("fracture-critical", "pressure", "fuel", "lifting", "vehicle"):
        assert word in OUT_OF_SCOPE
    note = outcomes_of(with_ratio(0.8)).verdict.also_look_at[0]
    assert note.startswith("Lap and fillet carry ")
    assert "the lap adds nothing" in note
    assert OUT_OF_SCOPE in note


def test_loads_are_told_in_the_users_units() -> None:
    inches = run(display=Display("in", "degF"))
    found = outcomes_of(inches).strength
    assert found is not None
    assert found.tube_yield_N is not None
    pounds = found.tube_yield_N / 4.4482216152605
    assert f"{1e-3 * found.tube_yield_N:.1f} kN ({round(pounds, -1):.0f} lbf)" in printed(inches)


# --- also look at ---------------------------------------------------------------------------------


def test_at_most_three_are_told_the_weightiest_first() -> None:
    history = with_ratio(0.8)
    assert history.case.fillet is not None
    thin = replace(history.case.fillet, wire_diameter=0.8e-3)
    hot = replace(history, cell_peak=history.cell_peak * 0.0 + FLOW + 400.0)
    brief = {name: replace(s, liquid=0.0 * s.liquid + 0.05) for name, s in hot.sides.items()}
    history = replace(hot, case=replace(hot.case, fillet=thin), sides=brief)
    judgement = judge(history)
    assert [type(note) for note in judgement.notes] == [WeakJoint, Brief, HotFiller, FastFeed]
    weights = [note.weight for note in judgement.notes]
    assert weights == sorted(weights, reverse=True)
    said = Verdict.of(judgement).also_look_at
    assert len(said) == len(notes_of(judgement)) == 3
    after = printed(history).partition("Also look at")[2].partition("Cautions")[0]
    assert [line.strip() for line in after.splitlines() if line.strip()][:3] == list(said)
    assert "\n" not in Verdict.of(judgement).summary
    assert "carry" not in Verdict.of(judgement).summary


def test_a_shut_lap_explains_a_cold_joint_and_is_else_a_note() -> None:
    works = replace(run_with(), hot_clearance=-10e-6, lap_filled=0.0)
    fails = run_with(flange_dry=((45.0, 120.0, FLOW - 50.0),))
    fails = replace(fails, hot_clearance=-10e-6, lap_filled=0.0)
    good, bad = Verdict.of(judge(works)), Verdict.of(judge(fails))
    assert "shuts" not in good.summary
    assert good.also_look_at[0].startswith("The lap shuts while hot")
    assert "the lap shuts while hot" in bad.summary
    assert bad.also_look_at == ()


def test_a_lap_that_shuts_may_have_filled_while_it_was_open() -> None:
    filled = replace(run(lap_filled=1.0), hot_clearance=-10e-6)
    note = Verdict.of(judge(filled)).also_look_at[0]
    assert note.startswith("The lap shuts at times while hot: from a gap of 0.100 mm when cold")
    assert note.endswith("filler fills 100 % of it while it is open.")
    assert "cannot enter" not in printed(filled)
    assert "shut at its smallest, filled while it was open" in printed(filled)


def test_a_tube_that_melts_has_no_rule_for_its_lap() -> None:
    assert "sound from 3 walls filled" in printed(run(1.0))
    melts = printed(run(1.0, tube=STAINLESS_SOLIDUS + 5.0))
    assert "100 % filled" in melts
    assert "walls" not in melts.partition("Verdict")[0]
