"""The march against bodies that exchange heat through a contact conductance, as in the lap."""

from __future__ import annotations

import numpy as np

from exact.build import MM, ZERO, Array, Part, Rig, fixed, lines, stretched
from exact.errors import Record
from exact.solutions import contact
from exact.solutions.contact import Body

HOT = Body(k=20.0, rho=7900.0, c=520.0, start=900.0)
COLD = Body(k=45.0, rho=7850.0, c=480.0, start=20.0)


def pressed(
    left: Array,
    right: Array,
    conductance: float,
    times: list[float],
    dt: float,
    places: list[tuple[int, float]],
) -> Array:
    """Two bodies from different temperatures, insulated but for the lap between them at 0.

    `left`, `right` are distances [m] of cell ends from the lap; `places` are (body, x [m]), x = 0
    being the body's own side of the lap. Returns T (times, places) [degC].
    """
    part = Part.swept((-left[::-1], [0.0, 1.0]), (right, [0.0, 1.0]))
    alloys = [fixed(body.k, body.rho, body.c) for body in (HOT, COLD)]
    problem = part.problem(*alloys, lap_resistance=1.0 / conductance)
    rig = Rig(problem, [part.nodes(problem, 0.0, x, 0.5, block=b, faces="r") for b, x in places])
    hot = problem.grid.alloy == 0
    rig.begin(np.where(hot, HOT.start, COLD.start)[:, None] + ZERO)
    found = []
    for time in times:
        # finely up to the first time, through the jump at the start
        rig.go(time, *((dt,) if found else (min(dt, 0.02), None, 1e-3)))
        found.append(rig.read() - ZERO)
    return np.array(found)


def thick(size: float, conductance: float, dt: float) -> tuple[Array, Array]:
    """T at -5 mm, 0-, 0+ and 5 mm after 0.5 and 5 s: found and exact [degC]."""
    ends = lines(0.0, 40.0 * MM, round(40.0 * MM / size))
    places = [(0, -5.0 * MM), (0, 0.0), (1, 0.0), (1, 5.0 * MM)]
    times = np.array([0.5, 5.0])
    found = pressed(ends, ends, conductance, list(times), dt, places)
    depth = np.array([[5.0 * MM, 0.0]])
    warm, cool, _ = contact.half_spaces(
        depth, times[:, None], one=HOT, two=COLD, conductance=conductance
    )
    return found, np.concatenate([warm, cool[:, ::-1]], axis=1)


def test_thick_bodies_pressed_together(record: Record) -> None:
    """Carslaw and Jaeger 1959, 2.15 (contact resistance): 1 % of 880 K with 0.5 mm cells."""
    source = "Carslaw and Jaeger 1959, 2.15"
    for conductance in (500.0, 2000.0, 10000.0):
        found, exact = thick(0.5 * MM, conductance, 0.02)
        # the flux through the contact: half a kelvin between its sides counts, too
        flux = np.abs((found - exact)[:, 1] - (found - exact)[:, 2])
        worst = 100.0 / 880.0 * max(np.abs(found - exact).max(), flux.max())
        record("thick bodies in contact, 0.5 mm cells", source, worst, 0.2, "% of step")
    error = []
    for size in (1.0 * MM, 0.5 * MM):
        found, exact = thick(size, 2000.0, 0.02)
        error.append(np.abs(found - exact)[1].max())
    record.order("thick bodies in contact: space", source, error)


def layered(cells: tuple[int, int], conductance: float, dt: float) -> tuple[Array, Array]:
    """1.2 mm on 3 mm: both faces of both after 0.2, 1 and 4 s, found and exact [degC]."""
    depth = (1.2 * MM, 3.0 * MM)
    times = [0.2, 1.0, 4.0]
    left, right = (lines(0.0, d, n) for d, n in zip(depth, cells, strict=True))
    places = [(0, -depth[0]), (0, 0.0), (1, 0.0), (1, depth[1])]
    found = pressed(left, right, conductance, times, dt, places)
    body = {"one": HOT, "two": COLD, "thickness": depth, "conductance": conductance}
    time = np.array(times)[:, None]
    warm = contact.two_layers(np.array([depth[0], 0.0]), time, **body)[0]
    cool = contact.two_layers(np.array([0.0, depth[1]]), time, **body)[1]
    return found, np.concatenate([warm, cool], axis=1)


def test_wall_on_sheet(record: Record) -> None:
    """Carslaw and Jaeger 1959, 14.3, two layers and a resistance: 1 K with 4 + 6 cells.

    At 8000 W/(m2 K) the hot layer loses 250 K across its 1.2 mm in the first 0.2 s: four equal
    cells are 1.4 K off then (so is any scheme of this kind), twice as many 0.35 K.
    """
    source = "Carslaw and Jaeger 1959, 14.3"
    for conductance, cells in ((300.0, (4, 6)), (1500.0, (4, 6)), (8000.0, (8, 12))):
        found, exact = layered(cells, conductance, 0.01)
        check = f"wall on sheet, {cells[0]} + {cells[1]} cells"
        record(check, source, np.abs(found - exact).max(), 1.0, "K")
    error = []
    for cells in ((4, 6), (8, 12), (16, 24)):
        found, exact = layered(cells, 1500.0, 0.01)
        error.append(np.abs(found - exact)[1:].max())
    record.order("wall on sheet: space", source, error)
    fine, _ = layered((8, 12), 1500.0, 0.005)
    error = [np.abs(layered((8, 12), 1500.0, dt)[0] - fine)[1:].max() for dt in (0.2, 0.1)]
    record.order("wall on sheet: time", source, error, within=0.3)


LAP = {"thickness": (1.0 * MM, 2.0 * MM), "k": (20.0, 22.0), "overlap": 10.0 * MM, "h": 40.0}


def lapped(cells: int, conductance: float) -> tuple[Array, Array]:
    """Rises at heated edge, middle and far end of the overlap of either sheet: found, exact [K].

    The theory knows only thickness times conductivity: the sheets are made twice as thin and
    twice as conductive, and what resistance they have across is taken off that of the contact.
    """
    thin, overlap, heat = 2.0, LAP["overlap"], 5000.0
    size = overlap / cells
    far = stretched(30.0 * MM, 200.0 * MM, size, 1.0 + 0.1 * 20.0 / cells)
    inside = lines(0.0, overlap, cells)
    first, second = (d / thin for d in LAP["thickness"])
    part = Part.swept(
        (np.concatenate([-far[:0:-1], inside]), [-first, 0.0]),
        (np.concatenate([inside, overlap + far[1:]]), [0.0, second]),
    )
    sides = ("bottom", "top", "other bottom", "other top")
    across = sum(d / (2.0 * k) for d, k in zip(LAP["thickness"], LAP["k"], strict=True)) / thin**2
    problem = part.problem(
        *(fixed(k * thin, 7800.0, 6.2) for k in LAP["k"]),  # steady: heat capacity is free
        film=dict.fromkeys(sides, LAP["h"]),
        lap_resistance=1.0 / conductance - across,
        lit_surfaces=("right",),
        start=ZERO + 1200.0,
        air=ZERO,
    )
    at = (overlap, 0.5 * overlap, 0.0)
    points = [part.nodes(problem, 0.0, x, -0.5 * first, faces="r") for x in at]
    points += [part.nodes(problem, 0.0, x, 0.5 * second, block=1, faces="r") for x in at]
    rig = Rig(problem, points)
    rig.state.heat[:] = heat / first
    rig.go(6.0, 0.25)
    body = {**LAP, "conductance": conductance, "heat": heat}
    one, two, _ = contact.lap_steady(np.array(at), **body)
    return rig.read() - ZERO, np.concatenate([one, two])


def test_lapped_sheets(record: Record) -> None:
    """Two thin sheets sharing heat over a lap, steady: 1 % with 0.5 mm cells.

    Fin equations (Incropera 3.6) coupled as in the theory of the single lap joint.
    """
    source = "fin equations coupled as in a single lap joint"
    found, exact = lapped(10, 20000.0)
    error = [np.abs(found - exact).max()]
    for conductance in (200.0, 1000.0, 3000.0, 20000.0):
        found, exact = lapped(20, conductance)
        worst = 100.0 * np.abs(found / exact - 1.0).max()
        record("lapped sheets, 0.5 mm cells", source, worst, 1.0, "%")
    error.append(np.abs(found - exact).max())
    record.order("lapped sheets: space", source, error)
