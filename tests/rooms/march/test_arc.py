"""The arc on plain bodies, against its closed forms: error functions, projection, straight rays."""

from __future__ import annotations

from functools import cache
from math import cos, erf, isnan, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from numpy.typing import NDArray

from lapheat.march.kernels.arc import light
from lapheat.march.state import State
from lapheat.problem.arrays import REACH, Grid, Torch
from lapheat.problem.setup import problem_of
from support.joints import case_of, small_case

Array = NDArray[np.float64]
GAUSS = np.array([-0.5, 0.5]) / sqrt(3.0)
SPOT = 2e-3  # [m]


@cache
def any_grid() -> Grid:
    return problem_of(small_case()).grid


class Body:
    """Faces along a line in the (r, z) plane, repeated in layers of a ring or along a bar."""

    def __init__(
        self, ends: Array, normal: tuple[float, float], layers: int, step: float, closed: bool
    ) -> None:
        """`ends` (n + 1, 2) of the faces [m]; `step` of a layer [rad], [m] along a bar."""
        self.layers, self.step = layers, step
        count, long = len(ends) - 1, np.hypot(*np.diff(ends, axis=0).T)
        middle = 0.5 * (ends[1:] + ends[:-1])
        points = middle[:, None] + GAUSS[:, None] * np.diff(ends, axis=0)[:, None]
        self.point_r, self.point_z = (np.ascontiguousarray(points[..., n]) for n in (0, 1))
        self.area = long * step * (middle[:, 0] if closed else 1.0)
        self.normal = np.full(count, normal[0]), np.full(count, normal[1])
        self.cover, self.own = np.full(count, -1), np.full(count, -1)
        self.alive, self.closed = np.zeros((1, layers)), closed

    def lit(
        self,
        axis: tuple[float, float],
        angle: float,
        where: float,
        power: float = 500.0,
        spot: float = SPOT,
        tube: tuple[float, float] = (0.0, 0.0),
    ) -> tuple[Array, float]:
        """Heat of each face [W], and what `light` returns; `angle` [deg], `tube` in the way."""
        up = radians(angle)
        lean = (0.0, 1.0) if angle == 90.0 else (cos(up), sin(up))
        torch = Torch(
            *(*axis, *lean, spot, *tube, self.point_r, self.point_z, *self.normal, self.area),
            wall=np.arange(len(self.area)),
            own=self.own,
            step=self.step,
        )
        heat = np.full((len(self.area), self.layers), 7.0)  # of the step before
        grid = any_grid()._replace(cover=self.cover, closed=self.closed)
        share = light(torch, grid, self.alive, where, power, heat)
        return heat * self.area[:, None], share


def plane(lean: float, length: float = 6e-3, rows: int = 12, layers: int = 16) -> Body:
    """A plane along a bar whose normal rises at `lean` [deg] above the radial direction."""
    up = radians(lean)
    along = np.linspace(-length, length, rows + 1)
    ends = np.outer(along, (-sin(up), cos(up)))
    return Body(ends, (cos(up), sin(up)), layers, 1e-3, closed=False)


def below(x: Array) -> Array:
    """Share of a normal distribution below `x` [m], of the spot's width."""
    return np.array([0.5 * (1.0 + erf(v / SPOT / sqrt(2.0))) for v in np.ravel(x)])


@pytest.mark.parametrize(("lean", "angle"), [(90.0, 90.0), (90.0, 55.0), (35.0, 60.0), (0.0, 0.0)])
def test_a_plane_takes_the_gaussian_of_its_projection(lean: float, angle: float) -> None:
    """Of a strip across the axis a plane takes what a table of the normal distribution says.

    The axis meets the plane 1 mm up it, 7.3 mm along the bar; its point lies 5 mm off the plane.
    Seen along the axis, lengths up the plane are shorter by the cosine between both.
    """
    body, up, cosine = plane(lean), radians(lean), cos(radians(lean - angle))
    foot = np.array([-sin(up), cos(up)]) * 1e-3
    axis = foot + 5e-3 * np.array([cos(radians(angle)), sin(radians(angle))])
    heat, share = body.lit((axis[0], axis[1]), angle, 7.3e-3)
    edges = np.linspace(-6e-3, 6e-3, 13) - 1e-3
    rows = np.diff(below(edges * cosine))
    columns = np.diff(below(np.arange(17) * 1e-3 - 7.3e-3))
    wanted = 500.0 * np.outer(rows / rows.sum(), columns / columns.sum())
    assert heat.sum() == pytest.approx(500.0, rel=1e-12)
    np.testing.assert_allclose(heat, wanted, atol=2e-4 * wanted.max())
    assert share == pytest.approx(rows.sum() * columns.sum(), abs=2e-4)


@pytest.mark.parametrize("radius", [0.9 * REACH * SPOT, 3.0 * SPOT])
def test_a_tube_takes_the_gaussian_of_its_shadow(radius: float) -> None:
    """A flux square to the axis falls on a round tube as on the plane that it hides.

    Layers between the angles a and b take the strip from R sin a to R sin b; the back takes none.
    """
    layers, where = 120, 6.1
    step = 2.0 * pi / layers
    height = np.linspace(-4e-3, 4e-3, 9)
    ends = np.column_stack([np.full(9, radius), height])
    heat, share = Body(ends, (1.0, 0.0), layers, step, closed=True).lit((radius, 0.0), 0.0, where)
    turn = np.clip((np.arange(layers) * step - where + pi) % (2 * pi) - pi, -pi / 2, pi / 2)
    after = np.clip(turn + step, -pi / 2, pi / 2)
    hidden = below(radius * np.sin(after)) - below(radius * np.sin(turn))
    edge = np.abs(np.abs(turn + 0.5 * step) - pi / 2) < step  # a layer half round the corner
    rows = np.diff(below(height))
    wanted = 500.0 * np.outer(rows / rows.sum(), hidden / hidden.sum())
    np.testing.assert_allclose(heat[:, ~edge], wanted[:, ~edge], atol=1e-3 * wanted.max())
    assert share == pytest.approx(rows.sum() * hidden.sum(), abs=1e-3)


def test_nothing_is_lit_beyond_the_reach() -> None:
    """Rows of 1 mm up to 19 mm off the axis, layers of 1 mm up to 15: dark from 13 mm on."""
    body = plane(90.0, length=19.5e-3, rows=39, layers=31)
    heat, _ = body.lit((0.0, 0.0), 90.0, 15.5e-3)
    up = np.abs(np.arange(39) - 19.0)[:, None]
    along = np.abs(np.arange(31) - 15.0)
    away = np.hypot(up, along)
    assert (heat[away > 1e3 * REACH * SPOT + 1.0] == 0.0).all()
    assert (heat[away < 1e3 * REACH * SPOT - 1.0] > 0.0).all()
    # within the reach along either line alone, and beyond it in the corner between them
    assert heat[19 + 10, 15 + 10] == 0.0 < min(heat[19 + 10, 15], heat[19, 15 + 10])


def meets(place: Array, lean: float, radius: float, height: float) -> bool:
    """Whether the straight way from a place to the torch runs through a tube, step by step."""
    way = place[:, None] + np.outer([cos(lean), 0.0, sin(lean)], np.linspace(0.0, 0.2, 4001))
    return bool(((np.hypot(way[0], way[1]) < radius) & (way[2] < height)).any())


def test_the_tube_shades_what_lies_on_a_straight_way_behind_it() -> None:
    """A wide arc at 35 degrees over a tube of 5 mm that ends 4 mm above a plate."""
    layers, radius, height, angle = 60, 5e-3, 4e-3, 35.0
    ends = np.column_stack([np.linspace(5.5e-3, 15.5e-3, 11), np.full(11, -1e-3)])
    body = Body(ends, (0.0, 1.0), layers, 2.0 * pi / layers, closed=True)
    at = (5e-3, 0.0), angle, 0.0, 500.0, 6e-3
    bare, full = body.lit(*at)
    heat, share = body.lit(*at, tube=(radius, height))
    passed = heat / heat.sum() * share / (bare / bare.sum() * full)  # share of each face's flux
    clear = 0
    for i in range(10):
        for k in range(layers):
            corners = [
                meets(
                    np.array([r * cos(turn), r * sin(turn), -1e-3]), radians(angle), radius, height
                )
                for r in body.point_r[i]
                for turn in (np.array([0.02, 0.5, 0.98]) + k) * 2.0 * pi / layers
            ]
            if len({*corners}) == 1:
                clear += 1
                assert passed[i, k] == pytest.approx(0.0 if corners[0] else 1.0, abs=1e-9)
    assert clear > 500
    assert 40 < (passed < 0.5).sum() < 400
    # 4 + 1 mm of rise over tan 35 deg of way: at the back it ends 5 mm and that off the axis
    dark = 1e3 * body.point_r.mean(axis=1) < 5.0 + 5.0 / tan(radians(angle))
    assert ((passed[:, layers // 2] < 0.5) == dark).all()
    # straight down it shades nothing
    down = body.lit((5e-3, 0.0), 90.0, 0.0, 500.0, 6e-3, (radius, height))
    assert down[1] == pytest.approx(body.lit((5e-3, 0.0), 90.0, 0.0, 500.0, 6e-3)[1], rel=1e-12)


def test_laid_filler_takes_the_arc_and_covers_what_is_under_it() -> None:
    body = plane(90.0)
    body.cover[3], body.own[8] = 0, 0  # the third row lies under it, the eighth is its face
    body.alive[0, 5:9] = 0.5
    heat, _ = body.lit((0.0, 0.0), 90.0, 7.3e-3)
    laid = body.alive[0] > 0.0
    assert (heat[3, laid] == 0.0).all()
    assert (heat[3, ~laid] > 0.0).all()
    assert (heat[8, laid] > 0.0).all()
    assert (heat[8, ~laid] == 0.0).all()
    assert (heat[4] > 0.0).all()


def test_an_arc_that_is_out_or_meets_nothing_heats_nothing() -> None:
    body = plane(90.0)
    heat, share = body.lit((0.0, 0.0), 90.0, 7.3e-3, power=0.0)
    assert isnan(share)
    assert (heat == 0.0).all()
    assert body.lit((0.0, 0.0), 90.0, 7.3e-3, power=0.5)[0].sum() == pytest.approx(0.5)
    for axis, angle, where in (((0.5, 0.0), 90.0, 7e-3), ((0.0, 0.0), 90.0, 0.5)):
        heat, share = body.lit(axis, angle, where)
        assert share == 0.0
        assert (heat == 0.0).all()
    assert body.lit((0.0, 0.0), -90.0 + 1e-9, 7.3e-3)[1] == 0.0  # from behind


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
@pytest.mark.parametrize("work_angle", [30.0, 45.0, 60.0, 70.0])
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
