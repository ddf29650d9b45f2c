"""How filler enters a hot lap, what the lap conducts, and how wide it is when hot."""

from __future__ import annotations

import numpy as np
import pytest

from lapheat.joint.section import Region
from lapheat.march.kernels.fields import Gap
from lapheat.march.kernels.lap import fill_lap, hot_gap
from lapheat.march.state import State
from lapheat.problem.arrays import Growth
from lapheat.problem.setup import problem_of
from support.joints import case_of

FLOW = 1298.0  # [K]
SIGMA = 5.670374419e-8  # [W/(m2 K4)]


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
    bend = ("H..H", "H..H", "HHHH", ".H..")
    island, reached = ("H.H.", "....", "HHHH", "HHHH"), ("H...", "....", "....", "....")
    bottom = ("H.H.", "H.H.", "HHH.")
    split = ("HHH.HH.", "......H"), ("HHH....", ".......")
    gas = (np.array([300.0, 1300.0]), np.array([0.02, 0.05]))
    for given, wanted, start in (
        (bend, bend, 0),
        (island, reached, 0),
        (bottom, bottom, 0),
        (*split, 2),  # the only way is against the order of the layers
        (*split, 0),
    ):
        shape = len(given), len(given[0])
        warm = np.array([[1400.0 if c == "H" else 900.0 for c in row] for row in given])
        walls = np.full((2, shape[1]), 300.0)
        surface = np.vstack([walls, warm, np.full(shape, 1300.0)])
        filled, contact = np.zeros(shape, dtype=np.bool_), np.zeros(shape)
        alive = np.zeros((2, shape[1]))
        alive[1, start] = 1.0
        fill_lap(surface, 2, alive, filled, contact, Gap(1, 1e-4, 0.4, 90.0, FLOW, *gas))
        assert [["H" if f else "." for f in row] for row in filled] == [[*row] for row in wanted]
        if given is bend:
            gas_k = 0.02 + 0.03 * (1100.0 - 300.0) / 1000.0  # at the mean of 900 and 1300 K
            bare = gas_k / 1e-4 + 4 * SIGMA * 0.4 * 1100.0**3
            assert contact[3, 2] == pytest.approx(1.0 / bare)


def test_filler_goes_on_below_faces_that_have_grown_cold() -> None:
    """The first row was filled before and is cold now, the third is hot on one side only."""
    surface = np.full((2 + 2 * 3, 4), 300.0)
    surface[2 + 1], surface[2 + 3 + 1] = FLOW, [FLOW, FLOW, FLOW - 1e-9, 2000.0]
    surface[2 + 3 + 2] = 2000.0
    filled, contact = np.zeros((3, 4), dtype=np.bool_), np.zeros((3, 4))
    filled[0] = True
    gas = (np.array([300.0, 800.0, 1300.0]), np.array([0.02, 0.03, 0.07]))
    fill_lap(surface, 2, np.zeros((1, 4)), filled, contact, Gap(0, 1e-4, 0.4, 90.0, FLOW, *gas))
    assert filled.tolist() == [[True] * 4, [True, True, False, True], [False] * 4]
    # 2000 and 300 K: gas at 1150 K is 0.058 W/(m K); 300 K both, cold filler: 0.1 mm of it
    assert contact[2] == pytest.approx(1.0 / (0.058 / 1e-4 + 4.0 * SIGMA * 0.4 * 1150.0**3))
    assert contact[0] == pytest.approx(1e-4 / 90.0)


def test_the_gap_follows_the_mean_strains_of_tube_and_flange() -> None:
    """Worked by hand: 4.125 mm/m on the tube's 10 mm, 2.35 mm/m on the bore's 11 mm."""
    strain = 1e-3 * np.array([[0.0, 1.0, 4.0, 9.0], [0.0, 2.0, 3.0, 5.0]])
    growth = Growth(
        tube=np.array([0]),
        bore=np.array([1, 2]),
        tube_share=np.array([0.5]),
        bore_share=np.array([0.1, 0.4]),
        strain=strain,
        radius=10e-3,
        cold=1e-3,
    )
    # nodes 1.25 and 2.5: 1.75 and 6.5 mm/m; 0.5 and 1.5: 1 and 2.5; 4 and -1, beyond: 7 and -2
    h = 1e5 * np.array([[1.25, 2.5], [-0.75, -0.25], [1.0, -1.5]])
    tables = np.array([0, 1, 1]), np.array([0.0, -1e5]), np.array([1e-5, 2e-5])
    wanted = 1e-3 + 11e-3 * 2.35e-3 - 10e-3 * 4.125e-3
    assert hot_gap(growth, h, *tables) == pytest.approx(wanted, rel=1e-12)


def test_a_lap_that_shuts_conducts_as_ten_micrometres_of_gas_and_takes_no_filler() -> None:
    state = State(problem_of(case_of("lap.clearance=0.02 mm")))
    problem = state.problem
    tube = problem.mesh.section.region == Region.TUBE
    alloy = problem.alloys[problem.grid.alloy[np.flatnonzero(tube)[0]]]
    state.h[tube] = alloy.enthalpy(np.asarray(1400.0))
    state.alive[:] = 1.0
    state.refresh()
    state.observe()
    state.fill_lap()
    assert state.gap < 0.0
    assert not state.filled.any()
    rows, walls = len(state.contact), len(problem.wall)
    one, other = (state.surface[walls + n * rows : walls + (n + 1) * rows] for n in (0, 1))
    middle = 0.5 * (one + other)
    # argon: 0.039 W/(m K) at 850 K (from memory)
    assert middle == pytest.approx(850.0, abs=15.0)
    assert 1e-5 / state.contact == pytest.approx(0.039, rel=0.03)
