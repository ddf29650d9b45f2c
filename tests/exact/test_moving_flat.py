"""The march under the program's own arc on flat plates: thick, thin, and of finite thickness.

Plates are bars pushed along the travel; r is across it, z up through the thickness, the torch
straight above r = 0. All are cut at that plane of symmetry and get half the power.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from exact.build import MM, ZERO, Array, Part, Rig, fixed, lines, runs_on, stretched
from exact.errors import Record
from exact.solutions import moving, spectral3d, tables
from exact.solutions.cases import M1, PLATE, PLATE_RUNS
from exact.solutions.common import Run
from lapheat.problem.assemble import aim_torch
from lapheat.problem.problem import Problem

SPOT = 1.6 * MM


def half_plate(
    across: Array,
    up: Array,
    layers: int,
    step: float,
    spot: float,
    film: dict[str, float],
    **m: float,
) -> tuple[Part, Problem]:
    """Half a plate with a torch over its edge r = 0, straight above its top."""
    part = Part.swept((across, up), layers=layers, step=step)
    problem = part.problem(
        fixed(**m),
        film=film,
        lit_surfaces=("top",),
        torch=aim_torch(0.0, float(up[-1]), 0.5 * np.pi, spot),
        lit_reach=6.5 * spot,
    )
    return part, problem


def shine(rig: Rig, where: float, power: float) -> None:
    """The program's arc, half of it."""
    rig.state.light(where, 0.5 * power)


def below(loss: float, thickness: float) -> float:
    """Film on the underside that makes a sheet of one cell lose `loss` from its mean.

    On the top, hotter than that cell under the arc, it would lose more.
    """
    return 1.0 / (1.0 / loss - 0.5 * thickness / M1["k"])


def block(size: float, length: float, reach: float) -> tuple[Part, Problem]:
    """Half a thick body, cells growing to `reach` [m] from the arc.

    They are `size` [m] along the surface and half that into the depth, where what is read at
    the surface hangs on the flux through half a cell.
    """
    growth = 1.25 ** (size / (0.4 * MM))
    across = stretched(5.6 * MM, reach, size, growth)
    down = stretched(1.6 * MM, reach, 0.5 * size, growth)
    layers = round(length / size)
    return half_plate(across, -down[::-1], layers, size, SPOT, {}, **M1)


def test_standing_spot_on_a_thick_body(record: Record) -> None:
    """Carslaw and Jaeger 1959, 10.5, with a Gaussian: 2 % with 0.4 mm cells at the surface."""
    times = np.array([0.1, 0.3, 1.0, 3.0])
    exact = moving.spot_centre(times, power=300.0, spot=SPOT, **M1)
    source = "Carslaw and Jaeger 1959, 10.5, for a Gaussian"
    length = 44.8 * MM
    error = []
    for size in (0.8 * MM, 0.4 * MM):
        part, problem = block(size, length, 22.0 * MM)
        rig = Rig(problem, [part.nodes(problem, 0.5 * length, 0.0, 0.0, faces="z", points=6)])
        shine(rig, 0.5 * length, 300.0)
        found = []
        for time in times:
            rig.go(time, 0.1, first=0.005)
            found.append(rig.read()[0] - ZERO)
        error.append(np.abs(np.array(found) - exact))
    worst = 100.0 * (error[1] / exact).max()
    record("standing spot on a thick body", source, worst, 2.0, "%")
    record.order("standing spot on a thick body: space", source, [e.max() for e in error])


def test_moving_gaussian_on_a_thick_body(record: Record) -> None:
    """Eagar and Tsai 1983, Welding Journal 62, 346s: 2 %, width 3 %, 0.4 mm cells.

    After 1 s, 5 s and 20 s, when quasi-steady is 0.4 % away at most.
    """
    power, speed, begin = 600.0, 2.0 * MM, 12.0 * MM
    rows = tables.rows(tables.EAGAR_TSAI)
    place = np.array([[float(word) for word in row[:3]] for row in rows]) * MM
    part, problem = block(0.4 * MM, 64.0 * MM, 30.0 * MM)
    source = "Eagar and Tsai 1983"
    times = [1.0, 5.0, 20.0]
    xi, y = np.linspace(-2.4, 1.2, 10) * MM, np.linspace(1.6, 4.4, 15) * MM
    points = [
        part.nodes(problem, begin + speed * time + x, y, -z, faces="z")
        for time in times
        for x, y, z in place
    ]
    last = begin + speed * times[-1]
    points += [part.nodes(problem, last + x, r, 0.0, faces="z") for x in xi for r in y]
    run = Run(begin, 0.0, 30.0, speed, power)
    found = runs_on(Rig(problem, points), times, [run], shine, 0.05) - ZERO
    for i, time in enumerate(times):
        exact = moving.eagar_tsai(*place.T, time, power=power, speed=speed, spot=SPOT, **M1)
        mine = found[i, i * len(place) : (i + 1) * len(place)]
        worst = 100.0 * np.abs(mine / exact - 1.0).max()
        record("moving Gaussian on a thick body", source, worst, 2.0, "%")
    settled = moving.eagar_tsai(*place.T, power=power, speed=speed, spot=SPOT, **M1)
    assert mine == pytest.approx(settled, rel=0.02)
    # the 1000 K isotherm on the surface, in the last field
    field = RectBivariateSpline(xi, y, found[-1, 3 * len(place) :].reshape(len(xi), len(y)))
    width, _ = moving.isotherm_half_width(
        lambda x, r: float(field(x, r)[0, 0]), 1000.0, behind=xi[0], ahead=xi[-1], far=y[-1]
    )
    off = 100.0 * abs(width / (3.0290 * MM) - 1.0)
    record("moving Gaussian on a thick body: 1000 K half width", source, off, 0.6, "%")


def test_line_source_through_a_thin_sheet(record: Record) -> None:
    """Rosenthal 1946 with surface loss: 1 % of the rise beyond 3 sigma.

    A Gaussian is what a line has become after spot^2/(2 alpha): the program's field is that of
    a line source that much further back, fed that much more for what it has lost meanwhile.
    """
    thickness, loss, power, speed = 1.5 * MM, 150.0, 600.0, 2.0 * MM
    alpha = M1["k"] / (M1["rho"] * M1["c"])
    head = SPOT**2 / (2.0 * alpha)
    gain = np.exp(loss / (M1["rho"] * M1["c"] * thickness) * head)
    begin, size, travel = 20.0 * MM, 0.5 * MM, 120.0 * MM
    across = stretched(12.0 * MM, 60.0 * MM, size, 1.08)
    part, problem = half_plate(
        across,
        lines(0.0, thickness, 1),
        round(165.0 * MM / size),
        size,
        SPOT,
        {"bottom": below(loss, thickness)},
        **M1,
    )
    arc = begin + travel
    rows = tables.rows(tables.LINE_SOURCE)
    place = np.array([[float(word) for word in row[:2]] for row in rows]) * MM
    line = arc + speed * head
    points = [part.nodes(problem, line + x, y, 0.5 * thickness) for x, y in place]
    run = Run(begin, 0.0, travel / speed, speed, power)
    rig = Rig(problem, points)
    found = (runs_on(rig, [run.end], [run], shine, 0.125)[0] - ZERO) / gain
    sheet = {"power": power, "speed": speed, "thickness": thickness, "loss": loss, **M1}
    exact = moving.line_source_sheet(*place.T, **sheet)
    source = "Rosenthal 1946, with surface loss"
    worst = 100.0 * np.abs(found / exact - 1.0).max()
    record("line source through a thin sheet", source, worst, 0.2, "%")
    xi, y = part.mesh.layer_angles() - line, 0.5 * (across[1:] + across[:-1])
    near, wide = (xi > -45.0 * MM) & (xi < -2.0 * MM), (y > 4.0 * MM) & (y < 19.0 * MM)
    field = RectBivariateSpline(xi[near], y[wide], (rig.cells()[wide][:, near].T - ZERO) / gain)
    for level, width, where in np.array(tables.rows(tables.LINE_SOURCE_WIDTH), float):
        half, behind = moving.isotherm_half_width(
            lambda x, r: float(field(x, r)[0, 0]),
            level,
            behind=-44.0 * MM,
            ahead=-3.0 * MM,
            far=18.5 * MM,
        )
        assert behind / MM == pytest.approx(where, abs=0.2)
        off = 100.0 * abs(half / MM / width - 1.0)
        record("line source through a thin sheet: isotherm half width", source, off, 0.2, "%")


def thin(size: float, dt: float) -> tuple[Array, Array]:
    """Thin sheet under a Gaussian that runs 20 mm and stops: found and exact rises [K]."""
    thickness, loss, begin = 1.2 * MM, 60.0, 45.0 * MM
    growth = 1.0 + 0.16 * size / MM
    across = stretched(16.0 * MM, 60.0 * MM, size, growth)
    part, problem = half_plate(
        across,
        lines(0.0, thickness, 1),
        round(110.0 * MM / size),
        size,
        SPOT,
        {"bottom": below(loss, thickness)},
        **M1,
    )
    x, y = np.array([[10.0, 20.0, 20.0, 10.0, 0.0], [0.0, 0.0, 4.0, 8.0, 3.0]]) * MM
    points = [
        part.nodes(problem, begin + a, b, 0.5 * thickness, points=6)
        for a, b in zip(x, y, strict=True)
    ]
    run = Run(0.0, 0.0, 8.0, 2.5 * MM, 350.0)
    times = [2.0, 4.0, 8.0, 12.0, 20.0]
    moved = [Run(begin, run.begin, run.end, run.speed, run.power)]
    found = runs_on(Rig(problem, points), times, moved, shine, dt, slowest=dt) - ZERO
    sheet = {"thickness": thickness, "spot": SPOT, "loss": loss, **M1}
    return found, moving.sheet_gaussian(x, y, times, [run], **sheet)


def test_moving_gaussian_on_a_thin_sheet(record: Record) -> None:
    """Carslaw and Jaeger 1959, 10.3, blurred: 1 % of the peak everywhere, 0.5 mm cells."""
    source = "Carslaw and Jaeger 1959, 10.3, blurred by the spot"
    error = []
    for size in (0.5 * MM, 0.25 * MM):
        found, exact = thin(size, 0.1 * size / (0.5 * MM))
        error.append(np.abs(found - exact))
    worst = 100.0 * error[0].max() / exact.max()
    record("moving Gaussian on a thin sheet", source, worst, 1.0, "%")
    away = np.ones(error[0].shape, dtype=bool)
    away[1, 0] = away[2, 1] = False  # the arc stands there, at the middle and the end of the run
    error = [e[away].max() for e in error]
    record.order("moving Gaussian on a thin sheet: space and time", source, error)


def plate(cells: tuple[int, int, int], dt: float) -> tuple[Array, Array]:
    """Plate with two runs and a pause, `cells` along, across half and through: found, exact [K]."""
    length, width, thickness = PLATE["size"]
    part, problem = half_plate(
        lines(0.0, 0.5 * width, cells[1]),
        lines(0.0, thickness, cells[2]),
        cells[0],
        length / cells[0],
        PLATE["spot"],
        {"top": PLATE["h_source"], "bottom": PLATE["h_far"]},
        k=PLATE["k"],
        rho=PLATE["rho"],
        c=PLATE["c"],
    )
    x = np.array([20.0, 20.0, 20.0, 28.0, 40.0]) * MM
    y = np.array([15.0, 15.0, 19.0, 12.0, 20.0]) * MM
    depth = np.array([0.0, 1.5, 0.75, 1.5, 0.0]) * MM
    points = [
        part.nodes(problem, a, abs(b - PLATE["path"]), thickness - d, faces="z")
        for a, b, d in zip(x, y, depth, strict=True)
    ]
    times = [4.0, 8.0, 12.0, 18.0, 30.0]
    found = runs_on(Rig(problem, points), times, PLATE_RUNS, shine, dt, slowest=4.0 * dt) - ZERO
    return found, spectral3d.plate(x, y, depth, times, PLATE_RUNS, **PLATE)


def test_plate_of_finite_thickness(record: Record) -> None:
    """Green's functions as products, Carslaw and Jaeger 1959, 6.2 and 14.3-14.7.

    100 x 60 x 4 cells, sigma 3.6 cells: 2 % of the peak under the arc, 0.6 % elsewhere.
    """
    source = "Carslaw and Jaeger 1959, 14.3-14.7"
    error, peak = [], 0.0
    for cells, dt in (((100, 30, 4), 0.1), ((200, 60, 8), 0.05)):
        found, exact = plate(cells, dt)
        off, peak = np.abs(found - exact), exact.max()
        under = np.zeros(off.shape, dtype=bool)
        under[0, :2] = under[3, :2] = True  # the arc stands at x = 20 at 4 s, at 22 at 18 s
        error.append((off[under].max(), off[~under].max()))
    record("plate of finite thickness: under the arc", source, 100.0 * error[0][0] / peak, 2.0, "%")
    record("plate of finite thickness: elsewhere", source, 100.0 * error[0][1] / peak, 0.6, "%")
    record.order("plate of finite thickness: space and time", source, [e[1] for e in error])
