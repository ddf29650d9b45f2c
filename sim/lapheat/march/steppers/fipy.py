"""The second march: the kernel's equations on the kernel's mesh, through FiPy's terms.

Each step has two stages of the second-order, L-stable, singly diagonally implicit Runge-Kutta
method of Alexander (1977), SIAM J. Numer. Anal. 14, 1006-1021, with ``gamma = 1 - 1/sqrt(2)``.
A stage solves ``m (h - h*) / (gamma dt) = L(h)`` for the specific enthalpy `h` of every cell.
Enthalpy is made linear in temperature about the last guess, with the slope of the alloy's table
(latent heat and transformation are in it), and so are the losses through the walls; FiPy solves
for the temperature, and the guess is renewed until it stays.

What a stage hands on is not FiPy's temperature but the heat balance of the flows it causes, so
heat is kept to round-off however well the linear system was solved.
"""

from __future__ import annotations

import warnings
from math import sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...constants import STEFAN_BOLTZMANN
from ...joint.mesh import Mesh, fipy_mesh
from ...problem.arrays import IN_FILLER, LAP, PLAIN, Tables
from ...problem.problem import Problem
from ..errors import MarchError
from ..state import State

__all__ = ["FipyStepper"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

GAMMA = 1.0 - 1.0 / sqrt(2.0)
SETTLED = 0.02  # [K] by which another sweep would still change a temperature
SWEEPS = 25
SWING = 100e3  # [J/kg] that may lie between the heat of the two stages of a step
SMALLEST = 0.2  # share of a step that is still halved
LINEAR_TOLERANCE = 1e-10  # of the residual against the right-hand side


class _Cells(NamedTuple):
    """What the tables give for each cell, flat (nc * layers)."""

    temperature: Array  # [K]
    conductivity: Array  # [W/(m K)]
    phi: Array  # integral of the conductivity [W/m]
    capacity: Array  # dh/dT [J/(kg K)]


class _Faces(NamedTuple):
    """Faces between cells, flat: first those inside one part, then those across two parts."""

    number: Ints  # (n,) in FiPy's mesh
    own: Ints  # (n,) flat cell on one side
    other: Ints  # (n,) and on the other
    factor: Array  # (n,) area over distance inside a part [m], area across two [m2]
    near: Array  # (across,) from the own cell to the face [m]
    far: Array  # (across,)
    lap: Ints  # (across,) flat index into `contact`, -1 where base meets filler


class _Sources(NamedTuple):
    """Heat given to each cell [W] and how its loss grows with its temperature [W/K].

    The last two are of each wall and layer, flat.
    """

    gain: Array
    loss: Array
    slope: Array
    wall_loss: Array
    wall_slope: Array


def _look_up(h: Array, alloy: Ints, tables: Tables) -> _Cells:
    i, f = tables.node(alloy, h)
    at = alloy * tables.phi.shape[1] + i

    def read(value: Array, weight: Array) -> Array:
        flat = value.ravel()
        return np.asarray(flat[at] + weight * (flat[at + 1] - flat[at]))

    temperature = tables.temperature.ravel()
    steepest = np.maximum(temperature[at + 1] - temperature[at], 1e-9)
    return _Cells(
        read(tables.temperature, f),
        1.0 / read(tables.resistivity, np.clip(f, 0.0, 1.0)),
        read(tables.phi, f),
        1.0 / (tables.per_step[alloy] * steepest),
    )


def _faces(problem: Problem) -> _Faces:
    """Number the kernel's links and its flow from layer to layer as FiPy does."""
    grid, mesh = problem.grid, problem.mesh
    nc, layers = mesh.shape
    k = np.arange(layers)

    def flat(rows: Ints) -> Ints:
        return np.asarray((rows[:, None] * layers + k).ravel())

    def key(one: Ints, two: Ints) -> Ints:
        return np.asarray(np.minimum(one, two) * nc + np.maximum(one, two))

    owner = np.repeat(np.arange(nc), np.diff(grid.first))
    once = np.flatnonzero(owner < grid.other)  # the grid holds each link from both its sides
    inside = (grid.kind[once] == PLAIN) | (grid.kind[once] == IN_FILLER)
    once = np.concatenate([once[inside], once[~inside]])
    across = once[inside.sum() :]
    pair = key(mesh.links.cells[:, 0], mesh.links.cells[:, 1])
    order = np.argsort(pair)
    link = order[np.searchsorted(pair[order], key(owner[once], grid.other[once]))]
    within = once[: inside.sum()]

    # between layers: the face after layer k is plane k + 1
    planes = layers if mesh.closed else layers + 1
    steps = k if mesh.closed else k[:-1]
    cell = np.arange(nc)[:, None]
    cap = len(mesh.section.edges) * layers + cell * planes + (steps + 1) % planes
    edge = flat(mesh.links.edge[link])
    split = len(within) * layers
    return _Faces(
        number=np.concatenate([edge[:split], cap.ravel(), edge[split:]]),
        own=np.concatenate(
            [flat(owner[within]), (cell * layers + steps).ravel(), flat(owner[across])]
        ),
        other=np.concatenate(
            [
                flat(grid.other[within]),
                (cell * layers + (steps + 1) % layers).ravel(),
                flat(grid.other[across]),
            ]
        ),
        factor=np.concatenate(
            [
                np.repeat(grid.factor[within], layers),
                np.repeat(grid.along, len(steps)),
                np.repeat(grid.area[across], layers),
            ]
        ),
        near=np.repeat(grid.near[across], layers),
        far=np.repeat(grid.far[across], layers),
        lap=np.where(np.repeat(grid.kind[across] == LAP, layers), flat(grid.row[across]), -1),
    )


class _Terms:
    """FiPy's side: the variables of one equation and its solver."""

    def __init__(self, mesh: Mesh) -> None:
        # FiPy reads sys.argv when it is imported, and takes its time: not before it is needed
        from fipy.solvers.convergence import Convergence, DivergenceWarning
        from fipy.solvers.scipy import LinearCGSolver
        from fipy.solvers.scipy.preconditioners.scipyPreconditioner import ScipyPreconditioner
        from fipy.terms.diffusionTerm import DiffusionTerm
        from fipy.terms.transientTerm import TransientTerm
        from fipy.variables.cellVariable import CellVariable
        from fipy.variables.faceVariable import FaceVariable
        from scipy.sparse.linalg import LinearOperator

        class Diagonal(ScipyPreconditioner):  # type: ignore[misc]
            """Divide by the diagonal; FiPy's own does it by a sparse factorisation each time.

            Measured at 25,700 cells, one solve to 1e-10 beside 80 ms of building: this 8 ms,
            without 26, FiPy's JacobiPreconditioner 320, ILU 420, LinearLUSolver 630.
            """

            def _applyToMatrix(self, matrix: Any) -> tuple[Any, Any]:  # noqa: N802
                inverse = 1.0 / matrix.diagonal()
                return LinearOperator(matrix.shape, lambda x: inverse * x), matrix

        whole = fipy_mesh(mesh.section, mesh.layers, mesh.closed, mesh.step)
        self.volume = np.array(whole.cellVolumes)
        # FiPy multiplies a diffusion coefficient by area over distance
        self.unit = np.array(whole._cellDistances) / np.array(whole._faceAreas)
        self.temperature = CellVariable(mesh=whole, hasOld=True)
        self.capacity = CellVariable(mesh=whole)
        self.source = CellVariable(mesh=whole)
        self.conductivity = FaceVariable(mesh=whole)
        outflow = DiffusionTerm(coeff=-self.conductivity)
        # No face is held at a value or slope: what FiPy computes for those each time is 0.
        # (On this side of the equation the term stays this very one.)
        outflow.constraintL[self.temperature] = CellVariable(mesh=whole)
        outflow.constraintB[self.temperature] = CellVariable(mesh=whole)
        self.equation = TransientTerm(coeff=self.capacity) + outflow == self.source
        self.solver = LinearCGSolver(
            tolerance=LINEAR_TOLERANCE, criterion="RHS", iterations=2000, precon=Diagonal()
        )

        self.convergence, self.divergence = Convergence, DivergenceWarning

    def solve(
        self,
        old: Array,
        capacity: Array,
        faces: Ints,
        conductance: Array,
        source: Array,
        dt: float,
    ) -> Array:
        """New temperatures [K] after `dt` [s] from `old`.

        Parameters
        ----------
        capacity : of each cell, the growth of its loss over `dt` included [J/K]
        faces, conductance : FiPy faces that conduct, and their conductance [W/K]
        source : what the cell gains at `old` [W]

        Raises
        ------
        MarchError
            The linear solver gave up.
        """
        self.temperature.setValue(old)
        self.temperature.updateOld()
        self.capacity.setValue(capacity / self.volume)
        coefficient = np.zeros(len(self.unit))
        coefficient[faces] = conductance * self.unit[faces]
        self.conductivity.setValue(coefficient)
        self.source.setValue(source / self.volume)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", self.divergence)  # looked at below instead
            self.equation.solve(self.temperature, dt=dt, solver=self.solver)
        if not isinstance(self.solver.convergence, self.convergence):
            raise MarchError("FiPy's linear solver did not converge")
        return np.array(self.temperature.value)


class FipyStepper:
    """Implicit march through FiPy's terms, a second opinion on the compiled one.

    FiPy's volumes of the triangular cells of a fillet differ a little from the mesh's (it takes
    the middle of a face for its centroid, see the mesh test); the coefficients are scaled so that
    every cell has the mass, and every face the conductance, that the compiled march gives it.
    """

    name = "fipy"
    memory = None

    def __init__(self, problem: Problem) -> None:
        grid, layers = problem.grid, problem.mesh.layers
        self._problem = problem
        self._alloy = np.repeat(grid.alloy, layers)
        self._mass = np.repeat(grid.mass, layers)
        self._faces = _faces(problem)
        cell = np.repeat(np.arange(len(grid.mass)), np.diff(grid.wall_first))
        self._wall_row = cell
        self._wall_cell = (cell[:, None] * layers + np.arange(layers)).ravel()
        self._terms = _Terms(problem.mesh)
        tables = problem.tables
        columns = zip(tables.temperature, tables.low, tables.per_step, strict=True)
        self._nodes = [(t, low + np.arange(len(t)) / each) for t, low, each in columns]

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J].

        Raises
        ------
        MarchError
            The temperatures of a stage did not settle, or FiPy's linear solver gave up.
        """
        h, lost = self._share(state, state.h.ravel(), dt, 0.0, 1.0)
        state.h[:] = h.reshape(state.h.shape)
        state.refresh()
        state.lost += lost
        return float(lost.sum())

    def _share(
        self, state: State, h: Array, dt: float, gone: float, share: float
    ) -> tuple[Array, Array]:
        """March from `h` [J/kg] after the share `gone` of the step over the next `share` of it.

        It is taken in two halves where the rates of its two stages differ too much: the method
        swings to the far side of what a cell tends to (by a fifth of the way at most) when a cell
        is much faster than the step, as filler just laid is.

        Returns `h` [J/kg] and the heat lost through each wall [J].
        """
        part = share * dt
        middle, lost_first = self._stage(state, h, h, GAMMA * part, gone + GAMMA * share)
        first = middle - h
        begun = h + first * ((1.0 - GAMMA) / GAMMA)
        end, lost_last = self._stage(state, begun, h + first / GAMMA, GAMMA * part, gone + share)
        if share > SMALLEST and np.abs(end - begun - first).max() > SWING:
            half = 0.5 * share
            h, lost_first = self._share(state, h, dt, gone, half)
            h, lost_last = self._share(state, h, dt, gone + half, half)
            return h, lost_first + lost_last
        return end, part * ((1.0 - GAMMA) * lost_first + GAMMA * lost_last)

    def _stage(
        self, state: State, begun: Array, guess: Array, dt: float, gone: float
    ) -> tuple[Array, Array]:
        """Solve ``m (h - begun) / dt = L(h)`` after the share `gone` of the step.

        Returns `h` [J/kg] and the loss of each wall [W].
        """
        faces = self._faces
        live = np.ones(state.h.shape)
        live[self._problem.fillet_cells] = state.alive
        gate = live.ravel()[faces.own] * live.ravel()[faces.other] * faces.factor
        contact = np.append(state.contact, 0.0)[faces.lap]
        h = guess
        last = 0.0
        for _ in range(SWEEPS):
            cells = _look_up(h, self._alloy, self._problem.tables)
            conductance = gate * self._per_area(cells, contact)
            given = self._sources(state, cells, live, gone)
            t = cells.temperature
            new = self._terms.solve(
                t,
                self._mass * cells.capacity + dt * given.slope,
                faces.number,
                conductance,
                self._mass * (begun - h) / dt + given.gain - given.loss,
                dt,
            )
            flow = conductance * (new[faces.other] - new[faces.own])
            lost = given.loss + given.slope * (new - t)
            into = given.gain - lost
            into += np.bincount(faces.own, flow, len(h))
            into -= np.bincount(faces.other, flow, len(h))
            change = float(np.abs(new - t).max())
            # sweeps close in by a steady ratio
            if change * min(1.0, change / last if last else 1.0) < SETTLED:
                cell = self._wall_cell
                each = given.wall_loss + given.wall_slope * (new - t)[cell]
                by_wall = each.reshape(len(state.lost), -1).sum(axis=1)
                return begun + dt / self._mass * into, by_wall
            last = change
            h = self._guess(h, cells, new)
        raise MarchError(f"temperatures did not settle in {SWEEPS} sweeps")

    def _guess(self, h: Array, cells: _Cells, new: Array) -> Array:
        """Enthalpies for the next sweep, from temperatures `new` that were sought along a line.

        The line's slope holds on one piece of a table; across a bend the smaller of the two
        changes, along the line or along the table, is the one that does not overshoot.
        """
        line = cells.capacity * (new - cells.temperature)
        table = self._enthalpy(new) - h
        return h + np.where(np.abs(table) < np.abs(line), table, line)

    def _enthalpy(self, temperature: Array) -> Array:
        """Enthalpy of each cell at its `temperature` [K]; nan beyond its table."""
        h = np.empty_like(temperature)
        for alloy, (t, value) in enumerate(self._nodes):
            mine = self._alloy == alloy
            h[mine] = np.interp(temperature[mine], t, value, left=np.nan, right=np.nan)
        return h

    def _per_area(self, cells: _Cells, contact: Array) -> Array:
        """Conductivity inside a part [W/(m K)], conductance per area across two [W/(m2 K)]."""
        faces, k = self._faces, cells.conductivity
        inside = len(faces.own) - len(faces.near)
        own, other = faces.own[:inside], faces.other[:inside]
        rise = cells.temperature[other] - cells.temperature[own]
        equal = np.abs(rise) < 1e-6
        mean = (cells.phi[other] - cells.phi[own]) / np.where(equal, 1.0, rise)
        mean = np.where(equal, 0.5 * (k[own] + k[other]), mean)
        near = faces.near / k[faces.own[inside:]] + faces.far / k[faces.other[inside:]]
        return np.concatenate([mean, 1.0 / (near + contact)])

    def _sources(self, state: State, cells: _Cells, live: Array, gone: float) -> _Sources:
        """Arc, losses and other sources, as `rows.lit_face_loss` has them."""
        grid, layers = self._problem.grid, self._problem.mesh.layers
        shape = (len(grid.lit), layers)
        exposed = live[self._wall_row]
        under = grid.cover >= 0
        exposed[under] = 1.0 - state.alive[grid.cover[under]]
        q = np.zeros(shape)
        heat = state.heat_from + gone * (state.heat - state.heat_from)
        q[grid.lit >= 0] = heat[grid.lit[grid.lit >= 0]]
        area = grid.wall_area[:, None] * exposed
        film, eps = grid.film[:, None], STEFAN_BOLTZMANN * grid.emissivity[:, None]
        air = state.air[:, None]
        t = cells.temperature[self._wall_cell].reshape(shape)
        half = grid.wall_near[:, None] / cells.conductivity[self._wall_cell].reshape(shape)
        face = t + half * q
        # the tangent at the face that lost nothing: one step of Newton, as in the kernel
        slope = film + 4.0 * eps * face**3
        held = 1.0 + half * slope
        loss = (film * (face - air) + eps * (face**4 - air**4)) / held
        slope = slope / held

        def by_cell(values: Array) -> Array:
            flat = np.bincount(self._wall_cell, values.ravel(), live.size)
            return np.asarray(flat, dtype=np.float64)

        gain, loss, slope = by_cell(area * q), area * loss, area * slope
        filler = self._problem.fillet_cells[:, None] * layers + np.arange(layers)
        gain[filler] += state.rod * state.alive
        if len(state.extra):
            gain += state.extra.ravel()
        return _Sources(gain, by_cell(loss), by_cell(slope), loss.ravel(), slope.ravel())
