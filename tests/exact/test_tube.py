"""The march against arcs that run round a tube in segments with pauses, and ring sources.

The exact answers know the spot on the unrolled wall, as a Gaussian of the distance along the
surface; the program's torch shines along its axis on the round one. The heat is therefore laid
here, face by face; whole case files with the program's own torch stand in `test_bead`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import i0e

from exact.build import BLACK, MM, ZERO, Array, Part, Rig, fixed, lines, runs_on, spread, stretched
from exact.errors import Record
from exact.solutions import kirchhoff, shell, spectral3d, tables
from exact.solutions.cases import (
    CYLINDER,
    CYLINDER_PROBES,
    M1,
    SHELL,
    TUBE_PROBES,
    quarter_runs,
    quarter_times,
)
from exact.solutions.common import gauss
from lapheat.case.alloys import Alloy, Piece, Property
from lapheat.problem.problem import Problem

SOURCE = "Carslaw and Jaeger 1959, 10.3, images on the unrolled wall"


def face_arc(
    part: Part, problem: Problem, radius: float, seam: float, spot: float
) -> Callable[[Rig, float, float], None]:
    """Arc that lays a Gaussian of the distance along the surface of `radius` [m] on its faces."""
    lit = np.flatnonzero(problem.grid.lit >= 0)
    ends = np.sort(part.mesh.walls.ends[problem.wall[lit]][:, :, 1], axis=1)
    level = np.array([spread(pair, seam, spot)[0] for pair in ends])
    corners = np.arange(part.mesh.layers + 1) * part.mesh.step * radius
    around = 2.0 * np.pi * radius
    rows = problem.grid.lit[lit]

    def shine(rig: Rig, angle: float, power: float) -> None:
        share = spread(corners, angle * radius % around, spot, around)
        rig.state.heat[rows] = power * level[:, None] * share / problem.grid.wall_area[lit, None]

    return shine


def cell_arc(
    part: Part, radius: float, seam: float, spot: float
) -> Callable[[Rig, float, float], None]:
    """Arc that lays the same into the cells of a wall one cell thick."""
    block = part.blocks[0]
    level = spread(block.z, seam, spot)[:, None]
    corners = np.arange(part.mesh.layers + 1) * part.mesh.step * radius
    around = 2.0 * np.pi * radius

    def shine(rig: Rig, angle: float, power: float) -> None:
        share = spread(corners, angle * radius % around, spot, around)
        rig.state.extra[block.ids[:, 0]] = power * level * share

    return shine


def films(loss: float, radius: float, wall: float, k: float) -> dict[str, float]:
    """Films on the round faces of a wall one cell thick that lose `loss` from the mean radius."""
    faces = {"right": radius + 0.5 * wall, "left": radius - 0.5 * wall}
    return {
        name: 1.0 / (2.0 * at / (radius * loss) - 0.5 * wall / k) if loss else 0.0
        for name, at in faces.items()
    }


def shell_rig(
    size: float, material: Alloy, loss: float, emissivity: float, start: float
) -> tuple[Rig, Callable[[Rig, float, float], None]]:
    """Tube of `SHELL`, one cell thick as the answers have it: heat goes into cells, not on faces.

    `size` [m] of a cell; film `loss` and `emissivity` are the sums of both sides, told on the
    mean radius; read at `TUBE_PROBES`.
    """
    radius, wall = SHELL["radius"], SHELL["wall"]
    outer, inner = radius + 0.5 * wall, radius - 0.5 * wall
    layers = round(2.0 * np.pi * radius / size / 4.0) * 4
    up = lines(0.0, SHELL["length"], round(SHELL["length"] / size))
    part = Part.swept(([inner, outer], up), layers=layers, ring=True)
    problem = part.problem(
        material,
        start=start,
        film=films(loss, radius, wall, float(material.k(start))),
        emissivity={
            "right": 0.5 * emissivity * radius / outer,
            "left": 0.5 * emissivity * radius / inner,
        },
    )
    points = [
        part.nodes(problem, a, radius, z, points=6) for a, z in zip(*TUBE_PROBES, strict=True)
    ]
    rig = Rig(problem, points)
    rig.state.extra = np.zeros(rig.state.h.shape)
    return rig, cell_arc(part, radius, SHELL["seam"], SHELL["spot"])


RUNS = quarter_runs(SHELL["radius"])
TIMES = quarter_times(RUNS, 120.0)


def thin_tube(size: float, dt: float) -> tuple[Array, Array]:
    """Found and exact rises [K] at `TIMES` and the probes."""
    rig, shine = shell_rig(size, fixed(**M1), 45.0, 0.0, ZERO)
    found = runs_on(rig, TIMES, RUNS, shine, dt, 10.0 * dt, SHELL["radius"]) - ZERO
    exact = shell.moving_gaussian_images(*TUBE_PROBES, TIMES, RUNS, loss=45.0, **SHELL, **M1)
    return found, exact


def test_thin_tube_in_segments(record: Record) -> None:
    """Images on the unrolled wall: 0.5 % of the peak, one cell thick, 0.5 mm cells."""
    error = []
    for size in (1.0 * MM, 0.5 * MM):
        found, exact = thin_tube(size, 0.1 * size / (0.5 * MM))
        error.append(np.abs(found - exact))
    worst = 100.0 * error[1].max() / exact.max()
    record("thin tube in segments, 0.5 mm cells", SOURCE, worst, 0.5, "%")
    error = [e[2:6].max() for e in error]  # without an arc there
    record.order("thin tube in segments: space and time", SOURCE, error)


def test_radiating_tube(record: Record) -> None:
    """Radiation and film on a thin tube: 1.5 % of the rise under the arc, 0.7 % elsewhere.

    Against a spectral reference, whose printed answers are good to 0.04 K.
    """
    _, printed = tables.columns(tables.RADIATING)
    exact = np.array(printed, float)
    times = np.append(TIMES, 300.0)
    rig, shine = shell_rig(0.5 * MM, fixed(**M1), 15.0, 0.75, 293.15)
    found = runs_on(rig, times, RUNS, shine, 0.1, 1.0, SHELL["radius"]) - ZERO
    off = 100.0 * np.abs(found - exact) / (exact - 20.0).max(axis=1)[:, None]
    under = exact > 1600.0
    source = "spectral reference (exponential Runge-Kutta, Kassam and Trefethen 2005)"
    record("radiating thin tube: under the arc", source, off[under].max(), 0.3, "%")
    record("radiating thin tube: elsewhere", source, off[~under].max(), 0.7, "%")


def test_conductivity_and_heat_growing_alike(record: Record) -> None:
    """Kirchhoff's transformation, Carslaw and Jaeger 1959, 1.6.

    1.5 % of the highest rise of the moment under the arc, 0.7 % elsewhere.
    """
    b, k, c = 6e-4, 15.0, 500.0

    def growing(value: float) -> Property:
        return Property((Piece(293.15, 4500.0, (value, value * b), zero=293.15),))

    material = Alloy("growing", 7800.0, growing(k), growing(c), BLACK)
    linear = shell.moving_gaussian_images(*TUBE_PROBES, TIMES, RUNS, **SHELL, k=k, rho=7800.0, c=c)
    exact = kirchhoff.rise_from_linear(linear, b)
    source = "Carslaw and Jaeger 1959, 1.6, and images"
    error = []
    for size in (1.0 * MM, 0.5 * MM):
        rig, shine = shell_rig(size, material, 0.0, 0.0, 293.15)
        found = runs_on(rig, TIMES, RUNS, shine, 0.2 * size / MM, 1.0, SHELL["radius"]) - 293.15
        error.append(np.abs(found - exact))
        assert abs(rig.state.stored() / rig.given - 1.0) < 1e-6
    off = 100.0 * error[1] / exact.max(axis=1)[:, None]
    under = exact > 1600.0
    record("k and c growing alike: under the arc", source, off[under].max(), 0.3, "%")
    record("k and c growing alike: elsewhere", source, off[~under].max(), 0.7, "%")
    record.order("k and c growing alike: space and time", source, [e[2:6].max() for e in error])


CYLINDER_RUNS = quarter_runs(CYLINDER["outer_radius"])
CYLINDER_TIMES = quarter_times(CYLINDER_RUNS, 120.0)


def real_tube(
    layers: int, up: int, through: int, trace: bool = False
) -> tuple[Part, Rig, Callable[[Rig, float, float], None]]:
    """Tube of `CYLINDER`, heated on its outside; read at `CYLINDER_PROBES`."""
    outer, wall = CYLINDER["outer_radius"], CYLINDER["wall"]
    part = Part.swept(
        (lines(outer - wall, outer, through), lines(0.0, CYLINDER["length"], up)),
        layers=layers,
        ring=True,
    )
    problem = part.problem(
        fixed(CYLINDER["k"], CYLINDER["rho"], CYLINDER["c"]),
        film={"right": CYLINDER["h_outside"], "left": CYLINDER["h_inside"]},
        lit_surfaces=("right",),
    )
    points = [
        part.nodes(problem, a, outer - d, z, faces="r")
        for a, z, d in zip(*CYLINDER_PROBES, strict=True)
    ]
    shine = face_arc(part, problem, outer, CYLINDER["seam"], CYLINDER["spot"])
    return part, Rig(problem, points, trace), shine


def widths(part: Part, rig: Rig) -> list[float]:
    """Twice the widest extent [mm] above the seam: 1000 K outside, inside, 1380 K the same."""
    z = part.blocks[0].z
    middle, seam = 0.5 * (z[1:] + z[:-1]), CYLINDER["seam"]
    found = []
    for level in (1000.0, 1380.0):
        for side in ("right", "left"):
            rows = [w for w, name in enumerate(rig.problem.wall_names()) if name == side]
            rows.sort(key=lambda w: float(part.mesh.walls.centre[rig.problem.wall[w], 1]))
            rise = rig.state.surface[rows] - ZERO - level
            hot = np.flatnonzero(rise.max(axis=0) > 0.0)
            highest = max(
                CubicSpline(middle, rise[:, k]).roots(extrapolate=False).max() for k in hot
            )
            found.append(2.0 * (highest - seam) / MM)
    return found


def test_tube_of_real_wall(record: Record) -> None:
    """Hollow cylinder, Carslaw and Jaeger 1959, ch. 14; 157 x 120 x 3 cells, sigma 3.2 cells.

    Temperatures and peaks within 2 % of the highest within 3 mm of the arc, 0.6 % elsewhere;
    isotherm widths, which grow from segment to segment, within 2 %.
    """
    source = "Carslaw and Jaeger 1959, ch. 14"
    outer = CYLINDER["outer_radius"]
    part, rig, shine = real_tube(157, 120, 3, trace=True)
    exact = spectral3d.hollow_cylinder(*CYLINDER_PROBES, CYLINDER_TIMES, CYLINDER_RUNS, **CYLINDER)
    found, wide = [], []
    for stop in sorted({*CYLINDER_TIMES, *(run.end for run in CYLINDER_RUNS)}):
        reading = runs_on(rig, [stop], CYLINDER_RUNS, shine, 0.1, 1.0, outer)[0]
        if stop in CYLINDER_TIMES:
            found.append(reading - ZERO)
        if any(stop == run.end for run in CYLINDER_RUNS):
            wide.append(widths(part, rig))
    error = 100.0 * np.abs(np.array(found) - exact) / exact.max()
    under = np.zeros(error.shape, dtype=bool)
    under[0, :2] = under[1, 2] = under[6, 6] = True
    record("tube of real wall: within 3 mm of the arc", source, error[under].max(), 2.0, "%")
    record("tube of real wall: elsewhere", source, error[~under].max(), 0.1, "%")
    printed = np.array([row[1:] for row in tables.rows(tables.CYLINDER_WIDTHS)], float)
    off = 100.0 * np.abs(np.array(wide) / printed - 1.0).max()
    record("tube of real wall: isotherm widths", source, off, 2.0, "%")
    assert rig.trace is not None
    time, rise = (np.array(list(column)) for column in zip(*rig.trace, strict=True))
    peaks = np.array(tables.rows(tables.CYLINDER_PEAKS), float)
    for peak, at, reading in zip(peaks[:, 3], peaks[:, 4], rise.T[:6] - ZERO, strict=True):
        i = int(np.argmax(reading))
        check = "peaks near the arc" if peak > 1500.0 else "peaks elsewhere"
        bound = 2.0 if peak > 1500.0 else 0.1
        off = 100.0 * abs(reading[i] - peak) / peaks[:, 3].max()
        record(f"tube of real wall: {check}", source, off, bound, "%")
        assert time[i] == pytest.approx(at, abs=0.25)


def test_order_on_a_tube_of_real_wall(record: Record) -> None:
    """The first segment and its pause on two meshes, where no arc burns."""
    source = "Carslaw and Jaeger 1959, ch. 14"
    times = CYLINDER_TIMES[:3]
    exact = spectral3d.hollow_cylinder(*CYLINDER_PROBES, times, CYLINDER_RUNS, **CYLINDER)
    error = []
    for cells, dt in (((80, 60, 2), 0.1), ((160, 120, 4), 0.05)):
        _, rig, shine = real_tube(*cells)
        outer = CYLINDER["outer_radius"]
        found = runs_on(rig, times, CYLINDER_RUNS, shine, dt, 10.0 * dt, outer) - ZERO
        error.append(np.abs(found - exact)[2].max())
    record.order("tube of real wall: space and time", source, error)


def test_ring_source_on_a_sheet(record: Record) -> None:
    """Heated along a circle, Carslaw and Jaeger 1959, 10.3 and 10.4: 1 % with 0.5 mm cells."""
    time, _ = tables.columns(tables.RING_SHEET)
    circle, thickness, spot, loss = 15.0 * MM, 2.0 * MM, 2.0 * MM, 60.0
    places = np.array([0.0, 8.0, 15.0, 20.0, 30.0]) * MM
    sheet = {"ring": circle, "thickness": thickness, "spot": spot, "loss": loss, **M1}
    exact = shell.ring_on_sheet(places, time, power=400.0, duration=12.0, **sheet)
    source = "Carslaw and Jaeger 1959, 10.3 and 10.4"
    error = []
    for size, layers in ((1.0 * MM, 24), (0.5 * MM, 48)):
        ends = stretched(32.0 * MM, 90.0 * MM, size, 1.0 + 0.08 * size / MM)
        ends[0] = 1e-3 * MM
        part = Part.swept((ends, [-0.5 * thickness, 0.5 * thickness]), layers=layers, ring=True)
        film = 1.0 / (2.0 / loss - 0.5 * thickness / M1["k"])  # from the mean of the one cell
        problem = part.problem(fixed(**M1), film={"top": film, "bottom": film})
        nodes, weights = gauss(ends)
        blur = np.exp(-((nodes - circle) ** 2) / (2.0 * spot**2)) * i0e(nodes * circle / spot**2)
        share = (weights * nodes / spot**2 * blur).reshape(len(ends) - 1, -1).sum(axis=1)
        assert share.sum() == pytest.approx(1.0, abs=1e-6)
        rig = Rig(problem, [part.nodes(problem, 0.0, r, 0.0, points=6) for r in places])
        found = []
        for t in time:
            rig.state.extra = np.zeros(rig.state.h.shape)
            rig.state.extra[part.blocks[0].ids[0]] = (share * 400.0 / layers)[:, None] * (t <= 12.0)
            rig.go(float(t), 0.5 * size / MM, first=0.02)
            found.append(rig.read() - ZERO)
        off = np.abs(np.array(found) - exact)
        error.append(off)
        print(np.round(np.array(found) - exact, 3))
    record("ring source on a sheet", source, 100.0 * error[1].max() / exact.max(), 0.15, "%")
    record.order("ring source on a sheet: space and time", source, [e.max() for e in error])


def test_ring_source_on_a_tube(record: Record) -> None:
    """Heated evenly round, the limit of an ever faster arc: 1 % with 0.5 mm cells."""
    time, _ = tables.columns(tables.RING_TUBE)
    radius, wall, spot, loss, power = 12.0 * MM, 1.0 * MM, 1.6 * MM, 45.0, 230.0
    places = np.array([0.0, 3.0, 8.0, 15.0, 30.0]) * MM
    tube = {"radius": radius, "wall": wall, "spot": spot, "loss": loss, **M1}
    exact = shell.ring_on_tube(places, time, power=power, duration=20.0, **tube)
    source = "Carslaw and Jaeger 1959, 10.3"
    error = []
    for size in (1.0 * MM, 0.5 * MM):
        up = stretched(32.0 * MM, 120.0 * MM, size, 1.0 + 0.08 * size / MM)
        layers = 80
        part = Part.swept(
            ([radius - 0.5 * wall, radius + 0.5 * wall], up), layers=layers, ring=True
        )
        problem = part.problem(fixed(**M1), film=films(loss, radius, wall, M1["k"]))
        share = spread(up, 0.0, spot) * power / layers
        rig = Rig(problem, [part.nodes(problem, 0.0, radius, z, points=6) for z in places])
        found = []
        for t in time:
            rig.state.extra = np.zeros(rig.state.h.shape)
            rig.state.extra[part.blocks[0].ids[:, 0]] = share[:, None] * (t <= 20.0)
            rig.go(float(t), 0.5 * size / MM, first=0.02)
            found.append(rig.read() - ZERO)
        off = np.abs(np.array(found) - exact)
        error.append(off)
        print(np.round(np.array(found) - exact, 3))
    record("ring source on a tube", source, 100.0 * error[1].max() / exact.max(), 0.15, "%")
    record.order("ring source on a tube: space and time", source, [e.max() for e in error])
