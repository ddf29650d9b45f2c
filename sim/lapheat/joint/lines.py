"""Case -> section: where the mesh lines of tube, flange and fillet lie at each detail."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from ..case.case import Case
from .limits import refuse_unrunnable
from .section import Region, Section, SectionBuilder, graded

__all__ = ["DETAILS", "SURFACES", "Detail", "Lines", "mesh_lines", "section_of"]

Array = NDArray[np.float64]

SURFACES = (
    "tube outside",
    "tube bore",
    "tube end",
    "tube foot",
    "flange face",
    "flange back",
    "flange rim",
    "flange bore",
    "fillet",
)


@dataclass(frozen=True)
class Detail:
    """How fine the mesh is.

    Attributes
    ----------
    per_spot : spot over cell length along the joint
    wall_cells, leg_cells : cells through the tube's wall and along a leg of the fillet, at least
    growth : of cells away from the joint, a cell
    """

    per_spot: float
    wall_cells: int
    leg_cells: int
    growth: float


# One map refined: every spacing scales with 1 / per_spot and the growth with its root.
DETAILS = {
    "coarse": Detail(2.0, 3, 4, 1.35),
    "standard": Detail(3.5, 5, 6, 1.35 ** (2.0 / 3.5)),
    "fine": Detail(5.6, 8, 10, 1.35 ** (2.0 / 5.6)),
}

# The arc and the filler heat the tube from outside, so that its cells are thinner there: of three,
# each is thinner by this than the next one inward. Far up the tube little happens, and cells may be
# longer than elsewhere.
WALL_GROWTH = 1.35
FAR = 2.0

# The flange takes its heat through its face, so that cells are thin there and grow slowly with
# depth: the first over the first beside the fillet, and the growth as a power of the other one.
FACE_CELL = 0.7
DEPTH_POWER = 0.6


@dataclass(frozen=True)
class Lines:
    """Mesh lines [m], ascending unless said.

    Attributes
    ----------
    layers : cells round the ring, a whole number a segment
    wall : radii through the tube wall
    axial : z through the tube, 0 at the flange face (or at the arc line of a bead-on-tube)
    fillet : offsets 0 .. leg, or None
    radial : radii of the flange from the bore outward, or None
    depth : z of the flange from the back to the face, or None
    """

    layers: int
    wall: Array
    axial: Array
    fillet: Array | None = None
    radial: Array | None = None
    depth: Array | None = None

    @property
    def section_cells(self) -> int:
        """Number of cells in the section."""
        count = (len(self.wall) - 1) * (len(self.axial) - 1)
        if self.fillet is not None and self.radial is not None and self.depth is not None:
            n = len(self.fillet) - 1
            count += n * (n + 1) // 2 + (len(self.radial) - 1) * (len(self.depth) - 1)
        return count

    @property
    def cells(self) -> int:
        """Number of cells in the whole ring."""
        return self.layers * self.section_cells


def mesh_lines(case: Case) -> Lines:
    """Choose the mesh lines of a case from its detail, spot and dimensions.

    Raises
    ------
    CaseError
        The mesh is too large, or the arc of a tack is too weak to melt the tack's rod.
    """
    lines = _lines(case)
    refuse_unrunnable(case, lines.layers, lines.cells)
    return lines


def _lines(case: Case) -> Lines:
    detail = DETAILS[case.detail]
    size = case.arc.spot / detail.per_spot
    largest = 12.0 * size
    tube = case.tube
    per_segment = max(
        case.tube.circumference / size / case.segment_count,
        24.0 * detail.per_spot / case.segment_count,  # a small ring must still be round
    )
    layers = case.segment_count * ceil(per_segment * (1.0 - 1e-9))
    wall_cells = max(detail.wall_cells, ceil(tube.wall / size))
    wall = np.linspace(tube.radius - tube.wall, tube.radius, wall_cells + 1)
    if case.flange is None or case.lap is None or case.fillet is None:
        fine = min(0.25 * tube.length, 4.0 * case.arc.spot)
        near = graded(fine, size, 1.0, size)
        far = graded(0.5 * tube.length - fine, size, detail.growth, largest)
        half = np.concatenate([near, fine + far[1:]])
        return Lines(layers, wall, np.concatenate([-half[:0:-1], half]))
    leg, thickness, lap = case.fillet.leg, case.flange.thickness, case.lap.depth
    thinner = WALL_GROWTH ** (-3.0 * np.arange(wall_cells) / wall_cells)  # inward to outward
    depths = np.append(np.cumsum(thinner[::-1])[::-1], 0.0) / thinner.sum()
    wall = tube.radius - tube.wall * depths
    fillet = np.linspace(0.0, leg, max(detail.leg_cells, ceil(leg / size)) + 1)
    first = leg / max(detail.wall_cells, ceil(leg / size))
    above = leg + graded(tube.length - leg, first, detail.growth, FAR * largest)[1:]
    slowly = detail.growth**DEPTH_POWER
    down = graded(lap, FACE_CELL * first, slowly, largest)
    if lap < thickness:
        below = graded(thickness - lap, float(down[-1] - down[-2]), slowly, largest)
        whole = np.concatenate([down, lap + below[1:]])
    else:
        whole = down
    outer = 0.5 * case.flange.outside_diameter - tube.radius
    beyond = leg + graded(outer - leg, first, detail.growth, largest)[1:]
    return Lines(
        layers=layers,
        wall=wall,
        axial=np.concatenate([-down[:0:-1], fillet, above]),
        fillet=fillet,
        radial=tube.radius + np.concatenate([fillet, beyond]),
        depth=-whole[::-1],
    )


def section_of(lines: Lines) -> Section:
    """Build the section from its mesh lines.

    The radial gap of the lap has no cells: bore and tube meet at the tube's radius, and the gap
    lives in the conductance of the faces between them.
    """
    build = SectionBuilder()
    tube = build.block(lines.wall, lines.axial, Region.TUBE)
    outside = float(lines.wall[-1])
    flange = None
    if lines.fillet is not None and lines.radial is not None and lines.depth is not None:
        block = build.block(lines.radial, lines.depth, Region.FLANGE)
        flange = np.ascontiguousarray(block[::-1].T)
        build.corner(outside + lines.fillet, lines.fillet, Region.FILLET)
    rim = float(lines.radial[-1]) if lines.radial is not None else 0.0
    tiny = 1e-9

    def surface_of(region: int, r: float, z: float, nr: float, nz: float) -> str:
        if region == Region.FILLET:
            return "fillet"
        if region == Region.TUBE:
            if abs(nr) > 0.5:
                return "tube outside" if abs(r - outside) < tiny else "tube bore"
            return "tube end" if nz > 0 else "tube foot"
        if abs(nz) > 0.5:
            return "flange face" if abs(z) < tiny else "flange back"
        return "flange rim" if abs(r - rim) < tiny else "flange bore"

    return build.finish(SURFACES, surface_of, tube, flange)
