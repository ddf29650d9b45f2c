"""What the joint does: where the arc's heat goes, how runs are laid, how lap and wall are read.

Signs, orders and limits come from the contract of the case file as the README and `lapheat new`
tell it; no published source is needed for them.
"""

from __future__ import annotations

from math import erf, pi, radians, sin, sqrt

import numpy as np
import pytest

from lapheat import simulate
from lapheat.case.file import read_case_text
from lapheat.history.wetting import level_of_share, reached, share_above, spots, wet_share
from lapheat.joint.schedule import order_of, schedule_of
from lapheat.joint.section import graded
from lapheat.march.kernels.fields import Gap
from lapheat.march.kernels.lap import fill_lap
from lapheat.march.state import State
from lapheat.march.steppers.compiled import stages_for
from lapheat.problem.setup import problem_of

CASE = """
[tube]
outside_diameter = "{od} mm"
wall = "1 mm"
length = "20 mm"
[flange]
thickness = "3 mm"
outside_diameter = "{plate} mm"
[arc]
current = "60 A"
voltage = "10 V"
spot = "2 mm"
[travel]
speed = "3 mm/s"
segment = "{segment} mm"
pause = "1 s"
[numerics]
detail = "coarse"
"""


def case_of(*sets: str, od: float = 20.0, plate: float = 50.0, segment: float = 8.0):
    text = CASE.format(od=od, plate=plate, segment=segment)
    return read_case_text(text, "joint", sets)


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


def test_orders_of_eight() -> None:
    assert order_of("in-turn", 8) == (1, 2, 3, 4, 5, 6, 7, 8)
    assert order_of("opposite", 8) == (1, 5, 2, 6, 3, 7, 4, 8)
    assert order_of("quarters", 8) == (1, 5, 3, 7, 2, 6, 4, 8)
    assert order_of((3, 1), 8) == (3, 1)
    for name in ("opposite", "quarters"):
        for count in range(1, 30):
            assert sorted(order_of(name, count)) == list(range(1, count + 1))


def test_overlap_runs_over_what_is_laid_only() -> None:
    case = case_of("travel.overlap=2 mm")
    plan = schedule_of(case, 8 * 16)
    over = 0.002 / case.tube.radius
    first, second, last = plan.segments[0], plan.segments[1], plan.segments[-1]
    assert (first.run_from, first.run_to) == (first.lay_from, first.lay_to)
    assert second.lay_from - second.run_from == pytest.approx(over)
    assert last.run_to - last.lay_to == pytest.approx(over)  # closes onto segment 1
    back = schedule_of(case_of("travel.overlap=2 mm", "travel.order=backstep"), 8 * 16).segments
    assert [s.direction for s in back] == [-1] * 8
    assert back[1].lay_to - back[1].run_to == pytest.approx(over)


def test_taper_fades_and_resume_below_waits() -> None:
    case = case_of(
        "travel.taper=1 s",
        "travel.dwell=0.5 s",
        "travel.coverage=0.25",
        "travel.resume_below=90 degC",
    )
    history = simulate(case, threads=1).history
    trace, (one, two) = history.trace, history.segments
    fading = trace.current[(trace.time > one.end - 1.0 + 1e-9) & (trace.time <= one.end + 1e-9)]
    assert np.all(np.diff(fading) < 0.0)
    assert fading[-1] < 0.3 * 60.0
    assert history.arc_on == pytest.approx(2 * (0.5 + 1.0 + case.tube.circumference / 8 / 0.003))
    assert 89.8 + 273.15 < two.start_temperature < 90.0 + 273.15  # not a long step later
    assert two.start - one.end > 1.0 + 1e-6  # waited longer than the pause
    assert abs(history.ledger.imbalance) < 1e-12


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


def test_share_of_a_wall_that_melts() -> None:
    depth = np.array([0.0, 0.5, 1.0])
    peak = np.array([[1700.0, 1600.0, 1700.0], [1600.0, 1500.0, 1700.0], [1500.0, 1400.0, 1700.0]])
    assert share_above(peak, depth, 1650.0) == pytest.approx([0.25, 0.0, 1.0])


def test_wet_share_runs_in_a_straight_line_from_face_to_toe() -> None:
    """1250 to 1400 K from a quarter of the side to its toe: 1300 K is reached on half of it."""
    area = np.array([1.0, 1.0])
    peak = np.array([[1250.0, np.nan, 1300.0], [1350.0, np.nan, 1300.0]])
    share = wet_share(peak, area, 1300.0)
    assert share[[0, 2]] == pytest.approx([0.5, 1.0])
    assert np.isnan(share[1])
    assert wet_share(peak, area, 1390.0)[0] == pytest.approx(0.05)
    assert level_of_share(peak, area, 0.75) == pytest.approx(1300.0)  # all of one layer, half


def test_towards_the_root_it_goes_with_the_root_of_the_distance() -> None:
    """1000 + 400 sqrt(s): the very root has 1000 K, and 5 % of the side at s = 0.05."""
    at = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    peak = (1000.0 + 400.0 * np.sqrt(at))[:, None]
    area = np.full(5, 0.2)
    assert reached(peak[:, 0], area, 1.0) == pytest.approx(1000.0)
    # straight between the quarter and the half of the way in sqrt(s): 0.4 K off at the most
    assert reached(peak[:, 0], area, 0.95) == pytest.approx(1000.0 + 400.0 * 0.05**0.5, abs=3.0)
    assert level_of_share(peak, area, 0.95) == pytest.approx(reached(peak[:, 0], area, 0.95))


def test_wet_share_does_not_hang_on_the_mesh() -> None:
    """A parabola from 1000 K at the root: the share settles with order 2."""
    off = []
    for count in (4, 8, 16):
        at = (np.arange(count) + 0.5) / count
        peak = 1000.0 + 400.0 * at[:, None] ** 2
        off.append(abs(wet_share(peak, np.ones(count), 1100.0)[0] - 0.5))
    assert off[0] < 0.02
    assert off[1] < 0.35 * off[0]
    assert off[2] < 0.35 * off[1]


def test_coldest_spot_is_a_mean_over_a_fifth_of_a_millimetre() -> None:
    """A field that goes with the root of the distance and straight round the ring is read exactly.

    The mean of sqrt(s) from 0 to L is 2/3 sqrt(L), its value at 4/9 L.
    """
    edges = np.array([0.0, 0.4e-3, 1e-3, 2e-3])
    at = 0.5 * (edges[1:] + edges[:-1])
    angle = (np.arange(24) + 0.5) * 2.0 * np.pi / 24
    peak = 1000.0 + 1e4 * np.sqrt(at)[:, None] + 50.0 * angle
    spot = spots(peak, edges, 4, 20e-3).coldest()
    assert (spot.from_root, spot.angle) == pytest.approx((0.2e-3 * 4.0 / 9.0, 1e-4 / 20e-3))
    mean = 2.0 / 3.0 * np.sqrt(0.2e-3)
    assert spot.peak == pytest.approx(1000.0 + 1e4 * mean + 50.0 * 0.005)


def test_a_ring_of_one_layer_a_segment_has_spots() -> None:
    over = spots(np.full((3, 4), 1300.0), np.array([0.0, 1e-3, 2e-3, 3e-3]), 4, 5e-3)
    assert over.values.shape == (5, 12)
    assert (np.diff(over.angle) > 0.0).all()
    assert over.dry(1290.0) == ()


def test_all_but_short_stretches() -> None:
    """A dip of 100 K a radian to either side of a point: 0.2 rad wide 10 K above its bottom."""
    angle = (np.arange(720) + 0.5) * np.pi / 360
    peak = np.full((2, 1), 1300.0) + 100.0 * np.abs(angle - np.pi)
    over = spots(peak, np.array([0.0, 1e-3, 2e-3]), 1, 20e-3)
    assert over.level_but_for(0.2) == pytest.approx(1310.0, abs=0.5)
    (span,) = over.dry(1310.0)
    assert span.end - span.begin == pytest.approx(0.2, abs=0.01)


def test_stages_cover_the_step() -> None:
    """Step <= explicit limit x (s^2 + s - 2) / 4: Meyer, Balsara and Aslam 2014."""
    for ratio in (0.1, 1.0, 2.4, 2.6, 30.0, 5000.0):
        s = stages_for(ratio, 1.0)
        assert s % 2 == 1
        assert ratio <= (s * s + s - 2) / 4
        assert s == 3 or ratio > ((s - 2) ** 2 + (s - 2) - 2) / 4


@pytest.mark.parametrize("cells", [1, 4, 9, 20])
def test_graded_lines_refine_one_map(cells: int) -> None:
    """Halved sizes and the root of the growth cut every cell in two, from 0.5 to at most 4 mm."""
    ramp = np.log(4.0 / 0.5) / np.log(1.4)  # cells; the slope of the map is 0.5 mm * 1.4^cell
    length = 0.5e-3 * (1.4 ** min(cells, ramp) - 1.0) / np.log(1.4) + 4e-3 * max(cells - ramp, 0.0)
    coarse = graded(length, 0.5e-3, 1.4, 4e-3)
    fine = graded(length, 0.25e-3, 1.4**0.5, 2e-3)
    assert len(coarse) == cells + 1
    np.testing.assert_allclose(fine[::2], coarse, rtol=1e-12)


@pytest.mark.parametrize("length", [0.2e-3, 1.3e-3, 6.35e-3, 0.11])
def test_graded_lines_fill_the_length(length: float) -> None:
    lines = graded(length, 0.5e-3, 1.3, 6e-3)
    widths = np.diff(lines)
    assert lines[0] == 0.0
    assert lines[-1] == pytest.approx(length)
    assert widths.max() <= 6e-3 * 1.5
    assert widths[0] <= 0.5e-3 * 1.6
