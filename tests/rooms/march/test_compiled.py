"""The compiled step: which cells are looked up in the tables, and that threads change nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import lapheat.march.steppers.compiled
from lapheat.march.errors import MarchError
from lapheat.march.kernels.rows import find_runs, mark_moved, settled
from lapheat.march.state import State
from lapheat.march.steppers.compiled import (
    RUNS,
    TRIAL_EVERY,
    TRIAL_STEPS,
    CompiledStepper,
    thread_choices,
)
from lapheat.problem.problem import Problem
from lapheat.problem.setup import problem_of
from support.joints import case_of

# One step of half a second under a new arc: cells beneath it warm by hundreds of kelvin.
DT, POWER = 0.5, 800.0


@pytest.fixture(scope="module")
def problem() -> Problem:
    return problem_of(case_of())


def struck(problem: Problem, threads: int, steps: int = 1, dt: float = DT) -> State:
    state = State(problem)
    state.light(1.0, POWER)
    stepper = CompiledStepper(problem, threads=threads)
    for _ in range(steps):
        stepper.advance(state, dt)
    return state


def test_a_step_that_nobody_foresaw_is_taken_again(
    problem: Problem, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It ends as if every cell had been looked up, for less than a kelvin of enthalpy."""
    found = struck(problem, 1).h
    monkeypatch.setattr(lapheat.march.steppers.compiled, "STILL", 1e-9)
    exact = struck(problem, 1).h
    monkeypatch.setattr(
        lapheat.march.steppers.compiled, "STILL", 1e9
    )  # nothing is unforeseen, none looked up
    tangents = struck(problem, 1).h
    assert exact.max() - exact.min() > 200.0 * 500.0
    assert np.abs(found - exact).max() < 500.0
    assert np.abs(tangents - exact).max() > 20.0 * 500.0


def test_threads_change_nothing(problem: Problem) -> None:
    steps = TRIAL_STEPS + 8  # on one, on all, and on what was chosen
    # short ones: on a busy machine threads wait long for each other at every stage
    one, two = (struck(problem, threads, steps, 0.05 * DT) for threads in (1, 2))
    for name in ("h", "phi", "skin", "lost", "peak_h"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))


def chosen(pace: Callable[[int, int], float], steps: int) -> list[int]:
    """Threads of some steps, by the pace of each: of its number and its threads."""
    choices = thread_choices(4)
    used = [next(choices)]
    for step in range(steps - 1):
        used.append(choices.send(pace(step, used[-1])))
    return used


LOOK = [1, 1, 1] + [4] * (1 + TRIAL_STEPS)  # after the step that may compile


def test_all_threads_stay_while_they_are_faster() -> None:
    once = [*LOOK, *[4] * TRIAL_EVERY]
    assert chosen(lambda _, use: 2.0 / use, 1 + 2 * len(once)) == [1, *once, *once]


def test_threads_that_do_not_pay_are_looked_at_more_and_more_rarely() -> None:
    rests = [[*LOOK, *[1] * (2 * TRIAL_EVERY)], [*LOOK, *[1] * (4 * TRIAL_EVERY)]]
    used = chosen(lambda _, use: 1.0 if use == 1 else 1.1, 1 + sum(map(len, rests)))
    assert used == [1, *rests[0], *rests[1]]


def test_one_step_that_is_held_up_ends_a_look() -> None:
    used = chosen(lambda _, use: 1.0 if use == 1 else 50.0, 1 + 4 + 2 * TRIAL_EVERY)
    assert used == [1, 1, 1, 1, 4, *[1] * (2 * TRIAL_EVERY)]


def test_two_steps_in_a_row_that_are_held_up_end_the_use_of_threads() -> None:
    held_up = {40, 50, 51}

    def pace(step: int, use: int) -> float:
        return 30.0 if step in held_up else 2.0 / use

    used = chosen(pace, 1 + len(LOOK) + TRIAL_EVERY)
    assert set(used[len(LOOK) + 1 : 52]) == {4}
    assert set(used[52:]) == {1}


@pytest.mark.parametrize(
    ("moving", "closed", "told"),
    [
        ([], True, []),
        ([5], True, [(4, 7)]),
        ([4, 6], True, [(3, 8)]),
        ([0], True, [(0, 2), (11, 12)]),
        ([0], False, [(0, 2)]),
        ([11], True, [(0, 1), (10, 12)]),
        (list(range(12)), True, [(0, 12)]),
    ],
)
def test_runs_are_moving_cells_and_their_neighbours(
    moving: list[int], closed: bool, told: list[tuple[int, int]]
) -> None:
    marks = np.zeros((1, 12), dtype=np.bool_)
    marks[0, moving] = True
    hot, runs = np.zeros_like(marks), np.full((1, RUNS + 1, 2), 7)
    find_runs(marks, 0, closed, hot, runs)
    assert runs[0, : len(told) + 1].tolist() == [*map(list, told), [0, 0]]
    assert np.flatnonzero(hot[0]).tolist() == [k for a, b in told for k in range(a, b)]


def test_more_runs_than_are_told_apart_are_joined() -> None:
    marks = np.zeros((1, 60), dtype=np.bool_)
    marks[0, 1::5] = True
    hot, runs = np.zeros_like(marks), np.zeros((1, RUNS + 1, 2), dtype=np.int64)
    find_runs(marks, 0, True, hot, runs)
    assert runs[0, -2].tolist() == [5 * RUNS - 5, 58]
    assert runs[0, -1].tolist() == [0, 0]


def test_only_cells_that_were_not_looked_up_come_unforeseen() -> None:
    rise = np.array([[0.0, 2.0, -5.0]])
    hot, moving = np.zeros((1, 3), dtype=np.bool_), np.zeros((1, 3), dtype=np.bool_)
    assert mark_moved(rise, 0, 1.0, hot, moving) == (2, True)
    assert moving[0].tolist() == [False, True, True]
    hot[0, 2] = True
    assert mark_moved(rise, 0, 1.0, hot, moving) == (2, False)


def test_next_to_nothing_is_nothing_and_no_number_stays_none() -> None:
    assert [settled(x) for x in (1e-300, -1e-300, 1e-100, -3.0)] == [0.0, 0.0, 1e-100, -3.0]
    assert np.isnan(settled(np.nan))


def test_a_stepper_forgets_a_state_that_lost_its_numbers(problem: Problem) -> None:
    stepper, fresh = (CompiledStepper(problem, threads=1) for _ in range(2))
    lost = State(problem)
    lost.h[:] = np.nan
    lost.refresh()
    stepper.advance(lost, DT)
    found = [State(problem), State(problem)]
    for state, own in zip(found, (stepper, fresh), strict=True):
        state.light(1.0, POWER)
        own.advance(state, DT)
    np.testing.assert_array_equal(found[0].h, found[1].h)


def test_a_march_that_loses_its_numbers_says_so(problem: Problem) -> None:
    state = State(problem)
    state.h[np.flatnonzero(problem.grid.skin < 0)[0], 3] = np.nan
    state.refresh()
    CompiledStepper(problem, threads=1).advance(state, DT)
    assert np.isnan(state.h[:, 3]).sum() > 1
    with pytest.raises(MarchError, match="not a number"):
        state.observe()
