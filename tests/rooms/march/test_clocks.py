"""Timing the base: histories whose answer is known by hand, through the compiled clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from lapheat.case.alloys import builtin
from lapheat.case.alloys.sensitisation import time_to_sensitise
from lapheat.march.kernels.clocks import tick
from lapheat.march.kernels.fields import Times
from lapheat.march.state import State
from lapheat.problem.arrays import FLANGE, NEITHER, TUBE
from lapheat.problem.problem import Problem
from lapheat.problem.setup import problem_of
from support.joints import small_case

Array = NDArray[np.float64]
Points = Sequence[tuple[float, float]]  # time [s], temperature [degC]
ZERO = 273.15
OWN, COLD, AS_304 = range(3)


@pytest.fixture(scope="module")
def problem() -> Problem:
    case = small_case()
    steel = replace(case, tube=replace(case.tube, alloy="304"))
    return problem_of(replace(steel, alloys={**case.alloys, "304": builtin("304")}))


def timed(problem: Problem, points: Points, laid: bool = True, cut: int = 1) -> tuple[State, Times]:
    """Lead every face through straight lines from point to point, each in `cut` steps."""
    state = State(problem)
    state.alive[:, 1:] = float(laid)  # nothing is laid in the first layer
    state.filled[:, 1:] = laid
    at = np.array(points)
    times = np.unique(np.concatenate([np.linspace(a, b, cut + 1) for a, b in zip(
        at[:-1, 0], at[1:, 0], strict=True)]))  # fmt: skip
    now = np.empty_like(state.surface)
    was = np.full_like(now, at[0, 1] + ZERO)
    for begin, end in pairwise(times):
        now[:] = np.interp(end, at[:, 0], at[:, 1]) + ZERO
        filler = state.alive, state.filled
        assert problem.clocks is not None
        tick(was, now, end - begin, problem.base, problem.grid, filler, problem.clocks, state.times)
        was[:] = now
    return state, state.times


def used(problem: Problem, points: Points, cut: int = 1) -> Array:
    """Share used of the time to sensitise, by curve; the same on every face of the tube."""
    _, times = timed(problem, points, cut=cut)
    tube = times.used[:, problem.base.part == TUBE]
    assert np.ptp(tube, axis=(1, 2)).max() == 0.0
    assert not times.used[:, problem.base.part != TUBE].any()
    return np.asarray(tube[:, 0, 0])


def pace(celsius: float, cold: bool = False) -> float:
    """Share of the time to sensitise that 304 uses in a second [1/s]."""
    return float(1.0 / time_to_sensitise(np.array([celsius + ZERO]), 0.07, cold)[0])


# --- sensitisation --------------------------------------------------------------------------------


@pytest.mark.parametrize("celsius", [450.0, 600.0, 675.1, 744.0, 800.0, 840.0])
def test_an_isothermal_hold_uses_its_time_over_the_curves(problem: Problem, celsius: float) -> None:
    """Within half the change of pace over a node, a quarter of a kelvin."""
    found = used(problem, [(0.0, celsius), (7.0, celsius)])
    assert found[OWN] == pytest.approx(7.0 * pace(celsius), rel=0.02)
    assert found[COLD] == pytest.approx(7.0 * pace(celsius, cold=True), rel=0.02)
    assert found[AS_304] == found[OWN]


@pytest.mark.parametrize("celsius", [20.0, 420.0, 851.0, 1200.0])
def test_nothing_is_used_outside_the_range(problem: Problem, celsius: float) -> None:
    assert not used(problem, [(0.0, celsius), (100.0, celsius)]).any()


def test_two_holds_add_up_as_scheil_has_it(problem: Problem) -> None:
    """40 s at 600 degC and 3 s at 740 degC, with a jump between that takes no time."""
    found = used(problem, [(0.0, 600.0), (40.0, 600.0), (40.0 + 1e-9, 740.0), (43.0, 740.0)])
    assert found[OWN] == pytest.approx(40.0 * pace(600.0) + 3.0 * pace(740.0), rel=0.01)


@pytest.mark.parametrize("cut", [1, 3, 400])
def test_linear_cooling_is_the_integral_of_the_pace_in_any_steps(
    problem: Problem, cut: int
) -> None:
    """From 900 to 400 degC at 5 K/s, against quadrature of dt / t(T)."""
    found = used(problem, [(0.0, 900.0), (100.0, 400.0)], cut)
    for curve, cold in ((OWN, False), (COLD, True)):
        exact, _ = quad(lambda T, cold=cold: pace(T, cold) / 5.0, 425.0, 849.999, epsabs=1e-12)
        assert found[curve] == pytest.approx(exact, rel=1e-4)


def test_heating_counts_as_cooling_does(problem: Problem) -> None:
    up = used(problem, [(0.0, 400.0), (100.0, 900.0)])
    down = used(problem, [(0.0, 900.0), (100.0, 400.0)])
    np.testing.assert_allclose(up, down, rtol=1e-9)


# --- liquid copper --------------------------------------------------------------------------------


def test_liquid_copper_counts_above_the_solidus_under_filler_alone(problem: Problem) -> None:
    """From 920 to 1020 degC in 10 s: half of it above 970 degC; then 2 s more up there."""
    _, times = timed(problem, [(0.0, 920.0), (10.0, 1020.0), (12.0, 1020.0)])
    walls = len(problem.wall)
    wet = np.concatenate([problem.grid.cover >= 0, np.ones(len(times.copper) - walls, dtype=bool)])
    np.testing.assert_allclose(times.copper[wet, 1:], 7.0, rtol=1e-9)
    assert not times.copper[wet, 0].any()
    assert not times.copper[~wet].any()
    assert {TUBE, FLANGE} == set(problem.base.part[wet]) - {NEITHER}


def test_without_filler_there_is_no_liquid_copper(problem: Problem) -> None:
    _, times = timed(problem, [(0.0, 1020.0), (12.0, 1020.0)], laid=False)
    assert not times.copper.any()


def test_on_a_flange_liquid_copper_counts_above_its_a3_too() -> None:
    case = small_case()
    steel = replace(case.alloys["low-carbon steel"], a3=1000.0 + ZERO)
    problem = problem_of(replace(case, alloys={**case.alloys, steel.name: steel}))
    _, times = timed(problem, [(0.0, 920.0), (10.0, 1020.0)])
    assert times.copper[problem.base.part == TUBE].max() == pytest.approx(5.0)
    assert times.copper[problem.base.part == FLANGE].max() == pytest.approx(2.0)


def test_liquid_copper_is_timed_of_copper_on_steel_alone() -> None:
    case = small_case()
    assert case.fillet is not None
    tin = replace(case.alloys[case.fillet.filler], name="tin")
    bare = replace(case.alloys[case.tube.alloy], name="nickel", carbon=None, a1=None, a3=None)
    for part, alloys in ((None, {case.fillet.filler: tin}), (FLANGE, {case.tube.alloy: bare})):
        problem = problem_of(replace(case, alloys={**case.alloys, **alloys}))
        _, times = timed(problem, [(0.0, 1020.0), (12.0, 1020.0)])
        found = set(problem.base.part[times.copper.any(axis=1)])
        assert found == (set() if part is None else {part})


# --- the flange -----------------------------------------------------------------------------------


def cooling(problem: Problem, points: Points, cut: int = 7) -> float:
    """Time from 800 to 500 degC of the flange [s]."""
    _, times = timed(problem, points, cut=cut)
    flange = problem.base.part == FLANGE
    assert np.isnan(times.cooling[~flange]).all()
    return float(times.cooling[flange][0, 0])


@pytest.mark.parametrize("cut", [1, 7, 100])
def test_linear_cooling_takes_300_kelvin_over_its_rate(problem: Problem, cut: int) -> None:
    assert cooling(problem, [(0.0, 1000.0), (60.0, 400.0)], cut) == pytest.approx(30.0)


def test_a_face_that_never_was_austenite_has_no_cooling(problem: Problem) -> None:
    assert np.isnan(cooling(problem, [(0.0, 870.0), (60.0, 400.0)]))


def test_a_face_that_is_still_hot_has_none_yet(problem: Problem) -> None:
    assert np.isnan(cooling(problem, [(0.0, 1000.0), (60.0, 510.0)]))


def test_cooling_begins_anew_above_800_and_the_last_from_austenite_counts(
    problem: Problem,
) -> None:
    """600 degC is not yet 500, so what follows 820 degC counts; 850 degC later is not austenite."""
    points = [(0.0, 1000.0), (40.0, 600.0), (50.0, 820.0), (92.0, 400.0)]
    assert cooling(problem, points) == pytest.approx(30.0)
    points += [(100.0, 850.0), (109.0, 400.0)]
    assert cooling(problem, points) == pytest.approx(30.0)
    points += [(120.0, 900.0), (125.0, 400.0)]
    assert cooling(problem, points) == pytest.approx(3.0)


def test_where_a3_is_below_800_only_what_falls_through_800_is_timed(problem: Problem) -> None:
    assert problem.clocks is not None
    low = replace(problem, clocks=problem.clocks._replace(a3=760.0 + ZERO))
    points = [(0.0, 700.0), (10.0, 790.0), (52.0, 400.0)]
    assert np.isnan(cooling(low, points))
    points += [(60.0, 810.0), (101.0, 400.0)]
    assert cooling(low, points) == pytest.approx(30.0)


def test_time_above_a1(problem: Problem) -> None:
    """725 degC: from 700 to 800 degC in 4 s, and back in 4 s."""
    _, times = timed(problem, [(0.0, 700.0), (4.0, 800.0), (8.0, 700.0)])
    flange = problem.base.part == FLANGE
    np.testing.assert_allclose(times.above[flange], 6.0, rtol=1e-9)
    assert not times.above[~flange].any()
