"""Where the arc's heat goes, and how filler enters a hot lap."""

from __future__ import annotations

from math import erf, pi, radians, sin, sqrt

import numpy as np
import pytest

from lapheat.march.kernels.fields import Gap
from lapheat.march.kernels.lap import fill_lap
from lapheat.march.state import State
from lapheat.problem.setup import problem_of
from support.joints import case_of


def lit(*sets: str, where: float = 1.0, **size: float) -> tuple[State, np.ndarray]:
    """State under 500 W at an angle, and the heat of each lit face [W] by wall row and layer."""
    problem = problem_of(case_of(*sets, **size))
    state = State(problem)
    state.light(where, 500.0)
    return state, state.heat * problem.torch.area[:, None]


def share_on(name: str, *sets: str) -> float:
    state, heat = lit(*sets)
    names = np.array(state.problem.wall_names())[state.problem.torch.wall]
    return float(heat[names == name].sum() / heat.sum())


def test_all_of_the_arc_lands_and_none_in_the_bore() -> None:
    state, heat = lit()
    assert heat.sum() == pytest.approx(500.0, rel=1e-12)
    names = {state.problem.wall_names()[w] for w in state.problem.torch.wall}
    assert names <= {"tube outside", "flange face", "flange rim", "fillet"}


def normal_below(x: float) -> float:
    """Share of a normal distribution below `x` standard deviations."""
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


@pytest.mark.parametrize("aim", [-1.0, 0.0, 1.0, 2.0])
@pytest.mark.parametrize("work_angle", [30.0, 45.0, 60.0])
def test_aim_and_work_angle_decide_the_split(aim: float, work_angle: float) -> None:
    """In the plane of the torch the flange takes what falls beyond the root of the joint.

    The root lies aim x sin(work angle) off the axis: the normal distribution tells the share
    (any table of it); the tube's roundness turns a few per cent more onto the flange.
    """
    share = share_on("flange face", f"arc.aim={aim} mm", f"arc.work_angle={work_angle} deg")
    plane = normal_below(aim * sin(radians(work_angle)) / 2.0)
    assert plane - 0.005 < share < plane + 0.06


def test_the_tube_shades_the_flange_behind_it() -> None:
    state, heat = lit("arc.spot=6 mm", od=6.0, plate=40.0, segment=6.0)
    problem = state.problem
    names = np.array(problem.wall_names())[problem.torch.wall]
    angle = problem.mesh.layer_angles() - 1.0
    behind = np.abs(np.degrees((angle + pi) % (2 * pi) - pi)) > 160.0
    near = problem.torch.point_r.max(axis=1) < 0.006
    assert np.all(heat[(names == "flange face") & near][:, behind] == 0.0)
    assert np.all(heat[(names == "flange face") & near][:, ~behind].max(axis=1) > 0.0)


@pytest.mark.parametrize("root_layer", [10, 0, 19])
def test_filler_enters_a_hot_lap_alike_in_every_direction(root_layer: int) -> None:
    rows, layers = 4, 20
    hot = np.full((2 * rows, layers), 1400.0)
    hot[2] = 1000.0  # the third row of the tube side is too cold
    alive = np.zeros((1, layers))
    alive[0, root_layer] = 1.0
    filled = np.zeros((rows, layers), dtype=np.bool_)
    contact = np.zeros((rows, layers))
    gas = (np.array([300.0, 1300.0]), np.array([0.02, 0.05]))
    fill_lap(hot, 0, alive, filled, contact, Gap(0, 1e-4, 0.4, 90.0, 1298.0, *gas))
    assert filled[:2].all()
    assert not filled[2:].any()  # cold, and cut off behind the cold row
    assert contact[0] == pytest.approx(1e-4 / 90.0)
    bare = 0.05 / 1e-4 + 4 * 5.670374419e-8 * 0.4 * 1400.0**3
    assert contact[3] == pytest.approx(1.0 / bare)


def test_filler_turns_round_a_cold_place_and_jumps_none() -> None:
    """Hot faces (H) fill from the one place at the mouth (layer 0) if a hot way leads there."""
    rows = fills = ("H..H", "H..H", "HHHH", ".H..")
    island = ("H.H.", "....", "HHHH", "HHHH")
    reached = ("H...", "....", "....", "....")
    gas = (np.array([300.0, 1300.0]), np.array([0.02, 0.05]))
    for given, wanted in ((rows, fills), (island, reached)):
        warm = np.array([[1400.0 if c == "H" else 900.0 for c in row] for row in given])
        surface = np.vstack([np.full((2, 4), 300.0), warm, np.full((4, 4), 1300.0)])  # two walls
        filled, contact = np.zeros((4, 4), dtype=np.bool_), np.zeros((4, 4))
        alive = np.array([[0.0] * 4, [1.0, 0.0, 0.0, 0.0]])
        fill_lap(surface, 2, alive, filled, contact, Gap(1, 1e-4, 0.4, 90.0, 1298.0, *gas))
        assert [["H" if f else "." for f in row] for row in filled] == [[*row] for row in wanted]
        if given is rows:
            gas_k = 0.02 + 0.03 * (1100.0 - 300.0) / 1000.0  # at the mean of 900 and 1300 K
            bare = gas_k / 1e-4 + 4 * 5.670374419e-8 * 0.4 * 1100.0**3
            assert contact[3, 2] == pytest.approx(1.0 / bare)


def test_the_spot_is_alike_on_both_sides_and_dark_where_nothing_is_laid() -> None:
    problem = problem_of(case_of())
    state, middle = State(problem), 7
    state.light(problem.mesh.layer_angles()[middle], 500.0)
    for beside in range(1, 4):
        one, other = state.heat[:, middle - beside], state.heat[:, middle + beside]
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9 * state.heat.max())
    names = np.array(problem.wall_names())[problem.torch.wall]
    fillet = state.heat[names == "fillet"]
    assert len(fillet) > 0
    assert (fillet == 0.0).all()
    # laid, they take the arc, and what they cover takes none
    bare = state.heat.copy()
    state.alive[:] = 1.0
    state.light(problem.mesh.layer_angles()[middle], 500.0)
    assert (state.heat[names == "fillet"][:, middle] > 0.0).all()
    covered = problem.grid.cover[problem.torch.wall] >= 0
    assert bare[covered][:, middle].max() > 0.0
    assert (state.heat[covered] == 0.0).all()
