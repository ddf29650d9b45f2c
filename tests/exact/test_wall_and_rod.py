"""The march against walls and rods that convect."""

from __future__ import annotations

import numpy as np
import pytest

from exact.build import MM, ZERO, Array, Part, Rig, fixed, lines
from exact.errors import Record
from exact.solutions import slab, tables

WALL = {"k": 1.0, "rho": 1000.0, "c": 1.0}
ROD = {"k": 25.0, "rho": 7800.0, "c": 620.0}
PIPE = {"k": 63.9, "rho": 7832.0, "c": 434.0}


def wall(cells: int, dt: float, times: Array) -> Array:
    """Adiabatic face of a wall of 1 m from 1000 degC, film of 1 W/(m2 K) to 0 degC [degC]."""
    part = Part.swept((lines(0.0, 1.0, cells), [0.0, 1.0]))
    problem = part.problem(fixed(**WALL), start=ZERO + 1000.0, film={"right": 1.0}, air=ZERO)
    rig = Rig(problem, [part.nodes(problem, 0.0, 0.0, 0.5)])
    found = []
    for time in times:
        rig.go(time, dt)
        found.append(rig.read()[0] - ZERO)
    return np.array(found)


def test_wall_with_convection(record: Record) -> None:
    """DIN EN 1991-1-2/NA, annex CC.4.1; the exact series is Carslaw and Jaeger 1959, 3.11."""
    times = np.array([60.0, 300.0, 600.0, 900.0, 1200.0, 1500.0, 1800.0])
    exact = slab.wall_convective(
        0.0, times, thickness=1.0, h=1.0, start=1000.0, ambient=0.0, **WALL
    )
    source = "DIN EN 1991-1-2/NA CC.4.1; Carslaw and Jaeger 1959, 3.11"
    found = wall(20, 5.0, times)
    record("wall with convection, 20 cells", source, np.abs(found - exact).max(), 0.3, "K")
    printed = np.array([float(line[2]) for line in tables.rows(tables.WALL)][1:])
    # the printed figures are rounded to 0.1
    assert found == pytest.approx(printed, abs=0.35)
    error = [np.abs(wall(n, 5.0, times[1:]) - exact[1:]).max() for n in (10, 20, 40)]
    record.order("wall with convection: space", source, error)
    # the time error alone: against the same mesh with small steps, once the start has faded
    late = np.array([1200.0, 1800.0])
    fine = wall(20, 2.0, late)
    error = [np.abs(wall(20, dt, late) - fine).max() for dt in (40.0, 20.0)]
    record.order("wall with convection: time", source, error, within=0.3)


def test_pipe_wall(record: Record) -> None:
    """Incropera, Fundamentals of Heat and Mass Transfer, example 5.5 (numbers from memory).

    A wall of 40 mm AISI 1010 at -20 degC, oil at 60 degC, 500 W/(m2 K), after 8 minutes. The book
    keeps one term of the series and three figures of everything.
    """
    part = Part.swept((lines(0.0, 40.0 * MM, 20), [0.0, 1.0]))
    problem = part.problem(fixed(**PIPE), start=ZERO - 20.0, film={"right": 500.0}, air=ZERO + 60.0)
    points = [part.nodes(problem, 0.0, x * MM, 0.5, faces=f) for x, f in ((0.0, ""), (40.0, "r"))]
    rig = Rig(problem, points)
    rig.go(480.0, 2.0)
    found = rig.read() - ZERO
    body = {"thickness": 40.0 * MM, "h": 500.0, "start": -20.0, "ambient": 60.0, **PIPE}
    exact = slab.wall_convective(np.array([0.0, 40.0 * MM]), 480.0, **body)
    book = "Incropera, example 5.5 (from memory)"
    record("oil pipe wall, 20 cells", book, np.abs(found - exact).max(), 0.01, "K")
    assert found == pytest.approx([42.9, 45.2], abs=0.2)


def rod(cells: int, layers: int, dt: float) -> tuple[Array, Array]:
    """Axis, half radius and surface of a rod of 10 mm, found and exact [K]."""
    radius, film, start, air, time = 10.0 * MM, 2500.0, 1100.0, 300.0, 10.0
    ends = lines(0.0, radius, cells)
    ends[0] = 1e-4 * radius  # a ring needs a hole: this one is worth 1e-8
    part = Part.swept((ends, [0.0, 1.0 * MM]), layers=layers, ring=True)
    problem = part.problem(fixed(**ROD), start=start, film={"right": film}, air=air)
    middle = 0.5 * MM
    points = [
        part.nodes(problem, 0.0, 0.0, middle),
        part.nodes(problem, 0.0, 0.5 * radius, middle),
        part.nodes(problem, 0.0, radius, middle, faces="r"),
    ]
    rig = Rig(problem, points)
    rig.go(time, dt, first=0.1 * dt)
    exact = slab.rod_convective(
        np.array([0.0, 0.5, 1.0]) * radius,
        time,
        radius=radius,
        h=film,
        start=start,
        ambient=air,
        **ROD,
    )
    return rig.read(), exact


def test_long_rod_with_convection(record: Record) -> None:
    """Carslaw and Jaeger 1959, 7.7; Incropera 5.6: long cylinder, Biot number 1, Fourier 0.52.

    The ring of flat facets is refined with the radius, so that the order is that of both.
    """
    source = "Carslaw and Jaeger 1959, 7.7"
    error = []
    for cells, layers in ((6, 16), (12, 32), (24, 64)):
        found, exact = rod(cells, layers, 0.2)
        error.append(np.abs(found - exact).max())
    record("long rod with convection, 24 cells, 64 layers", source, error[-1], 0.3, "K")
    record.order("long rod with convection: space", source, error)
