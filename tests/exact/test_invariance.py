"""What must hold without any reference number: energy, superposition, symmetry, similarity."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from exact.build import HELD, MM, ZERO, Array, Part, Rig, arc_of, fixed, lines
from exact.errors import Record
from exact.solutions.cases import M1
from exact.solutions.common import Run
from lapheat.case.alloys import Alloy, Piece, Property, builtin
from lapheat.problem.assemble import aim_torch

RADIUS, WALL, SPOT, LAYERS = 12.0 * MM, 1.2 * MM, 1.6 * MM, 64
START = 293.15
FILM = {"right": 40.0, "left": 15.0, "top": 40.0, "bottom": 40.0}
RUNS = [Run(0.3, 0.0, 4.0, 3.0 * MM, 300.0), Run(2.0, 6.0, 9.0, -3.0 * MM, 350.0)]
NONE = "no reference needed"


def tube_rig(
    alloy: Alloy,
    film: dict[str, float] | None = None,
    emissivity: float = 0.0,
    scale: float = 1.0,
    air: float | dict[str, float] = START,
) -> Rig:
    """Tube 12 mm x 1.2 mm x 20 mm under the program's own torch, all lengths times `scale`."""
    part = Part.swept(
        (lines(RADIUS - WALL, RADIUS, 2) * scale, lines(-10.0 * MM, 10.0 * MM, 20) * scale),
        layers=LAYERS,
        ring=True,
    )
    problem = part.problem(
        alloy,
        start=START,
        film=film or {},
        emissivity=dict.fromkeys(FILM, emissivity),
        air=air,
        lit_surfaces=("right",),
        torch=aim_torch(RADIUS * scale, 0.0, 0.0, SPOT * scale),
        lit_reach=6.5 * SPOT * scale,
    )
    return Rig(problem)


def shine(rig: Rig, where: float, power: float) -> None:
    rig.state.light(where, power)


def after(rig: Rig, runs: Sequence[Run], until: float = 10.0, dt: float = 0.1) -> Array:
    """March in equal steps; returns the cells' rise (nc, layers) [K]."""
    radius = RADIUS if len(runs) else 1.0
    rig.go(until, dt, arc_of(runs, shine, radius))
    return rig.cells() - START


def test_adiabatic_part_keeps_all_heat(record: Record) -> None:
    """Enthalpy stored = power times time, melting included."""
    rig = tube_rig(builtin("304L"))
    strong = [Run(run.start, run.begin, run.end, run.speed, 2.0 * run.power) for run in RUNS]
    rise = after(rig, strong)
    alloy = rig.problem.alloys[0]
    assert alloy.liquidus is not None
    assert np.nanmax(rig.state.peak) > alloy.liquidus  # it did melt
    assert rise.max() > 0.0
    off = abs(rig.state.stored() / rig.given - 1.0)
    record("heat stored without losses, melting included", NONE, off, 1e-12, "of heat in")


def test_heat_balance_with_losses_and_clamp(record: Record) -> None:
    """Stored + convected + radiated + into a clamp = put in, at every output time."""
    film = FILM | {"bottom": HELD}
    rig = tube_rig(builtin("304L"), film, emissivity=0.5)
    source = arc_of(RUNS, shine, RADIUS)
    for time in (1.0, 4.0, 5.0, 7.0, 9.0, 30.0):
        rig.go(time, 0.1, source)
        off = abs((rig.state.stored() + rig.lost) / rig.given - 1.0)
        record("heat balance with losses and a clamp", NONE, off, 1e-12, "of heat in")
    assert rig.lost > 0.5 * rig.given


def test_superposition(record: Record) -> None:
    """Constant properties, linear losses: runs one by one add up to the runs together."""
    whole = after(tube_rig(fixed(**M1), FILM), RUNS)
    parts = [after(tube_rig(fixed(**M1), FILM), [run]) for run in RUNS]
    off = np.abs(parts[0] + parts[1] - whole).max() / whole.max()
    record("superposition of runs", NONE, off, 1e-10, "of the peak")


def test_twice_the_power_is_twice_the_rise(record: Record) -> None:
    """Constant properties, no losses."""
    once = after(tube_rig(fixed(**M1)), RUNS)
    strong = [Run(run.start, run.begin, run.end, run.speed, 2.0 * run.power) for run in RUNS]
    off = np.abs(after(tube_rig(fixed(**M1)), strong) - 2.0 * once).max() / (2.0 * once.max())
    record("twice the power", NONE, off, 1e-11, "of the peak")


@pytest.mark.parametrize("layers", [1, 23, 40, 63])
def test_start_angle_does_not_matter(layers: int, record: Record) -> None:
    """Shifted by whole cells, across the seam too: the same field, rotated.

    304L, all losses: the seam of the ring is nowhere.
    """
    step = 2.0 * np.pi / LAYERS
    first = after(tube_rig(builtin("304L"), FILM, 0.5), RUNS)
    moved = [
        Run(run.start + layers * step, run.begin, run.end, run.speed, run.power) for run in RUNS
    ]
    turned = after(tube_rig(builtin("304L"), FILM, 0.5), moved)
    off = np.abs(turned - np.roll(first, layers, axis=1)).max() / first.max()
    record("start angle shifted by whole cells", NONE, off, 1e-12, "of the peak")


def test_mirrored_travel(record: Record) -> None:
    """Travel the other way round: the mirrored field."""
    first = after(tube_rig(builtin("304L"), FILM, 0.5), RUNS)
    back = [Run(-run.start, run.begin, run.end, -run.speed, run.power) for run in RUNS]
    mirrored = after(tube_rig(builtin("304L"), FILM, 0.5), back)
    off = np.abs(mirrored - first[:, ::-1]).max() / first.max()
    record("travel mirrored", NONE, off, 1e-12, "of the peak")


def test_similar_tubes(record: Record) -> None:
    """Lengths x 2, times x 4, power x 2, speed and film / 2: the same temperatures."""
    a = 2.0
    small = after(tube_rig(fixed(**M1), FILM), RUNS)
    large = tube_rig(fixed(**M1), {name: film / a for name, film in FILM.items()}, scale=a)
    runs = [
        Run(run.start, a**2 * run.begin, a**2 * run.end, run.speed / a, a * run.power)
        for run in RUNS
    ]
    large.go(a**2 * 10.0, a**2 * 0.1, arc_of(runs, shine, a * RADIUS))
    off = np.abs(large.cells() - START - small).max() / small.max()
    record("similar tubes, twice as large", NONE, off, 1e-12, "of the peak")


def test_evening_out(record: Record) -> None:
    """No arc, no loss: the highest falls, the lowest rises, the mean stays; however long the steps.

    In steps of 0.02 s (two explicit limits) and growing to 5 s (five hundred).
    """
    for longest in (0.02, 5.0):
        rig = tube_rig(fixed(**M1))
        after(rig, RUNS[:1], until=4.0)
        mass = rig.problem.grid.mass[:, None]
        rise = rig.cells() - START
        mean = (mass * rise).sum() / (mass.sum() * LAYERS)
        dt = 0.02
        rig.state.heat[:] = 0.0
        for _ in range(60):
            before = rise
            rig.go(rig.now + dt, dt)
            dt = min(1.25 * dt, longest)
            rise = rig.cells() - START
            assert rise.max() <= before.max() * (1.0 + 1e-12)
            assert rise.min() >= before.min() * (1.0 - 1e-9) - 1e-9
        now = (mass * rise).sum() / (mass.sum() * LAYERS)
        record("mean while evening out", NONE, abs(now / mean - 1.0), 1e-12, "of the mean")


def test_halving_the_step(record: Record) -> None:
    """Change of the field falls by four as the step is halved: moving arc, k(T), all losses.

    No melting: each cell that crosses the solidus within a step adds a jump of its own.
    """
    alloy = Alloy(
        name="steel",
        density=7900.0,
        conductivity=Property((Piece(1.0, 1e4, (14.6, 0.0127), zero=ZERO),)),
        specific_heat=Property((Piece(1.0, 1e4, (450.0, 0.12), zero=ZERO),)),
        emissivity=0.5,
    )
    until = 8.0  # in the second run, an arc burning
    runs = [RUNS[0], Run(2.0, 4.0, 12.0, -3.0 * MM, 250.0)]
    fields = [after(tube_rig(alloy, FILM, 0.5), runs, until, dt) for dt in (0.08, 0.04, 0.02)]
    change = [float(np.sqrt(((b - a) ** 2).mean())) for a, b in pairwise(fields)]
    record.order("halving the step under a moving arc", NONE, change, within=0.3)


def test_contact_from_nothing_to_all(record: Record) -> None:
    """No resistance: one body; endless resistance: two that do not know of each other."""
    left, right, z = lines(0.0, 4.0 * MM, 8), lines(4.0 * MM, 10.0 * MM, 12), lines(0.0, MM, 1)
    alloy = fixed(**M1)
    film = {"left": HELD, "other right": 2000.0}
    hot = START + 500.0

    def cooled(part: Part, film: dict[str, float], resistance: float = 0.0) -> Array:
        air = dict.fromkeys(part.others("left"), START) | {"left": hot}
        problem = part.problem(alloy, start=START, film=film, air=air, lap_resistance=resistance)
        rig = Rig(problem)
        rig.go(10.0, 0.05, first=0.001)
        return rig.cells()[:, 0] - START

    pair = Part.swept((left, z), (right, z))
    one = cooled(
        Part.swept((np.concatenate([left, right[1:]]), z)), {"left": HELD, "right": 2000.0}
    )
    off = 100.0 * np.abs(cooled(pair, film) - one).max() / one.max()
    record("contact without resistance is one body", NONE, off, 1e-9, "%")
    alone = cooled(Part.swept((left, z)), {"left": HELD})
    two = np.concatenate([alone, np.zeros(len(right) - 1)])
    off = 100.0 * np.abs(cooled(pair, film, 1e6) - two).max() / alone.max()
    record("endless contact resistance is two bodies", NONE, off, 1e-6, "%")
