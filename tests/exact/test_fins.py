"""The march against fins: a sheet that loses at its tip, a heated edge, a tube on a flange."""

from __future__ import annotations

import numpy as np

from exact.build import HELD, MM, ZERO, Array, Part, Rig, fixed, lines
from exact.errors import Record
from exact.solutions import fins, tables
from exact.solutions.cases import M1

THICKNESS, LENGTH, FILM = 1.2 * MM, 40.0 * MM, 35.0


def fin(cells: int, thin: float = 1.0) -> tuple[Array, float]:
    """Rise [K] at 10, 20 and 40 mm, and heat through the base [W per m of width].

    The theory knows only thickness times conductivity (and tip film): a sheet `thin` times
    thinner and better conducting is the same fin with no gradient across it.
    """
    thickness = THICKNESS / thin
    part = Part.swept((lines(0.0, LENGTH, cells), [0.0, thickness]))
    sides = ("bottom", "top", "right")
    problem = part.problem(
        fixed(k=20.0 * thin, rho=7800.0 * thin, c=620.0),
        start=ZERO + 100.0,
        film={"left": HELD, "right": FILM * thin, "bottom": FILM, "top": FILM},
        air=dict.fromkeys(part.others("left"), ZERO) | {"left": ZERO + 300.0},
    )
    middle = 0.5 * thickness
    places = [(10.0, ""), (20.0, ""), (40.0, "r")]
    rig = Rig(problem, [part.nodes(problem, 0.0, x * MM, middle, faces=f) for x, f in places])
    rig.go(2000.0, 40.0)
    lost = sum(
        float(problem.grid.film[w] * problem.grid.wall_area[w] * (rig.state.surface[w, 0] - ZERO))
        for w, name in enumerate(problem.wall_names())
        if name in sides
    )
    return rig.read() - ZERO, lost


def test_fin_with_tip_loss(record: Record) -> None:
    """Incropera, Fundamentals of Heat and Mass Transfer, table 3.4, case A: 40 cells of 1 mm."""
    exact, heat = fins.sheet_with_tip_loss(
        np.array([10.0, 20.0, 40.0]) * MM,
        length=LENGTH,
        thickness=THICKNESS,
        k=20.0,
        h=FILM,
        base=300.0,
    )
    source = "Incropera, table 3.4, case A"
    found, lost = fin(40)
    worst = 100.0 * max(np.abs(found / exact - 1.0).max(), abs(lost / heat - 1.0))
    record("fin with tip loss, 1 mm cells", source, worst, 0.3, "%")
    error = [np.abs(fin(cells, thin=100.0)[0] - exact).max() for cells in (10, 20)]
    record.order("fin with tip loss: space", source, error)


def heated(cells: int, times: Array, thin: float = 1.0) -> Array:
    """Rise [K] at the base, 10 and 40 mm of a sheet heated at its edge by 400 W per m of width."""
    thickness = THICKNESS / thin
    part = Part.swept((lines(0.0, LENGTH, cells), [0.0, thickness]))
    problem = part.problem(
        fixed(k=M1["k"] * thin, rho=M1["rho"] * thin, c=M1["c"]),
        film={"bottom": FILM, "top": FILM},
        lit_surfaces=("left",),
    )
    middle = 0.5 * thickness
    places = [(0.0, "r"), (10.0, ""), (40.0, "r")]
    rig = Rig(problem, [part.nodes(problem, 0.0, x * MM, middle, faces=f) for x, f in places])
    rig.state.heat[:] = 400.0 / thickness
    found = []
    for time in times:
        rig.go(time, 0.5, first=0.01)
        found.append(rig.read() - ZERO)
    return np.array(found)


def test_heated_edge(record: Record) -> None:
    """Carslaw and Jaeger 1959, 4.7: within 0.3 % of the base's rise at each time."""
    times, _ = tables.columns(tables.HEATED_EDGE)
    place = np.array([0.0, 10.0, 40.0]) * MM
    exact = fins.heated_edge(
        place, times[:, None], length=LENGTH, thickness=THICKNESS, h=FILM, flux=400.0, **M1
    )
    source = "Carslaw and Jaeger 1959, 4.7"
    worst = 100.0 * (np.abs(heated(40, times) - exact) / exact[:, :1]).max()
    record("sheet heated at its edge, 1 mm cells", source, worst, 0.3, "%")
    error = [np.abs(heated(cells, times, thin=100.0) - exact).max() for cells in (20, 40)]
    record.order("sheet heated at its edge: space", source, error)


def test_tube_on_flange(record: Record) -> None:
    """Tube and round flange as fins on one joint, 60 W spread evenly round it, steady.

    Incropera 3.6.4 and table 3.4 case B. Cells of 1 mm. Thin fins meet in a line; here the tube
    passes the whole thickness of the flange (where its bore is made to lose nothing): hence 2 %.
    """
    k, film, layers = 20.0, 30.0, 48
    part = Part.swept(
        (lines(11.0 * MM, 12.0 * MM, 1), lines(-2.0 * MM, 60.0 * MM, 62)),
        (lines(12.0 * MM, 40.0 * MM, 28), lines(-2.0 * MM, 0.0, 2)),
        layers=layers,
        ring=True,
    )
    problem = part.problem(
        fixed(k=k, rho=7800.0, c=62.0),  # heat capacity does not count in the end
        start=ZERO + 100.0,
        air=ZERO,
        film={"right": film, "left": 15.0, "other bottom": film, "other top": film},
        lap_resistance=0.0,
    )
    bore = np.array([name == "left" for name in problem.wall_names()])
    inside = part.mesh.walls.centre[problem.wall, 1] < 0.0
    problem.grid.film[bore & inside] = 0.0
    rig = Rig(problem)
    joint = part.blocks[0].ids[:2].ravel()
    rig.state.extra = np.zeros(rig.state.h.shape)
    volume = part.mesh.volume[joint]
    rig.state.extra[joint] = (60.0 * volume / volume.sum() / layers)[:, None]
    rig.go(1500.0, 50.0)
    # where the fins begin: the tube above the flange, and the flange at its bore
    tube_base = float(rig.state.temperature(0)[part.blocks[0].ids[1:3]].mean() - ZERO)
    flange_base = float(rig.state.surface[-2:, 0].mean() - ZERO)
    lost = {"tube": 0.0, "flange": 0.0}
    for w, name in enumerate(problem.wall_names()):
        loss = problem.grid.film[w] * problem.grid.wall_area[w] * (rig.state.surface[w] - ZERO)
        lost["flange" if name.startswith("other") else "tube"] += float(loss.sum())
    assert abs(sum(lost.values()) - 60.0) < 0.01  # steady
    flange = fins.annular_conductance(12.0 * MM, 40.0 * MM, thickness=2.0 * MM, k=k, h=film)
    tube = fins.tube_conductance(11.5 * MM, wall=MM, length=60.0 * MM, k=k, h_total=45.0)
    source = "Incropera 3.6.4 and table 3.4, case B"
    rise, share = 60.0 / (flange + tube), tube / (flange + tube)
    worst = 100.0 * max(abs(tube_base / rise - 1.0), abs(flange_base / rise - 1.0))
    record("tube on flange: joint rise", source, worst, 2.0, "%")
    off = 100.0 * abs(lost["tube"] / 60.0 / share - 1.0)
    record("tube on flange: share of the tube", source, off, 0.6, "%")
