"""Tacks, chill, bench and the hot lap in whole runs of a small joint: each does what it must."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from rich.console import Console

from invariance.small import SMALL, text_of
from lapheat import simulate
from lapheat.api import Result
from lapheat.case.file import read_case_text
from lapheat.report.document import report_html
from lapheat.report.figures.schedule import schedule
from lapheat.report.terminal import report_of

CHILL_KEYS = {
    "chill_length": "10 mm",
    "chill_wall": "3 mm",
    "chill_conductance": "2000 W/(m^2 K)",
}
BENCH_KEYS = {"bench_conductance": "400 W/(m^2 K)", "bench_temperature": "40 degC"}
TACKS = ({"angle": "45 deg", "length": "3 mm"}, {"angle": "225 deg", "length": "3 mm"})
SHORT_ARC = {"current": "60 A", "time": "3 s"}


def text(*tacks: dict[str, str], fixture: dict[str, str] | None = None, **changes: object) -> str:
    case = text_of(SMALL, **changes)
    if fixture:
        case += "\n[fixture]\n" + "\n".join(f'{key} = "{value}"' for key, value in fixture.items())
    for tack in tacks:
        case += "\n[[tack]]\n" + "\n".join(f'{key} = "{value}"' for key, value in tack.items())
    return case


def run(*tacks: dict[str, str], fixture: dict[str, str] | None = None, **changes: object) -> Result:
    return simulate(read_case_text(text(*tacks, fixture=fixture, **changes), "held"), threads=1)


def printed(result: Result) -> str:
    console = Console(width=200, file=None, record=True, quiet=True)
    console.begin_capture()
    console.quiet = False
    console.print(report_of(result.history, result.outcomes))
    return console.end_capture()


@pytest.fixture(scope="module")
def plain() -> Result:
    return run()


@pytest.fixture(scope="module")
def held() -> Result:
    return run(fixture=CHILL_KEYS | BENCH_KEYS)


@pytest.fixture(scope="module")
def tacked() -> Result:
    return run(*TACKS)


@pytest.fixture(scope="module")
def tacked_by_arc() -> Result:
    return run(TACKS[0] | SHORT_ARC, TACKS[1] | SHORT_ARC)


# --- chill and bench ------------------------------------------------------------------------------


def test_heat_has_names_and_closes(held: Result, plain: Result) -> None:
    heat = held.outcomes.heat
    assert abs(heat.imbalance) < 1e-12
    assert heat.air_J + heat.chill_J + heat.bench_J == pytest.approx(heat.lost_J, rel=1e-12)
    assert min(heat.air_J, heat.chill_J, heat.bench_J) > 0.02 * heat.lost_J
    without = plain.outcomes.heat
    assert (without.chill_J, without.bench_J) == (0.0, 0.0)
    assert without.air_J == without.lost_J


def test_chill_holds_what_it_took(held: Result) -> None:
    """Copper of its own table: a ring 3 mm thick, 10 mm long, in a bore of 10 mm."""
    problem = held.history.problem
    ring = problem.chill
    assert ring is not None
    mass = 8940.0 * pi * (5.0**2 - 2.0**2) * 10.0 * 1e-9
    assert ring.mass == pytest.approx(mass, rel=1e-3)
    rise = ring.alloy.enthalpy(held.history.chill_peak) - ring.start_h
    # the ring only warms until the joint has cooled to it
    assert held.outcomes.heat.chill_J <= ring.mass * rise * (1.0 + 1e-9)
    assert held.outcomes.heat.chill_J > 0.6 * ring.mass * rise


def test_chill_and_bench_cool_the_part(held: Result, plain: Result) -> None:
    assert held.outcomes.tube.bore_peak_C < plain.outcomes.tube.bore_peak_C - 20.0
    assert held.outcomes.flange.peak_C < plain.outcomes.flange.peak_C - 20.0
    assert held.outcomes.chill is not None
    assert 20.0 < held.outcomes.chill.peak_C < held.outcomes.tube.bore_peak_C
    assert plain.outcomes.chill is None


def test_a_hot_bench_gives_heat() -> None:
    """A plate on a bench at 700 degC is warmed by it: heat comes in under the bench's name."""
    warm = run(
        fixture={"bench_conductance": "5000 W/(m^2 K)", "bench_temperature": "700 degC"},
        travel__coverage=0.25,
    )
    assert warm.outcomes.heat.bench_J < 0.0
    assert abs(warm.outcomes.heat.imbalance) < 1e-12


def test_the_report_names_chill_and_bench(held: Result) -> None:
    told = printed(held)
    assert "copper, took" in told
    assert "bench" in told


# --- tacks ----------------------------------------------------------------------------------------


def test_filler_is_not_laid_twice(tacked: Result, plain: Result) -> None:
    share = tacked.history.problem.in_place.mean()
    assert tacked.outcomes.heat.filler_J == pytest.approx(
        (1.0 - share) * plain.outcomes.heat.filler_J, rel=1e-9
    )
    # what the rod does not take, the arc gives the work
    both = [r.outcomes.heat.arc_J + r.outcomes.heat.filler_J for r in (tacked, plain)]
    assert both[0] == pytest.approx(both[1], rel=1e-12)
    assert abs(tacked.outcomes.heat.imbalance) < 1e-12


def test_a_tack_is_remelted_as_the_arc_passes(tacked: Result, plain: Result) -> None:
    """Wet means that the base reached flow with filler on it in this run, under a tack too."""
    flow = tacked.history.problem.lap.flow
    inside = tacked.history.problem.in_place
    for side in tacked.history.sides.values():
        assert np.isfinite(side.peak).all()
        assert (side.peak[:, inside] >= flow).mean() > 0.9
    assert tacked.outcomes.tube.peak_C == pytest.approx(plain.outcomes.tube.peak_C, abs=80.0)


def test_a_tack_no_arc_passes_stays_cold_and_does_not_count() -> None:
    far = run(TACKS[1], travel__coverage=0.25)
    near = run(travel__coverage=0.25)
    assert far.outcomes.filler.tube_side_wet == pytest.approx(
        near.outcomes.filler.tube_side_wet, abs=0.02
    )
    for one, other in zip(
        far.outcomes.filler.tube_side_dry_deg, near.outcomes.filler.tube_side_dry_deg, strict=True
    ):
        assert one == pytest.approx(other, abs=0.01)
    assert far.history.lap_filled == pytest.approx(near.history.lap_filled, abs=0.01)


def test_a_weak_arc_leaves_a_tack_dry() -> None:
    weak = run(TACKS[0], travel__coverage=0.25, arc__current="25 A")
    assert weak.outcomes.filler.tube_side_wet < 0.5
    assert not weak.outcomes.verdict.filler_flows


def test_short_arcs_lay_tacks(tacked_by_arc: Result, plain: Result) -> None:
    told, without = tacked_by_arc.outcomes, plain.outcomes
    # the whole fillet is laid, in two goes
    assert told.heat.filler_J == pytest.approx(without.heat.filler_J, rel=1e-9)
    watts = 0.75 * 10.0
    both = [outcomes.heat.arc_J + outcomes.heat.filler_J for outcomes in (told, without)]
    assert both[0] - both[1] == pytest.approx(2.0 * 3.0 * 60.0 * watts, rel=1e-9)
    assert told.heat.electrical_J - without.heat.electrical_J == pytest.approx(3600.0, rel=1e-9)
    assert told.time.arc_on_s == pytest.approx(without.time.arc_on_s + 6.0)
    assert told.time.total_s == pytest.approx(without.time.total_s + 6.0 + 2.0 * 1.0)
    assert abs(told.heat.imbalance) < 1e-12


def test_tack_arcs_stand_in_the_trace_before_the_first_segment(tacked_by_arc: Result) -> None:
    trace = tacked_by_arc.history.trace
    before = (trace.segment == 0) & (trace.current > 0.0)
    assert set(trace.current[before]) == {60.0}
    assert sorted(set(np.round(np.degrees(trace.angle[before])))) == [45.0, 225.0]
    assert tacked_by_arc.history.segments[0].start == pytest.approx(2.0 * (3.0 + 1.0))


def test_the_schedule_shows_tack_arcs(tacked_by_arc: Result, plain: Result) -> None:
    bars, strip, _ = schedule(tacked_by_arc.history).axes
    assert len(strip.collections) == 2
    tacks = strip.collections[1].get_paths()
    assert [path.get_extents().width for path in tacks] == pytest.approx([3.0, 3.0])
    assert bars.yaxis.get_major_formatter()(0, 0) == "tacks"
    assert len(schedule(plain.history).axes[1].collections) == 1


def test_the_report_tells_of_tacks(tacked: Result, tacked_by_arc: Result) -> None:
    assert "2, 6.0 mm in all, there from the start" in printed(tacked)
    assert "2, 6.0 mm in all, laid by short arcs" in printed(tacked_by_arc)


# --- the hot lap ----------------------------------------------------------------------------------


def test_the_gap_closes_while_the_tube_is_the_hotter(plain: Result) -> None:
    sound = plain.outcomes.soundness
    assert 0.02e-3 < sound.hot_clearance_m < 0.1e-3
    assert sound.lap_filled > 0.0
    assert "shuts" not in plain.outcomes.verdict.summary
    assert "gap 0.0" in printed(plain)


def test_a_shut_lap_is_a_finding_and_lets_no_filler_in() -> None:
    shut = run(lap__clearance="0.005 mm")
    assert shut.outcomes.soundness.hot_clearance_m < 0.0
    assert shut.outcomes.soundness.lap_filled == 0.0
    noted = " ".join(shut.outcomes.verdict.also_look_at)
    assert "The lap shuts while hot, so filler cannot enter it: from a gap of 0.005 mm" in noted
    assert "shut at its smallest" in printed(shut)
    assert shut.outcomes.verdict.filler_flows  # on both sides of the fillet, which is judged
    assert abs(shut.outcomes.heat.imbalance) < 1e-12


def test_without_an_expansion_the_gap_stays_cold_and_the_report_says_so() -> None:
    stiff = (
        text(travel__coverage=0.25, tube__alloy="mine")
        + """
[alloys.mine]
density = "7900 kg/m^3"
conductivity = "20 W/(m K)"
specific_heat = "550 J/(kg K)"
emissivity = 0.5
"""
    )
    result = simulate(read_case_text(stiff, "held"), threads=1)
    assert result.outcomes.soundness.hot_clearance_m == pytest.approx(0.1e-3, rel=1e-12)
    page = report_html(result.history, result.outcomes, [], "2026-11-28")
    assert "no expansion is known of mine: the clearance stays as it is cold" in page
